"""Running a session: link, journal, words and what shows it, tied to the one loop."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from metercap.clock import SessionClock
from metercap.journal import Writer
from metercap.link import Source
from metercap.live import Inbox, Live, Observer
from metercap.outcome import fold
from metercap.plain import JsonLines, PlainLines, verdict_table
from metercap.plain.style import use_colour
from metercap.records import Record, SessionRecord
from metercap.session import Driver, Session
from metercap.wire import decoder
from metercap.words import WordSource, word_source

INTERRUPTED = 130


class Keep:
    """Keeps what the exit status and the closing table need: verdicts, not readings."""

    def __init__(self) -> None:
        self.records: list[Record] = []

    def see(self, record: Record, line: bytes) -> None:
        """Keep the record unless it is one of the many that decide nothing."""
        from metercap.reading import Garbage, Reading
        from metercap.records import Clock, Contact, Cue, Lift

        if not isinstance(record, Reading | Garbage | Contact | Lift | Cue | Clock):
            self.records.append(record)

    def urgent(self, record: object) -> None:
        """Nothing is urgent here."""


def run_session(
    record: SessionRecord,
    source: Source,
    clock: SessionClock,
    out: Path,
    *,
    plain: bool,
    as_json: bool,
    observers: Sequence[Observer] = (),
    words: Sequence[WordSource] = (),
    listen: bool = True,
    closing: bool = True,
) -> int:
    """Run one session to its end and return the exit status. `listen` also takes words from stdin."""
    session = Session(record)
    try:
        writer = Writer.create(out, record)
    except BaseException:
        source.stop()
        raise
    keep = Keep()
    shows: list[Observer] = [keep, *observers]
    complain: Callable[[str], None]
    if as_json:
        shows.append(JsonLines())
        complain = _complain
    else:
        lines = PlainLines(live=lambda: session.live)
        shows.append(lines)
        complain = lines.say
    listeners = list(words)
    if listen:
        mine = word_source(sys.stdin, as_lines=as_json, show=complain)
        if mine is not None:
            listeners.append(mine)
    live = Live(
        Driver(session),
        decoder(record.meter),
        writer,
        shows,
        Inbox(),
        clock,
        profile=record.meter,
        source=source,
        words=listeners,
    )
    reason = live.run()
    result = fold(keep.records)
    if not as_json and closing:
        print_closing(result, out)
    return INTERRUPTED if reason == "interrupted" else result.exit_status


def print_closing(result: object, out: Path) -> None:
    """Print the verdicts that stand and where the journal is."""
    import click

    colour = use_colour(sys.stdout)
    click.echo(verdict_table(result.verdicts, colour=colour, title="\nVerdicts"))  # type: ignore[attr-defined]
    click.echo(f"journal: {out}")


def _complain(text: str) -> None:
    sys.stderr.write(text + "\n")
    sys.stderr.flush()
