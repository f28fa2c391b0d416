"""What the operator's words do in a tune step."""

from __future__ import annotations

from metercap.asks import Asks
from metercap.errors import ValueText
from metercap.quantity import parse_value
from metercap.records import CueKind, Do, VerdictKind
from metercap.steps.tune import asking
from metercap.steps.tune.hands import TuneHands
from metercap.steps.tune.state import COARSE
from metercap.steps.tune.table import TuneSign, TuneState

GOOD_UNIT = "a known-good unit: recorded, not turned"


class TuneWords(TuneHands):
    """The words, and the questions that they answer."""

    def way_back(self) -> TuneSign:
        """Undo: look where as found lies."""
        found = self._trimmers.found(self.item)
        if found is None or self._turning is None:
            return TuneSign.NO_WAY_BACK
        past = self._turning.band.beyond(found.value, 0.0) is not None
        return TuneSign.PAST_LIMIT if past else TuneSign.WAY_BACK

    def nothing_found(self) -> None:
        """It was not read."""
        self.bench.note(f"{self.item} has no value as found to go back to")

    def ask_undo(self) -> None:
        """Never go silently past a hazard limit."""
        found = self._trimmers.found(self.item)
        if found is not None:
            self.bench.cue(CueKind.HAZARD, self.item)
            self.say(Do.ANSWER, asking.undo(self._trimmers, self.item, found.value), asks=Asks.UNDO)

    def go_back(self) -> None:
        """Aim at as found."""
        found = self._trimmers.found(self.item)
        if found is not None:
            self._trimmers.targets[self.item] = found.value
        self._final = False
        if self._turning is not None:
            self._turning.aim_at(self._trimmers.band(self.item))
            self._turning.tool_away(self.bench.t_s)
        self.say_turn()

    def ask_rule(self) -> None:
        """The band is narrower than this meter can prove by the guarded rule."""
        if self._narrow is not None:
            narrow = asking.too_narrow(self._trimmers, self.item, self._narrow)
            self.say(Do.ANSWER, f"{narrow}. Take the simple rule for it? yes or no", asks=Asks.RULE)

    def take_simple(self) -> None:
        """Yes to the simple rule."""
        self._trimmers.rule = "simple"
        self.bench.note(f"{self.step.id}: the operator takes the simple rule")
        self.aim_anew()

    def could_widen(self) -> TuneSign:
        """No to the simple rule: who keeps the rule may still widen the band."""
        self._narrow = asking.least(self._trimmers, self.item)
        return TuneSign.CANNOT_WIDEN if self._narrow is None else TuneSign.CAN_WIDEN

    def ask_wider(self) -> None:
        """Offer the tightest band that can be proved."""
        if self._narrow is not None:
            width = asking.shown(self._trimmers, self.item, self._narrow)
            self.say(Do.ANSWER, f"{self.item}: widen the band to ±{width}? yes or no", asks=Asks.WIDER)

    def widen(self) -> None:
        """Yes to the wider band."""
        item, half = self.item, asking.least(self._trimmers, self.item)
        if half is not None:
            self._trimmers.widened[item] = half
            self.bench.note(f"{item}: the operator widens the band to ±{asking.shown(self._trimmers, item, half)}")
        self.aim_anew()

    def hear_target(self) -> TuneSign:
        """Read the value that was said."""
        try:
            self._said = parse_value(self.text, unit=self._trimmers.unit).value
        except ValueText as error:
            self._why_not = str(error)
            return TuneSign.NO_VALUE
        return TuneSign.VALUE

    def tell_no_value(self) -> None:
        """What was said is no value here."""
        self.bench.note(f"target {self.text.strip()!r}: {self._why_not}")

    def read_back(self) -> None:
        """The value is read back on arriving at the question."""

    def take_target(self) -> None:
        """Yes: the value that was read back is what to turn to."""
        self.bench.targets[self.step.id, self.item] = self._said
        shown = asking.shown(self._trimmers, self.item, self._said)
        self.bench.note(f"{self.item}: the operator's target is {shown}; no reference is known")
        self.aim_anew()

    def be_good(self) -> None:
        """This unit is good for this step: what it reads here, and was read as found already, serves as reference."""
        self.bench.be_good(self.step)
        for name in self._names:
            found = self._trimmers.found(name)
            if found is not None and name not in self._over and self._trimmers.is_reference(name):
                self._over.add(name)
                self._trimmers.give(name, VerdictKind.PASS, GOOD_UNIT, judged=found)
        unread = [name for name in self._names if (self.step.id, name) in self.bench.unread]
        if unread and self._trimmers.needs_target(unread[0]):
            self.bench.note(f"{', '.join(unread)}: not read as found, so it can be no reference")

    def replaced(self) -> None:
        """A new trimmer is in: it enters the list of parts, and is turned; as found stays that of the old one."""
        self._leave_item()
        self.bench.replaced(self.item, self.text or self.item)
        self._turned.discard(self.item)
        self.aim_anew()

    def word_yes(self) -> None:
        """Both tips are on where that does not show; or the meter has no finer range."""
        if self._coarse >= COARSE:
            self._coarse_taken = True
            self.bench.note(f"{self.item}: the operator says that the meter has no finer range")
        elif not self._in_ohms and self.state in (TuneState.FOUND, TuneState.TURN, TuneState.STOP, TuneState.LEFT):
            self._sure = True
        else:
            self.bench.note(f"the word 'yes' means nothing here: {self.status()}")

    def back_from_turn(self) -> None:
        """Go back to the trimmer before."""
        self._leave_item()
        self._at = max(0, self._at - 1)
        self.back_from_left()

    def back_from_left(self) -> None:
        """Turn the trimmer once more that is read as left."""
        self._turned.discard(self._names[self._at])
        self.aim_anew()

    def find(self) -> TuneSign:
        """Look for the trimmer that a word names; none is turned before all are read as found."""
        return TuneSign.UNNAMED if self._named is None else TuneSign.NAMED

    @property
    def _named(self) -> int | None:
        wanted, read = self.text.strip().casefold(), (self.bench.as_found, self.bench.unread)
        for index, name in enumerate(self._names):
            if name.casefold() == wanted and any((self.step.id, name) in each for each in read) and not self._to_find:
                return index
        return None

    def word_at(self) -> None:
        """Turn the trimmer that was named."""
        named = self._named
        if named is None:
            return
        self._leave_item()
        self._at = named
        self._turned.discard(self._names[named])
        self._over.discard(self._names[named])
        self.aim_anew()

    def no_such(self) -> None:
        """The word names none that can be turned now."""
        why = "every trimmer is read as found first" if self._to_find else f"there are {', '.join(self._names)}"
        self.bench.note(f"no trimmer {self.text.strip()!r} to turn now: {why}")

    def judge_left(self) -> None:
        """Skip while it is turned: what is left is judged."""
        self._final = True
        if self._turning is not None:
            self._turning.tool_away(self.bench.t_s)
        self.bench.say_standing(self.item)
        text = f"{self.item}: take the tool away and keep both tips on; what is left is judged"
        self.say(Do.STOP, text, asks=Asks.TOOL_AWAY, keep=True)

    def word_skip(self) -> None:
        """Do without it."""
        self._without(VerdictKind.UNSURE, "skipped")

    def word_absent(self) -> None:
        """This unit has no such trimmer."""
        self._without(VerdictKind.ABSENT, "absent, by the operator's word")

    def word_open(self) -> None:
        """The trimmer's track is open."""
        self._without(VerdictKind.FAIL, "open, by the operator's word")

    def word_skip_step(self) -> None:
        """Whatever has no verdict becomes unsure."""
        self._leave_item()
        for name in self._names:
            if not self.bench.stands(name):
                self._trimmers.give(name, VerdictKind.UNSURE, "step skipped")

    def _without(self, verdict: VerdictKind, reason: str) -> None:
        self._leave_item()
        name = self.item
        if self._phase is TuneState.FOUND and self._to_find:
            key = self._to_find.pop(0)
            if key[0] != self.step.id:  # a later step's trimmer: it will be asked for again there
                self.bench.note(f"{name} was not read as found")
                return
        self._over.add(name)
        self._turning = None
        self._trimmers.give(name, verdict, reason)

    def aim_anew(self) -> None:
        """Begin the present trimmer's turning anew; as found stays."""
        raise NotImplementedError
