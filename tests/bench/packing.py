"""How long packing takes: 80 inputs with 20 pairs, 6 fixed places and groups, start and proof included."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from tests.bench.measure import TOOL, Row, spent

ONTO = (("64",), ("64", "64"), ("56", "56", "56"), ("32", "28", "28"))
FIXED = ("Chair 2=5", "Chair 14=20", "Chair 17=2", "Chair 33=27", "Chair 54=12", "Chair 66=25")


def sheets(folder: str, groups: bool) -> list[str]:
    """Two blocks of 40 inputs, ten pairs on each, in eight groups or none; a quarter of the singles not for air."""
    paths = []
    for block in (0, 1):
        lines = ["Slot,Name,Group,Air" if groups else "Slot,Name,Air"]
        for at in range(1, 41):
            number = 40 * block + at
            place, step = divmod(at - 1, 4)
            name = f"Pair {10 * block + place + 1} {'RL'[step == 2]}" if step > 1 else f"Chair {number}"
            air = "no" if step == 0 and place % 2 else ""
            lines.append(f"{at},{name},{f'Group {number * 8 // 81},' if groups else ''}{air}")
        paths.append(os.path.join(folder, f"{'grouped' if groups else 'plain'}-{block}.csv"))
        Path(paths[-1]).write_text("\n".join(lines) + "\n", "utf-8")
    return paths


def rows(folder: Path) -> Iterator[Row]:
    """Packing, with what does not fit left out, beside a merge of one sheet that needs no packing."""
    fixes = [word for fix in FIXED for word in ("--fix", fix)]
    out = str(folder / "feed.csv")
    for groups in (False, True):
        paths = sheets(str(folder), groups)
        plain = spent(TOOL, "merge", paths[0], "--onto", "64@48000", "-o", str(folder / "plain.csv"))
        for sizes in ONTO[groups:]:  # with groups, the fixed places leave no way onto a single 64
            rate = 96000 if sizes[0] == "32" else 48000
            modes = [word for size in sizes for word in ("--onto", f"{size}@{rate}")]
            command = (TOOL, "merge", *paths, *modes, *fixes, "--layout", "packed", "--partial", "-o", out)
            name = f"pack 80 onto {'+'.join(sizes)}{', groups' if groups else ''}"
            yield Row(
                name, spent(*command, times=1, warm=False, statuses=(0, 1)), "merge without packing", plain
            )
