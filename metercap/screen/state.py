"""The fold: records in the file's order, one at a time, to what the screen has to know.

`advance` is pure and never raises on a record that decodes: what it cannot use it passes over. States are frozen, so
any moment of a replay can be kept and gone back to, and the screen's thread may read one while the session's
thread makes the next. The same record twice (a hazard cue that came ahead of its line) changes nothing more.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from typing import Any

import msgspec

from metercap.contact import Stay
from metercap.outcome import standing_after
from metercap.quantity import Quantity
from metercap.reading import Garbage, Reading, State
from metercap.records import (
    Contact,
    Cue,
    CueKind,
    Do,
    EndRecord,
    Lift,
    Link,
    LinkState,
    Note,
    Operator,
    Prompt,
    Record,
    SessionRecord,
    Verdict,
    VerdictKind,
    named,
)
from metercap.screen.plandata import PlanInfo, inherited_as_found, plan_info

KEEP_READINGS = 12
"""Latest readings kept, for the rate, the speed of a trimmer and the trail of values."""

_TUNE_CUES = {CueKind.FAR, CueKind.NEAR, CueKind.SLOW, CueKind.IN_BAND, CueKind.WRONG_WAY, CueKind.PAST_IT}
_CLOSURES = re.compile(r"\((\d+) of \d+ presses done, (\d+) closed\)")
"""How an exercise's prompts tell the presses so far and their closures."""
_AFTER_FIX = "runs after the fix begin"


class Touch(msgspec.Struct, frozen=True):
    """Probes on an item since `t_s`; `same` when it is the one ticked before."""

    t_s: float
    item: str
    same: bool


class BenchState(msgspec.Struct, frozen=True):
    """All that the records so far say about this moment.

    `prompt` is the open task, `aside` a dial to be turned, which does not replace it. `armed` is false from a
    tick until the lift is certain, `stay` how long that still takes. `call` is the cue that asks the hands for
    something now. `found` is the value a trimmer came from, `track` its way since. `tries` are the marks of the
    open k-of-n step, oldest first; `fixed` is set when a fix was noted and the runs after it began.
    `found` is by item: a trimmer of a later step may be read early. `standing` are trimmers past a hazard limit, by
    item (step, side), until they are over; `told` is the last remark that was spoken, while `told_of` was open.
    """

    session: SessionRecord | None = None
    plan: PlanInfo = PlanInfo()
    t_s: float = 0.0
    step: str = ""
    prompt: Prompt | None = None
    aside: Prompt | None = None
    touch: Touch | None = None
    armed: bool = True
    stay: Stay | None = None
    call: CueKind | None = None
    call_s: float = 0.0
    tune_cue: CueKind | None = None
    standing: Mapping[str, tuple[str, str]] = {}
    told: Note | None = None
    told_of: str = ""
    readings: tuple[Reading, ...] = ()
    verdicts: Mapping[tuple[str, str], Verdict] = {}
    skipped: frozenset[tuple[str, str]] = frozenset()
    last: Verdict | None = None
    found: Mapping[str, float] = {}
    undone: bool = False
    leads: Mapping[tuple[Quantity, float], float] = {}
    tries: tuple[VerdictKind, ...] = ()
    fixed: bool = False
    in_band_s: float | None = None
    link: Link | None = None
    garbage: Garbage | None = None
    note: Note | None = None
    word: Operator | None = None
    end: EndRecord | None = None

    @property
    def hazard(self) -> bool:
        """Whether the trimmer that is asked for stands past its limit."""
        item = None if self.prompt is None else self.prompt.item
        return item is not None and item in self.standing and self.plan.step(self.step).kind == "tune"

    @property
    def reading(self) -> Reading | None:
        """The newest reading, or None."""
        return self.readings[-1] if self.readings else None

    def corrected(self, reading: Reading | None) -> float | None:
        """A reading's value less the lead null of its function and range, in SI; None when it shows no number."""
        if reading is None or reading.value is None:
            return None
        return reading.value - self.leads.get((reading.quantity, reading.resolution), 0.0)


