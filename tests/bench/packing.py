"""How long packing takes: 80 inputs with 20 pairs, 6 fixed places and groups, start and proof included."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

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


def timings(folder: str, seconds: Callable[..., float]) -> Iterator[tuple[str, float, str, float]]:
    """What, its seconds, the baseline and its seconds; the baseline is a merge of one sheet that needs no packing."""
    tool = str(Path(sys.executable).with_name("chanbridge"))
    fixes = [word for fix in FIXED for word in ("--fix", fix)]
    for groups in (False, True):
        paths = sheets(folder, groups)
        plain = [tool, "merge", paths[0], "--onto", "64@48000", "-o", os.path.join(folder, "plain.csv")]
        base = seconds(*plain, times=3)
        for sizes in ONTO:
            modes = [
                word
                for size in sizes
                for word in ("--onto", f"{size}@{96000 if sizes[0] == '32' else 48000}")
            ]
            command = [tool, "merge", *paths, *modes, *fixes, "--layout", "packed", "--partial"]
            taken = seconds(
                "sh",
                "-c",
                '"$@"; test $? -le 1',
                "sh",
                *command,
                "-o",
                os.path.join(folder, "feed.csv"),
                times=1,
            )
            name = f"80 inputs onto {'+'.join(sizes)}{', groups' if groups else ''}"
            yield name, taken, "merge without packing", base
