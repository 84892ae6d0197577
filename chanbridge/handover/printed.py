"""Everything of a hand-over that is made for eyes and hands: sheets as PDF and HTML, workbooks, the flow, labels, the cover."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from chanbridge import formats
from chanbridge.assemble import Delivery, Planned
from chanbridge.check.rule import CARE, Report
from chanbridge.compare.changes import Comparison
from chanbridge.files import read_bytes
from chanbridge.formats.characters import encode
from chanbridge.handover.changes import Changed
from chanbridge.handover.cover import LeftOut, Share, Told, cover_page
from chanbridge.handover.flow import picture
from chanbridge.handover.html import html
from chanbridge.handover.labels import strips_pdf, tags_pdf
from chanbridge.handover.letters import Letters
from chanbridge.handover.manifest import NAME as MANIFEST
from chanbridge.handover.manifest import Manifest, joined, manifest, written
from chanbridge.handover.needs import need_of
from chanbridge.handover.paper import PAPERS, Heading, Notes, Page
from chanbridge.handover.papers import (
    cable_tags,
    changes_page,
    label_strip,
    recipient_page,
    revision_page,
    stage_map,
    stage_page,
)
from chanbridge.handover.pdf import pdf
from chanbridge.handover.plain import text
from chanbridge.handover.recipients import recipient_map
from chanbridge.handover.route import flow
from chanbridge.handover.words import LANGUAGES, Words
from chanbridge.show import Show
from chanbridge.system import CREW, Recipient, ShowFile

FORMATS = ("pdf", "html", "xlsx", "csv", "xml", "txt", "svg")
"""Endings of the files of a hand-over, as they may be asked for. Summary and manifest are always there."""

ALWAYS = ("summary.txt", MANIFEST)

File = tuple[str, bytes]


@dataclass(frozen=True)
class Asked:
    """How the papers shall be. `formats`, `only`: empty for all; `only` names folders, and `cover` and `flow`.

    `paper`: "a4" or "letter". `label_mm`, `label_row`: the width of a label in mm, and how many stand in a row.
    `fonts`: folders with more fonts. `line_check`: what is ticked, in words, None for nothing yet.
    """

    language: str = "en"
    formats: tuple[str, ...] = ()
    only: tuple[str, ...] = ()
    from_zero: bool = False
    paper: str = "a4"
    label_mm: float = 25.0
    label_row: int = 8
    fonts: tuple[str, ...] = ()
    line_check: tuple[str, ...] | None = None
    progress: Callable[[str], None] = field(default=lambda _: None, compare=False)

    def wants(self, name: str) -> bool:
        """Whether a file, by its name below the hand-over's folder, is asked for."""
        if name in ALWAYS:
            return True
        ending = name.rpartition(".")[2]
        if self.formats and ending not in self.formats:
            return False
        folders = name.split("/")[:-1]
        mine = folders[2:] if folders[:1] == ["acts"] else folders
        owner = mine[0] if mine else name.rpartition(".")[0]
        return not self.only or owner in self.only

    def check(self) -> None:
        """Raise ValueError for a language, a kind or a paper that there is not."""
        for said, there in (((self.language,), LANGUAGES), (self.formats, FORMATS), ((self.paper,), PAPERS)):
            for name in said:
                if name not in there:
                    raise ValueError(f"{name!r} is none of {', '.join(there)}")

    def noted(self) -> dict[str, Any]:
        """What the manifest keeps of it; where fonts lie is nobody else's business."""
        return {
            "language": self.language, "formats": list(self.formats), "only": list(self.only),
            "from_zero": self.from_zero, "paper": self.paper, "label_mm": self.label_mm, "label_row": self.label_row,
            "line_check": None if self.line_check is None else list(self.line_check),
        }  # fmt: skip


ALL = Asked()
"""Every paper, in English, on A4."""


def folders(file: ShowFile) -> tuple[str, ...]:
    """Names of what can be asked for alone: each recipient and box, the stage crew, and the pages for all."""
    changeovers = ("changeovers",) if file.act else ()
    recipients, boxes = [item.id for item in file.recipient], [item.id for item in file.box]
    return (*recipients, CREW, *boxes, *changeovers, "cover", "flow")


