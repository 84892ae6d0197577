"""The command line. A command's module, and all that it needs, is imported when the command is used."""

from __future__ import annotations

import gc
import os
import re
import sys
from importlib import import_module
from typing import TYPE_CHECKING, Any

import click

from chanbridge import __version__
from chanbridge.errors import ChanbridgeError, meant, readable, unknown

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

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


class _Text(click.types.StringParamType):
    """A text on the command line; what completes it, as in any shell, are the names of files.

    Where it is required an empty one is none: a folder "" would be the current one.
    """

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        if not value and param and param.required:
            raise click.MissingParameter(ctx=ctx, param=param)
        return str(super().convert(value, param, ctx))

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        from click.shell_completion import CompletionItem

        return [CompletionItem(incomplete, type="file")]


class Group(click.Group):
    """A group that meets an unknown command with the nearest right one."""

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        command = super().get_command(ctx, cmd_name)
        for param in command.params if command else ():
            param.type = _Text() if param.type is click.STRING else param.type
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in self.list_commands(ctx) and not args[0].startswith("-"):
            ctx.fail(unknown("command", args[0], self.list_commands(ctx), ("--help", "--version")))
        return super().resolve_command(ctx, args)


class Commands(Group):
    """A group whose commands live in modules of the same name."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name in COMMANDS and cmd_name not in self.commands:
            self.add_command(import_module(f"chanbridge.cli.{cmd_name}").command)
        return super().get_command(ctx, cmd_name)

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        from click.shell_completion import CompletionItem

        found = [
            CompletionItem(name, help=line) for name, line in COMMANDS.items() if name.startswith(incomplete)
        ]
        return [*found, *click.Command.shell_complete(self, ctx, incomplete)]

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, message="chanbridge %(version)s")
def group() -> None:
    """Carry a channel list from anyone's paper to anyone else's, and lose no channel on the way.

    Results go to standard output, remarks to standard error. Exit status: 0 fine, 1 there is something
    you must look at, 2 it could not be done.

    \b
    Example:
      chanbridge merge examples/winter-concert/box-* --onto 64@48000 -o truck.csv
    """


def _usage(error: click.UsageError) -> list[str]:
    """What is wrong with a command as it was typed, then an example of it as it should be."""
    said = _mistake(error)
    lines = [f"chanbridge: {' '.join(said.split()).rstrip('.')}"]
    if error.ctx:
        example = re.search(r"Example:\s+(.+)", error.ctx.command.help or "")
        shown = f"example: {example[1]}   " if example and not isinstance(error.ctx.command, Group) else ""
        lines.append(f"{shown}help: {error.ctx.command_path} --help")
    return lines


def _mistake(error: click.UsageError) -> str:
    """The same in our words, with the nearest right word where there is one."""
    said = error.format_message()
    said = said[:1].lower() + said[1:]
    if isinstance(error, click.NoSuchOption) and error.ctx:
        there = [name for param in error.ctx.command.get_params(error.ctx) for name in param.opts]
        return f"there is no option {error.option_name!r}{meant(error.option_name, there)}"
    asked = error.param if isinstance(error, click.BadParameter) else None
    if asked is None or error.ctx is None:
        return said
    name = asked.opts[0] if isinstance(asked, click.Option) else ""
    if isinstance(error, click.MissingParameter):
        return f"{name} {asked.make_metavar(error.ctx)} is missing".strip()
    found = re.match(r"('.*?'|\S+) (?:is not|does not match)", error.message)
    match asked.type:
        case click.Choice(choices=choices) if found:
            return f"{name} {found[1]} is none of {', '.join(choices)}{meant(found[1].strip(chr(39)), choices)}".strip()
        case click.IntRange(min=least, max=most) | click.FloatRange(min=least, max=most) if found:
            bounds = f"from {least} to {most}" if most is not None else f"of {least} or more"
            return f"{name} {found[1]} is no number {bounds}"
        case click.types.IntParamType() | click.types.FloatParamType() if found:
            return f"{name} {found[1]} is no number"
        case click.DateTime() if found:
            return f"{name} {found[1]} is no such date; write it as {asked.make_metavar(error.ctx)}"
    return f"{name}: {error.message}" if name else said


def _open_missing() -> None:
    """Put something where a standard stream was closed before the start, or the first file opened would take its place.

    What is read there is empty; what is written to standard output cannot be, and is said so; remarks go nowhere.
    """
    for number, name, way in (
        (0, "stdin", os.O_RDONLY),
        (1, "stdout", os.O_RDONLY),
        (2, "stderr", os.O_WRONLY),
    ):
        if getattr(sys, name) is None:
            handle = os.open(os.devnull, way)
            if handle != number:
                os.dup2(handle, number)
                os.close(handle)
            setattr(sys, name, os.fdopen(number, "w" if number else "r", encoding="utf-8", closefd=False))


def main() -> None:
    """Run the command line; every error becomes one line and exit status 2."""
    gc.disable()  # what one command makes is used to its end; looking for garbage among it takes a third of the time
    _open_missing()
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a terminal that lacks a letter shows its code, not a traceback
            stream.reconfigure(errors="backslashreplace")
    try:
        status = group.main(prog_name="chanbridge", standalone_mode=False)
        sys.stdout.flush()
        sys.exit(status if isinstance(status, int) else 0)
    except click.exceptions.NoArgsIsHelpError as error:
        error.show()
        sys.exit(2)
    except click.UsageError as error:
        for line in _usage(error):
            click.echo(line, err=True)
        sys.exit(2)
    except (click.ClickException, ChanbridgeError) as error:
        message = error.format_message() if isinstance(error, click.ClickException) else str(error)
        click.echo(f"chanbridge: {readable(' '.join(message.split()))}", err=True)
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
