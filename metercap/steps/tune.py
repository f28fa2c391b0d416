"""tune: a trimmer to a band, live.

As found is read for every trimmer of the step, and of later tune steps, before anything turns, and is never
overwritten. Accepted is a value in the band by the rule, at rest for `rest_s`; then the tool is taken away, and it must
be at rest again. With several trimmers all are read again after the last turn, because they interact.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Literal

from metercap.metrology.decide import provable, tightest_half_width
from metercap.metrology.domain import round6
from metercap.quantity import Quantity, format_value
from metercap.records import CueKind, Do, Excursion, VerdictKind, at
from metercap.steps.bench import Bench
from metercap.steps.judge import Judgement, Limits
from metercap.steps.keys import QUANTITY_OF_UNIT, Item, Limit, Rule, Seconds, StepBase, Target
from metercap.steps.keys import Band as Tolerance
from metercap.steps.machine import Given, Machine, Row, words_rows
from metercap.steps.probing import Aim, Finding, Probing
from metercap.steps.turning import Band, Live, Turning

REFERENCE = "reference"
AS_FOUND = "as found"
PATIENCE_S = 10.0


class TuneStep(StepBase, frozen=True, tag="tune", kw_only=True):
    """Keys of a `tune` step. `target` is a value, "reference" or "as found"; `tolerance` a share of it or a value.

    `never_below` and `never_above` are hazardous sides: the alarm is immediate. `rest_s` is how long a value must rest.
    """

    items: tuple[Item, ...]
    target: Target
    tolerance: Tolerance | None = None
    tolerance_share: float | None = None
    never_below: Limit | None = None
    never_above: Limit | None = None
    unit: str = ""
    quantity: Quantity | None = None
    rest_s: Seconds = 2.0
    recontact_s: Seconds = 0.6
    contacts: int = 1

    @property
    def wanted(self) -> tuple[Quantity, ...]:
        """The plan's quantity, else what the limits' unit stands for."""
        if self.quantity is not None:
            return (self.quantity,)
        return (QUANTITY_OF_UNIT.get(self.unit or "ohm", Quantity.RESISTANCE),)

    @property
    def item_names(self) -> tuple[str, ...]:
        """Every trimmer."""
        return tuple(item.name for item in self.items)

    def band(self, target: float) -> Band:
        """Return the band around `target`, with the plan's hazardous sides."""
        return Band(target, self.half_width(target), self.never_below, self.never_above)

    def half_width(self, target: float) -> float:
        """Return the tolerance around `target` in SI; 0.0 when the plan gives none."""
        if self.tolerance is not None:
            return self.tolerance
        return round6(abs(target) * (self.tolerance_share or 0.0))


class S(StrEnum):
    """States of tuning."""

    FOUND = "found"
    """Asking for a trimmer to read as found."""
    FOUND_ON = "found on"
    TURN = "turn"
    """Asking for contact with the trimmer to turn, or contact lost while it is turned."""
    TURN_ON = "turn on"
    STOP = "stop"
    """In band and at rest: the tool is taken away, contact off."""
    STOP_ON = "stop on"
    LEFT = "left"
    """Asking for a trimmer to read as left."""
    LEFT_ON = "left on"
    ASK = "ask"
    """A question: take the simple rule, or go back past a hazard limit."""
    VOLTS = "volts"
    END = "end"


_ALL = tuple(state for state in S if state is not S.END)
_BUSY = (S.FOUND, S.FOUND_ON, S.TURN, S.TURN_ON, S.STOP, S.STOP_ON, S.LEFT, S.LEFT_ON)
_NEXT = (S.FOUND, S.TURN, S.TURN_ON, S.LEFT, S.ASK, S.END)


