"""A trimmer under the hands: contact, turning, rest, what takes them off, and the questions of what to turn to."""

from __future__ import annotations

import msgspec

from metercap.asks import Asks
from metercap.contact import Act
from metercap.contact.touch import TouchState
from metercap.errors import ValueText
from metercap.judging.judge import Judgement
from metercap.metrology.domain import round6
from metercap.quantity import format_value, parse_value
from metercap.reading import Reading, State
from metercap.records import CueKind, Do, VerdictKind
from metercap.steps.tune import asking
from metercap.steps.tune.found import TuneFound
from metercap.steps.tune.rest import CREEP_S
from metercap.steps.tune.table import TuneSign, TuneState
from metercap.steps.tune.turning import Turning

CREEP_LEFT_S = 10.0
"""A value that still creeps is judged after so long a rest where the operator gives up (common practice, no source)."""

SLIPS_S = 1.0
"""Tips that come off a trimmer at rest for longer were lifted; a worn track opens for less (common practice, no
source)."""


# Members are taken out of their enums once: on Python 3.11 looking one up costs as much as a call.
_MORE, _NONE, _CONTACT, _UNCOUNTED = Act.MORE, Act.NONE, Act.CONTACT, (Act.SLIP, Act.HELD)
_COUNTED, _OFF = (Act.CONTACT, Act.MORE), (Act.NONE, Act.ENDED, Act.LIFT, Act.GO)
_BEGINS, _BEGUN = (TuneState.TURN, TuneState.STOP), (TuneState.TURN_ON, TuneState.STOP_ON)
_OVER = State.OVER
_TURN_ON = TuneState.TURN_ON
_PASS = VerdictKind.PASS


