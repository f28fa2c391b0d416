"""tune: a trimmer to a band, live.

As found is read for every trimmer of the step, and of later tune steps, before anything turns, and is never
overwritten. Accepted is a value in the band by the rule, at rest for `rest_s`; then the tool is taken away, and it must
be at rest again. With several trimmers all are read again after the last turn, because they interact.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Literal

from metercap.quantity import format_value
from metercap.records import CueKind, Do, VerdictKind, at
from metercap.steps.bench import Bench
from metercap.steps.judge import Judgement
from metercap.steps.machine import Machine
from metercap.steps.probing import Finding, Probing
from metercap.steps.trimmer import Trimmers, TuneStep
from metercap.steps.tune_table import TABLE, S
from metercap.steps.turning import Live, Turning

PATIENCE_S = 10.0


class Tune(Machine):
    """Reads as found, watches the turning, judges what is left."""

    TABLE = TABLE

    def __init__(self, step: TuneStep, bench: Bench) -> None:
        super().__init__(step, bench, S.FOUND)
        self._step = step
        self._names = step.item_names
        self._trimmers = Trimmers(step, bench)
        self._at = 0
        self._phase: Literal[S.FOUND, S.TURN, S.LEFT] = S.FOUND
        self._to_find: list[tuple[str, str]] = []
        self._turned: set[str] = set()
        self._over: set[str] = set()
        """Items that ended without turning: absent, open, skipped as found."""
        self._reread: set[str] = set()
        """Items read as left since the last turn."""
        self._alone = len(self._names) == 1 and step.contacts == 1
        self._probing = Probing(self._trimmers.aim(self._names[0], found=True), bench.judge)
        self._turning: Turning | None = None
        self._lost_at: str = ""
        self._final = False
        self._question: Literal["", "rule", "undo"] = ""

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
        found = self._trimmers.found(self.item)
        return self._turning.live(self.item, None if found is None else found.value)

    def start(self) -> None:
        """Read as found whatever has no such value yet, here and in later tune steps."""
        self.bench.touch.recontact_s = self._step.recontact_s
        self._over.update(name for name in self._names if self.bench.is_kept(self.step.id, name))
        self._to_find = self._trimmers.to_read()
        self.state = self._go()

    def resume(self) -> None:
        """Prompt again for what is open."""
        if self.state is S.ASK:
            self.say(Do.ANSWER, f"{self.item}: yes or no?")
        else:
            self._arm()
            self._prompt()

    def blocked(self) -> None:
        """What was gathered in the present contact is worth nothing."""
        self._probing.drop()
        if self._turning is not None:
            self._turning.lost(self.bench.t_s)
            self._trimmers.report(self.item, self._turning)
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
        if self._probing.ended(self.bench.t_s):
            self.bench.cue(CueKind.AGAIN, self.item)
        else:
            self.bench.touch.block()
        self._arm()
        return self._phase

    def found(self) -> StrEnum:
        """A new conversion while as found is read."""
        finding = self._probing.take(self.reading, self.bench)
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
        if key[0] == self.step.id and self._trimmers.is_reference(key[1]):
            self._over.add(key[1])
            reason = "a known-good unit: recorded, not turned"
            self._trimmers.give(
                key[1], VerdictKind.PASS, reason, judged=result.judged, n=result.n, from_s=result.from_s
            )
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
        finding = self._probing.take(self.reading, self.bench)
        if finding is not Finding.DONE:
            return S.VOLTS if finding is Finding.VOLTS else S.LEFT_ON
        result = self._probing.result
        if result is None:
            return S.LEFT_ON
        self._reread.add(self.item)
        self._trimmers.give_left(self.item, result.judged, result.reason, result.n, result.from_s)
        self.bench.ticked = (self.step.id, self.item)
        return self._go()

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
            self._trimmers.report(self.item, self._turning)
            live = self._turning.live(self.item, None)
            if live is not None:
                self._lost_at = self._trimmers.shown(self.item, live.value)
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
        self._trimmers.excursions[self.item] += len(turning.excursions)
        self._turning = None
        if self._alone:
            self._trimmers.give_left(self.item, judged, "", n, from_s)
        else:
            self.bench.cue(CueKind.PASS if judged.verdict is VerdictKind.PASS else CueKind.UNSURE, self.item)
        self.bench.ticked = (self.step.id, self.item)
        return self._go()

    def _watch(self) -> Judgement | None:
        """Return the judged value once it is at rest for `rest_s`, else None."""
        reading, turning = self.reading, self._turning
        if reading is None or reading.value is None or turning is None:
            return None
        return self._trimmers.follow(self.item, turning, reading, cues=self.state is S.TURN_ON)

    def _tool_away(self) -> StrEnum:
        if self._turning is not None:
            self._turning.restart_rest()
        self.say(Do.STOP, f"{self.item}: in band. Take the tool away and keep both tips on")
        return S.STOP_ON

    def _say_turn(self) -> None:
        if self._turning is not None:
            self.say(Do.TURN, self._trimmers.turn_text(self.item, self._turning))

    # --- words

    def undo(self) -> StrEnum:
        """Aim at as found; never silently past a hazard limit."""
        found = self._trimmers.found(self.item)
        if found is None or self._turning is None:
            self.bench.note(f"{self.item} has no value as found to go back to")
            return S.TURN_ON if self.state in (S.TURN_ON, S.STOP_ON) else S.TURN
        if self._turning.band.beyond(found.value, 0.0) is None:
            return self._retarget(found.value)
        self._question = "undo"
        self.bench.cue(CueKind.HAZARD, self.item)
        self.say(Do.ANSWER, self._trimmers.undo_text(self.item, found.value))
        return S.ASK

    def _retarget(self, target: float) -> StrEnum:
        touching = self.state in (S.TURN_ON, S.STOP_ON)
        self._trimmers.targets[self.item] = target
        self._final = False
        if self._turning is not None:
            band = self._trimmers.band(self.item)
            self._turning.band = band
            self._turning.restart_rest()
        self._say_turn()
        return S.TURN_ON if touching else S.TURN

    def agreed(self) -> StrEnum:
        """Yes to the question that stands."""
        if self._question == "rule":
            self._trimmers.rule = "simple"
            self.bench.note(f"{self.step.id}: the operator takes the simple rule")
            return self._open(S.TURN)
        found = self._trimmers.found(self.item)
        self.state = S.TURN
        return self._retarget(self._trimmers.targets[self.item] if found is None else found.value)

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
                self._trimmers.give(name, VerdictKind.UNSURE, "step skipped")
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
        self._trimmers.give(name, verdict, reason)
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
        self._probing = Probing(self._trimmers.aim(self.item, found=phase is S.FOUND), self.bench.judge)
        self._arm()
        self._prompt()
        return self._phase

    def _begin_turn(self, *, touching: bool) -> StrEnum:
        self._phase = S.TURN
        self._reread.clear()
        self._turning = self._trimmers.turning(self.item)
        question = self._trimmers.too_narrow(self.item)
        if question:
            self._question = "rule"
            self.say(Do.ANSWER, question)
            return S.ASK
        if touching:
            self._turning.contact(self.bench.t_s)
            self._say_turn()
            return S.TURN_ON
        self._arm()
        self._prompt()
        return S.TURN

    def _finish(self) -> StrEnum:
        self.deadline_s = None
        self.done = True
        return S.END

    def _arm(self) -> None:
        self.deadline_s = at(self.bench.t_s + PATIENCE_S)

    def _prompt(self) -> None:
        stopping = self.state in (S.STOP, S.STOP_ON)
        phase = "stop" if self._phase is S.TURN and stopping else self._phase.value
        self.say(*self._trimmers.prompt(self.item, phase))
