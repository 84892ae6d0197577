"""What is said of a recording: as data, and as lines for people."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import NamedTuple

from chanbridge.ident.codes import WALK
from chanbridge.ident.detect import Detected, Heard
from chanbridge.ident.recording import Take
from chanbridge.ident.verdict import Finding, Judge, Plan, Verdict
from chanbridge.ident.walk import Step, steps
from chanbridge.names import counted


class Report(NamedTuple):
    """A recording read against the plan. `port`: whose slots its inputs are; `walked`: the carried signal's way."""

    source: str
    inputs: int
    seconds: float
    rate_hz: int
    port: str
    plan: Plan
    found: Detected
    verdict: Verdict
    walked: tuple[Step, ...]


def report(source: str, port: str, take: Take, found: Detected, plan: Plan) -> Report:
    """Judge what was heard; where the carried signal was and no other ident, by its way."""
    shape = (source, take.inputs, take.length / take.rate_hz, take.rate_hz, port, plan, found)
    if not found.visits or any(
        each.code not in (None, WALK) and each.state == "ident" for each in found.inputs
    ):
        return Report(*shape, Judge(found.inputs, plan).verdict(), ())
    order = dict.fromkeys(code for at in range(len(plan.places)) for code in plan.wanted(at))
    walked, findings = steps(found.visits, plan, list(order))
    return Report(*shape, Verdict(findings, (), ()), walked)


def _carries(each: Heard, plan: Plan, at: int) -> str | None:
    return plan.name(each.code, at) if each.state == "ident" and each.code is not None else None


def _planned(plan: Plan, at: int) -> str:
    return plan.places[at].name if at < len(plan.places) else ""


def data(report: Report) -> dict[str, object]:
    """A report as plain data, for JSON."""
    plan = report.plan
    inputs = [
        {
            "input": at + 1,
            "carries": _carries(each, plan, at),
            "confidence": round(each.confidence, 3),
            "gain_db": _rounded(each.gain_db, 2),
            "polarity": None if each.reversed is None else "reversed" if each.reversed else "normal",
            "delay_ms": _rounded(each.delay_ms, 4),
            "also": [
                {"channel": plan.name(also.code), "gain_db": round(also.gain_db, 1)} for also in each.also
            ],
            "heard": {"other": "no ident", "stranger": "ident of another plan"}.get(each.state, each.state),
            "perhaps": plan.name(each.code, at) if each.state == "unsure" and each.code is not None else None,
            "planned": _planned(plan, at) or None,
            "level_dbfs": round(each.level_dbfs, 1),
            "clipped": each.clipped,
        }
        for at, each in enumerate(report.found.inputs)
    ]
    out: dict[str, object] = {
        "source": report.source,
        "port": report.port,
        "inputs": inputs,
        "findings": [each._asdict() for each in report.verdict.findings],
        "questions": [each._asdict() for each in report.verdict.questions],
        "not_judged": list(report.verdict.not_judged),
        "clock_ppm": _rounded(_clock(report.found), 1),
    }
    if report.walked:
        out["walk"] = [
            {
                "input": step.visit.input + 1,
                "from_s": round(step.visit.begin_s, 1),
                "to_s": round(step.visit.end_s, 1),
                "channel": plan.name(step.code) if step.code is not None else None,
                "planned": step.planned + 1 if step.planned is not None else None,
            }
            for step in report.walked
        ]
    return out


def _rounded(value: float | None, places_: int) -> float | None:
    return None if value is None else round(value, places_) + 0.0  # no -0.0


def _plain(value: float, digits: int) -> str:
    return f"{round(value, digits) + 0.0:.{digits}f}"


