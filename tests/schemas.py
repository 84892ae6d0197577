"""Write the generated schemas anew: `python -m tests.schemas`. A test compares them."""

from __future__ import annotations

import json
from pathlib import Path

from chanbridge import show
from chanbridge.formats import native

SCHEMAS = Path(__file__).parents[1] / "schemas"
GENERATED = {"channel-map.schema.json": native.schema, "show.schema.json": show.schema}


def text(name: str) -> str:
    """A generated schema as it must lie in schemas/."""
    return json.dumps(GENERATED[name](), indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    for name in GENERATED:
        (SCHEMAS / name).write_text(text(name), encoding="utf-8")
