"""The whole map as JSON, after schemas/channel-map.schema.json."""

from __future__ import annotations

import json
from typing import Any

from pydantic import ValidationError

from chanbridge.errors import Location, ReadError
from chanbridge.formats.characters import decode, encode
from chanbridge.model import ChannelMap
from chanbridge.sheets.grid import Options


def read(data: bytes, source: str, options: Options) -> ChannelMap:
    """The map in a file. Raises ReadError naming the place, for JSON that is none or holds something else."""
    text = decode(data, source, options.encoding).text
    try:
        value = json.loads(text, object_pairs_hook=_once)
    except json.JSONDecodeError as error:
        raise ReadError(
            f"this is not JSON: {error.msg.lower()}, at column {error.colno}",
            Location(source, "", error.lineno),
        ) from None
    except ValueError as error:  # a key twice, or a number of thousands of digits
        message = "a number has thousands of digits" if "digits" in str(error) else str(error)
        raise ReadError(f"this JSON cannot be read: {message}", Location(source)) from None
    if not isinstance(value, dict):
        raise ReadError(
            "this JSON holds no channel map: it is not an object with channels and ports", Location(source)
        )
    try:
        return ChannelMap.model_validate(value)
    except ValidationError as error:
        raise ReadError(explain(error), Location(source)) from None


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """An object whose keys differ; ValueError for one that says something twice."""
    found = dict(pairs)
    if len(found) < len(pairs):
        twice = next(key for at, (key, _) in enumerate(pairs) if key in dict(pairs[:at]))
        raise ValueError(f"the key {twice[:60]!r} stands twice in one object")
    return found


def explain(error: ValidationError) -> str:
    """The first thing that a validation found, with its path, in one line."""
    first = error.errors(include_url=False)[0]
    path = ".".join(str(part)[:60] for part in first["loc"])
    more = f" (and {error.error_count() - 1} more)" if error.error_count() > 1 else ""
    found = f", found {first['input']!r}"[:80] if first["type"] != "value_error" and first["loc"] else ""
    message = first["msg"].removeprefix("Value error, ")
    return f"this is no channel map: {path + ': ' if path else ''}{message}{found}{more}"


def write(whole: ChannelMap, port: str | None, suffix: str) -> bytes:
    """The map as JSON in UTF-8, two blanks to a level, a line break at the end."""
    data = whole.model_dump(mode="json")
    return encode(json.dumps(data, ensure_ascii=False, indent=2) + "\n")


def dropped(whole: ChannelMap, port: str | None) -> list[str]:
    """Nothing."""
    return []


def schema() -> dict[str, Any]:
    """The JSON schema (2020-12) of a map, as published in schemas/channel-map.schema.json."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **ChannelMap.model_json_schema(mode="validation"),
    }