def _clock(found: Detected) -> float | None:
    """The recorder's clock against the player's, of the middle input."""
    ppm = sorted(each.ppm for each in found.inputs if each.state == "ident" and each.ppm is not None)
    return ppm[len(ppm) // 2] if ppm else None


def text(report: Report, draw: Callable[[list[str], list[list[str]]], list[str]]) -> list[str]:
    """A report as lines for people. `draw` makes lines of a heading and rows."""
    verdict = report.verdict
    out = [
        f"{report.source}: {counted(report.inputs, 'input')}, {report.seconds:.1f} s at {report.rate_hz} Hz, read as the port {report.port}",
        "",
    ]
    out += draw(*(_walk_table(report) if report.walked else _table(report)))
    out.append("")
    for findings, title in ((verdict.findings, "Differs from the plan:"), (verdict.questions, "Not sure:")):
        if findings:
            out += [title, *(f"  {_kind(each, title):<14} {each.message}" for each in findings), ""]
    if verdict.not_judged:
        out.append(f"Not recorded, so not judged: {', '.join(verdict.not_judged)}")
    clipped = [str(at) for at, each in enumerate(report.found.inputs, 1) if each.clipped]
    if clipped:
        out.append(f"Clipped inputs, whose gain and crosstalk are only about right: {', '.join(clipped)}")
    ppm = _clock(report.found)
    if ppm is not None and abs(ppm) > 1:
        out.append(
            f"The recorder's clock is {abs(ppm):.0f} ppm {'above' if ppm > 0 else 'below'} the player's."
        )
    if report.walked:
        out.append(f"{counted(len(report.walked), 'visit')}; {_counts(verdict)}")
        return out
    live = [at for at, each in enumerate(report.found.inputs) if each.state == "ident"]
    right = sum(report.found.inputs[at].code in report.plan.wanted(at) for at in live)
    planned = sum(bool(report.plan.wanted(at)) for at in range(report.inputs))
    out.append(f"{right} of {planned} planned inputs carry their channel; {_counts(verdict)}")
    return out


def _kind(each: Finding, title: str) -> str:
    return each.kind if title.startswith("Differs") else "question"


def _counts(verdict: Verdict) -> str:
    counts = Counter(each.kind for each in verdict.findings)
    said = [f"{count} {kind}" for kind, count in counts.items()]
    said += [counted(len(verdict.questions), "question")] if verdict.questions else []
    return ", ".join(said) or "nothing differs from the plan"


def _table(report: Report) -> tuple[list[str], list[list[str]]]:
    plan = report.plan
    rows = []
    for at, each in enumerate(report.found.inputs):
        carries = _carries(each, plan, at)
        planned = _planned(plan, at)
        also = ", ".join(f"{plan.name(one.code)} {one.gain_db:.0f}" for one in each.also)
        rows.append(
            [
                str(at + 1),
                _socket(report, at),
                carries or {"silent": "silent", "other": "no ident", "unsure": "NOT SURE"}.get(each.state, "another plan's"),
                "" if carries == planned or (not carries and not planned) else planned or "-",
                "" if each.gain_db is None else _plain(each.gain_db, 1),
                "REVERSED" if each.reversed else "",
                "" if each.delay_ms is None else _plain(each.delay_ms, 2),
                also,
            ]
        )  # fmt: skip
    heading = ["In", "Socket", "Carries", "Planned", "Gain dB", "Polarity", "Delay ms", "Also, dB"]
    if not any(row[1] for row in rows):
        return heading[:1] + heading[2:], [row[:1] + row[2:] for row in rows]
    return heading, rows


def _socket(report: Report, at: int) -> str:
    """Where what an input should carry is plugged in; "" for nothing, and where that is the input itself."""
    place = report.plan.places[at] if at < len(report.plan.places) else None
    if place is None or (place.source.number == at + 1 and place.source.port in (report.port, "slots")):
        return ""
    return str(place.source)


def _walk_table(report: Report) -> tuple[list[str], list[list[str]]]:
    rows = [
        [
            str(number),
            f"{step.visit.begin_s:.0f}-{step.visit.end_s:.0f}",
            str(step.visit.input + 1),
            "" if step.planned in (None, step.visit.input) else str((step.planned or 0) + 1),
            report.plan.name(step.code) if step.code is not None else "not in the plan's order",
        ]
        for number, step in enumerate(report.walked, 1)
    ]
    return ["Visit", "Seconds", "Input", "Planned", "Channel by the plan's order"], rows
