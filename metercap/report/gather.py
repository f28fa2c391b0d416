"""What a report needs of a session's records besides its verdicts: one pass, bounded memory. Pure.

Words and notes in time order, the trace of every trimmer (of everything, where a plan has no steps), contacts of every
sweep, verdicts that a later one replaced, excursions. Whatever could grow without end is capped, and what was left out
is counted: the journal has it.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Generic, Literal, TypeVar

import msgspec

from metercap.contact import Conversions
from metercap.evidence import Evidence, Gathering
from metercap.metrology.ranges import too_coarse
from metercap.outcome import MOST_UNPLANNED, Fold, Key
from metercap.plan import Plan
from metercap.plan.expected import band_of
from metercap.plankeys import SweepStep, TuneStep
from metercap.reading import Garbage, Reading
from metercap.records import (
    PART_NOTE,
    WAIVED_NOTE,
    Contact,
    Cue,
    CueKind,
    Do,
    Excursion,
    Lift,
    Link,
    Note,
    Operator,
    Prompt,
    Record,
    SessionRecord,
    Verdict,
    VerdictKind,
)
from metercap.report.traces import Trace
from metercap.steps.tune.trimmers import TENTH

MOST_FIRST, MOST_LAST = 1500, 500
"""How many entries of a kind are kept from the start, and how many up to the end."""

_BESIDE = (Do.DIAL, Do.WAIT)
"""Prompts that hold something up; what was asked for before them is asked for still."""

T = TypeVar("T")


class Kept(Generic[T]):
    """The first and the last of many; `left_out` counts those between."""

    def __init__(self, first: int = MOST_FIRST, last: int = MOST_LAST) -> None:
        self._first: list[T] = []
        self._last: deque[T] = deque(maxlen=last)
        self._most = first
        self.left_out = 0

    def add(self, entry: T) -> None:
        """Keep an entry, at the cost of one in the middle where there are too many."""
        if len(self._first) < self._most:
            self._first.append(entry)
            return
        if len(self._last) == self._last.maxlen:
            self.left_out += 1
        self._last.append(entry)

    def replace_newest(self, entry: T) -> None:
        """Put another entry in place of the one that was added last."""
        (self._last or self._first)[-1] = entry

    @property
    def newest(self) -> T | None:
        """The entry that was added last."""
        kept = self._last or self._first
        return kept[-1] if kept else None

    @property
    def cut(self) -> int:
        """How many entries stand before those that were left out."""
        return len(self._first)

    def __iter__(self) -> Iterator[T]:
        yield from self._first
        yield from self._last

    def __len__(self) -> int:
        return len(self._first) + len(self._last)


class Entry(msgspec.Struct, frozen=True):
    """Something said: by the operator, the program, about the meter's link. `times` in a row, the last at `last_s`.

    `step` and `item`: what was asked for then; empty where that does not matter.
    """

    t_s: float
    who: Literal["operator", "program", "meter"]
    text: str
    step: str = ""
    item: str = ""
    last_s: float = 0.0
    times: int = 1


class Touch(msgspec.Struct, frozen=True):
    """A contact from `t_s` to `to_s`; `same`: a slip, after its item was ticked."""

    t_s: float
    to_s: float
    item: str
    same: bool = False


class Tick(msgspec.Struct, frozen=True):
    """A verdict in a sweep's strip."""

    t_s: float
    item: str
    verdict: VerdictKind


class Work(msgspec.Struct, frozen=True):
    """What was done to a unit, by the operator's word: a part replaced, a fix, a proof waived, or a remark."""

    t_s: float
    what: Literal["replaced", "fixed", "waived", "noted"]
    text: str


class Strip:
    """The contacts and verdicts of one sweep."""

    def __init__(self) -> None:
        self.touches: Kept[Touch] = Kept()
        self.ticks: Kept[Tick] = Kept()
        self.on: Contact | None = None

    def lift(self, t_s: float) -> None:
        """The contact that is on ends."""
        if self.on is not None:
            self.touches.add(Touch(self.on.t_s, t_s, self.on.item, self.on.same))
            self.on = None


