"""Running a session: link, journal, words and what shows it, tied to the one loop."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import click

from metercap.clock import SessionClock
from metercap.commands._rates import keep_rates
from metercap.commands._saying import complain
from metercap.commands._web import told_lines
from metercap.errors import MetercapError
from metercap.gate import visible
from metercap.journal import Writer
from metercap.journal.rescue import folders, names
from metercap.link import Source
from metercap.link.source import complaint_of
from metercap.live import Following, Inbox, Leaving, Live, Observer, Reason
from metercap.outcome import Fold
from metercap.outlet import go_live
from metercap.plain import JsonLines, PlainLines, verdict_table
from metercap.plain.style import safe, use_colour
from metercap.records import Contact, Cue, Operator, Record, SessionRecord
from metercap.screen.ports import Hands
from metercap.session import Driver, Session
from metercap.wire import LATENCY_S, decoder
from metercap.words import WordSource, forget_keys, word_source

if TYPE_CHECKING:
    from metercap.commands._web import Paged

INTERRUPTED = 130
LINGER_S = 60.0
ROOM_S = 30.0


class Keep:
    """Keeps what the exit status and the closing table need, however long the session; of a job, of the last one."""

    def __init__(self) -> None:
        self.fold = Fold()

    def see(self, record: Record, line: bytes) -> None:
        """Fold the record in."""
        if isinstance(record, SessionRecord):
            self.fold = Fold()
        self.fold.add(record)

    def urgent(self, record: Cue) -> None:
        """Nothing is urgent here."""


DESERTED_S = 300.0
"""Real seconds without a touch or a word after which a session that nobody reads and nobody can speak to is ended."""


class Deserted:
    """Ends a session that nobody reads, that no word can reach any more and whose probes have touched nothing for long.

    A broken pipe alone ends nothing: hands may go on measuring. But a program that nobody knows of must not hold a
    meter's port for ever.
    """

    def __init__(self, left: Callable[[], bool], stop: Callable[[], None]) -> None:
        self._left = left
        self._stop = stop
        self._last_s = time.monotonic()
        self._over = threading.Event()
        threading.Thread(target=self._run, name="deserted", daemon=True).start()

    def see(self, record: Record, line: bytes) -> None:
        """Touches and words say that somebody is there."""
        if isinstance(record, Contact | Operator):
            self._last_s = time.monotonic()

    def urgent(self, record: Cue) -> None:
        """Nothing is urgent here."""

    def close(self) -> None:
        """The session has ended."""
        self._over.set()

    def _run(self) -> None:
        while not self._over.wait(min(5.0, DESERTED_S / 4)):
            if self._left() and time.monotonic() - self._last_s > DESERTED_S:
                self._stop()
                return


class Shown(NamedTuple):
    """What shows a session and listens to the operator meanwhile; `run` runs the loop under it.

    `left` tells whether nobody reads any more and no word can come.
    """

    observers: list[Observer]
    words: list[WordSource]
    run: Callable[[Live, Inbox, SessionClock, Writer], Reason]
    close: Callable[[], None]
    left: Callable[[], bool] = lambda: False


class _Stamped:
    """Words of the screen, whose clock is the present session's, on their way to the loop, whose clock runs through."""

    def __init__(self, inbox: Inbox, clock: SessionClock, live: Live) -> None:
        self._inbox = inbox
        self._clock = clock
        self._live = live

    def put_word(self, word: str, text: str, t_s: float, source: str) -> None:
        """Pass a word on."""
        self._inbox.put_word(word, text, t_s + self._live.origin_s, source)

    def put_stop(self, signal: int) -> None:
        """Pass the wish to end on."""
        self._inbox.put_stop(signal)

    def now_s(self) -> float:
        """Return seconds since the present session began."""
        return self._clock.now_s() - self._live.origin_s


