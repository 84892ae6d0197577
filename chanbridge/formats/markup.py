"""XML: our own, after schemas/channel-map.xsd, and anyone's list with a repeated record."""

from __future__ import annotations

import re
from typing import Any

from lxml import etree
from pydantic import ValidationError

from chanbridge.apart import hardened
from chanbridge.errors import Location, ReadError, WriteError
from chanbridge.formats import records
from chanbridge.formats.characters import NOT_XML
from chanbridge.formats.native import explain
from chanbridge.model import AUDIENCES, Channel, ChannelMap, Port
from chanbridge.sheets import columns
from chanbridge.sheets.columns import decibel_text
from chanbridge.sheets.grid import Grid, Options

NAMESPACE = "urn:chanbridge:channel-map:1"


def parse(data: bytes, source: str) -> Any:
    """The root element of a document, parsed hardened: no DOCTYPE, entities, network or great depth."""
    parser = etree.XMLParser(**hardened.XML)
    try:
        root = etree.fromstring(data, parser)
    except etree.XMLSyntaxError as error:
        message = (error.msg or "not well-formed").split(", line ")[0][:200]
        if re.search("huge|amplification|depth", message, re.IGNORECASE):
            message = "it is nested too deeply, or expands into too much"
        raise ReadError(
            f"this is not XML that can be read safely: {message}", Location(source, "", error.lineno)
        ) from None
    except ValueError as error:
        raise ReadError(f"this is not XML: {error}", Location(source)) from None
    about: Any = root.getroottree().docinfo
    if about.doctype or about.internalDTD is not None:
        raise ReadError(
            "this XML has a DOCTYPE, which could pull in other files; delete the <!DOCTYPE …> and try again",
            Location(source),
        )
    return root


def read(data: bytes, source: str, options: Options) -> list[Grid] | ChannelMap:
    """A whole map from our own XML, or one grid from any other: a row for each repeated record."""
    root = parse(data, source)
    if etree.QName(root).namespace == NAMESPACE:
        return _own(root, source)
    return [records.grid(root, source, options.record)]


_PORT = ("id", "device", "name", "direction", "kind", "first", "size", "rate_hz", "mode", "mirrors")
_CHANNEL = tuple(
    name for name in Channel.model_fields if name not in ("pair", "audience", "contents", "extras")
)


_TEXTS = ("heading", "extra", "reserved")
_ATTRIBUTES = {
    "channel-map": ("title", "revision", "date", "rate-hz"),
    "heading": (),
    "port": tuple(name.replace("_", "-") for name in _PORT),
    "channel": (*(name.replace("_", "-") for name in _CHANNEL), "side", "with", *AUDIENCES),
    "content": ("channel",),
    "extra": ("heading",),
    "entry": ("channel", "port", "slot"),
    "patch": ("from-port", "from-slot", "to-port", "to-slot"),
    "reserved": ("port", "slot"),
}


def _own(root: Any, source: str) -> ChannelMap:
    fields: dict[str, Any] = {
        name: root.get(name.replace("_", "-")) for name in ("title", "revision", "date", "rate_hz")
    }
    fields = {name: value for name, value in fields.items() if value is not None}
    lists: dict[str, list[Any]] = {
        name: [] for name in ("headings", "ports", "channels", "entries", "patches", "reserved")
    }
    _check_known(root, source)
    try:
        for element in root.iterchildren(etree.Element):
            get = element.get
            match etree.QName(element).localname:
                case "heading":
                    lists["headings"].append(element.text or "")
                case "port":
                    lists["ports"].append(_fields(element))
                case "channel":
                    lists["channels"].append(_own_channel(element))
                case "entry":
                    lists["entries"].append((get("channel"), _slot(element, "")))
                case "patch":
                    lists["patches"].append((_slot(element, "from-"), _slot(element, "to-")))
                case "reserved":
                    lists["reserved"].append((_slot(element, ""), element.text or ""))
                case other:
                    raise ReadError(
                        f"<{other}> stands in the wrong place", Location(source, "", element.sourceline)
                    )
        return ChannelMap(**fields, **{name: tuple(values) for name, values in lists.items()})
    except ValidationError as error:
        raise ReadError(explain(error), Location(source)) from None


