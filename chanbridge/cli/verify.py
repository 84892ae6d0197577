"""chanbridge verify"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import click

from chanbridge.cli.evening import journal_of
from chanbridge.cli.papers import fonts_option
from chanbridge.cli.sources import accept_rejected_option, json_text
from chanbridge.errors import Location, ReadError
from chanbridge.files import read_bytes
from chanbridge.handover.again import made_again
from chanbridge.handover.manifest import NAME, SAID, Manifest, Verdict, compared, digest, read_manifest
from chanbridge.names import counted, spoken
from chanbridge.show import load

Found = Sequence[tuple[str, Verdict]]


@click.command("verify")
@click.argument("folder", metavar="DIR")
@click.argument("show", metavar="[SHOW]", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print what is to be said of each file as JSON.")
@fonts_option
@accept_rejected_option
@click.pass_context
def command(
    ctx: click.Context, folder: str, show: str | None, as_json: bool, fonts: tuple[str, ...], accept_rejected: bool
) -> None:  # fmt: skip
    """Say of each file of a hand-over whether it is as it was made, and whether SHOW still says the same.

    DIR is what handover wrote. Without SHOW the papers are held against their manifest alone. Exit status 1 where
    a file was altered, is missing, or is older than the plan.

    Example: chanbridge verify handover examples/winter-concert
    """
    path = os.path.join(folder, NAME)
    if not os.path.isdir(folder):
        raise ReadError("this is no folder; name one that handover wrote", Location(folder))
    if not os.path.exists(path):
        raise ReadError(
            f"no hand-over lies here, for it has no {NAME}; name a folder that handover wrote",
            Location(folder),
        )
    made = read_manifest(read_bytes(path), path)
    there = _digests(Path(folder), made)
    now: Mapping[str, str] | None = None
    changed: list[str] = []
    moved = ""
    if show:
        loaded = load(show, accept_rejected=accept_rejected)
        again = made_again(loaded, journal_of(loaded), made, fonts)
        now = {name: digest(data) for name, data in again.files}
        read = {name: digest(data) for name, data in again.inputs}
        if again.hash != made.hash:
            moved = f"revision {again.revision or '-'}, word {spoken(again.hash)}"
        changed = sorted(name for name in {*made.inputs, *read} if made.inputs.get(name) != read.get(name))
    found = compared(made, there, now)
    if as_json:
        files_said = [{"name": name, "verdict": verdict} for name, verdict in found]
        click.echo(json_text({"inputs_changed": changed, "plan_now": moved, "files": files_said}))
    else:
        click.echo("\n".join(_for_people(folder, made, found, changed, moved, show)))
    ctx.exit(1 if any(verdict not in ("agrees", "not listed") for _, verdict in found) else 0)


def _digests(folder: Path, made: Manifest) -> dict[str, str]:
    """What lies in the folder; revisions that were put aside and hidden files are no part of it."""
    found = {}
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_file() and not name.startswith(("earlier/", ".")):
            found[name] = digest(read_bytes(path)) if name in made.files else ""
    return found


def _for_people(
    folder: str, made: Manifest, found: Found, changed: Sequence[str], moved: str, show: str | None
) -> Iterator[str]:
    """Folder by folder how many files agree, then each that does not."""
    word = f", word {made.word}" if made.word else ""
    yield f"{folder}: {made.title}, revision {made.revision or '-'}{word}"
    owners: dict[str, list[tuple[str, Verdict]]] = {}
    for name, verdict in found:
        owners.setdefault(name.rpartition("/")[0] or ".", []).append((name, verdict))
    wide = max(map(len, owners), default=0)
    for owner, files in owners.items():
        agree = sum(verdict == "agrees" for _, verdict in files)
        listed = sum(verdict != "not listed" for _, verdict in files)
        yield f"  {owner:<{wide}}  {agree} of {counted(listed, 'file')} as made"
        kinds: dict[tuple[str, Verdict], list[str]] = {}
        for name, verdict in files:
            if verdict != "agrees":
                stem, _, ending = name.rpartition(".")
                kinds.setdefault((stem, verdict), []).append(ending)
        for (stem, verdict), endings in kinds.items():
            mark = "  " if verdict == "not listed" else "!!"
            yield f"   {mark} {stem}.{' .'.join(endings)}: {SAID[verdict]}"
    if changed:
        yield f"Changed since: {', '.join(changed)}"
    wrong = sum(verdict not in ("agrees", "not listed") for _, verdict in found)
    if moved:
        yield f"The plan has moved on to {moved}; what stands on the papers without a mark is still so"
    if wrong:
        yield f"{counted(wrong, 'file')} not to be relied on; make the hand-over again"
    elif show:
        yield "Paper and plan agree."
    else:
        yield f"The papers are as they were made. The plan was not looked at: chanbridge verify {folder} SHOW"
