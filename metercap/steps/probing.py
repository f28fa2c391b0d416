"""Probing: one item, from the first credited contact to what its verdict may rest on.

Decisive for a limit, settled for a value. A fuse passes as soon as two conversions in one range are decisively inside
its limits; they need not equal each other, and under an upper limit in ohms the first one of a contact may be one of
them: mixed with air it can only read high. Anything else, a value above the limit, in the guard band, or above 20 kΩ,
needs two settled and separate contacts that agree, of four at most, because a probe on flux or lacquer reads high.
Ranges too coarse to decide are walked through, never settled in. A reading that climbs is a capacitor charging; one
below zero or steadily falling means voltage in the circuit.
"""

from __future__ import annotations

import itertools
from enum import StrEnum
from typing import Any

import msgspec

from metercap.contact import Burst, Plateau
from metercap.contact.burst import PLATEAU_COUNTS, WIDE_AFTER
from metercap.judging.coarse import STAYS, undecidable, walks_on
from metercap.judging.contacts import MOST, Ending, Taken, agreeing, together
from metercap.judging.judge import Judge, Judgement, Limits
from metercap.judging.pool import Pool
from metercap.metrology.ranges import IN_OHMS as IN_OHMS
from metercap.metrology.series import sd
from metercap.quantity import format_value
from metercap.reading import Reading
from metercap.records import CueKind, Do, VerdictKind
from metercap.rests import Touched
from metercap.steps.bench import Bench

LEAKAGE_OHM = 20e3
"""Above this a resistance across a fuse is leakage or fingers (common practice, no source)."""
CLIMB_S = 10.0
"""How long a climbing reading is waited for."""
STEADY = 3
"""Moves in one direction by more than two counts each that make a reading climb or fall."""
HEED_S = 0.8
"""So long after `again` the hand may still obey it, wherever it has landed meanwhile: no verdict rests on that."""
NOISY = 4
"""Whole conversions that a settled value takes where they scatter by more than a count: two hardly know their s."""
DECISIVE_K = 2.0
"""The coverage factor of a decisive pass: that both conversions agree stands for the degrees of freedom."""


class Aim(msgspec.Struct, frozen=True):
    """What is asked of one item: its limits, how many separate settled contacts, whether a decisive pass is enough."""

    item: str
    limits: Limits
    contacts: int = 1
    decisive: bool = True

    @property
    def is_fuse(self) -> bool:
        """True where 20 kΩ could only be leakage."""
        return self.limits.unit == "ohm" and self.limits.high is not None and self.limits.high < LEAKAGE_OHM


class Finding(StrEnum):
    """What a conversion led to."""

    WAIT = "wait"
    DONE = "done"
    """A verdict: see `Probing.result`."""
    AGAIN = "again"
    """A settled contact is kept; another, separate one is needed."""
    COARSE = "coarse"
    """The meter stays in a range too coarse to decide."""
    VOLTS = "volts"
    """There is voltage in the circuit: stop."""


class Result(msgspec.Struct, frozen=True):
    """What the verdict will say."""

    verdict: VerdictKind
    judged: Judgement
    reason: str
    n: int
    from_s: float
    settled: bool
    contacts: tuple[Touched, ...]

    @property
    def told(self) -> dict[str, Any]:
        """What `Bench.give` takes of it beside item, verdict and limits."""
        told = {name: getattr(self, name) for name in ("reason", "n", "from_s", "settled", "contacts")}
        return told | {"judged": self.judged}


