"""The command line. A command's module, and all that it needs, is imported when the command is used."""

from __future__ import annotations

import difflib
import gc
import os
import sys
from importlib import import_module
from typing import Any

import click

from chanbridge import __version__
from chanbridge.errors import ChanbridgeError

COMMANDS = {
    "new": "Lay down a small show to start from.",
    "read": "Show how a sheet is understood.",
    "convert": "Turn a sheet into another kind of file.",
    "merge": "Put 40-channel blocks onto one AES10 feed.",
    "compare": "Say where two lists differ.",
    "check": "Say what is wrong with a sheet or a show.",
    "handover": "Write everyone's sheet for a show.",
    "verify": "Say whether a hand-over and its plan still agree.",
    "prove": "Send a signal through every patch and compare it with the paper.",
    "ident": "Prove the real cables: signals to play, a recording to read.",
    "reorder": "Put a multitrack recording into another port's order.",
    "amend": "Make a late change, and see who must be told.",
    "amendments": "List late changes, take one back, fold them into new sheets.",
    "told": "Note that someone was told.",
    "received": "Note that someone says to have it.",
    "status": "Show who holds which paper, and who was not told.",
    "rehearsal": "Play a recording in the place of inputs, and switch back.",
    "serve": "Give the crew one live page: sheets, late changes, line check.",
    "lose": "Say who goes silent when one thing is lost.",
    "size": "Say what a show of a certain size takes.",
    "lists": "Write what to bring, and what to ask everyone.",
    "drill": "Plant faults in a show's paper, for learners to find.",
    "formats": "List the kinds of file and what each can carry.",
}
"""Name → one line of help. Static, so that --help imports nothing."""


class Commands(click.Group):
    """A group whose commands live in modules of the same name."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command = import_module(f"chanbridge.cli.{cmd_name}").command
        assert isinstance(command, click.Command)
        return command

    def resolve_command(self, ctx: click.Context, args: list[str]) -> Any:
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            near = difflib.get_close_matches(args[0], COMMANDS, 1, 0.5)
            advice = f"did you mean {near[0]}?" if near else f"there are {', '.join(COMMANDS)}"
            ctx.fail(f"there is no command {args[0]!r}; {advice}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, message="chanbridge %(version)s")
def group() -> None:
    """Carry a channel list from anyone's paper to anyone else's, and lose no channel on the way.

    Results go to standard output, remarks to standard error. Exit status: 0 fine, 1 there is something
    you must look at, 2 it could not be done.

    Example: chanbridge merge left.csv right.xml --onto 64@48000 -o truck.csv
    """


def main() -> None:
    """Run the command line; every error becomes one line and exit status 2."""
    gc.disable()  # what one command makes is used to its end; looking for garbage among it takes a third of the time
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a terminal that lacks a letter shows its code, not a traceback
            stream.reconfigure(errors="backslashreplace")
    try:
        status = group.main(prog_name="chanbridge", standalone_mode=False)
        sys.stdout.flush()
        sys.exit(status if isinstance(status, int) else 0)
    except click.UsageError as error:
        error.show()
        sys.exit(2)
    except (click.ClickException, ChanbridgeError) as error:
        message = error.format_message() if isinstance(error, click.ClickException) else str(error)
        click.echo(f"chanbridge: {' '.join(message.split())}", err=True)
        sys.exit(2)
    except (KeyboardInterrupt, click.Abort):
        sys.exit(130)
    except OSError as error:  # files.py turns what happens to files into errors of ours: this is the output
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        if isinstance(error, BrokenPipeError):
            sys.exit(141)  # as a program that a closed pipe ends
        click.echo(
            f"chanbridge: standard output cannot be written: {(error.strerror or '').lower()}", err=True
        )
        sys.exit(2)