class Tune(Machine):
    """Reads as found, watches the turning, judges what is left."""

    TABLE = {  # noqa: RUF012
        (S.FOUND, Given.CONTACT): Row("read", (S.FOUND_ON,)),
        (S.LEFT, Given.CONTACT): Row("read", (S.LEFT_ON,)),
        (S.FOUND_ON, Given.VALUE): Row("found", (S.FOUND_ON, S.VOLTS, *_NEXT)),
        (S.LEFT_ON, Given.VALUE): Row("left", (S.LEFT_ON, S.VOLTS, *_NEXT)),
        (S.FOUND_ON, Given.ENDED): Row("parted", (S.FOUND,)),
        (S.LEFT_ON, Given.ENDED): Row("parted", (S.LEFT,)),
        (S.VOLTS, Given.GO): Row("reopen", (S.FOUND, S.TURN, S.LEFT)),
        (S.TURN, Given.CONTACT): Row("touch", (S.TURN_ON,)),
        (S.STOP, Given.CONTACT): Row("touch", (S.STOP_ON,)),
        (S.TURN_ON, Given.VALUE): Row("turning", (S.TURN_ON, S.STOP_ON)),
        (S.STOP_ON, Given.VALUE): Row("resting", (S.STOP_ON, *_NEXT)),
        (S.TURN_ON, Given.ENDED): Row("lost", (S.TURN,)),
        (S.STOP_ON, Given.ENDED): Row("lost", (S.STOP,)),
        (S.ASK, Given.YES): Row("agreed", (S.FOUND, S.TURN, S.TURN_ON, S.LEFT)),
        (S.ASK, Given.NO): Row("refused", (S.FOUND, S.TURN, S.TURN_ON, S.LEFT)),
        **words_rows((S.FOUND, S.TURN, S.STOP, S.LEFT), {Given.DUE: Row("waiting", (S.FOUND, S.TURN, S.STOP, S.LEFT))}),
        **words_rows(
            (S.FOUND, S.TURN, S.STOP, S.LEFT, S.ASK), {Given.GO: Row("stay", (S.FOUND, S.TURN, S.STOP, S.LEFT, S.ASK))}
        ),
        **words_rows(
            _BUSY,
            {
                Given.AGAIN: Row("word_again", (S.FOUND, S.TURN, S.LEFT)),
                Given.BACK: Row("word_back", (S.FOUND, S.TURN, S.LEFT)),
                Given.AT: Row("word_at", _BUSY),
                Given.SKIP: Row("word_skip", (S.STOP, S.STOP_ON, *_NEXT)),
                Given.ABSENT: Row("word_absent", _NEXT),
                Given.OPEN: Row("word_open", _NEXT),
            },
        ),
        **words_rows((S.TURN, S.TURN_ON, S.STOP, S.STOP_ON), {Given.UNDO: Row("undo", (S.TURN, S.TURN_ON, S.ASK))}),
        **words_rows(_ALL, {Given.SKIP_STEP: Row("word_skip_step", (S.END,))}),
    }

    def __init__(self, step: TuneStep, bench: Bench) -> None:
        super().__init__(step, bench, S.FOUND)
        self._step = step
        self._names = step.item_names
        self._rule: Rule = step.rule or bench.rule
        self._at = 0
        self._phase: Literal[S.FOUND, S.TURN, S.LEFT] = S.FOUND
        self._to_find: list[tuple[str, str]] = []
        self._targets: dict[str, float] = {}
        self._turned: set[str] = set()
        self._over: set[str] = set()
        """Items that ended without turning: absent, open, skipped as found."""
        self._reread: set[str] = set()
        """Items read as left since the last turn."""
        self._alone = len(self._names) == 1 and step.contacts == 1
        self._passed: dict[str, int] = dict.fromkeys(self._names, 0)
        self._probing = Probing(self._aim_found(), bench.judge)
        self._turning: Turning | None = None
        self._lost_at: str = ""
        self._final = False
        self._question: Literal["", "rule", "undo"] = ""
        self._asked: set[str] = set()

    # --- what the session asks

    @property
    def item(self) -> str:
        """The trimmer in turn."""
        if self._phase is S.FOUND and self._to_find:
            return self._to_find[0][1]
        return self._names[self._at]

    @property
    def live(self) -> Live | None:
        """What a screen shows while a trimmer is turned, or None."""
        if self._turning is None or self.state not in (S.TURN_ON, S.STOP_ON, S.TURN, S.STOP):
            return None
        return self._turning.live(self.item, self._found_of(self.item))

    def start(self) -> None:
        """Read as found whatever has no such value yet, here and in later tune steps."""
        self.bench.touch.recontact_s = self._step.recontact_s
        mine = [(self.step.id, name) for name in self._names]
        later = [
            (step.id, name)
            for step in self.bench.steps_after(self.step.id)
            if isinstance(step, TuneStep) and step.wanted == self._step.wanted
            for name in step.item_names
        ]
        self._over.update(name for name in self._names if self.bench.is_kept(self.step.id, name))
        wanted = [key for key in (*mine, *later) if not self.bench.is_kept(*key)]
        self._to_find = [key for key in wanted if key not in self.bench.as_found]
        self.state = self._go()

    def resume(self) -> None:
        """Prompt again for what is open."""
        self._arm()
        self._prompt()

    def blocked(self) -> None:
        """What was gathered in the present contact is worth nothing."""
        self._probing.drop()
        if self._turning is not None:
            self._turning.lost(self.bench.t_s)
            self._report()
        off = {S.FOUND_ON: S.FOUND, S.TURN_ON: S.TURN, S.STOP_ON: S.STOP, S.LEFT_ON: S.LEFT, S.VOLTS: self._phase}
        self.state = off.get(self.state, self.state)  # type: ignore[call-overload]
        self.deadline_s = None

    def status(self) -> str:
        """Which trimmer, and what is done with it."""
        return f"{self.step.id}: {self.item}, {self._phase}"

    # --- as found and as left

    def read(self) -> StrEnum:
        """A credited contact to read a settled value."""
        self.deadline_s = None
        self._probing.contact(self.bench.t_s)
        return S.FOUND_ON if self._phase is S.FOUND else S.LEFT_ON

    def parted(self) -> StrEnum:
        """The contact ended before enough was known."""
        if self._probing.ended():
            self.bench.cue(CueKind.AGAIN, self.item)
        else:
            self.bench.touch.block()
        self._arm()
        return self._phase

    def found(self) -> StrEnum:
        """A new conversion while as found is read."""
        finding = self._read_on()
        if finding is not Finding.DONE:
            return S.VOLTS if finding is Finding.VOLTS else S.FOUND_ON
        result = self._probing.result
        reading = self.reading
        if result is None or reading is None:
            return S.FOUND_ON
        key = self._to_find.pop(0)
        self.bench.as_found[key] = result.judged
        shown = format_value(result.judged.value, reading.unit, result.judged.resolution)
        self.bench.note(f"{key[1]} as found {shown}")
        if key[0] == self.step.id and self._is_reference(key[1]):
            self._over.add(key[1])
            reason = "a known-good unit: recorded, not turned"
            self._verdict(key[1], VerdictKind.PASS, reason, judged=result.judged, n=result.n, from_s=result.from_s)
            self.bench.ticked = key
            return self._go()
        if self._alone and not self._to_find and key[0] == self.step.id:
            self._at = 0
            return self._begin_turn(touching=True)
        self.bench.ticked = key
        self.bench.cue(CueKind.PASS, key[1])
        return self._go()

    def left(self) -> StrEnum:
        """A new conversion while as left is read."""
        finding = self._read_on()
        if finding is not Finding.DONE:
            return S.VOLTS if finding is Finding.VOLTS else S.LEFT_ON
        result = self._probing.result
        if result is None:
            return S.LEFT_ON
        self._reread.add(self.item)
        self._give(result.judged, result.reason, result.n, result.from_s)
        self.bench.ticked = (self.step.id, self.item)
        return self._go()

    def _read_on(self) -> Finding:
        reading = self.reading
        if reading is None or reading.value is None:
            return Finding.WAIT
        finding = self._probing.value(reading)
        if finding is Finding.AGAIN:
            self.bench.cue(CueKind.AGAIN, self.item)
        elif finding is Finding.VOLTS:
            self.bench.cue(CueKind.STOP, self.item)
            self.bench.touch.block()
            self._probing.drop()
            self.say(Do.STOP, f"{self.item}: voltage in the circuit: lift, measure volts, disconnect and discharge")
        return finding

    def reopen(self) -> StrEnum:
        """After voltage and a certain lift."""
        return self._open(self._phase)

    # --- turning

    def touch(self) -> StrEnum:
        """Contact with the trimmer that is turned."""
        self.deadline_s = None
        if self._turning is not None:
            self._turning.contact(self.bench.t_s)
        if self._lost_at:
            self.bench.note(
                f"{self.item}: contact lost near {self._lost_at} while turning: a dirty track, or the probes"
            )
            self._lost_at = ""
        elif self.state is S.TURN:
            self._say_turn()
        return S.TURN_ON if self.state is S.TURN else S.STOP_ON

    def lost(self) -> StrEnum:
        """Contact lost while turning or resting."""
        if self._turning is not None:
            self._turning.lost(self.bench.t_s)
            self._report()
            live = self._turning.live(self.item, None)
            if live is not None:
                self._lost_at = self._shown(live.value)
        self._arm()
        return S.TURN if self.state is S.TURN_ON else S.STOP

    def turning(self) -> StrEnum:
        """A new conversion while the trimmer is turned."""
        judged = self._watch()
        if judged is None or judged.verdict is not VerdictKind.PASS:
            return S.TURN_ON
        return self._tool_away()

    def resting(self) -> StrEnum:
        """A new conversion after the tool was taken away."""
        judged = self._watch()
        if judged is None:
            return S.STOP_ON
        if judged.verdict is not VerdictKind.PASS and not self._final:
            self._say_turn()
            return S.TURN_ON
        turning = self._turning
        flat = turning.burst.plateau() if turning is not None else None
        if turning is None or flat is None:
            return S.STOP_ON
        self._turned.add(self.item)
        n, from_s = flat.n, flat.from_s
        self._passed[self.item] += len(turning.excursions)
        self._turning = None
        if self._alone:
            self._give(judged, "", n, from_s)
        else:
            self.bench.cue(CueKind.PASS if judged.verdict is VerdictKind.PASS else CueKind.UNSURE, self.item)
        self.bench.ticked = (self.step.id, self.item)
        return self._go()

    def _watch(self) -> Judgement | None:
        """Feed the turning; give its cues; return the judged value once it is at rest for `rest_s`, else None."""
        reading, turning = self.reading, self._turning
        if reading is None or reading.value is None or turning is None:
            return None
        value = self.bench.judge.corrected(reading)
        expanded, _ = self.bench.judge.expanded(reading, value=turning.band.target)
        turning.inner = round6(turning.band.tolerance - (expanded if self._rule == "guarded" else reading.resolution))
        before = len(turning.excursions)
        for cue in turning.feed(reading, value):
            if self.state is S.TURN_ON or cue is CueKind.HAZARD:
                self.bench.cue(cue, self.item)
        if len(turning.excursions) > before:
            self._report()
        for text in turning.notes:
            self.bench.note(f"{self.item}: {text}, it read {format_value(value, self._unit, reading.resolution)}")
        turning.notes.clear()
        if turning.rested_s(reading.t_s) < self._step.rest_s or turning.burst.plateau() is None:
            return None
        values = tuple(self.bench.judge.corrected(kept) for kept in turning.burst.kept[-3:])
        return self.bench.judge.judge(reading, self._limits(turning.band), value=value, conversions=values)

    def _report(self) -> None:
        """Write the excursions that have ended and are not in the file yet."""
        turning = self._turning
        if turning is None:
            return
        done = turning.reported
        for past in turning.excursions[done:]:
            record = Excursion(
                self.bench.t_s, self.step.id, self.item, past.side, past.limit, past.worst, past.from_s, past.duration_s
            )
            self.bench.excursion(record)
        turning.reported = len(turning.excursions)

    def _tool_away(self) -> StrEnum:
        if self._turning is not None:
            self._turning.restart_rest()
        self.say(Do.STOP, f"{self.item}: in band. Take the tool away and keep both tips on")
        return S.STOP_ON

    def _say_turn(self) -> None:
        turning = self._turning
        if turning is None:
            return
        band = turning.band
        text = (
            f"{self.item}: turn toward {self._shown(band.target)} ({self._shown(band.low)} to {self._shown(band.high)})"
        )
        if band.never_below is not None:
            text += f", never below {self._shown(band.never_below)}"
        if band.never_above is not None:
            text += f", never above {self._shown(band.never_above)}"
        if turning.nudging:
            text += "; nudge: turn, stop, wait two values"
        self.say(Do.TURN, text)

    # --- words

    def undo(self) -> StrEnum:
        """Aim at as found; never silently past a hazard limit."""
        found, turning = self._found_of(self.item), self._turning
        if found is None or turning is None:
            self.bench.note(f"{self.item} has no value as found to go back to")
            return S.TURN_ON if self.state in (S.TURN_ON, S.STOP_ON) else S.TURN
        if turning.band.beyond(found, 0.0) is not None:
            self._question = "undo"
            self.bench.cue(CueKind.HAZARD, self.item)
            self.say(
                Do.ANSWER,
                f"{self.item}: as found, {self._shown(found)}, lies past the hazard limit. Go back there? yes or no",
            )
            return S.ASK
        return self._retarget(found)

    def _retarget(self, target: float) -> StrEnum:
        touching = self.state in (S.TURN_ON, S.STOP_ON)
        self._targets[self.item] = target
        self._final = False
        if self._turning is not None:
            band = self._band(self.item)
            self._turning.band = band
            self._turning.restart_rest()
        self._say_turn()
        return S.TURN_ON if touching else S.TURN

    def agreed(self) -> StrEnum:
        """Yes to the question that stands."""
        if self._question == "rule":
            self._rule = "simple"
            self.bench.note(f"{self.step.id}: the operator takes the simple rule")
            return self._open(S.TURN)
        found = self._found_of(self.item)
        self.state = S.TURN
        return self._retarget(found if found is not None else self._targets[self.item])

    def refused(self) -> StrEnum:
        """No to the question that stands."""
        return self._open(S.TURN)

    def word_again(self) -> StrEnum:
        """Begin the present trimmer's part anew; as found stays."""
        return self._open(self._phase)

    def word_back(self) -> StrEnum:
        """Go back to the trimmer before, or from reading as left to turning."""
        if self._phase is S.FOUND:
            return self._open(S.FOUND)
        if self._phase is S.TURN:
            self._at = max(0, self._at - 1)
        self._turned.discard(self._names[self._at])
        return self._open(S.TURN)

    def word_at(self) -> StrEnum:
        """Turn the trimmer that was named."""
        wanted = self.text.strip().casefold()
        for index, name in enumerate(self._names):
            if name.casefold() == wanted and (self.step.id, name) in self.bench.as_found:
                self._at = index
                self._turned.discard(name)
                self._over.discard(name)
                return self._open(S.TURN)
        self.bench.note(f"no trimmer {self.text.strip()!r} that was read as found; there are {', '.join(self._names)}")
        return self.state

    def word_skip(self) -> StrEnum:
        """Judge what is left."""
        if self._phase is S.TURN and self.state in (S.TURN, S.TURN_ON) and not self._final:
            self._final = True
            touching = self.state is S.TURN_ON
            if self._turning is not None:
                self._turning.restart_rest()
            self.say(Do.STOP, f"{self.item}: take the tool away and keep both tips on; what is left is judged")
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
        for name in self._names:
            if (self.step.id, name) not in self.bench.verdicts:
                self._verdict(name, VerdictKind.UNSURE, "step skipped")
        return self._finish()

    def _without(self, verdict: VerdictKind, reason: str) -> StrEnum:
        name = self.item
        if self._phase is S.FOUND and self._to_find:
            key = self._to_find.pop(0)
            if key[0] != self.step.id:  # a later step's trimmer: it will be asked for again there
                self.bench.note(f"{name} was not read as found")
                return self._go()
        self._over.add(name)
        self._turning = None
        self._verdict(name, verdict, reason)
        return self._go()

    # --- moving on

    def _go(self) -> StrEnum:
        """Open what comes next: as found, turning, as left, the end."""
        if self._to_find:
            return self._open(S.FOUND)
        for index, name in enumerate(self._names):
            if name not in self._turned and name not in self._over:
                self._at = index
                return self._open(S.TURN)
        if not self._alone:
            for index, name in enumerate(self._names):
                if name not in self._over and name not in self._reread:
                    self._at = index
                    return self._open(S.LEFT)
        return self._finish()

    def _open(self, phase: StrEnum) -> StrEnum:
        self._final = False
        self._lost_at = ""
        self.bench.changed()
        if phase is S.TURN:
            return self._begin_turn(touching=False)
        self._phase = S.FOUND if phase is S.FOUND else S.LEFT
        self._turning = None
        aim = self._aim_found() if phase is S.FOUND else self._aim_left()
        self._probing = Probing(aim, self.bench.judge)
        self._arm()
        self._prompt()
        return self._phase

    def _begin_turn(self, *, touching: bool) -> StrEnum:
        self._phase = S.TURN
        self._reread.clear()
        name = self.item
        if name not in self._targets:
            self._targets[name] = self._target_of(name)
        band = self._band(name)
        conversion_s = self.bench.conversions.times_s[self._step.wanted[0]]
        self._turning = Turning(band, band.tolerance, conversion_s)
        if self._too_narrow(name, band):
            return S.ASK
        if touching:
            self._turning.contact(self.bench.t_s)
            self._say_turn()
            return S.TURN_ON
        self._arm()
        self._prompt()
        return S.TURN

    def _too_narrow(self, name: str, band: Band) -> bool:
        """Ask for the simple rule, once, where the guarded band is narrower than two counts."""
        found = self.bench.as_found.get((self.step.id, name))
        if found is None or name in self._asked or self._rule == "simple":
            return False
        self._asked.add(name)
        if provable(band.low, band.high, found.expanded, self._rule, found.resolution):
            return False
        least = self._shown(tightest_half_width(found.expanded, self._rule, found.resolution))
        self._question = "rule"
        self.say(
            Do.ANSWER,
            f"{name}: the band of ±{self._shown(band.tolerance)} is narrower than this meter can prove (±{least}). "
            "Take the simple rule for it? yes or no",
        )
        return True

    def _finish(self) -> StrEnum:
        self.deadline_s = None
        self.done = True
        return S.END

    def _arm(self) -> None:
        self.deadline_s = at(self.bench.t_s + PATIENCE_S)

    def waiting(self) -> StrEnum:
        """No contact for a while: say so once."""
        self.deadline_s = None
        self.bench.cue(CueKind.WAITING, self.item)
        return self.state

    def _prompt(self) -> None:
        name = self.item
        where = next((item.where or item.say for item in self._step.items if item.name == name), "")
        place = f"{name}, {where}" if where else name
        if self.state is S.ASK and self._question:
            self.say(Do.ANSWER, f"{place}: yes or no?")
        elif self._phase is S.FOUND:
            self.say(Do.PROBE, f"{place}: hold both tips on it, turn nothing yet: it is read as found")
        elif self._phase is S.LEFT:
            self.say(Do.PROBE, f"{place}: hold both tips on it: it is read as left")
        elif self.state in (S.STOP, S.STOP_ON):
            self.say(Do.STOP, f"{place}: take the tool away and hold both tips on it")
        else:
            self.say(Do.PROBE, f"{place}: hold both tips on it, ready to turn")

    # --- numbers

    def _found_of(self, name: str) -> float | None:
        found = self.bench.as_found.get((self.step.id, name))
        return None if found is None else found.value

    def _is_reference(self, name: str) -> bool:
        """True where this known-good unit itself gives the value that others are turned to."""
        if self._step.target != REFERENCE or not self.bench.known_good:
            return False
        return f"{self.step.id}/{name}" not in self.bench.reference

    def _target_of(self, name: str) -> float:
        target = self._step.target
        if target == REFERENCE:
            return float(self.bench.reference[f"{self.step.id}/{name}"]["value"])
        if target == AS_FOUND:
            return self._found_of(name) or 0.0
        return float(target)

    def _band(self, name: str) -> Band:
        return self._step.band(self._targets[name])

    @property
    def _unit(self) -> str:
        return self._step.unit or self._step.wanted[0].unit

    def _limits(self, band: Band) -> Limits:
        return Limits(band.low, band.high, self._unit, self._rule)

    def _aim_found(self) -> Aim:
        return Aim(self.item, Limits(None, None, self._unit, self._rule), self._step.contacts, decisive=False)

    def _aim_left(self) -> Aim:
        name = self.item
        if name not in self._targets:
            self._targets[name] = self._target_of(name)
        return Aim(name, self._limits(self._band(name)), self._step.contacts, decisive=False)

    def _shown(self, value: float) -> str:
        found = self.bench.as_found.get((self.step.id, self.item))
        return format_value(value, self._unit, found.resolution if found is not None else None)

    def _give(self, judged: Judgement, reason: str, n: int, from_s: float) -> None:
        verdict = judged.verdict
        side = self._band(self.item).beyond(judged.value, 0.0)
        if side is not None:
            verdict = VerdictKind.FAIL
            reason = "; ".join(part for part in (f"left {side} its hazard limit", reason) if part)
        self._verdict(self.item, verdict, reason, judged=judged, n=n, from_s=from_s)

    def _verdict(
        self,
        name: str,
        verdict: VerdictKind,
        reason: str,
        *,
        judged: Judgement | None = None,
        n: int = 0,
        from_s: float | None = None,
    ) -> None:
        target = self._targets.get(name)
        band = self._band(name) if target is not None else None
        limits = Limits(None, None, self._unit, self._rule) if band is None else self._limits(band)
        self.bench.give(
            name,
            verdict,
            judged=judged,
            limits=limits,
            reason=reason,
            n=n,
            from_s=from_s,
            settled=judged is not None,
            as_found=self._found_of(name),
            as_left=None if judged is None else judged.value,
            target=target,
            tolerance=None if band is None else band.tolerance,
            excursions=self._passed.get(name, 0),
        )
