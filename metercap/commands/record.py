"""`metercap record`: keep a timestamped trace of the meter, with notes."""

from __future__ import annotations

from pathlib import Path

import click

from metercap.commands._names import unit_name
from metercap.commands._numbers import Number
from metercap.commands._values import METER, PORT, UNIT

EPILOG = """\b
Examples:
  metercap record --port /dev/ttyUSB0 --meter lcd14 --out warm-up.jsonl
  metercap record --port COM4 --meter digits14 --unit "controller B" --out drift.jsonl --json
  metercap export drift.jsonl --to drift.csv

In a terminal # writes a note (type it, then enter) and Q ends the trace; on a pipe the lines are `note TEXT` and
`quit`. The trace is a journal like any session's, with a plan of no steps: verify, replay --check and export take it.

Exit status: 0 ended by quit; 2 bad usage or file; 3 the link cannot be opened; 130 Ctrl-C (the journal is closed
properly)."""


@click.command(epilog=EPILOG)
@click.option("--port", type=PORT, help="Port, pyserial URL, tape:FILE or VISA resource of the meter. [default: found]")
@click.option("--meter", type=METER, help="Meter profile: a name or a file. [default: found]")
@click.option("--unit", type=UNIT, default="", callback=unit_name, help="The unit on the mat.")
@click.option("--operator", default="", help="Who is measuring.")
@click.option("--rate", type=Number(0.1, 1000), help="Conversions a second of the meter, if known faster.")
@click.option("--out", type=click.Path(path_type=Path), help="New journal. [default: named for date, time and unit]")
@click.option("--plain", is_flag=True, help="A line for every reading, in a terminal too.")
@click.option("--json", "as_json", is_flag=True, help="Print the journal's own lines, read words from stdin.")
def command(
    port: str | None,
    meter: str | None,
    unit: str,
    operator: str,
    rate: float | None,
    out: Path | None,
    plain: bool,
    as_json: bool,
) -> int:
    """Write every reading, link change and note to a journal, until quit."""
    from metercap.commands._trace import trace

    return trace(port=port, meter=meter, rate=rate, out=out, unit=unit, operator=operator, plain=plain, as_json=as_json)