def _check_known(root: Any, source: str) -> None:
    """Raise ReadError for an attribute, an element or a text that our format has no place for."""
    for element in root.iter(etree.Element):
        name = etree.QName(element).localname
        wrong = next(
            (f"an attribute {key!r}" for key in element.attrib if key not in _ATTRIBUTES.get(name, ())), ""
        )
        if name not in _ATTRIBUTES or etree.QName(element).namespace != NAMESPACE:
            wrong = f"an element <{name}>"
        elif (name not in _TEXTS and (element.text or "").strip()) or (element.tail or "").strip():
            wrong = f"a text at <{name}>"
        if wrong:
            raise ReadError(
                f"this channel map has {wrong}, which the format does not know",
                Location(source, "", element.sourceline),
            )


def _slot(element: Any, prefix: str) -> tuple[str | None, str | None]:
    return element.get(f"{prefix}port"), element.get(f"{prefix}slot")


def _fields(element: Any) -> dict[str, Any]:
    return {name.replace("-", "_"): value for name, value in element.attrib.items()}


def _own_channel(element: Any) -> dict[str, Any]:
    fields = _fields(element)
    if "side" in fields:
        fields["pair"] = {"side": fields.pop("side"), "with": fields.pop("with", None)}
    audience = {name: fields.pop(name) for name in AUDIENCES if name in fields}
    if audience:
        fields["audience"] = audience
    ns = f"{{{NAMESPACE}}}"
    fields["contents"] = tuple(child.get("channel") for child in element.iterchildren(f"{ns}content"))
    fields["extras"] = tuple(
        (child.get("heading"), child.text or "") for child in element.iterchildren(f"{ns}extra")
    )
    return fields


def write(whole: ChannelMap, port: str | None, suffix: str) -> bytes:
    """The whole map as XML in UTF-8, valid after schemas/channel-map.xsd.

    Raises WriteError naming a character that XML cannot hold.
    """
    about = {
        "title": whole.title,
        "revision": whole.revision,
        "date": str(whole.date or ""),
        "rate-hz": str(whole.rate_hz or ""),
    }
    namespaces: Any = {None: NAMESPACE}
    root = etree.Element("channel-map", _filled(about), nsmap=namespaces)

    def add(tag: str, attributes: dict[str, str], text: str = "", parent: Any = root) -> Any:
        element = etree.SubElement(parent, tag)
        for name, value in attributes.items():
            element.set(name, _checked(value))
        if text:
            element.text = _checked(text)
        return element

    for heading in whole.headings:
        add("heading", {}, heading)
    for item in whole.ports:
        add("port", _changed_fields(item, _PORT))
    for channel in whole.channels:
        element = add("channel", _channel_attributes(channel))
        for name in channel.contents:
            add("content", {"channel": name}, parent=element)
        for heading, text in channel.extras:
            add("extra", {"heading": heading}, text, element)
    for name, slot in whole.entries:
        add("entry", {"channel": name, "port": slot.port, "slot": str(slot.number)})
    for source, target in whole.patches:
        add(
            "patch",
            {
                "from-port": source.port,
                "from-slot": str(source.number),
                "to-port": target.port,
                "to-slot": str(target.number),
            },
        )
    for slot, text in whole.reserved:
        add("reserved", {"port": slot.port, "slot": str(slot.number)}, text)
    etree.indent(root)
    return bytes(etree.tostring(root, xml_declaration=True, encoding="UTF-8")) + b"\n"


def _filled(attributes: dict[str, str]) -> dict[str, str]:
    return {name: _checked(value) for name, value in attributes.items() if value}


def _changed_fields(item: Port | Channel, names: tuple[str, ...]) -> dict[str, str]:
    """Attributes for the fields that differ from what the model assumes anyway."""
    out = {}
    for name in names:
        value, field = getattr(item, name), type(item).model_fields[name]
        if field.is_required() or value != field.default:
            text = decibel_text(value) if isinstance(value, float) else str(value)
            out[name.replace("_", "-")] = str(value).lower() if isinstance(value, bool) else text
    return out


def _channel_attributes(channel: Channel) -> dict[str, str]:
    out = _changed_fields(channel, _CHANNEL)
    if channel.pair:
        out["side"] = channel.pair.side
        if channel.pair.partner is not None:
            out["with"] = channel.pair.partner
    for name in AUDIENCES:
        if getattr(channel.audience, name) != "open":
            out[name] = getattr(channel.audience, name)
    return out


def _checked(text: str) -> str:
    wrong = NOT_XML.search(text)
    if wrong:
        raise WriteError(
            f"XML cannot hold the character U+{ord(wrong[0]):04X}, which stands in {text[:60]!r}; take it out of the name"
        )
    return text


def dropped(whole: ChannelMap, port: str | None) -> list[str]:
    """Nothing."""
    columns.check_writable(whole, port)
    return []
