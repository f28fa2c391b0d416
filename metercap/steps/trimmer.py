"""Trimmers: the plan keys of `tune`, and the numbers and words around each trimmer of a step.

Targets, bands, limits, what was found, what the verdict carries. `turning` follows a value while it is turned; `tune`
is the machine that uses both.
"""

from __future__ import annotations

from metercap.metrology.decide import provable, tightest_half_width
from metercap.metrology.domain import round6
from metercap.quantity import format_value
from metercap.reading import Reading
from metercap.records import CueKind, Do, Excursion, VerdictKind
from metercap.steps.band import Band
from metercap.steps.bench import Bench
from metercap.steps.judge import Judgement, Limits
from metercap.steps.keys import Band as Tolerance
from metercap.steps.keys import Limit, MeasuredStep, Rule, Seconds, Target
from metercap.steps.probing import IN_OHMS, Aim
from metercap.steps.turning import Turning

REFERENCE = "reference"
AS_FOUND = "as found"


class TuneStep(MeasuredStep, frozen=True, tag="tune", kw_only=True):
    """Keys of a `tune` step. `target` is a value, "reference" or "as found"; `tolerance` a share of it or a value.

    `never_below` and `never_above` are hazardous sides: the alarm is immediate. `rest_s` is how long a value must rest.
    """

    target: Target
    tolerance: Tolerance | None = None
    tolerance_share: float | None = None
    never_below: Limit | None = None
    never_above: Limit | None = None
    rest_s: Seconds = 2.0

    def band(self, target: float) -> Band:
        """Return the band around `target`, with the plan's hazardous sides."""
        return Band(target, self.half_width(target), self.never_below, self.never_above)

    def half_width(self, target: float) -> float:
        """Return the tolerance around `target` in SI; 0.0 when the plan gives none."""
        if self.tolerance is not None:
            return self.tolerance
        return round6(abs(target) * (self.tolerance_share or 0.0))


_PHASES = {
    "found": (Do.PROBE, "hold both tips on it, turn nothing yet: it is read as found"),
    "turn": (Do.PROBE, "hold both tips on it, ready to turn"),
    "stop": (Do.STOP, "take the tool away and hold both tips on it"),
    "left": (Do.PROBE, "hold both tips on it: it is read as left"),
}


