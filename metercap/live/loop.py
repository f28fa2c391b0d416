"""The one loop: bytes and words in, records out, each promise kept before it is announced.

For every event, in this order:

    1. a hazard cue among its outcomes goes to the observers, before any disk work
    2. event and outcomes are written, each one line
    3. when the event is a word, or a verdict is among the outcomes, the disk is made to hold them
    4. the view that they led to is made, where somebody looks, and shown
    5. the observers see every record, in the file's order

It runs on threads (`run`) or, for practice and studies, on a virtual clock with none at all (`run_virtual`). It knows
no screen, and time only as the stamps that come in and the clock that says how long to wait.

Where a session ends as parked, the next one begins on the same link, with the same words and observers, and no byte is
lost: what bytes and links are about has the clock's own time, and only what is fed to a session is stamped from that
session's beginning on.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence

import msgspec

from metercap.clock import SessionClock, VirtualClock
from metercap.link import LinkWatch, Source
from metercap.live.audience import Audience
from metercap.live.heap import Heap
from metercap.live.inbox import Arrived, Changed, Failed, Inbox, Item, Said, frame_ends
from metercap.live.parts import Decoder, Driver, Following, Observer, Writer
from metercap.live.signals import stop_signals
from metercap.meter import MeterProfile
from metercap.quantity import Quantity
from metercap.reading import Garbage, Reading
from metercap.records import (
    Cue,
    CueKind,
    Event,
    Link,
    LinkState,
    Note,
    Operator,
    Outcome,
    Reason,
    Record,
    Verdict,
    at,
    decode,
    encode,
)
from metercap.view.words import refused
from metercap.words import WordSource

HELD_UP_S = 0.1
"""Real seconds that a busy system may hold a frame up; in faster session time that is no silence of the meter."""
LONGEST_WAIT_S = 1.0
"""The loop wakes at least this often, in real seconds, to see whether the disk has recovered."""

UNREAD = "not decoded any more: the session was ended while bytes came faster than they can be taken"

DISK_WELL = "the journal is whole on the disk again"


class Live:
    """One session, live. `reason` is None until it has ended.

    `source` and `words` are started and stopped here, and `source` is told what the session wants measured. Without a
    `writer` records go to the observers alone, as lines without a checksum. `after_parking` makes the session that
    follows one that was parked; it is called when that one's journal is closed.
    """

    def __init__(
        self,
        driver: Driver,
        decoder: Decoder,
        writer: Writer | None,
        observers: Sequence[Observer],
        inbox: Inbox,
        clock: SessionClock,
        *,
        profile: MeterProfile,
        source: Source | None = None,
        words: Sequence[WordSource] = (),
        after_parking: Callable[[], Following] | None = None,
    ) -> None:
        self.reason: Reason | None = None
        self.origin_s = 0.0
        """When the present session began, by the clock."""
        self._after_parking = after_parking
        self._driver = driver
        self._session = driver.session
        self._decoder = decoder
        self._writer = writer
        self._audience = Audience(observers)
        self._inbox = inbox
        self._clock = clock
        self._heap = Heap()
        self._watch = LinkWatch(profile, HELD_UP_S * max(0.0, getattr(clock, "speed", 1.0) - 1.0))
        inbox.ends = frame_ends(profile)
        self._source = source
        self._words = words
        self._wanted: tuple[Quantity | None, float | None] | None = None
        self._last_s = 0.0
        self._disk_ill = False
        self._moved = ""

    # Whole runs

    def run(self, *, signals: bool = True) -> Reason:
        """Run until the session is finished or a signal comes, and return why it ended.

        Signals are taken over only in the main thread. An exception writes `end` with reason `fault` and is raised.
        """
        mine = signals and threading.current_thread() is threading.main_thread()
        with stop_signals(self._inbox) if mine else contextlib.nullcontext(), self._ending():
            self.start()
            while self._goes_on():
                item = self._inbox.get() or self._inbox.get(self._wait_s())
                if item is not None:
                    self.take(item)
                else:
                    self.due(self._clock.now_s())
                    self._look_at_disk()
        assert self.reason is not None
        return self.reason

    def run_virtual(
        self,
        clock: VirtualClock,
        next_s: Callable[[], float],
        act: Callable[[float], None],
        *,
        until_s: float = float("inf"),
    ) -> Reason:
        """Run with no threads and no real time, on the clock that this `Live` was made with.

        `next_s()` is when something happens next outside (infinity: never again); `act(t_s)` lets it happen, putting
        what comes of it into the inbox. Between them `see` may change both. Ends as `run` does, or `interrupted`
        when session time `until_s` is reached or nothing would ever happen again.
        """
        with self._ending():
            self.start()
            while self._goes_on():
                due_s = self.deadline_s
                other_s = next_s()
                t_s = other_s if due_s is None else min(due_s, other_s)
                if t_s > until_s or t_s == float("inf"):
                    self.reason = "interrupted"
                    break
                clock.move_to(t_s)
                if due_s is not None and due_s <= t_s:
                    self.due(t_s)
                else:
                    act(t_s)
                while self.reason is None and (item := self._inbox.get()) is not None:
                    self.take(item)
        assert self.reason is not None
        return self.reason

    @property
    def problem(self) -> str | None:
        """What is wrong with the disk right now."""
        return None if self._writer is None else self._writer.problem

    def join(self, observer: Observer) -> None:
        """Show the session to one observer more from the next record on. From any thread."""
        self._audience.join(observer)

    # Its parts, for whoever pumps events himself

    @property
    def deadline_s(self) -> float | None:
        """The clock's time at which `due` has something to do unless an item comes first."""
        mine_s = self._session.deadline_s
        mine_s = None if mine_s is None else mine_s + self.origin_s
        due = (mine_s, self._watch.deadline_s, self._heap.deadline_s)
        return min((one for one in due if one is not None), default=None)

    def start(self) -> None:
        """Show the session record and the first prompts, then start the words and the link."""
        self._begin()
        for words in self._words:
            words.start(self._inbox, self._clock)
        if self._source is not None:
            self._source.start(self._inbox, self._clock)

    def take(self, item: Item) -> None:
        """Do all that one item of the inbox asks for."""
        kind = type(item)
        if kind is Arrived:
            t_s = at(item.t_s)  # type: ignore[union-attr]
            self.due(t_s)
            self._bytes(item.data, t_s)  # type: ignore[union-attr]
        elif isinstance(item, Said):
            self._sweep_up()
            if item.prompt is not None:
                # What is due by now comes first: it may be another prompt.
                self.due(item.t_s)
                if (why := refused(self._audience.view, item.word, item.prompt)) is not None:
                    self._say(why)
                    return
            self._feed(Operator(at(item.t_s), item.word, item.text, item.source))
        elif isinstance(item, Changed):
            self._change(item)
        elif isinstance(item, Failed):
            raise item.error
        elif self.reason is None:
            self._sweep_up()
            if (rest := self._inbox.rest()) is not None:
                first, size = rest
                t_s = self.origin_s + self._now_s()
                self._feed(Garbage(t_s, first.hex(), UNREAD, count=1, size=size))
            self.reason = "interrupted"

    def due(self, t_s: float) -> None:
        """Let every deadline up to `t_s` pass: those of the link first become events, then those of the session."""
        t_s = at(t_s)
        if (heap_s := self._heap.deadline_s) is not None and heap_s <= t_s:
            self._sweep_up()
        if (links_s := self._watch.deadline_s) is not None and links_s <= t_s:
            self._feed_all(self._watch.due(t_s))
        mine_s = self._mine(t_s)
        if (due_s := self._session.deadline_s) is not None and due_s <= mine_s and self.reason is None:
            for event, outcomes in self._driver.due(mine_s):
                self._emit(outcomes, event)

    # Events

    def _bytes(self, data: bytes, t_s: float) -> None:
        found = self._decoder.feed(data, t_s)
        self._decoded(found)
        if not any(type(one) is Reading for one in found):
            self._watch.noise(data, t_s)

    def _decoded(self, found: Iterable[Reading | Garbage]) -> None:
        for one in found:
            if isinstance(one, Reading):
                self._sweep_up()
                self._feed_all(self._watch.frame(one.quantity, one.t_s))
                self._feed(one)
            elif (piece := self._heap.take(one)) is not None:
                self._feed(piece)

    def _sweep_up(self) -> None:
        """Record the garbage that is held, before anything that came after it."""
        if (held := self._heap.out()) is not None:
            self._feed(held)

    def _change(self, change: Changed) -> None:
        t_s = at(change.t_s)
        self.due(t_s)
        if change.state is LinkState.LOST:
            self._decoded(self._decoder.flush(t_s))  # a frame that was cut is not completed by the next connection
            self._sweep_up()
        self._feed_all(self._watch.change(change.state, change.why, t_s))

    def _feed_all(self, events: Iterable[Event]) -> None:
        for event in events:
            self._feed(event)

    def _feed(self, event: Event) -> None:
        if self.origin_s:
            event = msgspec.structs.replace(event, t_s=self._mine(event.t_s))
        if self.reason is None:  # what comes after the end belongs to no session
            for fed, outcomes in self._driver.feed(event):
                self._emit(outcomes, fed)

    # Records

    def _emit(self, outcomes: list[Outcome], event: Event | None = None) -> None:
        """Write and show an event and its outcomes; see the module's text for the order."""
        promised = type(event) is Operator
        alarms: list[Cue] = []
        for outcome in outcomes:
            kind = type(outcome)
            if kind is Verdict:
                promised = True
            elif kind is Cue and outcome.cue is CueKind.HAZARD:  # type: ignore[union-attr]
                alarms.append(outcome)  # type: ignore[arg-type]
        if alarms:
            self._audience.alarm(event, alarms)
        records: list[Record] = list(outcomes) if event is None else [event, *outcomes]
        writer = self._writer
        if writer is None:
            lines = [encode(record) + b"\n" for record in records]
        else:
            lines = [writer.append(record) for record in records]
            if promised:
                writer.sync()
        self._audience.show(event, outcomes, records, lines)
        if event is not None:
            self._last_s = event.t_s
        if self._session.finished and self.reason is None:
            self.reason = self._session.end_reason
        self._look_at_disk()
        if self._source is not None:
            wanted = (self._session.wanted, self._session.wanted_range)
            if wanted != self._wanted:
                self._wanted = wanted
                self._source.want(*wanted)

    def _say(self, text: str) -> None:
        """Show a remark that is in no file."""
        self._audience.tell(Note(t_s=self._now_s(), text=text))

    def _look_at_disk(self) -> None:
        """Tell when the disk begins to refuse, when it took everything again, and when the journal goes on elsewhere.

        These notes are in no file.
        """
        problem = None if self._writer is None else self._writer.problem
        if (problem is not None) != self._disk_ill:
            self._disk_ill = problem is not None
            self._say(problem or DISK_WELL)
        moved = "" if self._writer is None else self._writer.moved
        if moved != self._moved:
            self._moved = moved
            self._say(moved)

    def _mine(self, t_s: float) -> float:
        """Return the session's time at the clock's `t_s`; what arrived before it began has its beginning."""
        return at(max(0.0, t_s - self.origin_s)) if self.origin_s else t_s

    def _now_s(self) -> float:
        return max(self._last_s, self._mine(at(self._clock.now_s())))

    def _wait_s(self) -> float:
        due_s = self.deadline_s
        return LONGEST_WAIT_S if due_s is None else min(LONGEST_WAIT_S, self._clock.wait_s(due_s))

    # From one session to the next

    def _begin(self) -> None:
        """Show the session record and the first prompts."""
        first = None if self._writer is None else decode(self._writer.first)
        self._audience.begin(self._session, first, b"" if self._writer is None else self._writer.first)
        self._emit(self._driver.start())

    def _goes_on(self) -> bool:
        """Return whether there is a session to run: the present one, or the one that follows where it was parked."""
        if self.reason == "parked" and self._after_parking is not None:
            self._close(self.reason)
            self._writer = None  # whatever breaks before the next one has its journal must not end this one twice
            self._driver, self._writer, origin_s = self._after_parking()
            self._session = self._driver.session
            self.origin_s, self._last_s, self.reason = at(origin_s), 0.0, None
            self._wanted, self._disk_ill, self._moved = None, False, ""
            self._begin()
            if self._watch.state is not None:
                self._feed(Link(self.origin_s, self._watch.state, self._watch.why))
        return self.reason is None

    def _close(self, reason: Reason) -> None:
        """Write and show the end of the present session."""
        if self._writer is None:
            return
        line = self._writer.close(self._now_s(), reason)
        # After a fault the observer that caused it may well raise again, and must not hide the first exception.
        with contextlib.suppress(Exception) if reason == "fault" else contextlib.nullcontext():
            self._audience.tell(decode(line), line)
            self._look_at_disk()

    # The end

    @contextlib.contextmanager
    def _ending(self) -> Iterator[None]:
        """Whatever happens in the block, `end` is written, the observers see it, and links and words are stopped."""
        try:
            yield
        except KeyboardInterrupt:
            self.reason = "interrupted"
            self._end(self.reason)
        except BaseException:
            self.reason = "fault"
            self._end(self.reason)
            raise
        else:
            assert self.reason is not None
            self._end(self.reason)

    def _end(self, reason: Reason) -> None:
        with contextlib.ExitStack() as stack:  # last in, first out; each is done even if one before it raised
            if self._source is not None:
                stack.callback(self._source.stop)
            for words in self._words:
                stack.callback(words.stop)
            stack.callback(self._inbox.close)
            if reason in ("interrupted", "fault"):
                with contextlib.suppress(Exception) if reason == "fault" else contextlib.nullcontext():
                    self._emit(self._driver.end(self._now_s()))
            self._close(reason)
