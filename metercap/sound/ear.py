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

from metercap.quantity import format_value
from metercap.reading import Reading
from metercap.records import (
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
    Reason,
    Record,
    Verdict,
    VerdictKind,
)
from metercap.sound.tones import TABLE, tune_hz
from metercap.view import View


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
_TICKS_ONLY = {"sweep", "confirm"}
"""Kinds of step whose passes are no more than their tick."""
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
_ENDS: dict[Reason, str] = {
    "done": "done",
    "quit": "session closed",
    "parked": "parked",
    "interrupted": "session interrupted",
    "fault": "session fault",
}


class Ear:
    """Folds records; `hear` returns the sounds of one, by the view that came with it (`look`)."""

    def __init__(self) -> None:
        self._view = View()
        self._said = ""
        self._sounding = False
        self._asked = False
        self._hazard: Cue | None = None
        self._alarm_s = 0.0

    def look(self, view: View) -> None:
        """Take the view that goes with the next records."""
        self._view = view

    def hear(self, record: Record) -> list[Sound]:
        """Return what a record sounds like; nothing for most."""
        work = _WORK.get(type(record))
        return [] if work is None else work(self, record)

    def _cue(self, record: Cue) -> list[Sound]:
        if record.cue is CueKind.HAZARD:
            if record == self._hazard:
                return []  # heard already, ahead of its line
            self._hazard, self._alarm_s = record, record.t_s
        tuning = self._view.kind == "tune" and self._view.call is not CueKind.STOP
        if record.cue is CueKind.STOP and tuning:
            return [Play(CueKind.SLOW)]  # a nudge on a slow meter, not voltage in the circuit
        if record.cue not in TABLE:
            return []
        return [Play(record.cue, alone=record.cue in _ALONE)]

    def _verdict(self, record: Verdict) -> list[Sound]:
        if isinstance(record.accepted, str):
            return []  # nothing new was measured; a note says it
        out = self._end_tone()
        value = "" if record.value is None else format_value(record.value, record.unit, record.resolution)
        quiet = self._view.kind_of(record.step) in _TICKS_ONLY or not value
        if record.verdict is VerdictKind.PASS and quiet:
            return out
        words = [record.item, record.verdict.value] if record.verdict is not VerdictKind.PASS else [record.item]
        return [*out, Say(" ".join([*words, value]).strip())]

    def _prompt_(self, record: Prompt) -> list[Sound]:
        out = self._end_tone() if record.do is not Do.TURN else []
        if record.do in _QUIET:
            return out
        text = self._prompt_words(record)
        if text == self._said:
            return out
        self._said = text
        return [*out, Say(text, follows=True)]

    @property
    def _tag(self) -> str:
        return "" if self._view.unit is None else self._view.unit.tag

    def _prompt_words(self, record: Prompt) -> str:
        whole = record.say.removeprefix(f"{self._tag}: ") if self._tag else record.say
        if record.do is Do.PROBE and record.item is not None and record.item != record.step:
            words = record.item
        else:
            words = _DO_WORDS.get(record.do) or whole
        return f"{self._tag}, {words}" if self._tag else words

    def _operator(self, record: Operator) -> list[Sound]:
        self._asked = record.word in ("say", "clap")
        return []

    def _note(self, record: Note) -> list[Sound]:
        asked, self._asked = self._asked, False
        return [Say(record.text)] if asked or record.aloud is True or "disk" in record.text else []

    def _link(self, record: Link) -> list[Sound]:
        out = self._end_tone()
        if record.state is LinkState.UP:
            return [*out, Say(_LINK_WORDS[record.state])] if self._view.reading is not None else out
        return [*out, Play(CueKind.WAITING), Say(_LINK_WORDS[record.state])]

    def _lift(self, record: Lift) -> list[Sound]:
        return self._end_tone()

    def _end(self, record: EndRecord) -> list[Sound]:
        return [*self._end_tone(), Say(_ENDS[record.reason])]

    # --- the trimmer's tone

    def _reading(self, record: Reading) -> list[Sound]:
        return self._alarm(record) + self._tone(record)

    def _alarm(self, record: Reading) -> list[Sound]:
        """The alarm again, whatever else was said since."""
        if self._view.hazard is None or record.t_s - self._alarm_s < ALARM_EVERY_S:
            return []
        self._alarm_s = record.t_s
        return [Play(CueKind.HAZARD, alone=True)]

    def _tone(self, record: Reading) -> list[Sound]:
        trimmer = self._view.trimmer
        if trimmer is None or trimmer.phase != "turn" or not self._view.touching or record.value is None:
            return self._end_tone()
        if trimmer.error is None or trimmer.inner_low is None or trimmer.inner_high is None:
            return []
        self._sounding = True
        half = (trimmer.inner_high - trimmer.inner_low) / 2
        return [Hold(tune_hz(trimmer.error, half), steady=trimmer.inside)]

    def _end_tone(self) -> list[Sound]:
        if not self._sounding:
            return []
        self._sounding = False
        return [Hold(None)]


_WORK: dict[type, Callable[[Ear, Any], list[Sound]]] = {
    Cue: Ear._cue,
    Verdict: Ear._verdict,
    Prompt: Ear._prompt_,
    Operator: Ear._operator,
    Note: Ear._note,
    Link: Ear._link,
    Lift: Ear._lift,
    EndRecord: Ear._end,
    Reading: Ear._reading,
}
