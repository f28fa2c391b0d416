"""`metercap record`: keep a timestamped trace of the meter, with notes."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from metercap.commands._numbers import Number

EPILOG = """\b
Examples:
  metercap record --port /dev/ttyUSB0 --meter lcd14 --out warm-up.jsonl
  metercap record --port COM4 --meter digits14 --unit "controller B" --out drift.jsonl --json
  metercap export drift.jsonl --to drift.csv

In a terminal # writes a note (type it, then enter) and Q ends the trace; on a pipe the lines are `note TEXT` and
`quit`. The trace is a journal like any session's, with a plan of no steps: verify, replay --check and export take it.

Exit status: 0 ended by quit; 2 bad usage or file; 3 the link cannot be opened; 130 Ctrl-C (the journal is closed
properly)."""

INTERRUPTED = 130
TITLE = "Free trace"
"""The title of the plan a trace carries; it has no steps, so nothing in it is judged."""


@click.command(epilog=EPILOG)
@click.option("--port", required=True, help="Port, pyserial URL, tape:FILE or VISA resource of the meter.")
@click.option("--meter", required=True, help="Meter profile: a name or a file.")
@click.option("--unit", default="", help="The unit on the mat.")
@click.option("--operator", default="", help="Who is measuring.")
@click.option("--rate", type=Number(0.1, 1000), help="Conversions a second of the meter, if known faster.")
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Journal to write; must not exist.")
@click.option("--plain", is_flag=True, help="A line for every reading, in a terminal too.")
@click.option("--json", "as_json", is_flag=True, help="Print the journal's own lines, read words from stdin.")
def command(
    port: str, meter: str, unit: str, operator: str, rate: float | None, out: Path, plain: bool, as_json: bool
) -> int:
    """Write every reading, link change and note to a journal, until quit."""
    from metercap.clock import ScaledClock
    from metercap.commands._opening import refuse_existing, session_record
    from metercap.commands._readout import Readout, some_words
    from metercap.journal import Writer
    from metercap.link import open_link
    from metercap.live import Inbox, Live, Trace
    from metercap.outlet import go_live
    from metercap.plain import JsonLines
    from metercap.plan import Plan
    from metercap.profiles import find_meter
    from metercap.wire import decoder

    refuse_existing(out)
    profile = find_meter(meter)
    options: dict[str, object] = {"port": port, "trace": True}
    if rate is not None:
        profile = profile.at_rate(rate)
        options["rate"] = rate
    show: Readout | JsonLines = JsonLines() if as_json else Readout(in_place=not plain)
    say = show.say if isinstance(show, Readout) else _complain
    words = some_words(sys.stdin, ("note", "quit"), as_lines=as_json, say=say)
    clock = ScaledClock()
    source = open_link(port, profile)
    record = session_record(
        Plan(title=TITLE, steps=()),
        profile,
        unit=unit or "trace",
        operator=operator,
        identity=source.identity,
        options=options,
    )
    try:
        writer = Writer.create(out, record)
    except BaseException:
        source.stop()
        raise
    live = Live(
        Trace(),
        decoder(profile, midstream=True),
        writer,
        [show],
        Inbox(),
        clock,
        profile=profile,
        source=source,
        words=[] if words is None else [words],
    )
    go_live()
    try:
        reason = live.run()
    finally:
        if isinstance(show, Readout):
            show.close()
    if isinstance(show, Readout):
        show.say(f"journal: {out}")
    return INTERRUPTED if reason == "interrupted" else 0


def _complain(text: str) -> None:
    sys.stderr.write(text + "\n")
    sys.stderr.flush()