def shown_by(
    *,
    as_json: bool,
    plain: bool,
    listen: bool = True,
    sound: bool = False,
    linger_s: float = LINGER_S,
    hands: Hands | None = None,
    page: Paged | None = None,
    pictures: Sequence[Path] = (),
) -> Shown:
    """Choose the output: the file's lines, lines for people, or the full screen where there is a terminal.

    Words come from stdin as lines, or as keys in a terminal. With `sound`, whoever sits at a terminal also hears the
    session as the settings say. The screen stays `linger_s` after the end, or until a key; its keys move `hands` too;
    it shows the plan's pictures from the folders `pictures`. A second screen's `page` begins here, and ends with the
    rest.
    """
    heard: list[Observer] = []
    closing = contextlib.ExitStack()
    if sound and not as_json and sys.stdout.isatty():
        from metercap.sound import SoundObserver, load_config

        observer = SoundObserver(load_config())
        heard.append(observer)
        closing.callback(observer.close)
    words: list[WordSource] = []
    if page is not None:
        heard.append(page.teller)
        words.append(page.teller)
        closing.callback(page.teller.close)
        page.teller.begin()
    if not (as_json or plain) and full_screen():
        return _on_screen(linger_s, heard, words, closing.close, hands, page, pictures)
    shows: JsonLines | PlainLines
    if as_json:
        shows, say = JsonLines(), complain
    else:
        shows = PlainLines()
        say = shows.say
    mine = word_source(sys.stdin, as_lines=as_json, show=say) if listen else None
    if mine is not None:
        words.append(mine)
    if page is not None:
        for line in told_lines(page.at, drawn=sys.stdout.isatty() and not as_json):
            say(line)

    def left() -> bool:
        return shows.gone and (mine is None or getattr(mine, "ended", False))

    def run(live: Live, inbox: Inbox, clock: SessionClock, writer: Writer) -> Reason:
        _tie(page, live)
        return live.run()

    return Shown([shows, *heard], words, run, closing.close, left)


def _tie(page: Paged | None, live: Live) -> None:
    """Let the second screen say what the journal cannot do."""
    if page is not None:
        page.teller.problem = lambda: live.problem


def _nothing() -> None:
    """Nothing to close."""


def full_screen() -> bool:
    """Return whether this is a terminal that can show the full screen."""
    return sys.stdout.isatty() and sys.stdin.isatty() and os.environ.get("TERM", "") not in ("", "dumb")


def _on_screen(
    linger_s: float,
    heard: list[Observer],
    words: list[WordSource],
    close: Callable[[], None],
    hands: Hands | None,
    page: Paged | None,
    pictures: Sequence[Path],
) -> Shown:
    from metercap.screen.observer import ScreenObserver
    from metercap.screen.pedals import load_pedals, save_pedal
    from metercap.screen.run import run_screen

    observer = ScreenObserver()
    pedals = load_pedals()

    def learned(key: str, word: str) -> None:
        save_pedal(key, word)

    def run(live: Live, inbox: Inbox, clock: SessionClock, writer: Writer) -> Reason:
        def lines(fault: BaseException) -> Callable[[], None]:
            """Go on with lines for people and single keys: the screen is no part of the measuring."""
            shows = PlainLines()
            what = f"the full screen broke ({type(fault).__name__}: {fault}); the session goes on, in lines"
            complain(
                f"metercap: fault: {safe(what)}\n  try: the keys are the same, ? shows them; --plain from the start"
            )
            live.join(shows)
            keys = word_source(sys.stdin, as_lines=False, show=shows.say)
            if keys is None:
                return _nothing
            keys.start(inbox, clock)
            return keys.stop

        _tie(page, live)
        stamped = _Stamped(inbox, clock, live)
        run_screen(
            live,
            observer,
            words=stamped,
            clock=stamped,
            problem=lambda: live.problem,
            pedals=pedals,
            learned=learned,
            hands=hands,
            linger_s=linger_s,
            pictures=pictures,
            instead=lines,
            second=None if page is None else page.at,
        )
        return live.reason or "interrupted"

    return Shown([observer, *heard], words, run, close)