class TuneHands(TuneFound):
    """What readings do while a trimmer is turned, and the questions of what it is turned to."""

    def see(self, reading: Reading, act: Act, new: bool) -> None:
        """Pass over what a meter shows in ranges too coarse for the band, and watch a value that ran off its range."""
        turning = self._turning
        if act in _UNCOUNTED or (act in _COUNTED and not self._follows(act)):
            self._pass(reading, act, new)
        elif self._passing is not None:
            self._passed()
        if act is _CONTACT:
            self._under = (self.item, self._trimmers_of_item)
        elif act in _OFF:
            self._under = None
        if new and act is _MORE:
            if (turning is None or reading.resolution > turning.band.tolerance or self._coarse) and self._too_coarse(
                reading
            ):
                return
        elif act is _NONE and turning is not None and reading.state is _OVER and new:
            self._off_scale(reading)
        super().see(reading, act, new)

    def _follows(self, act: Act) -> bool:
        """Whether the trimmer's turning is fed by what a contact that counts shows now."""
        if self._turning is None:
            return False
        return self.state in (_BEGUN if act is _MORE else _BEGINS)

    def drop(self) -> None:
        """What was gathered in the present contact is worth nothing."""
        self._under = None
        self._probing.drop()
        self._passed()
        self._part()
        self.deadline_s = None

    def touch_to_turn(self) -> None:
        """Contact with the trimmer that is turned."""
        self._touch()
        if self._found_again():
            if self._asks_touch:
                self.say_turn()
        else:
            self.say_turn()

    def touch_at_rest(self) -> None:
        """Contact with the trimmer after the tool was taken away."""
        self._touch()
        if self._found_again() and self._asks_touch:
            self._asks_touch = False
            self._prompt(stopping=True)

    def _touch(self) -> None:
        self.deadline_s = None
        if self._turning is not None:
            self._turning.contact()

    def _found_again(self) -> bool:
        """Return whether contact had been lost, and note where."""
        lost_at, self._lost_at = self._lost_at, ""
        if lost_at and (self._lost_s is None or self.bench.t_s - self._lost_s <= SLIPS_S):  # else it was lifted
            self.bench.note(f"{self.item}: contact lost near {lost_at} while turning: a dirty track, or the probes")
        return bool(lost_at)

    def lost(self) -> None:
        """Contact lost while turning or resting, or the value ran off a fixed range."""
        reading = self.reading
        if reading is not None and reading.state is State.OVER:
            self._off_scale(reading)
        stood = self.item in self.bench.standing
        self._part()
        if stood and self.item not in self.bench.standing:
            self.bench.cue(CueKind.AGAIN, self.item)  # a doubted value rang the alarm: it is over, and look again
        turning = self._turning
        if turning is not None and turning.last is not None and turning.believed is not None:
            self._lost_at = asking.shown(self._trimmers, self.item, turning.believed)
            self._lost_s = self.bench.t_s if turning.rests else None
        self.arm()

    def _part(self) -> None:
        turning = self._turning
        if turning is None:
            return
        if not turning.gone:
            turning.lost(self.bench.t_s)
        self._trimmers.report(self.item, turning)
        self._trimmers.stand(self.item, turning)

    def _off_scale(self, reading: Reading) -> None:
        """Over-range: past the limit, if a fixed range ends there and the value ran that way."""
        turning = self._turning if self._phase is TuneState.TURN else None
        full = self._trimmers.full_scale(reading, None if turning is None else turning.last)
        if turning is None or full is None or (self._in_ohms and not turning.runs_off(full)):
            return
        for cue in turning.off_scale(self.bench.t_s, full):
            self._trimmers.stand(self.item, turning)
            self.bench.cue(cue, self.item)

    def turning(self) -> TuneSign | None:
        """Take a new conversion while the trimmer is turned."""
        judged = self._watch()
        return None if judged is None or judged.verdict is not _PASS else TuneSign.IN_BAND

    def resting(self) -> TuneSign | None:
        """Take a new conversion after the tool was taken away."""
        self._rested = judged = self._watch()
        if judged is None:
            return None
        inside = judged.verdict is VerdictKind.PASS or self._final
        return TuneSign.AT_REST if inside else TuneSign.OUT_OF_BAND

    def leave_at_rest(self) -> None:
        """It lies at rest without the tool: as left, unless others are turned after it."""
        judged, turning = self._rested, self._turning
        if judged is None or turning is None:
            raise AssertionError("at rest without a value")
        self._turned.add(self.item)
        rest, unit = turning.rest, self._trimmers.unit
        n, from_s = rest.n, rest.from_s
        reason = (
            f"unsteady: at rest within {format_value(rest.span, unit, judged.resolution)} only" if rest.noisy else ""
        )
        self._trimmers.leave(self.item, turning)
        if self.item in self.bench.standing:
            self.bench.say_standing(self.item)
        self._turning = None
        if self._alone:
            self._trimmers.give_left(self.item, judged, reason, n, from_s)
        else:
            self.bench.cue(CueKind.PASS if judged.verdict is VerdictKind.PASS else CueKind.UNSURE, self.item)
        self.bench.ticked = (self.step.id, self.item)

    def _watch(self) -> Judgement | None:
        """Follow the value; return it judged once it is at rest for `rest_s` and in the band, or given up; else None.

        Outside the band it is judged only where that decides something: after the tool was taken away.
        """
        reading, turning = self.reading, self._turning
        if reading is None or turning is None:
            return None
        if reading.value is None:
            self._off_scale(reading)
            return None
        self._trimmers.follow(self.item, turning, reading, cues=self.state is _TURN_ON)
        if turning.notes:
            shown = format_value(reading.value, reading.unit, reading.resolution)
            for text in turning.notes:
                self.bench.note(f"{self.item}: {text}, it read {shown}")
            turning.notes.clear()
        rest = turning.rest
        rested_s = rest.rested_s(reading.t_s, turning.since_s)
        if rested_s < self._step.rest_s or rest.n < 2:
            return None
        inside = turning.low <= turning.shown <= turning.high
        if not inside and self.state is _TURN_ON:
            return None
        creep = rest.creep_per_s() if inside or self._final else 0.0
        if creep and abs(turning.shown + creep * CREEP_S - turning.band.target) > max(turning.inner, 0.0):
            return self._creeping(turning, reading, creep, rested_s)
        if self._creeps and reading.t_s - self._creeps[1] < self._step.rest_s:
            return None  # one look that sees no trend may be chance
        return self._trimmers.judged(self.item, turning, reading)

    def _creeping(self, turning: Turning, reading: Reading, creep_per_s: float, rested_s: float) -> Judgement | None:
        """Wait, and say once that it creeps; where the operator gives up, it is judged as one that does."""
        text = f"it creeps by {format_value(round6(creep_per_s), self._trimmers.unit)} a second"
        first_s, _ = self._creeps or (reading.t_s, reading.t_s)
        self._creeps = (first_s, reading.t_s)
        if not self._creep_said and reading.t_s - first_s >= self._step.rest_s:
            self._creep_said = True
            self.bench.note(f"{self.item}: {text}: wait until it rests, or turn", aloud=True)
        if not self._final or rested_s < CREEP_LEFT_S:
            return None
        judged = self._trimmers.judged(self.item, turning, reading)
        both = "; ".join(part for part in (text, judged.reason) if part)
        verdict = VerdictKind.UNSURE if judged.verdict is VerdictKind.PASS else judged.verdict
        return msgspec.structs.replace(judged, verdict=verdict, reason=both)

    def tool_away(self) -> None:
        """It is in the band: is it there without the tool?"""
        if self._turning is not None:
            self._turning.tool_away(self.bench.t_s)
        text = f"{self.item}: in band. Take the tool away and keep both tips on"
        self.say(Do.STOP, text, asks=Asks.TOOL_AWAY, keep=True)

    def waiting(self) -> None:
        """No contact for a while: say so once; while a trimmer is turned, that it must be touched again."""
        super().waiting()
        if self._phase is TuneState.TURN and self._lost_at:
            self._asks_touch = True
            do, text, facts = asking.prompt(self._trimmers, self.item, "touch")
            self.say(do, text, **facts)

    def judge_left(self) -> None:
        """Skip while it is turned: what is left is judged."""
        self._final = True
        if self._turning is not None:
            self._turning.tool_away(self.bench.t_s)
        self.bench.say_standing(self.item)
        text = f"{self.item}: take the tool away and keep both tips on; what is left is judged"
        self.say(Do.STOP, text, asks=Asks.TOOL_AWAY, keep=True)

    # --- what to turn to

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

    def take_simple(self) -> TuneSign:
        """Yes to the simple rule."""
        self._trimmers.rule = "simple"
        self.bench.note(f"{self.step.id}: the operator takes the simple rule")
        return self._aim_here()

    def could_widen(self) -> TuneSign:
        """No to the simple rule: who keeps the rule may still widen the band."""
        self._narrow = asking.least(self._trimmers, self.item)
        return TuneSign.CANNOT_WIDEN if self._narrow is None else TuneSign.CAN_WIDEN

    def ask_wider(self) -> None:
        """Offer the tightest band that can be proved."""
        if self._narrow is not None:
            width = asking.shown(self._trimmers, self.item, self._narrow)
            self.say(Do.ANSWER, f"{self.item}: widen the band to ±{width}? yes or no", asks=Asks.WIDER)

    def widen(self) -> TuneSign:
        """Yes to the wider band."""
        item, half = self.item, asking.least(self._trimmers, self.item)
        if half is not None:
            self._trimmers.widened[item] = half
            self.bench.note(f"{item}: the operator widens the band to ±{asking.shown(self._trimmers, item, half)}")
        return self._aim_here()

    def hear_target(self) -> TuneSign:
        """Read the value that was said."""
        try:
            self._said = parse_value(self.text, unit=self._trimmers.unit).value
        except ValueText as error:
            self._why_not = str(error)
            return TuneSign.NO_VALUE
        return TuneSign.VALUE

    def hear_again(self) -> TuneSign:
        """A target that was said wrong shows as a band that cannot be proved: the operator says another."""
        key = (self.step.id, self.item)
        if key not in self.bench.targets:
            self._why_not = "the plan says what to turn it to"
            return TuneSign.NO_VALUE
        sign = self.hear_target()
        if sign is TuneSign.VALUE:
            del self.bench.targets[key]
        return sign

    def tell_no_value(self) -> None:
        """What was said is no value here."""
        self.bench.note(f"target {self.text.strip()!r}: {self._why_not}")

    def read_back(self) -> None:
        """The value is read back on arriving at the question."""

    def take_target(self) -> TuneSign:
        """Yes: the value that was read back is what to turn to."""
        self.bench.targets[self.step.id, self.item] = self._said
        shown = asking.shown(self._trimmers, self.item, self._said)
        self.bench.note(f"{self.item}: the operator's target is {shown}; no reference is known")
        return self._aim_here()

    def _aim_here(self) -> TuneSign:
        """Turn it in the contact that goes on, if it counts; else from one that begins."""
        on = self.still_on()
        if on is TuneSign.ON:
            self._aim(self._at)
        else:
            self.aim_anew()
        return on

    def still_on(self) -> TuneSign:
        """Look whether a contact that counts goes on."""
        return TuneSign.ON if self.bench.touch.state is TouchState.ON else TuneSign.OFF