class Trimmers:
    """The trimmers of one step: what each is turned to, and what is said of it.

    `rule` may become "simple" by the operator's word; `targets` may become as found by `undo`.
    """

    def __init__(self, step: TuneStep, bench: Bench) -> None:
        self.names = step.item_names
        self.rule: Rule = step.rule or bench.rule
        self.targets: dict[str, float] = {}
        self.excursions: dict[str, int] = dict.fromkeys(self.names, 0)
        self._step = step
        self._bench = bench
        self._asked: set[str] = set()

    @property
    def unit(self) -> str:
        """The unit of every value of the step."""
        return self._step.unit or self._step.wanted[0].unit

    def to_read(self) -> list[tuple[str, str]]:
        """Return (step, item) of every trimmer, here and in later tune steps, that was not read as found yet."""
        steps = [self._step, *self._bench.steps_after(self._step.id)]
        return [
            (step.id, name)
            for step in steps
            if isinstance(step, TuneStep) and step.wanted == self._step.wanted
            for name in step.item_names
            if not self._bench.is_kept(step.id, name) and (step.id, name) not in self._bench.as_found
        ]

    def found(self, name: str) -> Judgement | None:
        """Return what the trimmer was found at, or None."""
        return self._bench.as_found.get((self._step.id, name))

    def is_reference(self, name: str) -> bool:
        """True where this known-good unit itself gives the value that others are turned to."""
        if self._step.target != REFERENCE or not self._bench.known_good:
            return False
        return f"{self._step.id}/{name}" not in self._bench.reference

    def band(self, name: str) -> Band:
        """Return the band around the trimmer's target; the target is set when first asked for."""
        if name not in self.targets:
            self.targets[name] = self._target(name)
        return self._step.band(self.targets[name])

    def turning(self, name: str) -> Turning:
        """Return what follows the trimmer's value from now on, beginning at what it was found at."""
        found, band, quantity = self.found(name), self.band(name), self._step.wanted[0]
        return Turning(
            band,
            band.tolerance,
            self._bench.conversions.times_s[quantity],
            found=None if found is None else found.value,
            began_s=self._bench.t_s,
            opens_high=quantity in IN_OHMS,
        )

    def limits(self, name: str) -> Limits:
        """Return the band's limits with the rule that holds now."""
        band = self.band(name)
        return Limits(band.low, band.high, self.unit, self.rule)

    def aim(self, name: str, *, found: bool) -> Aim:
        """Return what a reading as found (no limits yet) or as left is asked for."""
        limits = Limits(None, None, self.unit, self.rule) if found else self.limits(name)
        return Aim(name, limits, self._step.contacts, decisive=False)

    def shown(self, name: str, value: float) -> str:
        """Return a value with the digits that the trimmer was found with."""
        found = self.found(name)
        return format_value(value, self.unit, None if found is None else found.resolution)

    def prompt(self, name: str, phase: str) -> tuple[Do, str]:
        """Return what to do with a trimmer in a phase: "found", "turn", "stop" or "left"."""
        where = next((item.where or item.say for item in self._step.items if item.name == name), "")
        do, text = _PHASES[phase]
        return do, f"{name}, {where}: {text}" if where else f"{name}: {text}"

    def undo_text(self, name: str, found: float) -> str:
        """Return the question before going back past a hazard limit."""
        return f"{name}: as found, {self.shown(name, found)}, lies past the hazard limit. Go back there? yes or no"

    def turn_text(self, name: str, turning: Turning) -> str:
        """Return what to turn to, in which band, and which side is hazardous."""
        band = turning.band
        within = f"{self.shown(name, band.low)} to {self.shown(name, band.high)}"
        text = f"{name}: turn toward {self.shown(name, band.target)} ({within})"
        if band.never_below is not None:
            text += f", never below {self.shown(name, band.never_below)}"
        if band.never_above is not None:
            text += f", never above {self.shown(name, band.never_above)}"
        return f"{text}; nudge: turn, stop, wait two values" if turning.nudging else text

    def too_narrow(self, name: str) -> str:
        """Return the question to ask, once, where the guarded band is narrower than two counts; else an empty text."""
        found = self.found(name)
        if found is None or name in self._asked or self.rule == "simple":
            return ""
        self._asked.add(name)
        band = self.band(name)
        if provable(band.low, band.high, found.expanded, self.rule, found.resolution):
            return ""
        least = self.shown(name, tightest_half_width(found.expanded, self.rule, found.resolution))
        width = self.shown(name, band.tolerance)
        return (
            f"{name}: the band of ±{width} is narrower than this meter can prove (±{least}). "
            "Take the simple rule for it? yes or no"
        )

    def follow(self, name: str, turning: Turning, reading: Reading, *, cues: bool) -> Judgement | None:
        """Take a conversion while a trimmer is turned: give cues (the hazard always), notes and excursions.

        Return the judged value once it is at rest for `rest_s` on a plateau, else None.
        """
        judge = self._bench.judge
        value = judge.corrected(reading)
        expanded, _ = judge.expanded(reading, value=turning.band.target)
        margin = expanded if self.rule == "guarded" else reading.resolution
        turning.inner = round6(turning.band.tolerance - margin)
        for cue in turning.feed(reading, value):
            if cues or cue is CueKind.HAZARD:
                self._bench.cue(cue, name)
        self.report(name, turning)
        for text in turning.notes:
            shown = format_value(value, reading.unit, reading.resolution)
            self._bench.note(f"{name}: {text}, it read {shown}")
        turning.notes.clear()
        if turning.rested_s(reading.t_s) < self._step.rest_s or turning.burst.plateau() is None:
            return None
        values = tuple(judge.corrected(kept) for kept in turning.burst.kept[-3:])
        return judge.judge(reading, self.limits(name), value=value, conversions=values)

    def report(self, name: str, turning: Turning) -> None:
        """Write the excursions that have ended and are not in the file yet."""
        for past in turning.excursions[turning.reported :]:
            self._bench.excursion(
                Excursion(
                    self._bench.t_s,
                    self._step.id,
                    name,
                    past.side,
                    past.limit,
                    past.worst,
                    past.from_s,
                    past.duration_s,
                )
            )
        turning.reported = len(turning.excursions)

    def give_left(self, name: str, judged: Judgement, reason: str, n: int, from_s: float) -> None:
        """Give the verdict on the value left; past a hazard limit it fails whatever the band says."""
        verdict = judged.verdict
        side = self.band(name).beyond(judged.value, 0.0)
        if side is not None:
            verdict = VerdictKind.FAIL
            reason = "; ".join(part for part in (f"left {side} its hazard limit", reason) if part)
        self.give(name, verdict, reason, judged=judged, n=n, from_s=from_s)

    def give(
        self,
        name: str,
        verdict: VerdictKind,
        reason: str,
        *,
        judged: Judgement | None = None,
        n: int = 0,
        from_s: float | None = None,
    ) -> None:
        """Give a verdict with all that `tune` adds to it."""
        band = self.band(name) if name in self.targets else None
        found = self.found(name)
        self._bench.give(
            name,
            verdict,
            judged=judged,
            limits=Limits(None, None, self.unit, self.rule) if band is None else self.limits(name),
            reason=reason,
            n=n,
            from_s=from_s,
            settled=judged is not None,
            as_found=None if found is None else found.value,
            as_left=None if judged is None else judged.value,
            target=None if band is None else band.target,
            tolerance=None if band is None else band.tolerance,
            excursions=self.excursions[name],
        )

    def _target(self, name: str) -> float:
        target = self._step.target
        if target == REFERENCE:
            return float(self._bench.reference[f"{self._step.id}/{name}"]["value"])
        if target == AS_FOUND:
            found = self.found(name)
            return 0.0 if found is None else found.value
        return float(target)
