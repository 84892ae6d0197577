"""How XML from outside is parsed, wherever that is: no DTD, no entities, no network, no great depth."""

from __future__ import annotations

from typing import Any

XML: dict[str, Any] = {
    "resolve_entities": False,
    "no_network": True,
    "load_dtd": False,
    "huge_tree": False,
    "remove_comments": True,
    "remove_pis": True,
}
"""Arguments of lxml's parsers."""