def run_live(
    session: Session,
    record: SessionRecord,
    source: Source,
    clock: SessionClock,
    writer: Writer,
    shown: Shown,
    *,
    observers: Sequence[Observer],
    words: Sequence[WordSource] = (),
    after_parking: Callable[[], Following] | None = None,
) -> Reason:
    """Tie link, journal, words and what shows the session to the one loop, run it, and return why it ended.

    `after_parking` makes the session that follows one that was parked.
    """
    go_live()
    inbox = Inbox()
    deserted = Deserted(shown.left, lambda: inbox.put_stop(signal.SIGTERM))
    leaving = Leaving(INTERRUPTED, lambda: live.problem is not None)
    live = Live(
        Driver(session),
        decoder(record.meter, latency_s=LATENCY_S * getattr(clock, "speed", 1.0), midstream=True),
        writer,
        [*observers, deserted, *shown.observers, leaving],
        inbox,
        clock,
        profile=record.meter,
        source=source,
        words=[*words, *shown.words],
        after_parking=after_parking,
    )
    try:
        return shown.run(live, inbox, clock, writer)
    finally:
        deserted.close()
        leaving.close()


def run_session(
    record: SessionRecord,
    source: Source,
    clock: SessionClock,
    out: Path,
    *,
    plain: bool,
    as_json: bool,
    page: Paged | None = None,
    pictures: Sequence[Path] = (),
) -> int:
    """Run one session to its end and return the exit status."""
    session = Session(record)
    try:
        writer = Writer.create(out, record)
    except BaseException:
        source.stop()
        raise
    keep = Keep()
    shown = shown_by(as_json=as_json, plain=plain, sound=True, pictures=pictures, page=page)
    try:
        reason = run_live(session, record, source, clock, writer, shown, observers=[keep])
    finally:
        shown.close()
        rescue(writer)
        tell_complaint(source)
        keep_rates(record.meter.name, record.options.get("port", ""), session.measured_s)
    if not as_json:
        with contextlib.suppress(OSError):  # nobody reads any more; the journal has it all
            print_closing(keep.fold, writer.path)
    return INTERRUPTED if reason == "interrupted" else keep.fold.exit_status


def tell_complaint(source: Source) -> None:
    """Say what the meter's error queue held at the end."""
    if told := complaint_of(source):
        complain(f"metercap: at the end the meter complains: {visible(told)}")


def rescue(writer: Writer) -> None:
    """Where the disk did not take the whole journal, write it somewhere else and say where; never lose it unsaid."""
    if writer.moved:
        complain(f"metercap: {visible(writer.moved)}")
    problem = writer.problem
    if problem is None:
        writer.abandon()
        return
    complain(f"metercap: {problem}")
    for folder in folders(writer.path)[1:]:  # its own folder's disk is the one that refuses
        copy = next((name for name in names(writer.path, folder) if not os.path.lexists(name)), None)
        if copy is None:
            continue
        try:
            writer.save_copy(copy)
        except MetercapError as error:
            complain(f"metercap: {error}")
        else:
            first, where = visible(str(writer.path)), visible(str(copy))
            complain(f"metercap: the whole journal was saved as {where}; {first} finds it there")
            return
    _make_room(writer)


def _make_room(writer: Writer) -> None:
    """Nothing took the journal: wait until there is room, for as long as somebody is there or for half a minute."""
    nowhere = "metercap: the journal could not be saved anywhere"
    asked = sys.stdin is not None and sys.stdin.isatty()
    end_s = time.monotonic() + ROOM_S
    if not asked:
        complain(f"{nowhere}: free some space; it is tried again for {ROOM_S:g} s")
    while writer.problem is not None:
        if asked:
            forget_keys(sys.stdin.fileno())  # what was typed before the question is no answer; what comes after it is
            complain(f"{nowhere}: free some space, then press enter; Ctrl-C gives it up")
            if not sys.stdin.readline():
                return
        elif time.monotonic() > end_s:
            return
        else:
            time.sleep(1.0)
        writer.sync()
    complain(f"metercap: the journal is whole: {visible(str(writer.path))}")


def print_closing(result: Fold, out: Path) -> None:
    """Print the verdicts that stand, what was not done, and where the journal is."""
    colour = use_colour(sys.stdout)
    click.echo(verdict_table(result.verdicts.values(), colour=colour, title="\nVerdicts"))
    for left in result.open:
        click.echo(f"  . {safe(left.step)} {safe(left.item)}  {left.why}")
    for item in result.standing:
        click.echo(f"  ! {safe(item)} stands past its hazard limit: turn it back before the unit has power")
    click.echo(f"journal: {visible(str(out))}")
