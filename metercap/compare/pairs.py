"""One session beside good units, or beside an earlier session: item by item, most suspicious first."""

from __future__ import annotations

import msgspec

from metercap.compare.model import Apart, How, Line, Odd, Pair
from metercap.evidence import Evidence
from metercap.judging.good import Good, Likeness, Origin, likeness
from metercap.metrology.compare import chance_flags
from metercap.metrology.domain import round6
from metercap.metrology.pair import FULL
from metercap.outcome import Key
from metercap.quantity import format_value
from metercap.records import Verdict, VerdictKind
from metercap.reference.gather import value_of, why_no_value
from metercap.reference.model import Reference, goods


class Beside(msgspec.Struct, frozen=True):
    """What a session is compared with: values by item, and what is known of items without one."""

    how: How
    name: str
    goods: dict[Key, Good]
    without: dict[Key, str]

    @classmethod
    def of(cls, reference: Reference, how: How, name: str) -> Beside:
        """Return a reference as something to be compared with."""
        values = goods(reference)
        left = {(left.step, left.item): f"{left.unit_name}: {left.why}" for left in reference.left_out}
        return cls(how, name, values, {key: why for key, why in left.items() if key not in values})


def pair(session: Evidence, file: str, beside: Beside) -> Pair:
    """Compare every place of a session's unit with what it is beside."""
    odd: list[Odd] = []
    lines: list[Line] = []
    apart: list[Apart] = []
    for key, verdict in session.verdicts.items():
        if key not in session.places:
            continue
        found = _one(session, key, verdict, beside)
        if isinstance(found, Odd):
            odd.append(found)
        elif isinstance(found, Line):
            lines.append(found)
        elif found is not None:
            apart.append(found)
    missing = [key for key in beside.goods if key not in session.verdicts]
    apart += [Apart(*key, f"not measured in {file}") for key in missing]
    lines.sort(key=lambda line: -abs(line.e_n))
    return Pair(
        beside.how,
        session.first.unit,
        file,
        beside.name,
        tuple(odd),
        tuple(lines),
        tuple(apart),
        chance_flags(known) if (known := sum(spread_known(beside.how, line.n) for line in lines)) else None,
    )


def spread_known(how: How, n: int) -> bool:
    """Return whether a difference can be held against chance: one good unit shows nothing of how units lie apart."""
    return how == "before and after" or n > 1


def beside_good(session: Evidence, key: Key, good: Good) -> Likeness:
    """Compare the value of one item of a session, which must have one, with good units."""
    now = value_of(session.verdicts[key], session.judged.get(key))
    source = session.source(key)
    return likeness(now, good, Origin.of(source), source.meter)


def _one(session: Evidence, key: Key, verdict: Verdict, beside: Beside) -> Line | Odd | Apart | None:
    good, why = beside.goods.get(key), why_no_value(verdict)
    if good is None:
        if why and key in beside.without:
            return None  # neither side has a value
        return Apart(*key, beside.without.get(key, f"not in {beside.name}"))
    unlike = good.unlike(session.places[key], verdict.unit or good.unit)
    if unlike:
        return Apart(*key, unlike)
    if verdict.value is None:
        there = format_value(good.value, good.unit, good.resolution)
        return Odd(*key, f"{verdict.verdict}: {verdict.reason}" if verdict.reason else str(verdict.verdict), there)
    if why:
        return Apart(*key, why)
    found = beside_good(session, key, good)
    return _line(key, verdict, good, found, beside.how)


def _line(key: Key, verdict: Verdict, good: Good, found: Likeness, how: How) -> Line:
    comparison, expected = found.comparison, found.expected
    return Line(
        *key,
        unit=verdict.unit,
        verdict=str(verdict.verdict),
        value=verdict.value or 0.0,
        expanded=verdict.expanded or 0.0,
        resolution=verdict.resolution,
        reference=good.value,
        reference_expanded=good.expanded or 0.0,
        n=good.n,
        low=round6(expected.low),
        high=round6(expected.high),
        difference=comparison.difference,
        difference_expanded=found.budget.expanded,
        ratio=comparison.ratio,
        e_n=comparison.e_n,
        differs=comparison.signal,
        flagged=verdict.verdict is VerdictKind.FAIL or (comparison.signal and spread_known(how, good.n)),
        how=found.budget.reason if found.budget.reason.startswith(FULL) else "",
    )
