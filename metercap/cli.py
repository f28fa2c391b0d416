"""The command line: a group that loads each command's module only when it is called.

`--help` must come at once, so this module imports click and nothing of the house. Every expected error ends as a few
lines on stderr (what, where, what to try next) and its exit status; never as a traceback.
"""

from __future__ import annotations

import errno
import importlib
import io
import os
import sys
from typing import Any

import click

COMMANDS = {
    "demo": "Play a whole repair on the practice bench, with no hardware.",
    "practice": "Open a simulated meter on a port path, to learn or to try a program against.",
    "ports": "List the ports a meter may be on.",
    "identify": "Listen to a port and say which meter profile fits.",
    "teach": "Make a profile for a meter that sends text lines.",
    "watch": "Show the meter's readings live.",
    "record": "Keep a timestamped trace of the meter, with notes.",
    "run": "Lead a plan through its measurements on one unit.",
    "job": "Make and look at jobs: several units on one bench, in any order.",
    "sweep": "Tick fuses off in order, without a plan file.",
    "check": "Measure a settled value for each item, without a plan file.",
    "tune": "Turn a trimmer to a value, without a plan file.",
    "exercise": "Press a switch until a missed closure shows, without a plan file.",
    "cell": "Measure a backup cell, without a plan file.",
    "replay": "Play a session again, check it, or judge it by another plan.",
    "compare": "Set sessions side by side, most suspicious first.",
    "history": "Tell what many sessions measured, item by item, and what their meters read.",
    "learn": "Make a reference from sessions on good units.",
    "report": "Write the report of a session.",
    "export": "Write a session's tables as CSV or Parquet, or many jobs into a data set.",
    "verify": "Say whether a journal is whole; repair into a new file.",
    "sound": "Try the sounds and set them.",
    "plan": "Make, check and show plans.",
}
"""Every command and its line in `--help`; its module is metercap.commands.<name>."""


class LazyGroup(click.Group):
    """Commands are named here and imported when used."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands that this version has, in the order of the work."""
        return [name for name in COMMANDS if _exists(name)]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the command's module."""
        if cmd_name not in COMMANDS or not _exists(cmd_name):
            return None
        module = importlib.import_module(f"metercap.commands.{cmd_name}")
        command: click.Command = module.command
        importlib.import_module("metercap.commands._values").read_as_text(command)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command that the arguments name; a misspelt one is answered with the nearest."""
        try:
            return super().resolve_command(ctx, args)
        except click.UsageError as error:
            from metercap.spelling import near

            found = near(args[0], self.list_commands(ctx))
            if not found:
                raise
            raise click.UsageError(f"{error.message} {found.capitalize()}", ctx) from error

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing any."""
        rows = [(name, COMMANDS[name]) for name in self.list_commands(ctx)]
        with formatter.section("Commands"):
            formatter.write_dl(rows)


def _exists(name: str) -> bool:
    from pathlib import Path

    return (Path(__file__).parent / "commands" / f"{name}.py").is_file()


INTERRUPTED = 130

TRACEBACK = "METERCAP_TRACEBACK"
"""Set in the environment, it lets a defect end in Python's own traceback."""

COMPLETE = "_METERCAP_COMPLETE"
"""Set by a shell that asks what may stand next."""

EPILOG = """\b
Examples:
  metercap demo --out bench
  metercap compare bench
  metercap replay bench --check
  metercap sweep F1..F12 --max "2 ohm" --point "supply input"
  metercap run greenhouse-controller --unit A --known-good

The tool defers to local codes and licensed practice and replaces neither. Disconnect the supply and every battery or
cell before any resistance reading, and never probe mains-side circuits on this tool's word."""


@click.group(
    cls=LazyGroup,
    epilog=EPILOG,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110},
)
@click.version_option(package_name="metercap", message="metercap %(version)s")
@click.pass_context
def group(ctx: click.Context) -> int:
    """Read a multimeter live and be led through a repair's measurements, both hands on the probes.

    Without a command, in a terminal: what is plugged in, what it reads, and what can be done next, each by one key.
    """
    if ctx.invoked_subcommand is not None:
        return 0
    if sys.stdin.isatty() and sys.stdout.isatty():
        first = importlib.import_module("metercap.commands._home")
        if first.usable():
            chosen: list[str] = first.home()
            status = group.main(args=chosen, prog_name="metercap", standalone_mode=False) if chosen else 0
            return status if isinstance(status, int) else 0
    click.echo(ctx.get_help())
    return 0


def main(args: list[str] | None = None) -> Any:
    """Run the command line and exit with its status. Whatever it writes passes the outlets."""
    from metercap.outlet import outlets, settle

    _give_streams()
    with outlets():
        status = _status(args)
        try:
            settle(patient=status != INTERRUPTED)
        except KeyboardInterrupt:  # nobody reads, and somebody is tired of waiting
            status = INTERRUPTED
    _let_go_of_stdout()
    sys.exit(status)


def _status(args: list[str] | None) -> int:
    from metercap.outlet import colour_forced

    if os.environ.get(COMPLETE):
        importlib.import_module("metercap.commands._values")  # which says how a shell is answered
    try:
        # In a pipe the library takes colour out of what it prints, unless it is told that it is wanted.
        status = group.main(
            args=args, prog_name="metercap", standalone_mode=False, color=True if colour_forced() else None
        )
    except click.exceptions.Abort:
        status = INTERRUPTED
    except click.ClickException as error:
        error.show()
        status = error.exit_code
    except BrokenPipeError:
        status = 0
    except Exception as error:
        status = _explained(error)
    return status if isinstance(status, int) else 0


def _explained(error: Exception) -> int:
    """Say on stderr what went wrong and return the exit status. A defect's traceback comes only when asked for."""
    from metercap.errors import MetercapError

    if isinstance(error, MetercapError):
        click.echo(f"metercap: {error}", err=True)
        return error.exit_status
    if os.environ.get(TRACEBACK):
        raise error
    if isinstance(error, OSError) and error.filename is None and error.errno in (errno.ENOSPC, errno.EIO, errno.EBADF):
        click.echo(f"metercap: the output cannot be written: {error.strerror}", err=True)
    else:
        what = f"{type(error).__name__}: {error}"
        click.echo(f"metercap: a defect of this program: {what}\n  try: {TRACEBACK}=1 shows where", err=True)
    return MetercapError.exit_status


def _give_streams() -> None:
    """Where stdout or stderr was closed at the start, give one that goes nowhere: no file may take its place.

    stdin is UTF-8 like all other text; a key that is none costs an answer at most.
    """
    if isinstance(sys.stdin, io.TextIOWrapper):
        sys.stdin.reconfigure(encoding="utf-8", errors="replace" if sys.stdin.isatty() else "strict")
    for number, name in ((1, "stdout"), (2, "stderr")):
        if getattr(sys, name) is None:
            nowhere = os.open(os.devnull, os.O_WRONLY)
            if nowhere != number:
                os.dup2(nowhere, number)
                os.close(nowhere)
            setattr(sys, name, open(number, "w", encoding="utf-8", closefd=False))  # noqa: SIM115


def _let_go_of_stdout() -> None:
    """Flush stdout. When its reader is gone, point it nowhere, or Python would complain and change the exit status."""
    try:
        sys.stdout.flush()
    except (OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
