"""Replay: recorded events through the same session again, and whether the same outcomes come out.

Recorded `clock` records are compared, not fed: the driver makes its own from the session's deadlines. On a file that
was not closed the outcomes of the last event may be missing, which is no difference.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator

import msgspec
from msgspec.structs import astuple

from metercap.contact.tokens import OLD_MARK
from metercap.errors import JournalError
from metercap.meter import MeterProfile
from metercap.reading import Garbage, Reading
from metercap.records import (
    REPAIR_NOTE,
    SCHEMA,
    Clock,
    EndRecord,
    Event,
    Link,
    Note,
    Operator,
    Outcome,
    Record,
    SessionRecord,
    Verdict,
    encode,
)
from metercap.session.driver import Driver
from metercap.session.machine import Session
from metercap.wire import decode_frame
from metercap.wire.framing import CACHED_FRAMES

TAKE_TEXT = ("note", "probe", "at")
"""Words whose text is the operator's own."""


class Checked(msgspec.Struct, frozen=True):
    """What a check found: `difference` is empty when every outcome was derived again exactly."""

    readings: int
    verdicts: int
    difference: str = ""


def opening(records: Iterator[Record]) -> SessionRecord:
    """Return the first record, which must be a session's; JournalError otherwise."""
    first = next(records, None)
    if not isinstance(first, SessionRecord):
        raise JournalError("the file holds no session", hint="metercap verify says what it holds")
    return first


def feed_recorded(driver: Driver, records: Iterable[Record]) -> Iterator[tuple[Event, list[Outcome]]]:
    """Feed recorded events to a driver that was started; yield each as it was fed, and what came of it."""
    for record in records:
        if isinstance(record, Clock):
            yield from driver.due(record.t_s)
        elif isinstance(record, Operator) and _by_token(record):
            continue  # the readings say it again
        elif isinstance(record, Reading | Garbage | Operator | Link):
            yield from driver.feed(record)


def _by_token(record: Operator) -> bool:
    """Return whether a token said the word. Schema 1 marked it in the text, which other words may begin so as well."""
    if record.source:
        return record.source == "token"
    return record.text.startswith(OLD_MARK) and record.word not in TAKE_TEXT


def check(records: Iterable[Record]) -> Checked:
    """Derive every outcome again and compare; every `raw` is decoded again as well. Stops at the first difference."""
    stream = iter(records)
    first = opening(stream)
    if first.schema < SCHEMA:
        return Checked(0, 0, f"not derived again: schema {first.schema}")
    driver = Driver(Session(first))
    due: deque[Record] = deque(driver.start())
    frames = _Frames(first.meter)
    readings = verdicts = 0
    number, ended = 1, False
    for record in stream:
        number += 1
        kind = type(record)
        if kind is Operator and due and due[0] == record:
            due.popleft()  # said by a token, derived from the reading before it
        elif kind is Reading or kind is Operator or kind is Link or kind is Garbage or kind is Clock:
            if due:
                return Checked(readings, verdicts, _missing(number, due[0]))
            event: Event = record  # type: ignore[assignment]
            fed = None
            for derived, outcomes in driver.due(event.t_s) if kind is Clock else driver.feed(event):
                if fed is not None:
                    due.append(derived)
                elif derived is not event and derived != event:
                    return Checked(readings, verdicts, _unlike(number, derived, event))
                fed = derived
                if outcomes:
                    due.extend(outcomes)
            if fed is None:
                return Checked(readings, verdicts, _unlike(number, None, event))
            if kind is Reading:
                readings += 1
                wrong = frames.wrong(number, event)  # type: ignore[arg-type]
                if wrong:
                    return Checked(readings, verdicts, wrong)
        elif kind is EndRecord:
            if not ended and record.reason == "interrupted":  # type: ignore[union-attr]
                due.extend(driver.end(record.t_s))
            if due:
                return Checked(readings, verdicts, _missing(number, due[0]))
        elif kind is Note and record.text.startswith(REPAIR_NOTE):  # type: ignore[union-attr]
            gap = f"line {number}: the file was repaired here, and what followed cannot be derived"
            return Checked(readings, verdicts, gap)
        else:
            if not due and not ended:  # what a signal made the session say before its end
                ended = True
                due.extend(driver.end(record.t_s))
            expected = due.popleft() if due else None
            if expected != record:
                return Checked(readings, verdicts, _unlike(number, expected, record))
            verdicts += kind is Verdict
    return Checked(readings, verdicts)


class _Frames:
    """Decodes recorded frames again, each by itself."""

    def __init__(self, profile: MeterProfile) -> None:
        self._profile = profile
        self._right: dict[str, tuple[object, ...]] = {}
        """What frames gave, without the time; a meter repeats itself."""

    def wrong(self, number: int, reading: Reading) -> str:
        """Return what is wrong with a reading's `raw`, empty when it gives the reading."""
        shown = astuple(reading)[1:]
        if self._right.get(reading.raw) == shown and round(reading.t_s, 6) == reading.t_s:
            return ""
        try:
            raw = bytes.fromhex(reading.raw)
        except ValueError:
            return f"line {number}: raw is not hex"
        if not raw:
            return ""
        again = decode_frame(self._profile, raw, reading.t_s)
        if len(again) != 1 or again[0] != reading:
            return _unlike(number, again[0] if again else None, reading)
        if len(self._right) >= CACHED_FRAMES:
            self._right.clear()
        self._right[reading.raw] = shown
        return ""


def _text(record: Record | None) -> str:
    return "nothing" if record is None else encode(record).decode()


def _missing(number: int, derived: Record) -> str:
    return f"line {number}: derived again, but not in the file before it: {_text(derived)}"


def _unlike(number: int, derived: Record | None, record: Record) -> str:
    return f"line {number}: the file has {_text(record)}; derived again is {_text(derived)}"