class _Press:
    """What every page of one plan has in common."""

    def __init__(self, show: Show, planned: Planned, asked: Asked) -> None:
        self.file, self.planned, self.asked = show.file, planned, asked
        self.words = Words(asked.language)
        self.letters = Letters(asked.fonts)

    def heading(self, recipient: str) -> Heading:
        whole = self.planned.map
        plan = self.planned
        who = f"{recipient}: {plan.act}" if plan.act else recipient
        return Heading(self.file.title, who, whole.revision, plan.word, plan.hash, whole.date)

    def page(
        self, stem: str, made: Callable[[], Page], endings: Sequence[str] = ("pdf", "html")
    ) -> Iterator[File]:
        """A page in every kind that is asked for; it is laid out only where one is."""
        wanted = [ending for ending in endings if self.asked.wants(f"{stem}.{ending}")]
        if not wanted:
            return
        page = made()
        for ending in wanted:
            name = f"{stem}.{ending}"
            self.asked.progress(name)
            if ending == "pdf":
                yield name, pdf(page, self.words, self.asked.paper, self.letters)
            else:
                yield name, html(page, self.words) if ending == "html" else encode(text(page, self.words))

    def made(self, name: str, make: Callable[[], bytes]) -> Iterator[File]:
        """A file, where it is asked for."""
        if self.asked.wants(name):
            self.asked.progress(name)
            yield name, make()


def papers(
    show: Show,
    planned: Planned,
    asked: Asked,
    differences: Mapping[str, Comparison],
    changed: Mapping[str, frozenset[str]],
    told: Callable[[], Told],
) -> Iterator[File]:
    """The printed files of a show, act by act. `changed`: folder of a sheet → the rows that get a change bar."""
    for folder, part in planned.parts():
        press = _Press(show, part, asked)
        for delivery in part.deliveries:
            yield from _recipient(press, delivery, changed, {} if folder else differences, folder)
        yield from _stage(press, folder, changed)
    press = _Press(show, planned, asked)
    yield from _flow(press)
    yield from press.page("cover", lambda: _cover(press, told()))


def changed_papers(
    show: Show,
    planned: Planned,
    asked: Asked,
    recipient: Recipient,
    found: Sequence[Changed],
    letter: str,
    folder: str,
) -> Iterator[File]:
    """What changed for a recipient since the revision `letter`, for eyes and hands."""
    press = _Press(show, planned, asked)
    heading = press.heading(recipient.name or recipient.id)
    yield from press.page(
        f"{folder}{recipient.id}/changes", lambda: revision_page(found, letter, heading, press.words)
    )


def with_manifest(
    show: Show,
    planned: Planned,
    files: Sequence[File],
    asked: Asked,
    there: Manifest | None = None,
    **more: Any,
) -> tuple[File, ...]:
    """The files with their manifest, before the summary. `more` is kept beside what was asked.

    `there`: of what lies in the folder already and stays listed.
    """
    made = manifest(
        files, inputs(show), title=planned.map.title, revision=planned.map.revision, hash=planned.hash, word=planned.word,
        asked=asked.noted() | more,
    )  # fmt: skip
    return (*files[:-1], (MANIFEST, written(joined(there, made) if there else made)), *files[-1:])


def inputs(show: Show) -> Iterator[File]:
    """The show file and every sheet that it names, by their names below its folder. Raises ReadError."""
    yield os.path.basename(show.source), show.text.encode("utf-8")
    folder = os.path.dirname(show.source)
    file = show.file
    named = [box.sheet for box in file.box] + [act.sheet for act in file.act]
    named += [name for item in file.recipient for name in (item.sheet, item.wants)]
    named += [feed.keep for feed in file.feed]
    for name in dict.fromkeys(filter(None, named)):
        yield name, read_bytes(os.path.join(folder, name))


def _recipient(
    press: _Press,
    delivery: Delivery,
    changed: Mapping[str, frozenset[str]],
    differences: Mapping[str, Comparison],
    folder: str,
) -> Iterator[File]:
    recipient = delivery.recipient
    name = recipient.name or recipient.id
    stem = f"{folder}{recipient.id}"
    file, planned, words, asked = press.file, press.planned, press.words, press.asked
    yield from press.page(
        f"{stem}/sheet",
        lambda: recipient_page(
            file, planned, delivery, press.heading(name), words,
            from_zero=asked.from_zero, changed=changed.get(stem, frozenset()),
        ),
    )  # fmt: skip
    yield from press.made(
        f"{stem}/sheet.xlsx",
        lambda: formats.write(recipient_map(planned, delivery), formats.named("xlsx"), recipient.id),
    )
    if recipient.id in differences:
        yield from press.page(
            f"{stem}/own-list",
            lambda: changes_page(differences[recipient.id], recipient.sheet, press.heading(name), words),
        )
    if need_of(recipient, file) != "volunteer":
        yield from press.made(
            f"{stem}/labels.pdf",
            lambda: strips_pdf(
                press.heading(f"{name}: {words('labels')}"),
                [label_strip(file, planned.map, recipient.id, "", asked.label_mm, asked.label_row)],
                words, asked.paper, press.letters,
            ),
        )  # fmt: skip


