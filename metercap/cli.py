"""The command line: a group that loads each command's module only when it is called.

`--help` must come at once, so this module imports click and nothing of the house. Every expected error ends as a few
lines on stderr (what, where, what to try next) and its exit status; never as a traceback.
"""

from __future__ import annotations

import importlib
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
    "replay": "Play a session again, check it, or judge it by another plan.",
    "compare": "Set sessions side by side, most suspicious first.",
    "learn": "Make a reference from sessions on good units.",
    "report": "Write the report of a session.",
    "export": "Write a session's tables as CSV or Parquet.",
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
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing any."""
        rows = [(name, COMMANDS[name]) for name in self.list_commands(ctx)]
        with formatter.section("Commands"):
            formatter.write_dl(rows)


def _exists(name: str) -> bool:
    from pathlib import Path

    return (Path(__file__).parent / "commands" / f"{name}.py").is_file()


EPILOG = """\b
Examples:
  metercap demo
  metercap ports
  metercap run greenhouse-controller --port /dev/ttyUSB0 --meter lcd14 --unit A --out a.jsonl
  metercap replay a.jsonl --check

The tool defers to local codes and licensed practice and replaces neither. Disconnect the supply and every battery or
cell before any resistance reading, and never probe mains-side circuits on this tool's word."""


@click.group(
    cls=LazyGroup,
    epilog=EPILOG,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110},
)
@click.version_option(package_name="metercap", message="metercap %(version)s")
def group() -> None:
    """Read a multimeter live and be led through a repair's measurements, both hands on the probes."""


def main(args: list[str] | None = None) -> Any:
    """Run the command line and exit with its status."""
    try:
        status = group.main(args=args, prog_name="metercap", standalone_mode=False)
    except click.exceptions.Abort:
        status = 130
    except click.ClickException as error:
        error.show()
        status = error.exit_code
    except BrokenPipeError:
        sys.stderr.close()
        status = 0
    except Exception as error:
        from metercap.errors import MetercapError

        if not isinstance(error, MetercapError):
            raise
        click.echo(f"metercap: {error}", err=True)
        status = error.exit_status
    sys.exit(status if isinstance(status, int) else 0)
