"""XML: our own, after schemas/channel-map.xsd, and anyone's list with a repeated record."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

from lxml import etree
from pydantic import ValidationError

from chanbridge.errors import Location, ReadError, WriteError
from chanbridge.formats.native import explain
from chanbridge.model import AUDIENCES, Channel, ChannelMap, Port
from chanbridge.names import fold, vocabulary
from chanbridge.sheets import columns
from chanbridge.sheets.columns import decibel_text
from chanbridge.sheets.grid import Grid, Options
from chanbridge.sheets.layout import heading_fields

NAMESPACE = "urn:chanbridge:channel-map:1"
_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def parse(data: bytes, source: str) -> Any:
    """The root element of a document, parsed hardened: no DOCTYPE, entities, network or great depth."""
    parser = etree.XMLParser(
        resolve_entities=False,
        no_network=True,
        load_dtd=False,
        huge_tree=False,
        remove_comments=True,
        remove_pis=True,
    )
    try:
        root = etree.fromstring(data, parser)
    except etree.XMLSyntaxError as error:
        message = (error.msg or "not well-formed").split(", line ")[0]
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
    return [records(root, source, options.record)]


# Other people's XML


def records(root: Any, source: str, wanted: str = "") -> Grid:
    """The repeated record of a document as rows.

    Its attributes and child elements are columns, named after them; so are the attributes of the elements
    around it (a box's name). `wanted` is the record's path, such as show/inputs/in; without it, the record is the
    element that occurs most often with headings that we know, together with others like it beside it. Raises
    ReadError where there is none, or where two kinds of record are equally likely.
    """
    paths: dict[str, list[Any]] = {}
    for element in root.iter(etree.Element):
        paths.setdefault(_path(element), []).append(element)
    if wanted:
        chosen = [path for path in paths if path.strip("/") == wanted.strip("/")]
        if not chosen:
            raise ReadError(
                f"there is no element {wanted!r}; there are {', '.join(paths)[:200]}", Location(source)
            )
    else:
        chosen = _record_paths(paths, source)
    return _grid([element for element in root.iter(etree.Element) if _path(element) in chosen], root, source)


def _record_paths(paths: Mapping[str, list[Any]], source: str) -> list[str]:
    """The paths of the record and of its like: the same parent, and a name and a number as well."""
    words = vocabulary()
    means = {
        path: {
            field
            for element in elements[:50]
            for heading, _ in _cells(element)
            for field in heading_fields(heading, words)
        }
        for path, elements in paths.items()
    }
    worths = {
        path: len(paths[path]) * min(len(fields), 4) if fields & {"name", "id", "number"} else 0
        for path, fields in means.items()
    }
    for path in sorted(worths, key=lambda path: -path.count("/")):
        above = [path[: found.start()] for found in re.finditer("/", path)]
        if worths[path] > 1 and above and len(paths[path]) > len(paths[above[-1]]):
            worths |= dict.fromkeys(above, 0)  # what holds several records is no record itself
    best = max(worths, key=lambda path: worths[path])
    if not worths[best]:
        plain = [
            path for path, elements in paths.items() if len(elements) > 1 and len(_cells(elements[0])) > 1
        ]
        if not plain:
            raise ReadError(
                "no repeated record with a name or a number was found in this XML", Location(source)
            )
        return [max(plain, key=lambda path: len(paths[path]))]  # no word that we know: the values must tell
    full = [
        path
        for path, fields in means.items()
        if "name" in fields and fields & {"number", "socket"} and worths[path] and not best.startswith(f"{path}/")
        and not path.startswith(f"{best}/")
    ]  # fmt: skip
    beside = [path for path in full if path.rpartition("/")[0] == best.rpartition("/")[0]]
    apart = [path for path in full if path not in beside and path != best]
    if apart:
        raise ReadError(
            f"there are two kinds of record that could be channels, {best} ({len(paths[best])}) and "
            f"{apart[0]} ({len(paths[apart[0]])}); say which with --record",
            Location(source),
        )
    return [best, *(path for path in beside if path != best)]


def _grid(chosen: list[Any], root: Any, source: str) -> Grid:
    around = {element for record in chosen for element in record.iterancestors()}
    inside = {element for record in chosen for element in record.iter(etree.Element)}
    headings: list[str] = []
    rows_as_pairs = [[*_around(record), *_cells(record)] for record in chosen]
    for pairs in rows_as_pairs:
        had: dict[str, int] = {}
        for heading, _ in pairs:
            had[heading] = had.get(heading, 0) + 1
            if headings.count(heading) < had[heading]:
                headings.append(heading)
    rows = []
    for pairs in rows_as_pairs:
        left = list(pairs)
        row = []
        for heading in headings:
            at = next((at for at, (name, _) in enumerate(left) if name == heading), None)
            row.append("" if at is None else left.pop(at)[1])
        rows.append(row)
    lines = [record.sourceline or 1 for record in chosen]
    numbers = lines if len(set(lines)) == len(lines) else list(range(1, len(lines) + 1))
    asides = [(1, f"{name}: {value}") for name, value in _attributes(root) if root not in inside]
    for element in root.iter(etree.Element):
        text = (element.text or "").strip()
        if element not in inside and text:
            asides.append((element.sourceline or 1, f"{etree.QName(element).localname}: {text}"))
        if element not in inside and element not in around and element is not root:
            said = "; ".join(f"{name}: {value}" for name, value in _attributes(element))
            if said:
                asides.append((element.sourceline or 1, f"{etree.QName(element).localname}: {said}"))
    return Grid(source, rows, numbers, heading=headings, asides=asides)


def _path(element: Any) -> str:
    return "/".join(
        etree.QName(step).localname for step in (*reversed(list(element.iterancestors())), element)
    )


def _attributes(element: Any) -> list[tuple[str, str]]:
    return [(etree.QName(name).localname, value) for name, value in element.attrib.items()]


def _cells(record: Any) -> list[tuple[str, str]]:
    """A record's attributes, own text and everything below it, as (heading, text)."""
    cells = _attributes(record)
    own = (record.text or "").strip()
    if own:  # <channel nr="7">Kick</channel>: what stands in a record beside its attributes is its name
        bare = not cells or len(record) or any(fold(name) == "name" for name, _ in cells)
        cells.append((etree.QName(record).localname if bare else "name", own))
    for child in record.iterdescendants(etree.Element):
        name = etree.QName(child).localname
        text = " ".join(
            part
            for part in [(child.text or "").strip(), *((grand.tail or "").strip() for grand in child)]
            if part
        )
        if text or not (len(child) or child.attrib):
            cells.append((name, text))
        cells += [
            (name if key in _NAMING and not text else f"{name} {key}", value)
            for key, value in _attributes(child)
        ]
    tail = " ".join(text for child in record if (text := (child.tail or "").strip()))
    return [*cells, ("", tail)] if tail else cells


_NAMING = ("name", "id", "label", "nr", "number", "value")


def _around(record: Any) -> Iterator[tuple[str, str]]:
    """Attributes of the elements around a record that a record may inherit, outermost first."""
    words = vocabulary()
    for element in reversed(list(record.iterancestors())):
        tag = etree.QName(element).localname
        for name, value in _attributes(element):
            heading = tag if name in _NAMING else f"{tag} {name}"
            if element.getparent() is not None:
                yield heading, value
            elif "box" in heading_fields(heading, words)[:1] or "box" in heading_fields(name, words)[:1]:
                yield (heading if heading_fields(heading, words) else name), value


# Our own XML

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
    wrong = _NOT_XML.search(text)
    if wrong:
        raise WriteError(
            f"XML cannot hold the character U+{ord(wrong[0]):04X}, which stands in {text!r}; take it out of the name"
        )
    return text


def dropped(whole: ChannelMap, port: str | None) -> list[str]:
    """Nothing."""
    columns.check_writable(whole, port)
    return []