def _stage(press: _Press, folder: str, changed: Mapping[str, frozenset[str]]) -> Iterator[File]:
    """For the people with the cables: all boxes on one sheet, strips for the boxes, labels for cables."""
    file, planned, words, asked = press.file, press.planned, press.words, press.asked
    stem = folder + CREW
    heading = press.heading(words("stage"))
    yield from press.page(
        f"{stem}/sheet",
        lambda: stage_page(file, planned, heading, words, changed.get(stem, frozenset())),
        ("pdf", "html", "txt"),
    )
    for name in ("xlsx", "csv", "xml"):
        known = formats.named(name)
        yield from press.made(f"{stem}/sheet.{name}", partial(_list, file, planned, known))
    if folder:
        return  # strips and cables stay as they are from act to act, but for what the changeover sheets say
    yield from press.made(
        f"{stem}/labels.pdf",
        lambda: strips_pdf(
            press.heading(f"{words('stage')}: {words('labels')}"),
            [
                label_strip(
                    file, planned.map, box.id, f"{words('box')} {box.id}", asked.label_mm, asked.label_row
                )
                for box in file.box
            ],
            words,
            asked.paper,
            press.letters,
        ),
    )
    yield from press.made(
        f"{stem}/cables.pdf",
        lambda: tags_pdf(
            press.heading(f"{words('stage')}: {words('cables')}"),
            cable_tags(file, planned, words),
            words,
            asked.paper,
            press.letters,
        ),
    )


def _list(file: ShowFile, planned: Planned, known: formats.Format) -> bytes:
    return formats.write(stage_map(file, planned), known, "stage")


def _flow(press: _Press) -> Iterator[File]:
    names = [name for name in ("flow.svg", "flow.pdf", "flow.html") if press.asked.wants(name)]
    if not names:
        return
    words = press.words
    whole = flow(press.file, press.planned, words)
    heading = press.heading(words("flow"))
    yield from press.made("flow.svg", lambda: encode(picture(whole, words).svg + "\n"))

    def printed() -> Page:
        """The way on the first page, its cables on the next."""
        drawn = picture(whole._replace(cables=(), back=()), words)._replace(title="")
        parts = [drawn]
        if whole.cables or whole.back:
            parts.append(picture(whole._replace(cards=(), ways=()), words)._replace(title=""))
        care = [words("care_sound"), words("care_mains")]
        if any("fibre" in (link.medium or "") for link in press.file.link):
            care.append(words("care_laser"))
        return Page(heading, (*parts, Notes(words("cautions"), tuple(care), careful=True)), wide=True)

    yield from press.page("flow", printed)


def _cover(press: _Press, told: Told) -> Page:
    planned = press.planned
    total = len(planned.map.channels) - len(planned.returns)
    shares, left_out = [], []
    for delivery in planned.deliveries:
        slots = sorted(slot for places in delivery.delivered.values() for slot in places)
        name = delivery.recipient.name or delivery.recipient.id
        back = sum(one in planned.returns for one in delivery.delivered)
        shares.append(
            Share(
                name,
                press.words("used_of", used=len(delivery.delivered) - back, size=total),
                f"{slots[0]}–{slots[-1]}" if slots else "",
                sum(item.wanted for item in delivery.missing),
            )
        )
        left_out += [
            LeftOut(name, item.channel.name or item.channel.id, item.reason, item.wanted)
            for item in delivery.missing
        ]
    left_out += [
        LeftOut(press.words("all"), channel.name or channel.id, reason, True)
        for channel, reason in planned.unplaced
    ]
    return cover_page(press.heading(press.words("cover")), shares, left_out, told, press.words)


def told_by(report: Report, proof: Sequence[str], show: Show) -> Told:
    """What a check and a proof say, for the cover; sheets are named as the show names them."""
    folder = os.path.join(os.path.dirname(show.source), "")
    findings = tuple((one.severity, one.where.removeprefix(folder), one.message) for one in report.findings)
    said = {one.caution for one in report.findings}
    subjects = tuple(subject for subject, caution in CARE.items() if subject and caution in said)
    return Told(findings, tuple(proof), cautions=subjects)
