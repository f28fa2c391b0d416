"""What each record sounds like. A pure fold: records in, sounds out, in the order they should be heard.

Cues are cues; the hazard's sounds again as long as the open trimmer stands past its limit.
Prompts are spoken as the unit's tag and the item, since that is what the next move needs. A pass in a
sweep is only its tick; every other verdict is spoken with its value. While a trimmer is turned with the tips on it,
each value moves the tone. The word `say` speaks what the session answers to it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeAlias

import msgspec

from metercap.errors import MetercapError
from metercap.judging.judge import Judge
from metercap.outcome import standing_after
from metercap.plan import from_builtins
from metercap.plankeys import ConfirmStep, StepBase, SweepStep, TuneStep, ZeroStep
from metercap.quantity import Quantity, format_value
from metercap.reading import Reading
from metercap.records import (
    NAME,
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
    tag_of,
)
from metercap.sound.tones import TABLE, tune_hz


class Play(msgspec.Struct, frozen=True):
    """Sound a cue; `alone` silences what sounds already."""

    cue: CueKind
    alone: bool = False


class Hold(msgspec.Struct, frozen=True):
    """Set the trimmer's tone: its pitch, and whether it is steady; None ends it."""

    hz: float | None
    steady: bool = False


class Say(msgspec.Struct, frozen=True):
    """Speak a text; it replaces what waits to be spoken unless it `follows` on it."""

    text: str
    follows: bool = False


Sound: TypeAlias = Play | Hold | Say

ALARM_EVERY_S = 2.0
"""The alarm sounds again after so long while the trimmer stands past its limit (common practice, no source)."""
_ALONE = {CueKind.HAZARD, CueKind.STOP}
_DO_WORDS = {
    Do.SHORT: "tips together",
    Do.LIFT: "lift",
    Do.STOP: "",
    Do.DIAL: "",
    Do.WAIT: "",
    Do.KEEP: "",
}
"""What is said instead of a prompt's item; empty says the whole prompt."""
_QUIET = {Do.PRESS, Do.RELEASE, Do.TURN}
"""Prompts that come too often, or while the tone speaks: their cues are enough."""
_LINK_WORDS = {
    LinkState.LOST: "cable lost",
    LinkState.SILENT: "the meter is silent",
    LinkState.GARBAGE: "bytes fit no frame",
    LinkState.UP: "meter connected",
}
_ENDS = {"done": "done", "quit": "session closed", "interrupted": "session interrupted", "fault": "session fault"}