def advance(state: BenchState, record: Record) -> BenchState:
    """The state after one more record."""
    work = _WORK.get(type(record))
    if work is None:
        return state
    return msgspec.structs.replace(state, t_s=max(state.t_s, record.t_s), **work(state, record))


def fold(records: Iterable[Record], state: BenchState | None = None) -> BenchState:
    """The state after all of `records`, begun from `state` or from nothing."""
    now = BenchState() if state is None else state
    for record in records:
        now = advance(now, record)
    return now


_Change = dict[str, Any]


def _session(_: BenchState, record: SessionRecord) -> _Change:
    return {"session": record, "plan": plan_info(record), "found": inherited_as_found(record)}


def _reading(state: BenchState, record: Reading) -> _Change:
    change: _Change = {"readings": (*state.readings[1 - KEEP_READINGS :], record), "garbage": None}
    if state.link is not None and state.link.state in (LinkState.SILENT, LinkState.GARBAGE):
        change["link"] = None
    return change


def _garbage(_: BenchState, record: Garbage) -> _Change:
    return {"garbage": record}


def _link(_: BenchState, record: Link) -> _Change:
    return {"link": None if record.state is LinkState.UP else record}


def _operator(state: BenchState, record: Operator) -> _Change:
    change: _Change = {"word": record}
    if state.session is not None:
        change["session"] = named(state.session, record)
    here = (state.step, state.prompt.item) if state.prompt is not None and state.prompt.item else None
    if record.word == "skip" and here is not None:
        change["skipped"] = state.skipped | {here}
    if record.word == "undo":
        change["undone"] = True
    asked = state.prompt is not None and state.prompt.do is Do.ANSWER
    if asked and state.plan.step(state.step).kind == "trials":
        if record.word in ("pass", "fail"):
            change["tries"] = (*state.tries, VerdictKind(record.word))
        elif record.word == "back":
            change["tries"] = state.tries[:-1]
    return change


def _contact(state: BenchState, record: Contact) -> _Change:
    change: _Change = {"touch": Touch(record.t_s, record.item, record.same), "call": None}
    if not record.same:
        change |= {"armed": True}
        if state.aside is not None and state.aside.do is Do.DIAL:
            change["aside"] = None
    return change


def _lift(_: BenchState, record: Lift) -> _Change:
    return {"touch": None, "in_band_s": None}


def _prompt(state: BenchState, record: Prompt) -> _Change:
    # The stop cue and the prompt that explains it come together; any later prompt says that it is over.
    explains = record.do is Do.STOP and record.t_s == state.call_s
    change: _Change = {"call": None if state.call is CueKind.STOP and not explains else state.call}
    if record.do is Do.DIAL and record.step == state.step and state.prompt is not None:
        return change | {"aside": record}
    if state.call is CueKind.WAITING:  # it waited for what the prompt before asked for
        change["call"] = None
    change |= {"prompt": record, "aside": None}
    if record.step != state.step:
        change |= {"step": record.step, "tries": (), "fixed": False, "undone": False, "tune_cue": None}
    elif state.prompt is not None and record.item != state.prompt.item:
        change |= {"undone": False, "tune_cue": None, "in_band_s": None}
    if record.do in (Do.PRESS, Do.RELEASE):
        change["tries"] = _closures(state.tries, record)
    if record.do is Do.TURN:
        change |= _as_found(state, record.item or record.step)
    return change


def _closures(tries: tuple[VerdictKind, ...], record: Prompt) -> tuple[VerdictKind, ...]:
    """The presses so far, by the counts in the prompt: one more closure is a pass, one more press without is unsure."""
    counts = _CLOSURES.search(record.say)
    if counts is None:
        return tries
    done, good = int(counts[1]), int(counts[2])
    kept = tries if done >= len(tries) else ()
    while len(kept) < done:
        closed = good - kept.count(VerdictKind.PASS) >= done - len(kept)
        kept = (*kept, VerdictKind.PASS if closed else VerdictKind.UNSURE)
    return kept