class Probing:
    """Gathers one item's contacts. `result` is set when `value()` returned DONE; `taken` holds the settled contacts.

    `pool`: the contact spread of the step's items, for a step that pools it.
    """

    __slots__ = (
        "_asked",
        "_burst",
        "_chosen",
        "_climb_s",
        "_heed_s",
        "_judge",
        "_kept",
        "_pool",
        "_recorded",
        "aim",
        "result",
        "taken",
    )

    def __init__(self, aim: Aim, judge: Judge, pool: Pool | None = None) -> None:
        self.aim = aim
        self.taken: list[Taken] = []
        self.result: Result | None = None
        self._judge = judge
        self._burst: Burst | None = None
        self._kept = False
        self._climb_s: float | None = None
        self._heed_s = 0.0
        self._asked = False
        self._pool = pool
        self._chosen: list[Taken] = []
        self._recorded = False

    @property
    def touching(self) -> bool:
        """True while a credited contact lasts."""
        return self._burst is not None

    @property
    def kept(self) -> bool:
        """True when the present contact has already given its settled value."""
        return self._kept

    def contact(self, t_s: float) -> None:
        """A credited contact begins."""
        self._burst = Burst(t_s)
        self._kept = False
        self._climb_s = None

    def ended(self, t_s: float, *, shows_walk: bool) -> Ending:
        """The contact ended at `t_s`; return what it leaves. `shows_walk`: no over-range hides this meter's walk.

        A slip may have put the tips on the next item before `again` is heard; a hand that obeys lifts from there.
        """
        burst, self._burst = self._burst, None
        if self._kept:
            return Ending.KEPT
        limits = self.aim.limits
        if burst is not None and not shows_walk and walks_on(burst.first, limits.low, limits.high):
            return Ending.WALKING
        self._heed_s = t_s + HEED_S
        return Ending.NOTHING

    def drop(self) -> None:
        """Forget the present contact: a block began."""
        self._burst = None
        self._kept = False

    def take(self, reading: Reading | None, bench: Bench) -> Finding:
        """Take a new conversion as `value` does, and say what it led to while the item stays open."""
        if reading is None or reading.value is None:
            return Finding.WAIT
        found = self.value(reading)
        if found is Finding.AGAIN:
            bench.cue(CueKind.AGAIN, self.aim.item)
        elif found is Finding.COARSE:
            count = format_value(reading.resolution, reading.unit)
            text = f"one count is {count} here, which decides nothing: choose a finer range"
            bench.urge(Do.DIAL, None, text, quantity=reading.quantity, dial=(reading.quantity,), range="finer")
        elif found is Finding.VOLTS:
            self.drop()
            bench.stop_for_volts(self.aim.item)
        return found

    def value(self, reading: Reading) -> Finding:
        """Take a new conversion of the present contact."""
        burst = self._burst
        if burst is None:
            return Finding.WAIT
        burst.feed(reading)
        self._judge.ranges.see(reading)
        if reading.t_s < self._heed_s:
            burst.forget()
            return Finding.WAIT
        pair = burst.pair
        if pair is None:
            return Finding.DONE if self._early(burst) else Finding.WAIT
        moves = burst.run(self._judge.noise(reading))
        if reading.quantity in IN_OHMS and self._volts(burst, pair, moves):
            return Finding.VOLTS
        if self._below(reading):
            return Finding.WAIT  # once may be noise; it is never a tick
        if moves >= STEADY or self._climb_s is not None:
            found = self._climbing(burst, reading, moves)
            if found is not None:
                return found
        if abs(moves) >= 2 or (moves and burst.whole < STEADY):
            return Finding.WAIT  # it moves: one more conversion tells whether it goes on
        if self.aim.decisive and self._decisive(burst, pair):
            return Finding.DONE
        if self._coarse(burst, reading):
            return self._stays(burst)
        plateau = burst.plateau()
        if plateau is None or self._kept:
            return Finding.WAIT
        return self._settled(burst, plateau, reading)

    def _coarse(self, burst: Burst, reading: Reading) -> bool:
        """Whether the range says nothing: the meter is still walking, or it needs another range."""
        limits = self.aim.limits
        if undecidable(reading.resolution, self._judge.corrected(reading), limits.low, limits.high):
            return True
        return self._judge.ranges.empty(reading, burst.whole, limitless=limits.none)

    def _stays(self, burst: Burst) -> Finding:
        if self._asked or burst.whole < STAYS:
            return Finding.WAIT
        self._asked = True
        return Finding.COARSE

    def _volts(self, burst: Burst, pair: tuple[Reading, Reading], moves: int) -> bool:
        if all(self._below(reading) for reading in pair):
            return True
        if moves > -STEADY:
            return False
        # A contact that gets better falls in one or two leaps; a charge that drains falls by a steady share.
        tail = [reading.value or 0.0 for reading in burst.kept[moves - 1 :]]
        return all(later >= 0.5 * earlier for earlier, later in itertools.pairwise(tail))

    def _below(self, reading: Reading) -> bool:
        """Whether it lies where only a voltage can bring a resistance."""
        return reading.quantity in IN_OHMS and self._judge.corrected(reading) < self._judge.floor(reading)

    def _climbing(self, burst: Burst, reading: Reading, moves: int) -> Finding | None:
        if self._climb_s is None:
            self._climb_s = burst.kept[-1 - moves].t_s
        if moves <= 0 and burst.plateau() is not None:
            self._climb_s = None
            return None
        if reading.t_s - self._climb_s < CLIMB_S:
            return Finding.WAIT
        judgement = self._judge.judge(reading, self.aim.limits)
        reason = "it climbs: a capacitor charging"
        touched = (Touched(burst.kept[0].t_s, reading.t_s, judgement.value),)
        self._finish(VerdictKind.UNSURE, judgement, reason, burst.whole, touched, settled=False)
        return Finding.DONE

    def _early(self, burst: Burst) -> bool:
        """Whether the first conversion of a contact and the one after it pass already.

        Only under an upper limit in ohms: mixed with air it reads high there. One that rises may be charging.
        """
        limits, early = self.aim.limits, burst.early
        if early is None or not self.aim.decisive or limits.high is None or limits.low is not None:
            return False
        first, second = early
        rise = (second.value or 0.0) - (first.value or 0.0)
        if second.quantity not in IN_OHMS or rise > PLATEAU_COUNTS * second.resolution * 1.000001:
            return False
        return self._decisive(burst, early)

    def _decisive(self, burst: Burst, pair: tuple[Reading, Reading]) -> bool:
        limits = self.aim.limits
        if limits.none or self.aim.contacts > 1:
            return False
        if not self._inside(pair[0]) or not self._inside(pair[1]):
            return False
        values = tuple(self._judge.corrected(reading) for reading in pair)
        # Under an upper limit in ohms what leaps is the contact, which only reads high: both are under it.
        leaps = abs(values[1] - values[0]) > PLATEAU_COUNTS * pair[1].resolution * 1.000001
        if leaps and limits.low is None and pair[1].quantity in IN_OHMS:
            values = ()
        both = [self._judge.judge(reading, limits, conversions=values, k=DECISIVE_K) for reading in pair]
        if any(judgement.verdict is not VerdictKind.PASS for judgement in both):
            return False
        plateau = burst.plateau()
        # A first conversion that agrees with the next was no blend, or one of no more than a plateau's width.
        settled = not leaps if plateau is None else not plateau.wide
        reason = ""
        if self.taken:
            reason = f"an earlier contact read {self._shown(self.taken[-1])}"
        touched = (Touched(pair[0].t_s, pair[1].t_s, both[1].value),)
        self._finish(VerdictKind.PASS, both[1], reason, 2, touched, settled=settled)
        return True

    def _inside(self, reading: Reading) -> bool:
        """Quick look before the budget is made: a value outside its limits, or below zero, cannot pass."""
        if self._below(reading):
            return False
        value, limits = self._judge.corrected(reading), self.aim.limits
        return (limits.high is None or value <= limits.high) and (limits.low is None or value >= limits.low)

    def _values(self, burst: Burst, n: int) -> tuple[float, ...]:
        return tuple(self._judge.corrected(reading) for reading in burst.kept[-n:])

    def _settled(self, burst: Burst, plateau: Plateau, reading: Reading) -> Finding:
        values = self._values(burst, plateau.n)
        if plateau.n < NOISY and burst.whole < WIDE_AFTER and sd(values) > reading.resolution * 1.000001:
            return Finding.WAIT
        value = self._judge.corrected(reading)
        taken = Taken(reading, value, values, plateau.from_s, plateau.wide, plateau.span)
        self._kept = True
        self.taken.append(taken)
        recorded = self.aim.contacts > 1 or (self._pool is not None and self._pool.wants(reading))
        needed = max(self.aim.contacts, 2 if recorded or not self._plain(taken) else 1)
        if len(self.taken) < needed:
            return Finding.AGAIN
        chosen = agreeing(self.taken, needed, self.aim.limits)
        if chosen is not None:
            self._conclude(chosen, recorded=recorded)
        elif len(self.taken) < max(MOST, needed):
            return Finding.AGAIN
        else:
            self._disagree()
        return Finding.DONE

    def _plain(self, taken: Taken) -> bool:
        """True when a settled contact is inside its limits (or has none), so that no second one need confirm it."""
        if self.aim.is_fuse and taken.value > LEAKAGE_OHM:
            return False
        judgement = self._judge.judge(taken.reading, self.aim.limits, conversions=taken.conversions)
        return judgement.verdict is VerdictKind.PASS and len(self.taken) == 1

    def _conclude(self, contacts: list[Taken], *, recorded: bool) -> None:
        """Make the verdict of settled contacts that agree: one, or two and more."""
        limits, pool = self.aim.limits, self._pool
        self._chosen, self._recorded = contacts, recorded
        value, last = together(contacts, limits, recorded=recorded)
        spread = tuple(taken.value for taken in contacts) if recorded else ()
        pooled = None
        if pool is not None:
            pool.put(self.aim.item, last.reading, spread)
            pooled = pool.spread(last.reading)
        reasons = []
        rejected = [self._shown(taken) for taken in self.taken if not any(taken is each for each in contacts)]
        if rejected:
            reasons.append(f"not counted, since they differ: {', '.join(rejected)}")
        wide = [taken for taken in contacts if taken.wide]
        if wide:
            width = format_value(max(taken.span for taken in wide), limits.unit)
            reasons.append(f"unsteady contact: settled within {width} only")
        judgement = self._judge.judge(
            last.reading, limits, value=value, conversions=last.conversions, contacts=spread, spread=pooled
        )
        verdict = judgement.verdict
        if self.aim.is_fuse and value > LEAKAGE_OHM:
            verdict = VerdictKind.UNSURE
            reasons.insert(0, "leakage or fingers")
        self._close(verdict, judgement, "; ".join(reasons), contacts)

    def anew(self) -> Result | None:
        """Judge the contacts that agreed once more, with what the pool knows by now; None where none did."""
        if self._chosen:
            self._conclude(self._chosen, recorded=self._recorded)
        return self.result if self._chosen else None

    def _disagree(self) -> None:
        """So many contacts, and no two agree: what they read, and nothing decided."""
        low = min(self.taken, key=lambda taken: abs(taken.value))
        judgement = self._judge.judge(low.reading, self.aim.limits, value=low.value, conversions=low.conversions)
        judgement = msgspec.structs.replace(judgement, verdict=VerdictKind.UNSURE)
        reason = f"contacts differ: {', '.join(self._shown(taken) for taken in self.taken)}"
        self._close(VerdictKind.UNSURE, judgement, reason, self.taken)

    def _close(self, verdict: VerdictKind, judgement: Judgement, reason: str, contacts: list[Taken]) -> None:
        n = sum(len(taken.conversions) for taken in contacts)
        self._finish(verdict, judgement, reason, n, tuple(taken.touched for taken in contacts), settled=True)

    def _shown(self, taken: Taken) -> str:
        return format_value(taken.value, self.aim.limits.unit, taken.reading.resolution)

    def _finish(
        self,
        verdict: VerdictKind,
        judgement: Judgement,
        reason: str,
        n: int,
        contacts: tuple[Touched, ...],
        *,
        settled: bool,
    ) -> None:
        from_s = min(touched.from_s for touched in contacts)
        self.result = Result(verdict, judgement, reason, n, from_s, settled, contacts)
