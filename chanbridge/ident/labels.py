"""What a WAV file says of itself besides its samples: iXML and the broadcast extension (bext)."""

from __future__ import annotations

import struct
import unicodedata
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from lxml import etree

from chanbridge.apart import hardened

_BEXT = struct.Struct("<256s32s32s10s8sQH64s190s")
"""EBU Tech 3285: description, originator, its reference, date, time, time reference, version, UMID, and what later
versions put into the reserve. The coding history follows."""

_CONTROLS = dict.fromkeys([*range(32), *range(127, 160), 0xFFFE, 0xFFFF], " ")


class Broadcast(NamedTuple):
    """A bext chunk. `date` is "2026-12-12", `time` "20:15:00", both "" where unknown; `time_reference` counts samples
    since midnight. `umid` and `reserve` are kept as they come."""

    description: str = ""
    originator: str = ""
    reference: str = ""
    date: str = ""
    time: str = ""
    time_reference: int = 0
    version: int = 1
    umid: bytes = bytes(64)
    reserve: bytes = bytes(190)
    history: str = ""


def read_bext(data: bytes) -> Broadcast | None:
    """A bext chunk's content; None where it is too short to be one."""
    if len(data) < _BEXT.size:
        return None
    *texts, time_reference, version, umid, reserve = _BEXT.unpack_from(data)
    description, originator, reference, date, time = (
        text.split(b"\0")[0].decode("latin-1") for text in texts
    )
    history = data[_BEXT.size :].rstrip(b"\0").decode("latin-1")
    return Broadcast(
        description, originator, reference, date, time, time_reference, version, umid, reserve, history
    )


def write_bext(said: Broadcast) -> bytes:
    """A bext chunk's content. Its texts are ASCII: accents are left off, other letters become question marks."""
    fixed = _BEXT.pack(*map(_ascii, said[:5]), said.time_reference, said.version, said.umid, said.reserve)
    return _even(fixed + _ascii(said.history), b"\0")


def _even(data: bytes, filler: bytes) -> bytes:
    """Of even length: not every reader knows that a chunk of odd length is padded."""
    return data + filler * (len(data) % 2)


def _ascii(text: str) -> bytes:
    plain = unicodedata.normalize("NFKD", text)
    return "".join(sign for sign in plain if not unicodedata.combining(sign)).encode("ascii", "replace")


def read_names(data: bytes) -> dict[int, str]:
    """The tracks' names in an iXML chunk: place in the file, from 1 → name. Raises ValueError where it is no iXML."""
    root = _parsed(data)
    names = {}
    for at, track in enumerate(root.iterfind("TRACK_LIST/TRACK"), 1):
        place = track.findtext("INTERLEAVE_INDEX") or track.findtext("CHANNEL_INDEX") or str(at)
        name = track.findtext("NAME")
        if name and place.strip().isdecimal():
            names[int(place)] = " ".join(name.split())
    return names


def write_names(
    names: Sequence[str], before: bytes = b"", project: str = "", more: Mapping[str, str] | None = None
) -> bytes:
    """An iXML chunk that names the tracks of a file, one for each channel; what it said of other things stays.

    `before`: the chunk as it was. `more`: further elements of the root. Raises ValueError where `before` is no iXML.
    """
    root = _parsed(before) if before else etree.Element("BWFXML")
    for old in root.findall("TRACK_LIST"):
        root.remove(old)
    for tag, text in {"IXML_VERSION": "1.61", "PROJECT": project, **(more or {})}.items():
        if text and root.find(tag) is None:
            etree.SubElement(root, tag).text = text.translate(_CONTROLS)
    tracks = etree.SubElement(root, "TRACK_LIST")
    etree.SubElement(tracks, "TRACK_COUNT").text = str(len(names))
    for at, name in enumerate(names, 1):
        track = etree.SubElement(tracks, "TRACK")
        etree.SubElement(track, "CHANNEL_INDEX").text = str(at)
        etree.SubElement(track, "INTERLEAVE_INDEX").text = str(at)
        if name:
            etree.SubElement(track, "NAME").text = name.translate(_CONTROLS)
    return _even(etree.tostring(root, xml_declaration=True, encoding="UTF-8"), b"\n")


def _parsed(data: bytes) -> etree._Element:
    try:
        root = etree.fromstring(data.rstrip(b"\0 \r\n"), etree.XMLParser(**hardened.XML))
    except etree.XMLSyntaxError as error:
        raise ValueError(f"its iXML cannot be read: {error.msg}") from None
    if root.tag != "BWFXML" or root.getroottree().docinfo.internalDTD is not None:
        raise ValueError(f"its iXML is not BWFXML but {root.tag}")
    return root
