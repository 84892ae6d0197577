"""One signal carried from socket to socket: which inputs it was heard on, in order, and what the plan says to that."""

from __future__ import annotations

from collections.abc import Sequence
from difflib import SequenceMatcher
from typing import NamedTuple

from chanbridge.ident.look import Visit
from chanbridge.ident.verdict import Finding, Kind, Plan


class Step(NamedTuple):
    """A visit beside what the plan has next: the channel's code and its input, from 0; None for a visit too many."""

    visit: Visit
    code: int | None
    planned: int | None


def steps(
    visits: Sequence[Visit], plan: Plan, order: Sequence[int]
) -> tuple[tuple[Step, ...], tuple[Finding, ...]]:
    """Lay the visits beside the sockets in the plan's order (`order`: their codes), and say where they differ.

    A socket at which nothing was heard is left out of neither: it is missing, and the next visit is the next socket's.
    """
    homes = {code: plan.homes(code) for code in order}
    wanted = [code for code in order if homes[code]]
    inputs = [homes[code][0] for code in wanted]
    heard = [visit.input for visit in visits]
    reached = max((inputs.index(each) for each in heard if each in inputs), default=-1)
    out: list[Step] = []
    skipped: dict[int, int] = {}  # input → code of a socket at which nothing was heard in its turn
    added: list[int] = []
    findings: list[Finding] = []
    for tag, one, two, three, four in SequenceMatcher(None, inputs, heard, autojunk=False).get_opcodes():
        if tag == "replace" and two - one == four - three and not {*heard[three:four]} & {*inputs}:
            for code, home, at in zip(wanted[one:two], inputs[one:two], range(three, four), strict=True):
                out.append(Step(visits[at], code, home))
                findings.append(_finding("moved", plan, code, heard[at], f"visit {at + 1} is {plan.name(code)!r} by the plan's order, heard on input {heard[at] + 1}; planned is input {home + 1}"))  # fmt: skip
        elif tag == "equal":
            out += [
                Step(*each) for each in zip(visits[three:four], wanted[one:two], inputs[one:two], strict=True)
            ]
        else:
            skipped |= {inputs[at]: wanted[at] for at in range(one, two) if at <= reached}
            added += range(three, four)
    for at in added:
        passed = skipped.pop(heard[at], None)
        out.append(Step(visits[at], passed, None if passed is None else heard[at]))
        if passed is None:
            findings.append(_finding("extra", plan, None, heard[at], f"visit {at + 1}, on input {heard[at] + 1}, has no socket in the plan's order"))  # fmt: skip
        else:
            findings.append(_finding("moved", plan, passed, heard[at], f"visit {at + 1} was on input {heard[at] + 1}, {plan.name(passed)!r}, out of the plan's order: walked so, or changed places with a neighbour"))  # fmt: skip
    for home, code in skipped.items():
        findings.append(_finding("missing", plan, code, home, f"{plan.name(code)!r} was not heard in its turn; its input is {home + 1}"))  # fmt: skip
    return tuple(sorted(out, key=lambda step: step.visit.begin_s)), tuple(
        sorted(findings, key=lambda each: each.inputs)
    )


def _finding(kind: Kind, plan: Plan, code: int | None, at: int, message: str) -> Finding:
    return Finding(kind, () if code is None else (plan.name(code),), (at + 1,), message)
