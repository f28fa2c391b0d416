"""Does one meter read everything high or low? A rank test over all places, and by how much.

At every place the meter's values are ranked among all others' there, and the places are put together (van Elteren's
test: the rank-sum test in strata). Ranks hold for any spread and shrug off wild values, and a place where units lie far
apart says little by itself. How much is the middle of the relative differences of medians, each weighted by how well it
is known.

Sources, from memory: van Elteren, Bull. Int. Stat. Inst. 37 (1960) 351; Lehmann, Nonparametrics (1975), 3.3 (weights
1/(N + 1)) and 1.4 (ties).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import msgspec

from metercap.history.counts import Cell, History
from metercap.history.model import Place
from metercap.metrology.domain import round6
from metercap.metrology.tally import Tally

FEWEST_PLACES = 3
FEWEST_VALUES = 5
"""With fewer places, or fewer values of a meter over all of them, nothing is said of it."""
DIGITS = 100.0
"""A place counts where its middle is at least this many of the last digit: leads and rounding are below 1 %."""
CHANCE = 0.001
"""A meter is told of where chance alone gives such a difference less often, for any of the meters."""
OFF = 0.01
"""… and where it reads at least so far off: a handheld meter's own accuracy is about that."""


class Offset(msgspec.Struct, frozen=True):
    """How one meter reads `unit` beside all others: `shift` relative (0.02 is 2 % high), over `places` and `n` values.

    `p`: how often chance alone gives such a difference, two-sided. `told`: it is one to look into. `either`: only two
    meters are left to compare, so which of them is off nobody can say.
    """

    meter: str
    unit: str
    shift: float
    p: float
    places: int
    n: int
    told: bool
    either: str = ""


class _Stratum(msgspec.Struct, frozen=True):
    """One place: the meter's values and the others', and how far apart their medians are."""

    own: Tally
    others: Tally
    shift: float
    weight: float


def offsets(history: History) -> tuple[Offset, ...]:
    """Return each meter's offset by unit of the values, the ones to look into first.

    The meter that is farthest off is judged first and left out of what the others are held against, so that it makes
    none of them look off the other way. Values as left are passed over: a trimmer is turned until its meter shows the
    target, whatever that meter reads.
    """
    found: list[Offset] = []
    units = sorted({place.unit for place in history.cells})
    for unit in units:
        cells = {
            place: cell
            for place, cell in sorted(history.cells.items(), key=lambda pair: pair[0])
            if place.unit == unit and place.aspect != "as left" and _fine(cell)
        }
        found += _of_unit(cells, unit)
    return tuple(sorted(found, key=lambda one: (not one.told, one.p, one.unit, one.meter)))


def rank_sum(strata: Sequence[tuple[Tally, Tally]]) -> tuple[float, float]:
    """Return z and the two-sided p of van Elteren's test: are the first values of each pair larger than the second?

    Formula: z = Σw(W − m(N + 1)/2)/√Σw²V, w = 1/(N + 1), W the sum of the m first values' mid-ranks among all N,
    V = mn/12·(N + 1 − Σ(t³ − t)/(N(N − 1))) for ties of t. No unit. Degenerate: all values equal give z = 0, p = 1.
    Source: this module's head.
    """
    above, spread = [], []
    for own, others in strata:
        both = own.n + others.n
        weight = 1.0 / (both + 1)
        ranks, ties = _ranks(own, others)
        above.append(weight * (ranks / 2.0 - own.n * (both + 1) / 2.0))
        spread.append(weight * weight * own.n * others.n / 12.0 * (both + 1 - ties / (both * (both - 1))))
    variance = math.fsum(spread)
    if variance <= 0.0:
        return 0.0, 1.0
    z = math.fsum(above) / math.sqrt(variance)
    return round6(z), round6(math.erfc(abs(z) / math.sqrt(2.0)))


def _ranks(own: Tally, others: Tally) -> tuple[int, int]:
    """Return twice the sum of the first values' mid-ranks among all, and Σ(t³ − t) over the ties."""
    mine, theirs = own.beside(others)
    ranks = ties = below = 0
    for value in sorted({*mine, *theirs}):
        here = mine.get(value, 0)
        tied = here + theirs.get(value, 0)
        ranks += here * (2 * below + tied + 1)
        ties += tied**3 - tied
        below += tied
    return ranks, ties


def _fine(cell: Cell) -> bool:
    """Return whether a place's values are many last digits long."""
    return bool(cell.all.counts) and abs(cell.all.median()) >= DIGITS * cell.resolution and cell.resolution > 0.0


def _of_unit(cells: Mapping[Place, Cell], unit: str) -> list[Offset]:
    left = sorted({meter for cell in cells.values() for meter in cell.meters})
    all_of = {place: _rest(cell, left) for place, cell in cells.items()}
    meters = len(left)
    found: list[Offset] = []
    while len(left) > 1:
        judged = [one for meter in left if (one := _judge(cells, all_of, meter, unit, meters)) is not None]
        if not judged:
            break
        far = max(judged, key=lambda one: (one.told, abs(one.shift) if one.told else 0.0, -one.p))
        if not far.told:
            return found + judged
        if len(left) == 2:
            return found + [msgspec.structs.replace(one, either=_other(left, one.meter)) for one in judged]
        found.append(far)
        left.remove(far.meter)
        all_of = {place: _rest(cell, left) for place, cell in cells.items()}
    return found


def _other(two: Sequence[str], one: str) -> str:
    return next(name for name in two if name != one)


def _rest(cell: Cell, meters: Sequence[str]) -> Tally:
    """Return the values of some meters at a place."""
    out = Tally()
    for meter in meters:
        if meter in cell.meters:
            out.take(cell.meters[meter])
    return out


def _judge(
    cells: Mapping[Place, Cell], all_of: Mapping[Place, Tally], meter: str, unit: str, meters: int
) -> Offset | None:
    """Return a meter's offset against all others that are left; None where there is too little to say."""
    strata = []
    for place, cell in cells.items():
        own = cell.meters.get(meter)
        if own is not None and (stratum := _stratum(own, all_of[place].without(own), cell.resolution)) is not None:
            strata.append(stratum)
    n = sum(int(stratum.own.n) for stratum in strata)
    if len(strata) < FEWEST_PLACES or n < FEWEST_VALUES:
        return None
    _, p = rank_sum([(stratum.own, stratum.others) for stratum in strata])
    shift = _weighted_middle([(stratum.shift, stratum.weight) for stratum in strata])
    told = p * meters < CHANCE and abs(shift) >= OFF
    return Offset(meter, unit, round6(shift), p, len(strata), n, told)


def _stratum(own: Tally, others: Tally, resolution: float) -> _Stratum | None:
    if not others.counts:
        return None
    middle = others.median()
    if abs(middle) < DIGITS * resolution:
        return None
    spread = max(own.mad(), others.mad(), resolution) / abs(middle)
    known = spread * math.sqrt(1.0 / own.n + 1.0 / others.n)
    return _Stratum(own, others, (own.median() - middle) / abs(middle), 1.0 / (known * known))


def _weighted_middle(pairs: Sequence[tuple[float, float]]) -> float:
    """Return the value at which half of all weight is reached."""
    half = math.fsum(weight for _, weight in pairs) / 2.0
    passed: list[float] = []
    for value, weight in sorted(pairs):
        passed.append(weight)
        if math.fsum(passed) >= half:
            return value
    return 0.0