class Gathered:
    """Everything that was gathered; feed it by `passing`, look when that is done."""

    def __init__(self) -> None:
        self._gathering = Gathering()
        self.log: Kept[Entry] = Kept()
        self.strips: dict[str, Strip] = {}
        self.traces: dict[Key, Trace] = {}
        self.replaced: Kept[Verdict] = Kept()
        self.firsts: dict[Key, Verdict] = {}
        """What each item was decided as first here, or by what was taken over: before anything was done to it."""
        self.works: Kept[Work] = Kept()
        self.bench_s: dict[str, float] = {}
        """How long each step was worked on: from what it asks first to what another asks, pauses included."""
        self.excursions: Kept[Excursion] = Kept()
        self.passed_over: dict[Key, None] = {}
        """What a sweep left for its second look."""
        self.readings: dict[str, int] = {}
        """How many by quantity."""
        self.garbage_bytes = 0
        self.last_s = 0.0
        self._tunes: dict[str, list[str]] = {}
        self._halves: dict[Key, float | None] = {}
        """Half the band of every trimmer, None where it is not known."""
        self._on: Key = ("", "")
        self._free = False
        self._step = ""
        self._at: Key = ("", "")
        self._trace: Trace | None = None
        self._conversions: Conversions | None = None
        self._whole = False
        """Whether the present contact's first conversion is over: it may be a blend with open air."""
        self._newest: list[Reading] = []
        """The frames of the newest conversion, which may be the contact's last and a blend as well."""

    @property
    def fold(self) -> Fold:
        """The verdicts that stand, and what is open."""
        return self._gathering.fold

    def take(self, records: Iterable[Record]) -> Evidence:
        """Take every record of a session, the first included, and return what they prove."""
        for record in records:
            self._take(record)
        self._drawn()
        for strip in self.strips.values():
            strip.lift(self.last_s)
        return self._gathering.evidence()

    def _take(self, record: Record) -> None:
        if self._step:
            self.bench_s[self._step] = self.bench_s.get(self._step, 0.0) + max(0.0, record.t_s - self.last_s)
        self.last_s = record.t_s
        if isinstance(record, Reading):
            self._reading(record)
            return
        if isinstance(record, Verdict):
            before = self.fold.verdict_of((record.step, record.item))
            if before is not None and not _only_accepted(before, record):
                self.replaced.add(before)
            self._drawn()
            self._trace = None
            if len(self.firsts) < MOST_UNPLANNED:
                self.firsts.setdefault((record.step, record.item), record)
            if record.step in self.strips:
                self.strips[record.step].ticks.add(Tick(record.t_s, record.item, record.verdict))
        self._gathering.add(record)
        if isinstance(record, SessionRecord):
            assert self.fold.plan is not None
            self._begin(self.fold.plan, record.reference)
            self._conversions = Conversions(record.meter, record.conversion_s)
        elif isinstance(record, Prompt):
            self._prompt(record)
        elif isinstance(record, Contact):
            self._contact(record)
        elif isinstance(record, Lift):
            self._lift(record)
        elif isinstance(record, Cue):
            if record.cue is CueKind.SKIP:
                self.passed_over[record.step, record.item] = None
        elif isinstance(record, Excursion):
            self.excursions.add(record)
        elif isinstance(record, Garbage):
            self.garbage_bytes += record.bytes
        else:
            self._said(record)

    def _begin(self, plan: Plan, reference: Mapping[str, Mapping[str, Any]]) -> None:
        self._free = not plan.steps
        for step in plan.steps:
            if isinstance(step, SweepStep):
                self.strips[step.id] = Strip()
            elif isinstance(step, TuneStep):
                for item in step.items:
                    self._tunes.setdefault(item.name, []).append(step.id)
                    band = band_of(step, item, reference)
                    self._halves[step.id, item.name] = None if band is None else band[1]

    def _prompt(self, prompt: Prompt) -> None:
        self._step = prompt.step
        if prompt.item is not None and prompt.do not in _BESIDE:
            self._at = (prompt.step, prompt.item)

    def _contact(self, contact: Contact) -> None:
        strip = self.strips.get(contact.step)
        if strip is not None:
            strip.lift(contact.t_s)
            strip.on = contact
        steps = self._tunes.get(contact.item, ())
        # As found of later steps' trimmers is read before anything turns, in the first step's name.
        step = contact.step if contact.step in steps else next(iter(steps), "")
        # A slip after the tick, or tips already together for the next step, is no part of it.
        self._on = (step, contact.item)
        self._trace = self.traces.setdefault(self._on, Trace("")) if step and not contact.same else None
        self._whole = False
        self._newest.clear()

    def _lift(self, lift: Lift) -> None:
        if lift.step in self.strips:
            self.strips[lift.step].lift(lift.t_s)
        self._newest.clear()
        if self._trace is not None:
            self._trace.gap()
            self._trace = None

    def _drawn(self) -> None:
        """The newest conversion is whole: it belongs to the path."""
        if self._trace is not None:
            for reading in self._newest:
                _add(self._trace, reading)
        self._newest.clear()

    def _reading(self, reading: Reading) -> None:
        self.readings[reading.quantity] = self.readings.get(reading.quantity, 0) + 1
        new = self._conversions is not None and self._conversions.begins(reading)
        if self._free:
            _add(self.traces.setdefault(("", reading.quantity), Trace("")), reading)
        elif self._trace is not None and not self._walks(reading):
            if reading.value is None:
                self._newest.clear()
                _add(self._trace, reading)
                return
            if new:
                self._drawn()
                self._whole = True
            if self._whole:
                self._newest.append(reading)

    def _walks(self, reading: Reading) -> bool:
        """Whether a meter that looks for its range shows what is no value of the trimmer."""
        session, value = self.fold.session, reading.value
        if session is None or value is None:
            return False
        half = self._halves.get(self._on)
        half = TENTH * abs(value) if half is None else half
        return too_coarse(session.meter, reading.quantity, value, reading.resolution, half)

    def _said(self, record: Record) -> None:
        self._work(record)
        newest = self.log.newest
        if isinstance(record, Operator):
            text = f"{record.word} {record.text}".rstrip()
            # Only what answers or decides belongs to an item; a remark stands for itself.
            step, item = self._at if not record.text else ("", "")
            said = Entry(record.t_s, "operator", text, step, item, record.t_s)
        elif isinstance(record, Note):
            if newest is not None and (newest.t_s, newest.text) == (record.t_s, f"note {record.text}"):
                return  # the operator's own note, said back
            said = Entry(record.t_s, "program", record.text, last_s=record.t_s)
        elif isinstance(record, Link):
            why = f": {record.why}" if record.why else ""
            said = Entry(record.t_s, "meter", f"{record.state}{why}", last_s=record.t_s)
        else:
            return
        if newest is not None and _alike(newest, said):
            self.log.replace_newest(msgspec.structs.replace(newest, last_s=said.t_s, times=newest.times + 1))
        else:
            self.log.add(said)

    def _work(self, record: Record) -> None:
        if isinstance(record, Note) and record.text.startswith(PART_NOTE):
            self.works.add(Work(record.t_s, "replaced", record.text.removeprefix(PART_NOTE)))
        elif isinstance(record, Note) and record.text.startswith(WAIVED_NOTE):
            self.works.add(Work(record.t_s, "waived", record.text.removeprefix(WAIVED_NOTE)))
        elif isinstance(record, Operator) and record.text and record.word in ("fixed", "note"):
            self.works.add(Work(record.t_s, "fixed" if record.word == "fixed" else "noted", record.text))


def _add(trace: Trace, reading: Reading) -> None:
    """Add a reading to a trace; one without a value is a gap in it."""
    if reading.value is None:
        trace.over += 1
        trace.gap()
    elif trace.unit in ("", reading.unit):
        trace.unit = reading.unit
        trace.add(reading.t_s, reading.value, reading.resolution)


def _alike(one: Entry, other: Entry) -> bool:
    return (one.who, one.text, one.step, one.item) == (other.who, other.text, other.step, other.item)


def _only_accepted(before: Verdict, after: Verdict) -> bool:
    """Return whether a verdict says again what stood, and that it is accepted: nothing was measured anew."""
    return (
        isinstance(after.accepted, str)
        and msgspec.structs.replace(after, t_s=before.t_s, accepted=before.accepted) == before
    )
