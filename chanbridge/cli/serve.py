"""chanbridge serve"""

from __future__ import annotations

import gc
import os
import sys
import threading
from importlib import import_module

import click

from chanbridge.cli.evening import journal_of, say_repaired
from chanbridge.show import load

LOCAL = "127.0.0.1"
KEYS = "share.keys"
"""The file beside show.toml with the secrets of the links."""

NEEDED = ("jinja2", "starlette.applications", "starlette.responses", "uvicorn.protocols.http.h11_impl")
"""What the server needs of others and the show does not, so that it can be loaded while the show is planned."""

NEVER = "Never on the audio network: phones and audio do not share a switch."


@click.command(
    "serve",
    help=f"""Give the crew one live page of SHOW (a show.toml, or its folder): sheets, late changes, line check.

Without --share only this machine sees it. With it there are links to look, to tick and to steer; without one nothing
is served. {NEVER} What is sent is not encrypted, so a phone cannot open the page again
while the network is away; what was ticked on it is kept and sent later.

Example: chanbridge serve examples/winter-concert
""",
)
@click.argument("show", metavar="SHOW")
@click.option(
    "--port", type=click.IntRange(0, 65535), default=8321, show_default=True, help="0: any that is free."
)
@click.option(
    "--share", metavar="ADDRESS", help=f"Let phones in by this machine's address on their network. {NEVER}"
)
@click.option("--new-links", is_flag=True, help="Make new links; the old ones end.")
def command(show: str, port: int, share: str | None, new_links: bool) -> None:
    if new_links and share is None:
        raise click.UsageError("--new-links makes links to share; add --share ADDRESS")
    from chanbridge.web.address import checked, listening

    aside = threading.Thread(target=lambda: [*map(import_module, NEEDED)], daemon=True)
    aside.start()
    loaded = load(show, accept_rejected=True)
    at = listening(checked(share) if share is not None else LOCAL, port)
    from chanbridge.web.live import Live

    journal = journal_of(loaded)
    live = Live(loaded, journal)
    aside.join()
    from chanbridge.web.app import make
    from chanbridge.web.guard import Guard, links_in
    from chanbridge.web.server import run

    say_repaired(journal)
    keys = os.path.join(os.path.dirname(loaded.source), KEYS)
    links = links_in(keys, anew=new_links) if share is not None else None
    gc.enable()  # what is made here is not used to its end
    gc.freeze()
    host, taken = at.getsockname()[:2]
    base = f"http://{f'[{host}]' if ':' in host else host}:{taken}/"
    if links is None:
        click.echo(f"{loaded.file.title}: {base}   (only on this machine; end with Ctrl-C)")
    else:
        _say_links(loaded.file.title, base, dict(zip(("look", "tick", "steer"), links, strict=True)))
    sys.stdout.flush()
    run(Guard(make(live), links, host, taken), live.stop, at)


def _say_links(title: str, base: str, links: dict[str, str]) -> None:
    import segno

    click.echo(f"{title}: for whoever ticks, scan this or type the link")
    segno.make(f"{base}?key={links['tick']}", error="m").terminal(out=sys.stdout, compact=True)
    for role, what in (
        ("look", "to look"),
        ("tick", "to tick and say received"),
        ("steer", "to make late changes, too"),
    ):
        click.echo(f"{what:<25} {base}?key={links[role]}")
    click.echo(f"\n{NEVER} A link is a key: give it only to the crew. End with Ctrl-C.", err=True)
