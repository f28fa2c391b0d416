"""Trimmers: the plan keys of `tune`, and the numbers around each trimmer of a step.

Targets, bands, limits, what was found, what the verdict carries. `turning` follows a value while it is turned; `asking`
has the words; `tune` is the machine that uses them all.
"""

from __future__ import annotations

from typing import Any

from msgspec import UNSET, UnsetType

from metercap.contact.burst import PLATEAU_COUNTS
from metercap.judging.judge import Judgement, Limits
from metercap.metrology.domain import round6
from metercap.metrology.ranges import resolution_at, too_coarse
from metercap.plankeys.base import Rule
from metercap.plankeys.tune import AS_FOUND, REFERENCE, Band, TuneStep
from metercap.reading import Reading, State
from metercap.records import CueKind, Excursion, VerdictKind
from metercap.rests import Touched
from metercap.steps.bench import Bench
from metercap.steps.hazard import Standing
from metercap.steps.probing import IN_OHMS, Aim
from metercap.steps.tune.turning import REACTION_S, Turning

SCATTER_OF = 24
"""Conversions whose scatter enters a noisy value's U: too few to be divided, since one value is recorded."""
TENTH = 0.1
"""Share of itself in which a value must show where nothing is aimed at."""


class Trimmers:
    """The trimmers of one step: what each is turned to, and what is judged and recorded of it.

    `rule` may become "simple" by the operator's word; `targets` may become as found by `undo`; `widened` holds the
    tolerance of a band that the operator widened.
    """

    def __init__(self, step: TuneStep, bench: Bench) -> None:
        self.names = step.item_names
        self.rule: Rule = step.rule or bench.rule
        self.targets: dict[str, float] = {}
        self.widened: dict[str, float] = {}
        self.step = step
        self.bench = bench
        self._inner: dict[tuple[float, Band, Rule], float] = {}
        self._bands: dict[tuple[float, float | None, float | None], Band] = {}

    @property
    def unit(self) -> str:
        """The unit of every value of the step."""
        return self.step.unit or self.step.wanted[0].unit

    def to_read(self) -> list[tuple[str, str]]:
        """Return (step, item) of every trimmer, here and in later tune steps, that was not read as found yet."""
        bench = self.bench
        steps = [self.step, *bench.steps_after(self.step.id)]
        return [
            (step.id, name)
            for step in steps
            if isinstance(step, TuneStep) and step.wanted == self.step.wanted
            for name in step.item_names
            if not bench.is_kept(step.id, name)
            and (step.id, name) not in bench.as_found
            and (step.id, name) not in bench.unread
        ]

    def of(self, step: str) -> Trimmers:
        """Return the trimmers of this step, or of a later one whose as found is read already."""
        later = next((each for each in self.bench.steps_after(self.step.id) if each.id == step), None)
        return Trimmers(later, self.bench) if isinstance(later, TuneStep) else self

    def found(self, name: str) -> Judgement | None:
        """Return what the trimmer was found at, or None."""
        return self.bench.as_found.get((self.step.id, name))

    def good(self, name: str) -> float | None:
        """Return what a known-good unit reads there, or None."""
        value = self.bench.reference.get(f"{self.step.id}/{name}", {}).get("value")
        return float(value) if isinstance(value, int | float) else None

    def is_reference(self, name: str) -> bool:
        """True where this known-good unit, or one that is good for this step, gives the value others are turned to."""
        good = self.bench.known_good and self.good(name) is None
        return self.step.target == REFERENCE and (good or self.step.id in self.bench.good_for)

    def needs_target(self, name: str) -> bool:
        """True where neither a good unit nor the operator has said what to turn to."""
        key = (self.step.id, name)
        return self.step.target == REFERENCE and self.good(name) is None and key not in self.bench.targets

    def aims(self, name: str) -> bool:
        """True where it is known already what to turn to."""
        target = self.step.target
        if isinstance(target, str):
            return not self.needs_target(name) if target == REFERENCE else self.found(name) is not None
        return True

    def read_in(self, name: str) -> Reading | None:
        """Return a reading in the range in which the trimmer is turned: the one it was found by, else one made up."""
        found = self.bench.found_by.get((self.step.id, name))
        if found is not None:
            return found
        quantity, target = self.step.wanted[0], self.band(name).target
        finest = resolution_at(self.bench.profile, quantity, target)
        if finest is None:
            return None
        return Reading(self.bench.t_s, quantity, target, finest, quantity.unit, State.OK, (), "")

    def aimless(self, name: str) -> bool:
        """True where nothing says what to turn to: as found is wanted, and was not read."""
        return self.step.target == AS_FOUND and self.found(name) is None

    def band(self, name: str) -> Band:
        """Return the band around the trimmer's target; the target is set when first asked for."""
        if name not in self.targets:
            self.targets[name] = self._target(name)
        key = (self.targets[name], self._of(name), wide := self.widened.get(name))
        if key not in self._bands:
            band = self.step.band(key[0], key[1])
            own = band.tolerance if wide is None else wide
            self._bands[key] = Band(band.target, own, band.never_below, band.never_above)
        return self._bands[key]

    def hazards(self, name: str) -> Band:
        """Return a band of which only the hazardous sides count: they are known before a target is."""
        return Band(0.0, 0.0, *self.step.hazards(self._of(name)))

    def turning(self, name: str) -> Turning:
        """Return what follows the trimmer's value from now on, beginning at what it was found at."""
        found, band, quantity, past = self.found(name), self.band(name), self.step.wanted[0], self.bench.standing
        turning = Turning(
            band,
            band.tolerance,
            self.bench.conversions.times_s[quantity],
            found=None if found is None else found.value,
            began_s=self.bench.t_s,
            opens_high=quantity in IN_OHMS,
        )
        if name in past:
            turning.hazard.stands(past[name].side, past[name].value)
        return turning

    def watching(self, name: str, *, begins: bool) -> Turning:
        """Return what watches the hazardous sides alone, from a contact that begins now, or in one that goes on."""
        known, quantity, past = self._known(name), self.step.wanted[0], self.bench.standing.get(name)
        turning = Turning(
            self.hazards(name),
            0.0,
            self.bench.conversions.times_s[quantity],
            found=known,
            began_s=self.bench.t_s,
            opens_high=quantity in IN_OHMS,
            steers=False,
        )
        turning.contact(goes_on=not begins)
        if past is not None:
            turning.hazard.stands(past.side, past.value)
        return turning

    def watch(self, name: str, turning: Turning, reading: Reading) -> None:
        """Take a conversion of a contact that does not count: the alarm, and its end, and nothing else is said."""
        said = turning.feed(reading, self.bench.judge.corrected(reading))
        turning.notes.clear()
        self.end_watch(name, turning)
        if CueKind.HAZARD in said:
            self.bench.cue(CueKind.HAZARD, name)

    def end_watch(self, name: str, turning: Turning) -> None:
        """Write what is over; an alarm that is over is told by a cue without it."""
        if turning.reported < len(turning.excursions):
            self.report(name, turning)
        stood = name in self.bench.standing
        if stood or turning.hazard.side is not None:
            self.stand(name, turning)
        if stood and name not in self.bench.standing:
            self.bench.cue(CueKind.AGAIN, name)

    def _known(self, name: str) -> float | None:
        """Return where the trimmer was seen last, or None."""
        past = self.bench.standing.get(name)
        judged = self.bench.judged.get((self.step.id, name)) or self.found(name)
        return past.value if past is not None else None if judged is None else judged.value

    def limits(self, name: str) -> Limits:
        """Return the band's limits with the rule that holds now."""
        band = self.band(name)
        return Limits(band.low, band.high, self.unit, self.rule)

    def aim(self, name: str, *, found: bool) -> Aim:
        """Return what a reading as found (no limits yet) or as left is asked for."""
        limits = Limits(None, None, self.unit, self.rule) if found else self.limits(name)
        return Aim(name, limits, self.step.contacts, decisive=False)

    def too_coarse(self, name: str, reading: Reading) -> bool:
        """Return whether a finer range must come first: the digit is larger than half the band, and a tenth would do.

        A meter that walks shows such values on its way; they are no values of the trimmer.
        """
        value = reading.value
        if value is None:
            return False
        half = self._half(name, value)
        return too_coarse(self.bench.profile, reading.quantity, value, reading.resolution, half)

    def _half(self, name: str, value: float) -> float:
        """Return half the band, or, while nothing is aimed at yet, a tenth of a value."""
        if self.step.target == AS_FOUND and name not in self.targets:
            return self.step.half_width(value)
        if self.needs_target(name):
            return TENTH * abs(value)
        return self.band(name).tolerance

    def full_scale(self, reading: Reading, last: Reading | None) -> float | None:
        """Return the end of a fixed range that the value ran off, signed as it was; None where that is not known.

        On auto range over-range is beyond every range, or tips in the air.
        """
        counts = self.bench.profile.counts
        if last is None or last.value is None or counts is None or "auto" in reading.flags:
            return None
        return (-1.0 if last.value < 0.0 else 1.0) * counts * last.resolution

    def proved(self, band: Band, reading: Reading) -> float:
        """Return half the width that the rule in force proves of a band in the reading's range; below 0 for none."""
        key = (reading.resolution, band, self.rule)
        inner = self._inner.get(key)
        if inner is None:
            expanded, _ = self.bench.judge.expanded(reading, value=band.target)
            margin = expanded if self.rule == "guarded" else reading.resolution
            inner = self._inner[key] = round6(band.tolerance - margin)
        return inner

    def where(self, turning: Turning, inner: float) -> dict[str, Any]:
        """Return where a value is and where it will stop, for `TuneFacts`, once there was a value.

        `inner`: half of what is proved of the band, 0 where nothing is.
        """
        value, target = turning.shown, turning.band.target
        error = round6(value - target)
        nearest = min(max(value, target - inner), target + inner)
        ahead = turning.speed_per_s * (turning.conversion_s + REACTION_S)
        least = 0.0 if turning.last is None else PLATEAU_COUNTS * turning.last.resolution
        return {
            "value": value,
            "error": error,
            "share": round6(error / target) if target else None,
            "to_go": round6(nearest - value),
            "speed_per_s": round6(turning.speed_per_s),
            "stops_at": round6(value + ahead) if abs(ahead) > least else None,
            "nudging": turning.nudging,
            "rested_s": round6(max(0.0, turning.rest.rested_s(self.bench.t_s, turning.since_s))),
        }

    def seen(self, name: str) -> Band | None:
        """Return the band to show: nothing is set by asking for it. None while nothing says what to turn to."""
        if name in self.targets:
            return self.band(name)
        return self.step.band(self._target(name), self._of(name)) if self.aims(name) else None

    def follow(self, name: str, turning: Turning, reading: Reading, *, cues: bool) -> None:
        """Take a conversion while a trimmer is turned: give cues (the hazard always) and excursions."""
        turning.inner = self.proved(turning.band, reading)
        said = turning.feed(reading, self.bench.judge.corrected(reading))
        if turning.hazard.side is not None or self.bench.standing:
            self.stand(name, turning)
        for cue in said:
            if cues or cue is CueKind.HAZARD or self.bench.standing:
                self.bench.cue(cue, name)
        if turning.reported < len(turning.excursions):
            self.report(name, turning)

    def stand(self, name: str, turning: Turning) -> None:
        """Remember whether the trimmer stands past its limit now."""
        hazard, standing = turning.hazard, self.bench.standing
        if hazard.side is not None:
            past = hazard.value if hazard.past else turning.shown
            limit = turning.band.never_below if hazard.side == "below" else turning.band.never_above
            before = standing.get(name)  # handed on: the digits that it was shown with, until there are new ones
            told = turning.last or before
            resolution = 0.0 if told is None else told.resolution
            standing[name] = Standing(hazard.side, limit or 0.0, past, resolution, self.unit, hazard.past)
        elif name in standing:
            del standing[name]

    def judged(self, name: str, turning: Turning, reading: Reading) -> Judgement:
        """Judge a value at rest."""
        judge = self.bench.judge
        value = judge.corrected(reading)
        values = turning.rest.values[-SCATTER_OF if turning.rest.noisy else -3 :]
        return judge.judge(reading, self.limits(name), value=value, conversions=values)

    def report(self, name: str, turning: Turning) -> None:
        """Write the excursions that have ended and are not in the file yet."""
        for past in turning.excursions[turning.reported :]:
            self.bench.excursion(
                Excursion(
                    self.bench.t_s,
                    self.step.id,
                    name,
                    past.side,
                    past.limit,
                    past.worst,
                    past.from_s,
                    past.duration_s,
                )
            )
            key = (self.step.id, name)
            self.bench.excursions[key] = self.bench.excursions.get(key, 0) + 1
        turning.reported = len(turning.excursions)

    def leave(self, name: str, turning: Turning) -> None:
        """Write the excursion that stands: the item, or the session, ends first."""
        turning.hazard.part(turning.band, self.bench.t_s)
        self.report(name, turning)
        stood = name in self.bench.standing
        self.stand(name, turning)
        if stood and name not in self.bench.standing:
            self.bench.cue(CueKind.AGAIN, name)  # a doubted value rang the alarm: it is over

    def settled(self, name: str, judged: Judgement) -> bool:
        """Remember where a settled value stands; return whether it begins to stand past a limit just now."""
        side = self.hazards(name).beyond(judged.value, judged.resolution)
        standing = self.bench.standing
        if side is None:
            standing.pop(name, None)
            return False
        limit = self.hazards(name).never_below if side == "below" else self.hazards(name).never_above
        new = name not in standing
        standing[name] = Standing(side, limit or 0.0, judged.value, judged.resolution, self.unit)
        return new

    def give_left(
        self, name: str, judged: Judgement, reason: str, n: int, from_s: float, contacts: tuple[Touched, ...] = ()
    ) -> None:
        """Give the verdict on the value left; past a hazard limit it fails whatever the band says."""
        verdict = judged.verdict
        self.settled(name, judged)
        side = self.band(name).beyond(judged.value, 0.0)
        if side is not None:
            verdict = VerdictKind.FAIL
            reason = "; ".join(part for part in (f"left {side} its hazard limit", reason) if part)
        own = contacts or (Touched(from_s, self.bench.t_s, judged.value),)
        self.give(name, verdict, reason, judged=judged, n=n, from_s=from_s, contacts=own)

    def give(
        self,
        name: str,
        verdict: VerdictKind,
        reason: str,
        *,
        judged: Judgement | None = None,
        n: int = 0,
        from_s: float | None = None,
        contacts: tuple[Touched, ...] | UnsetType = UNSET,
    ) -> None:
        """Give a verdict with all that `tune` adds to it."""
        band = self.band(name) if name in self.targets else None
        found = self.found(name)
        unread = self.bench.unread.get((self.step.id, name), "")
        if unread:
            reason = "; ".join(part for part in (reason, f"as found not read: {unread}") if part)
        self.bench.give(
            name,
            verdict,
            judged=judged,
            limits=Limits(None, None, self.unit, self.rule) if band is None else self.limits(name),
            reason=reason,
            n=n,
            from_s=from_s,
            contacts=contacts,
            settled=judged is not None,
            as_found=None if found is None else found.value,
            as_left=None if judged is None else judged.value,
            target=None if band is None else band.target,
            tolerance=None if band is None else band.tolerance,
            excursions=self.bench.excursions.get((self.step.id, name), 0),
        )

    def _of(self, name: str) -> float | None:
        """Return what a hazard limit in percent is of: the plan's value, else the good unit's."""
        target = self.step.target
        return self.good(name) if isinstance(target, str) else float(target)

    def _target(self, name: str) -> float:
        target = self.step.target
        if target == REFERENCE and (own := self.bench.targets.get((self.step.id, name))) is not None:
            return own
        if target == REFERENCE:
            return float(self.bench.reference[f"{self.step.id}/{name}"]["value"])
        if target == AS_FOUND:
            found = self.found(name)
            return 0.0 if found is None else found.value
        return float(target)