def _as_found(state: BenchState, item: str) -> _Change:
    """The value in hand becomes the item's as found, once: it is never overwritten."""
    value = state.corrected(state.reading)
    return {} if item in state.found or value is None else {"found": {**state.found, item: value}}


def _cue(state: BenchState, record: Cue) -> _Change:
    standing = dict(state.standing)
    standing_after(standing, record)
    change = _cued(state, record)
    return change if standing == state.standing else change | {"standing": standing}


def _cued(state: BenchState, record: Cue) -> _Change:
    cue = record.cue
    if cue is CueKind.GO:
        return {"armed": True, "touch": None, "call": None}
    if cue is CueKind.CONTACT and state.call is CueKind.WAITING:
        return {"call": None}
    if cue is CueKind.HAZARD:
        return {"tune_cue": cue}
    tuning = state.plan.step(record.step).kind == "tune"
    turning = tuning and state.prompt is not None and state.prompt.do is Do.TURN
    if cue in _TUNE_CUES or (cue is CueKind.STOP and turning):
        in_band = cue is CueKind.IN_BAND
        since = (state.in_band_s if state.in_band_s is not None else record.t_s) if in_band else None
        return {"tune_cue": cue, "in_band_s": since}
    if cue in (CueKind.LIFT, CueKind.AGAIN, CueKind.WAITING, CueKind.STOP):
        return {"call": cue, "call_s": record.t_s}
    last = state.last
    if last is not None and (last.t_s, last.step, last.item) == (record.t_s, record.step, record.item):
        return {}  # the cue of the verdict just seen
    if cue is CueKind.PASS and tuning:
        return {"armed": state.touch is None, **_as_found(state, record.item)}
    if cue is CueKind.FAIL and state.plan.step(record.step).kind == "wiggle":
        return {"tries": (*state.tries, VerdictKind.FAIL)}
    return {}


def _verdict(state: BenchState, record: Verdict) -> _Change:
    here = (record.step, record.item)
    change: _Change = {
        "verdicts": {**state.verdicts, here: record},
        "skipped": state.skipped - {here},
        "last": record,
        "armed": state.touch is None,
        "call": None,
    }
    reading = state.reading
    if state.plan.step(record.step).kind == "zero" and record.value is not None and reading is not None:
        weight = record.resolution if record.resolution is not None else reading.resolution
        change["leads"] = {**state.leads, (reading.quantity, weight): record.value}
    return change


def _note(state: BenchState, record: Note) -> _Change:
    change: _Change = {"note": record}
    if record.aloud is True:
        change |= {"told": record, "told_of": (state.prompt.item or "") if state.prompt is not None else ""}
    if _AFTER_FIX in record.text:
        change |= {"tries": (), "fixed": True}
    return change


def _end(_: BenchState, record: EndRecord) -> _Change:
    return {"end": record, "aside": None, "call": None, "link": None}


_WORK: dict[type, Callable[[BenchState, Any], _Change]] = {
    SessionRecord: _session,
    Reading: _reading,
    Garbage: _garbage,
    Link: _link,
    Operator: _operator,
    Contact: _contact,
    Lift: _lift,
    Prompt: _prompt,
    Cue: _cue,
    Verdict: _verdict,
    Note: _note,
    EndRecord: _end,
}


def rate_per_s(readings: tuple[Reading, ...]) -> float | None:
    """Readings a second over those kept, or None for fewer than three or when they share one moment."""
    if len(readings) < 3 or readings[-1].t_s <= readings[0].t_s:
        return None
    return (len(readings) - 1) / (readings[-1].t_s - readings[0].t_s)


def conversions(readings: tuple[Reading, ...], conversion_s: float) -> list[Reading]:
    """The readings that show a new conversion: another value or range, or at least one conversion later (5 % early)."""
    kept: list[Reading] = []
    for reading in readings:
        if reading.state is not State.OK:
            kept.clear()
        elif (
            not kept
            or (reading.value, reading.resolution) != (kept[-1].value, kept[-1].resolution)
            or reading.t_s - kept[-1].t_s >= 0.95 * conversion_s
        ):
            kept.append(reading)
    return kept
