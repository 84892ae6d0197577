"""chanbridge check"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

import click

from chanbridge.check import RULES, check
from chanbridge.check.rule import SEVERITIES, Facts, Report, Rule
from chanbridge.cli.evening import standing
from chanbridge.cli.sources import accept_rejected_option, json_text, read_source, say_ledger, sheet_options
from chanbridge.errors import close_to
from chanbridge.formats import is_show
from chanbridge.handover.facts import sheet_facts, show_facts
from chanbridge.names import counted
from chanbridge.sheets.grid import Options
from chanbridge.show import load

SHOWN = "In the examples stands what is added to a show of one box A, one block and the recipient desk."

FEW = 8
"""Rules named on the page that could not be asked for one reason."""


def _rules(ctx: click.Context, parameter: click.Parameter, names: tuple[str, ...]) -> tuple[Rule, ...]:
    """The rules named by an option."""
    known = {each.name: each for each in RULES}
    names = tuple(name.strip() for text in names for name in text.split(","))
    for name in names:
        if name not in known:
            near = close_to(name, known)
            advice = f"did you mean {near!r}?" if near else "they stand in: chanbridge check --explain all"
            raise click.BadParameter(f"there is no rule {name!r}; {advice}", ctx, parameter)
    return tuple(known[name] for name in names)


def _explain(ctx: click.Context, parameter: click.Parameter, name: str | None) -> None:
    if name == "all":
        for each in RULES:
            click.echo(f"{each.name} ({each.severity}): {each.doc.partition(chr(10))[0]}")
    elif name is not None:
        for each in _rules(ctx, parameter, (name,)):
            click.echo(f"{each.name} ({each.severity})\n\n{each.doc}")
            if " = " in each.doc:
                click.echo(f"\n{SHOWN}")
    if name is not None:
        ctx.exit()


@click.command("check")
@click.argument("source", metavar="SHOW|SHEET")
@click.option("--json", "as_json", is_flag=True, help="Print the findings as JSON.")
@click.option(
    "--only",
    metavar="RULES",
    multiple=True,
    callback=_rules,
    help="Ask these rules, with commas between them.",
)
@click.option(
    "--without",
    metavar="RULES",
    multiple=True,
    callback=_rules,
    help="Leave these rules out.",
)
@click.option(
    "--explain", metavar="RULE", is_eager=True, expose_value=False, callback=_explain,
    help="Say what a rule finds, with an example that fails and one that passes; all: every rule in a line.",
)  # fmt: skip
@sheet_options
@accept_rejected_option
@click.pass_context
def command(
    ctx: click.Context, source: str, as_json: bool, only: tuple[Rule, ...], without: tuple[Rule, ...],
    accept_rejected: bool, options: Options,
) -> None:  # fmt: skip
    """Say what is wrong with a show (a show.toml, or its folder) or with one sheet, and how to mend it.

    Exit status 1 where there is an error or a warning; notes alone are 0.

    Example: chanbridge check examples/winter-concert
    """
    if not {*(only or RULES)} - {*without}:
        raise click.UsageError("no rule is left to ask; take one from --without")
    facts = _facts(source, options, accept_rejected=accept_rejected)
    report = check(facts, [each.name for each in only], [each.name for each in without])
    if as_json:
        click.echo(json_text(_as_data(report)))
    else:
        click.echo("\n".join(_for_people(source, facts, report)))
    ctx.exit(1 if any(finding.severity != "note" for finding in report.findings) else 0)


def _facts(source: str, options: Options, *, accept_rejected: bool) -> Facts:
    if is_show(source):
        show = load(source, accept_rejected=accept_rejected)
        return show_facts(show, standing(show))
    reading = read_source(source, None, options, accept_rejected=accept_rejected)
    say_ledger(reading)
    return sheet_facts(reading)


def _as_data(report: Report) -> dict[str, object]:
    findings = [
        {
            "rule": finding.rule,
            "severity": finding.severity,
            "where": finding.where,
            "channels": list(finding.channels),
            "message": f"{finding.message}. {finding.caution}" if finding.caution else finding.message,
        }
        for finding in report.findings
    ]
    return {"findings": findings, "not_judged": [item._asdict() for item in report.not_judged]}


def _for_people(source: str, facts: Facts, report: Report) -> Iterator[str]:
    """Findings for a screen of 80 columns, the worst first; then the cautions, then what was not judged."""
    counts = [(name, sum(item.severity == name for item in report.findings)) for name in SEVERITIES]
    said = ", ".join(counted(count, name) for name, count in counts if count)
    yield f"{source}: {counted(len(facts.map.channels), 'channel')}; {said or 'nothing found'}"
    for severity, count in counts:
        if count:
            yield from ("", severity.upper() + ("S" if count > 1 else ""))
        last = ""
        for finding in report.findings:
            if finding.severity != severity:
                continue
            if finding.rule != last:
                yield f"  {finding.rule}"
            last = finding.rule
            yield from _wrapped(f"{finding.where}: {finding.message}.", "    ", "      ")
    cautions = [*dict.fromkeys(finding.caution for finding in report.findings if finding.caution)]
    if cautions:
        yield ""
        for caution in cautions:
            yield from _wrapped(caution, "! ", "  ")
    reasons: dict[str, list[str]] = {}
    for item in report.not_judged:
        reasons.setdefault(item.reason, []).append(item.rule)
    if reasons:
        yield from ("", "Not judged:")
        for reason, rules in reasons.items():
            said = ", ".join(rules) if len(rules) <= FEW else f"{len(rules)} rules (--json names them)"
            yield from _wrapped(f"{said}: {reason}", "  ", "      ")


def _wrapped(text: str, first: str, rest: str) -> list[str]:
    return textwrap.wrap(
        " ".join(text.split()), 80, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    )