class Ear:
    """Folds records; `hear` returns the sounds of one."""

    def __init__(self) -> None:
        self._tag = ""
        self._steps: dict[str, StepBase] = {}
        self._rule = "guarded"
        self._judge: Judge | None = None
        self._reference: dict[str, dict[str, Any]] = {}
        self._leads: dict[tuple[Quantity, float], float] = {}
        self._found: dict[str, float] = {}
        self._undone = False
        self._prompt: Prompt | None = None
        self._said = ""
        self._last: Reading | None = None
        self._touching = False
        self._sounding = False
        self._asked = False
        self._hazard: Cue | None = None
        self._standing: dict[str, tuple[str, str]] = {}
        self._alarm_s = 0.0

    def hear(self, record: Record) -> list[Sound]:
        """Return what a record sounds like; nothing for most."""
        work = _WORK.get(type(record))
        return [] if work is None else work(self, record)

    def _session(self, record: SessionRecord) -> list[Sound]:
        self._tag = record.tag
        self._judge = Judge(record.meter)
        self._reference = record.reference
        try:
            plan = from_builtins(record.plan)
            self._steps = {step.id: step for step in plan.steps}
            self._rule = plan.rule
        except MetercapError:  # a journal of another version: cues and prompts still sound
            self._steps = {}
        return []

    def _cue(self, record: Cue) -> list[Sound]:
        standing_after(self._standing, record)
        if record.cue is CueKind.HAZARD:
            if record == self._hazard:
                return []  # heard already, ahead of its line
            self._hazard, self._alarm_s = record, record.t_s
        if record.cue is CueKind.PASS and self._prompt is not None and self._prompt.do is Do.PROBE:
            self._keep_found(record.item)
        if record.cue is CueKind.STOP and self._prompt is not None and self._prompt.do is Do.TURN:
            return [Play(CueKind.SLOW)]  # a nudge on a slow meter, not voltage in the circuit
        if record.cue not in TABLE:
            return []
        return [Play(record.cue, alone=record.cue in _ALONE)]

    def _verdict(self, record: Verdict) -> list[Sound]:
        if isinstance(record.accepted, str):
            return []  # nothing new was measured; a note says it
        step = self._steps.get(record.step)
        last = self._last
        if isinstance(step, ZeroStep) and record.value is not None and last is not None:
            self._leads[last.quantity, record.resolution or last.resolution] = record.value
        out = self._end_tone()
        value = "" if record.value is None else format_value(record.value, record.unit, record.resolution)
        if record.verdict is VerdictKind.PASS and (isinstance(step, SweepStep | ConfirmStep) or not value):
            return out
        words = [record.item, record.verdict.value] if record.verdict is not VerdictKind.PASS else [record.item]
        return [*out, Say(" ".join([*words, value]).strip())]

    def _prompt_(self, record: Prompt) -> list[Sound]:
        first = self._prompt
        if record.do is not Do.DIAL or first is None:
            self._prompt = record
        if first is None or (record.step, record.item) != (first.step, first.item):
            self._undone = False
        if record.do is Do.TURN:
            self._keep_found(record.item or record.step)
        out = self._end_tone() if record.do is not Do.TURN else []
        if record.do in _QUIET:
            return out
        text = self._prompt_words(record)
        if text == self._said:
            return out
        self._said = text
        return [*out, Say(text, follows=True)]

    def _prompt_words(self, record: Prompt) -> str:
        whole = record.say.removeprefix(f"{self._tag}: ") if self._tag else record.say
        if record.do is Do.PROBE and record.item is not None and record.item != record.step:
            words = record.item
        else:
            words = _DO_WORDS.get(record.do) or whole
        return f"{self._tag}, {words}" if self._tag else words

    def _operator(self, record: Operator) -> list[Sound]:
        self._asked = record.word == "say"
        if record.word == "undo":
            self._undone = True
        elif record.word == NAME:
            self._tag = tag_of(record.text)
        return []

    def _note(self, record: Note) -> list[Sound]:
        asked, self._asked = self._asked, False
        return [Say(record.text)] if asked or record.aloud is True or "disk" in record.text else []

    def _link(self, record: Link) -> list[Sound]:
        out = self._end_tone()
        if record.state is LinkState.UP:
            return [*out, Say(_LINK_WORDS[record.state])] if self._last is not None else out
        return [*out, Play(CueKind.WAITING), Say(_LINK_WORDS[record.state])]

    def _contact(self, record: Contact) -> list[Sound]:
        self._touching = not record.same
        return []

    def _lift(self, record: Lift) -> list[Sound]:
        self._touching = False
        return self._end_tone()

    def _end(self, record: EndRecord) -> list[Sound]:
        return [*self._end_tone(), Say(_ENDS[record.reason])]

    # --- the trimmer's tone

    def _reading(self, record: Reading) -> list[Sound]:
        self._last = record
        return self._alarm(record) + self._tone(record)

    def _alarm(self, record: Reading) -> list[Sound]:
        """The alarm again, whatever else was said since."""
        item = None if self._prompt is None else self._prompt.item
        if item is None or item not in self._standing or record.t_s - self._alarm_s < ALARM_EVERY_S:
            return []
        self._alarm_s = record.t_s
        return [Play(CueKind.HAZARD, alone=True)]

    def _tone(self, record: Reading) -> list[Sound]:
        prompt = self._prompt
        if prompt is None or prompt.do is not Do.TURN or not self._touching or record.value is None:
            return self._end_tone()
        step = self._steps.get(prompt.step)
        item = prompt.item or prompt.step
        target = self._target(step, item) if isinstance(step, TuneStep) else None
        if target is None or self._judge is None or not isinstance(step, TuneStep):
            return []
        value = self._corrected(record)
        half = step.half_width(target)
        if (step.rule or self._rule) != "simple" and record.resolution > 0:
            half -= self._judge.expanded(record, value=target)[0]
        error = value - target
        self._sounding = True
        return [Hold(tune_hz(error, half), steady=abs(error) <= half)]

    def _target(self, step: TuneStep, item: str) -> float | None:
        if self._undone or step.target == "as found":
            return self._found.get(item)
        if step.target == "reference":
            value = self._reference.get(f"{step.id}/{item}", {}).get("value")
            return float(value) if isinstance(value, int | float) else None
        return float(step.target) if not isinstance(step.target, str) else None

    def _corrected(self, reading: Reading) -> float:
        return (reading.value or 0.0) - self._leads.get((reading.quantity, reading.resolution), 0.0)

    def _keep_found(self, item: str) -> None:
        if self._last is not None and self._last.value is not None:
            self._found.setdefault(item, self._corrected(self._last))

    def _end_tone(self) -> list[Sound]:
        if not self._sounding:
            return []
        self._sounding = False
        return [Hold(None)]


_WORK: dict[type, Callable[[Ear, Any], list[Sound]]] = {
    SessionRecord: Ear._session,
    Cue: Ear._cue,
    Verdict: Ear._verdict,
    Prompt: Ear._prompt_,
    Operator: Ear._operator,
    Note: Ear._note,
    Link: Ear._link,
    Contact: Ear._contact,
    Lift: Ear._lift,
    EndRecord: Ear._end,
    Reading: Ear._reading,
}
