"""Probing: one item, from the first credited contact to what its verdict may rest on.

Decisive for a limit, settled for a value. A fuse passes as soon as two whole conversions in one range are decisively
inside its limits; they need not equal each other. Anything else, a value above the limit, in the guard band, or above
20 kΩ, needs two settled and separate contacts, because a probe on flux or lacquer reads high. A reading that climbs is
a capacitor charging; one below zero or steadily falling means voltage in the circuit.
"""

from __future__ import annotations

import itertools
import math
from enum import StrEnum

import msgspec

from metercap.contact import Burst, Plateau
from metercap.metrology.domain import round6
from metercap.quantity import Quantity, format_value
from metercap.reading import Reading
from metercap.records import CueKind, VerdictKind
from metercap.steps.bench import Bench
from metercap.steps.judge import Judge, Judgement, Limits

LEAKAGE_OHM = 20e3
"""Above this a resistance across a fuse is leakage or fingers (common practice, no source)."""
AGREE = 0.10
"""Two contacts agree when they differ by at most this share of the higher one, or by two counts."""
CLIMB_S = 10.0
"""How long a climbing reading is waited for."""
STEADY = 3
"""Moves in one direction by more than two counts each that make a reading climb or fall."""
HEED_S = 0.8
"""So long after `again` the hand may still obey it, wherever it has landed meanwhile: no verdict rests on that."""

IN_OHMS = (Quantity.RESISTANCE, Quantity.CONTINUITY)


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


class Taken(msgspec.Struct, frozen=True):
    """One settled contact: its last reading, the corrected value, the corrected conversions, when they began."""

    reading: Reading
    value: float
    conversions: tuple[float, ...]
    from_s: float
    wide: bool
    span: float


class Probing:
    """Gathers one item's contacts. `result` is set when `value()` returned DONE; `taken` holds the settled contacts."""

    __slots__ = ("_burst", "_climb_s", "_heed_s", "_judge", "_kept", "aim", "result", "taken")

    def __init__(self, aim: Aim, judge: Judge) -> None:
        self.aim = aim
        self.taken: list[Taken] = []
        self.result: Result | None = None
        self._judge = judge
        self._burst: Burst | None = None
        self._kept = False
        self._climb_s: float | None = None
        self._heed_s = 0.0

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

    def ended(self, t_s: float) -> bool:
        """The contact ended at `t_s`; return whether it gave nothing, so that the item must be touched again.

        A slip may have put the tips on the next item before `again` is heard; a hand that obeys lifts from there.
        """
        nothing = not self._kept
        self._burst = None
        if nothing:
            self._heed_s = t_s + HEED_S
        return nothing

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
        if reading.t_s < self._heed_s:
            burst.kept.clear()
            return Finding.WAIT
        pair = burst.pair
        if pair is None:
            return Finding.WAIT
        moves = burst.run()
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
        plateau = burst.plateau()
        if plateau is None or self._kept:
            return Finding.WAIT
        return self._settled(burst, plateau, reading)

    def _volts(self, burst: Burst, pair: tuple[Reading, Reading], moves: int) -> bool:
        if all(self._below(reading) for reading in pair):
            return True
        if moves > -STEADY:
            return False
        # A contact that gets better falls in one or two leaps; a charge that drains falls by a steady share.
        tail = [reading.value or 0.0 for reading in burst.kept[moves - 1 :]]
        return all(later >= 0.5 * earlier for earlier, later in itertools.pairwise(tail))

    def _below(self, reading: Reading) -> bool:
        """Whether it lies below −(2 counts + U of the lead null) in ohms, where only a voltage can bring it."""
        floor = -(2.0 * reading.resolution + 2.0 * self._judge.lead_u(reading))
        return reading.quantity in IN_OHMS and self._judge.corrected(reading) < floor

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
        self._finish(VerdictKind.UNSURE, judgement, reason, burst.whole, burst.kept[0].t_s, settled=False)
        return Finding.DONE

    def _decisive(self, burst: Burst, pair: tuple[Reading, Reading]) -> bool:
        limits = self.aim.limits
        if limits.none or self.aim.contacts > 1:
            return False
        if not self._inside(pair[0]) or not self._inside(pair[1]):
            return False
        values = self._values(burst, 2)
        both = [self._judge.judge(reading, limits, conversions=values) for reading in pair]
        if any(judgement.verdict is not VerdictKind.PASS for judgement in both):
            return False
        plateau = burst.plateau()
        settled = plateau is not None and not plateau.wide
        reason = ""
        if self.taken:
            reason = f"an earlier contact read {self._shown(self.taken[-1])}"
        self._finish(VerdictKind.PASS, both[1], reason, 2, pair[0].t_s, settled=settled)
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
        value = self._judge.corrected(reading)
        taken = Taken(reading, value, values, plateau.from_s, plateau.wide, plateau.span)
        self._kept = True
        self.taken.append(taken)
        needed = self.aim.contacts
        if not self._plain(taken):
            needed = max(needed, 2)
        if len(self.taken) < needed:
            return Finding.AGAIN
        self._conclude(self.taken[-needed:])
        return Finding.DONE

    def _plain(self, taken: Taken) -> bool:
        """True when a settled contact is inside its limits (or has none), so that no second one need confirm it."""
        if self.aim.is_fuse and taken.value > LEAKAGE_OHM:
            return False
        judgement = self._judge.judge(taken.reading, self.aim.limits, conversions=taken.conversions)
        return judgement.verdict is VerdictKind.PASS and len(self.taken) == 1

    def _conclude(self, contacts: list[Taken]) -> None:
        """Make the verdict of settled contacts: one, or two and more that agree, or the lower of those that do not."""
        low = min(contacts, key=lambda taken: taken.value)
        high = max(contacts, key=lambda taken: taken.value)
        reasons = []
        agree = high.value - low.value <= max(AGREE * abs(high.value), 2.0 * high.reading.resolution) * 1.000001
        if self.aim.contacts > 1 and agree:
            last = contacts[-1]
            value = round6(math.fsum(taken.value for taken in contacts) / len(contacts))
            spread = tuple(taken.value for taken in contacts)
        else:
            last, value, spread = low, low.value, ()
        if not agree:
            reasons.append(f"contacts differ: {self._shown(low)} and {self._shown(high)}")
        wide = [taken for taken in contacts if taken.wide]
        if wide:
            width = format_value(max(taken.span for taken in wide), self.aim.limits.unit)
            reasons.append(f"unsteady contact: settled within {width} only")
        judgement = self._judge.judge(
            last.reading, self.aim.limits, value=value, conversions=last.conversions, contacts=spread
        )
        verdict = judgement.verdict
        if self.aim.is_fuse and value > LEAKAGE_OHM:
            verdict = VerdictKind.UNSURE
            reasons.insert(0, "leakage or fingers")
        n = sum(len(taken.conversions) for taken in contacts)
        self._finish(verdict, judgement, "; ".join(reasons), n, min(t.from_s for t in contacts), settled=True)

    def _shown(self, taken: Taken) -> str:
        return format_value(taken.value, self.aim.limits.unit, taken.reading.resolution)

    def _finish(
        self, verdict: VerdictKind, judgement: Judgement, reason: str, n: int, from_s: float, *, settled: bool
    ) -> None:
        self.result = Result(verdict, judgement, reason, n, from_s, settled)
