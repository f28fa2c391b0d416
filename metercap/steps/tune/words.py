"""What the operator's words do in a tune step."""

from __future__ import annotations

from enum import StrEnum

from metercap.asks import Asks
from metercap.records import CueKind, Do, VerdictKind
from metercap.steps.tune import asking
from metercap.steps.tune.hands import TuneHands
from metercap.steps.tune.state import COARSE
from metercap.steps.tune.table import S


class TuneWords(TuneHands):
    """The words, and the questions that they answer."""

    def undo(self) -> StrEnum:
        """Aim at as found; never silently past a hazard limit."""
        found = self._trimmers.found(self.item)
        if found is None or self._turning is None:
            self.bench.note(f"{self.item} has no value as found to go back to")
            return self.state
        if self._turning.band.beyond(found.value, 0.0) is None:
            return self._retarget(found.value)
        self._question = "undo"
        self.bench.cue(CueKind.HAZARD, self.item)
        self.say(Do.ANSWER, asking.undo(self._trimmers, self.item, found.value), asks=Asks.UNDO)
        return S.ASK

    def _retarget(self, target: float) -> StrEnum:
        touching = self.state in (S.TURN_ON, S.STOP_ON)
        self._trimmers.targets[self.item] = target
        self._final = False
        if self._turning is not None:
            self._turning.band = self._trimmers.band(self.item)
            self._turning.tool_away(self.bench.t_s)
        self._say_turn()
        return S.TURN_ON if touching else S.TURN

    def agreed(self) -> StrEnum:
        """Yes to the question that stands."""
        question, item = self._question, self.item
        if question == "rule":
            self._trimmers.rule = "simple"
            self.bench.note(f"{self.step.id}: the operator takes the simple rule")
            return self._open(S.TURN)
        if question == "wider":
            half = asking.least(self._trimmers, item)
            if half is not None:
                self._trimmers.widened[item] = half
                self.bench.note(f"{item}: the operator widens the band to ±{asking.shown(self._trimmers, item, half)}")
            return self._open(S.TURN)
        found = self._trimmers.found(item)
        self.state = S.TURN
        return self._retarget(self._trimmers.targets[item] if found is None else found.value)

    def refused(self) -> StrEnum:
        """No to the question that stands; who keeps the rule may still widen the band."""
        half = asking.least(self._trimmers, self.item) if self._question == "rule" else None
        if half is not None:
            self._question = "wider"
            width = asking.shown(self._trimmers, self.item, half)
            self.say(Do.ANSWER, f"{self.item}: widen the band to ±{width}? yes or no", asks=Asks.WIDER)
            return S.ASK
        return self._open(S.TURN)

    def word_yes(self) -> StrEnum:
        """Both tips are on where that does not show; or the meter has no finer range."""
        if self._coarse >= COARSE:
            self._coarse_taken = True
            self.bench.note(f"{self.item}: the operator says that the meter has no finer range")
        elif not self._in_ohms and self.state in (S.FOUND, S.TURN, S.STOP, S.LEFT):
            self._sure = True
        else:
            self.bench.note(f"the word 'yes' means nothing here: {self.status()}")
        return self.state

    def word_again(self) -> StrEnum:
        """Begin the present trimmer's part anew; as found stays."""
        return self._open(self._phase)

    def word_back(self) -> StrEnum:
        """Go back to the trimmer before, or from reading as left to turning."""
        if self._phase is S.FOUND:
            return self._open(S.FOUND)
        if self._phase is S.TURN:
            self._leave_item()
            self._at = max(0, self._at - 1)
        self._turned.discard(self._names[self._at])
        return self._open(S.TURN)

    def word_at(self) -> StrEnum:
        """Turn the trimmer that was named."""
        wanted, read = self.text.strip().casefold(), (self.bench.as_found, self.bench.unread)
        for index, name in enumerate(self._names):
            if name.casefold() == wanted and any((self.step.id, name) in each for each in read) and not self._to_find:
                self._leave_item()
                self._at = index
                self._turned.discard(name)
                self._over.discard(name)
                return self._open(S.TURN)
        why = "every trimmer is read as found first" if self._to_find else f"there are {', '.join(self._names)}"
        self.bench.note(f"no trimmer {self.text.strip()!r} to turn now: {why}")
        return self.state

    def word_skip(self) -> StrEnum:
        """Judge what is left."""
        if self._phase is S.TURN and self.state in (S.TURN, S.TURN_ON) and not self._final:
            self._final = True
            touching = self.state is S.TURN_ON
            if self._turning is not None:
                self._turning.tool_away(self.bench.t_s)
            self.bench.say_standing(self.item)
            text = f"{self.item}: take the tool away and keep both tips on; what is left is judged"
            self.say(Do.STOP, text, asks=Asks.TOOL_AWAY, keep=True)
            return S.STOP_ON if touching else S.STOP
        return self._without(VerdictKind.UNSURE, "skipped")

    def word_absent(self) -> StrEnum:
        """This unit has no such trimmer."""
        return self._without(VerdictKind.ABSENT, "absent, by the operator's word")

    def word_open(self) -> StrEnum:
        """The trimmer's track is open."""
        return self._without(VerdictKind.FAIL, "open, by the operator's word")

    def word_skip_step(self) -> StrEnum:
        """Whatever has no verdict becomes unsure."""
        self._leave_item()
        for name in self._names:
            if (self.step.id, name) not in self.bench.verdicts:
                self._trimmers.give(name, VerdictKind.UNSURE, "step skipped")
        return self._finish()

    def _without(self, verdict: VerdictKind, reason: str) -> StrEnum:
        self._leave_item()
        name = self.item
        if self._phase is S.FOUND and self._to_find:
            key = self._to_find.pop(0)
            if key[0] != self.step.id:  # a later step's trimmer: it will be asked for again there
                self.bench.note(f"{name} was not read as found")
                return self._go()
        self._over.add(name)
        self._turning = None
        self._trimmers.give(name, verdict, reason)
        return self._go()
