"""Other people's XML: the repeated record becomes a row, its attributes and child elements cells."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

from lxml import etree

from chanbridge.errors import Location, ReadError
from chanbridge.names import fold, vocabulary
from chanbridge.sheets.grid import Grid
from chanbridge.sheets.meaning import heading_fields


def grid(root: Any, source: str, wanted: str = "") -> Grid:
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
