"""`metercap watch`: show the meter's readings live."""

from __future__ import annotations

from pathlib import Path

import click

from metercap.commands._numbers import Number, Whole
from metercap.commands._values import METER, PORT
from metercap.commands._web import WithWeb, web_only

EPILOG = """\b
Examples:
  metercap watch
  metercap watch --port /dev/ttyUSB0 --meter lcd14
  metercap watch --port socket://bench:7000 --meter my-meter.toml --plain
  metercap watch --port COM4 --meter digits14 --json | head -20
  metercap watch --port /dev/ttyUSB0 --meter lcd14 --count 1
  metercap watch --web :8000

What was seen is kept in a journal named for date and time, unless --no-save is given. Q or Ctrl-C ends it. A meter that
is not named is the one used last, or the only one that is heard.

Exit status: 0 ended by Q, by --count or because nobody reads the output; 2 bad usage or file; 3 the link cannot be
opened; 130 Ctrl-C."""


@click.command(cls=WithWeb, epilog=EPILOG)
@click.option("--port", type=PORT, help="Port, pyserial URL, tape:FILE or VISA resource of the meter. [default: found]")
@click.option("--meter", type=METER, help="Meter profile: a name or a file. [default: found]")
@click.option("--rate", type=Number(0.1, 1000), help="Conversions a second of the meter, if known faster.")
@click.option("--count", type=Whole(1), help="End after this many readings.")
@click.option("--out", type=click.Path(path_type=Path), help="New journal. [default: named for date and time]")
@click.option("--no-save", is_flag=True, help="Keep nothing of what is seen.")
@click.option("--plain", is_flag=True, help="A line for every reading, in a terminal too.")
@click.option("--json", "as_json", is_flag=True, help="Print readings and link changes as JSON lines.")
@web_only
def command(
    port: str | None,
    meter: str | None,
    rate: float | None,
    count: int | None,
    out: Path | None,
    no_save: bool,
    plain: bool,
    as_json: bool,
    web: str | None,
) -> int:
    """Show what the meter reads, live, and how its link is; what was seen is kept."""
    from metercap.commands._trace import trace

    return trace(
        port=port,
        meter=meter,
        rate=rate,
        out=out,
        save=not no_save,
        what="watch",
        words=("quit",),
        count=count,
        plain=plain,
        as_json=as_json,
        web=web,
    )
