"""`metercap watch`: show the meter's readings live."""

from __future__ import annotations

import sys

import click

from metercap.commands._numbers import Number, Whole

EPILOG = """\b
Examples:
  metercap watch --port /dev/ttyUSB0 --meter lcd14
  metercap watch --port socket://bench:7000 --meter my-meter.toml --plain
  metercap watch --port COM4 --meter digits14 --json | head -20
  metercap watch --port /dev/ttyUSB0 --meter lcd14 --count 1

Nothing is written: `record` keeps a trace. Q or Ctrl-C ends it.

Exit status: 0 ended by Q, by --count or because nobody reads the output; 2 bad usage or file; 3 the link cannot be
opened; 130 Ctrl-C."""

INTERRUPTED = 130


@click.command(epilog=EPILOG)
@click.option("--port", required=True, help="Port, pyserial URL, tape:FILE or VISA resource of the meter.")
@click.option("--meter", required=True, help="Meter profile: a name or a file.")
@click.option("--rate", type=Number(0.1, 1000), help="Conversions a second of the meter, if known faster.")
@click.option("--count", type=Whole(1), help="End after this many readings.")
@click.option("--plain", is_flag=True, help="A line for every reading, in a terminal too.")
@click.option("--json", "as_json", is_flag=True, help="Print readings and link changes as JSON lines.")
def command(port: str, meter: str, rate: float | None, count: int | None, plain: bool, as_json: bool) -> int:
    """Show what the meter reads, live, and how its link is."""
    from metercap.clock import ScaledClock
    from metercap.commands._readout import Readout, UntilGone, some_words
    from metercap.link import open_link
    from metercap.live import Inbox, Live, Trace
    from metercap.outlet import go_live
    from metercap.plain import JsonLines
    from metercap.profiles import find_meter
    from metercap.wire import decoder

    profile = find_meter(meter)
    if rate is not None:
        profile = profile.at_rate(rate)
    clock, trace = ScaledClock(), Trace()
    show: Readout | JsonLines = JsonLines() if as_json else Readout(in_place=not plain)
    say = show.say if isinstance(show, Readout) else _complain
    words = some_words(sys.stdin, ("quit",), as_lines=as_json, say=say)
    source = open_link(port, profile)
    if isinstance(show, Readout) and source.identity:
        show.say(source.identity)
    live = Live(
        trace,
        decoder(profile, midstream=True),
        None,
        [show, UntilGone(show, trace, count)],
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
    return INTERRUPTED if reason == "interrupted" else 0


def _complain(text: str) -> None:
    sys.stderr.write(text + "\n")
    sys.stderr.flush()
