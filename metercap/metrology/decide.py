"""Decision rules by JCGM 106: what a value with its uncertainty says about limits.

Two rules. `guarded` takes U off the inside of every limit and adds it outside: at each limit the risk of a wrong pass
or a wrong fail is at most 2.5 %, and what lies between is `unsure`. `simple` asks only that the displayed digit
itself leaves no doubt: the value ± one resolution lies on one side. Much of the risk is then the technician's, so
every decision names its rule.

Comparisons are made on the decimals that were displayed and written, not on their binary floats: a limit of
0.3 Ω is met by 0.2 Ω ± 0.1 Ω.

Sources: JCGM 106:2012, clauses 7 and 8; ILAC-G8:09/2019, clause 4.2.
"""

from __future__ import annotations

import math
from decimal import Context, Decimal
from typing import Literal, TypeAlias

import msgspec

from metercap.metrology.domain import need, need_finite, need_uncertainty, round6
from metercap.records import VerdictKind

Rule: TypeAlias = Literal["guarded", "simple"]

_EXACT = Context(prec=2000)
"""Room for any two floats side by side, so that a sum never rounds."""
_MARGIN = {"guarded": "U", "simple": "one count"}


class Decision(msgspec.Struct, frozen=True):
    """What a rule says of a value.

    `guard`: the width taken off inside each limit, in the unit of `value`, `expanded` (U), `low` and `high`. `reason`:
    empty for a pass, else which limit is concerned and how.
    """

    verdict: VerdictKind
    rule: Rule
    guard: float
    reason: str
    value: float
    expanded: float
    low: float | None
    high: float | None


class AcceptanceInterval(msgspec.Struct, frozen=True):
    """An interval of values, ends included; None is an open end."""

    low: float | None
    high: float | None


def decide(
    value: float, expanded: float, low: float | None, high: float | None, rule: Rule, resolution: float
) -> Decision:
    """Return pass, fail or unsure for a value against limits.

    With w = U under `guarded` and w = one resolution under `simple`: pass if value + w ≤ high and value − w ≥ low;
    fail if value − w > high or value + w < low; else unsure. `expanded` is U, `resolution` one count, all in one
    unit, scalars; where accuracy is unknown U is one resolution and the rules agree. Degenerate: one limit None leaves
    the other; with both None there is nothing to meet and the decision is unsure, "no limits"; limits the wrong way
    round are refused. Source: JCGM 106:2012, 7.4, 8.2, 8.3.2; ILAC-G8:09/2019, 4.2.
    """
    need_finite(value, "decide")
    _check_limits(low, high, "decide")
    guard = guard_width(expanded, rule, resolution)
    verdict, reason = _judge(value, guard, low, high, _MARGIN[rule])
    return Decision(verdict, rule, guard, reason, value, expanded, low, high)


def guard_width(expanded: float, rule: Rule, resolution: float) -> float:
    """Return w, the width that `rule` takes off inside each limit: U under `guarded`, one resolution under `simple`.

    One unit, scalars. Degenerate: U or resolution 0 gives no guard. Source: JCGM 106:2012, 8.3.2;
    ILAC-G8:09/2019, table 1 (w = U).
    """
    need(rule in _MARGIN, "guard_width", f"the rule is 'guarded' or 'simple', and this is {rule!r}")
    need_uncertainty(expanded, "guard_width")
    need_uncertainty(resolution, "guard_width")
    return expanded if rule == "guarded" else resolution


def guarded_band(
    low: float | None, high: float | None, expanded: float, rule: Rule, resolution: float
) -> AcceptanceInterval | None:
    """Return the values that pass, from low + w to high − w, or None where no value does.

    One unit, scalars; w as in `guard_width`. Degenerate: an open end stays open. Source: JCGM 106:2012, 8.3.
    """
    _check_limits(low, high, "guarded_band")
    guard = guard_width(expanded, rule, resolution)
    least = None if low is None else _plus(low, guard)
    most = None if high is None else _plus(high, -guard)
    if least is not None and most is not None and least > most:
        return None
    return AcceptanceInterval(None if least is None else float(least), None if most is None else float(most))


def provable(low: float | None, high: float | None, expanded: float, rule: Rule, resolution: float) -> bool:
    """Return whether the values that pass span at least two counts, so that hands can find them.

    One unit, scalars. Degenerate: a band with an open end is always provable. Source: common practice, no source.
    """
    _check_limits(low, high, "provable")
    if low is None or high is None:
        return True
    guard = guard_width(expanded, rule, resolution)
    width = _EXACT.subtract(_plus(high, -guard), _plus(low, guard))
    return width >= _EXACT.multiply(2, _decimal(resolution))


def tightest_half_width(expanded: float, rule: Rule, resolution: float) -> float:
    """Return the half-width t of the tightest band ±t that this meter can prove: w + one resolution, 6 digits.

    One unit, scalars; U as it is at the target. Inside its guard such a band is just two counts wide. Degenerate: U = 0
    under `guarded` leaves one count. Source: JCGM 106:2012, 8.3.
    """
    return round6(guard_width(expanded, rule, resolution) + resolution)


def _judge(value: float, guard: float, low: float | None, high: float | None, margin: str) -> tuple[VerdictKind, str]:
    if low is None and high is None:
        return VerdictKind.UNSURE, "no limits"
    if high is not None and _past(value, -guard, high) > 0.0:
        return VerdictKind.FAIL, "above the upper limit"
    if low is not None and _past(value, guard, low) < 0.0:
        return VerdictKind.FAIL, "below the lower limit"
    near_top = high is not None and _past(value, guard, high) > 0.0
    near_bottom = low is not None and _past(value, -guard, low) < 0.0
    if near_top and near_bottom:
        return VerdictKind.UNSURE, f"within {margin} of both limits"
    if near_top or near_bottom:
        return VerdictKind.UNSURE, f"within {margin} of the {'upper' if near_top else 'lower'} limit"
    return VerdictKind.PASS, ""


def _check_limits(low: float | None, high: float | None, where: str) -> None:
    for limit in (low, high):
        if limit is not None:
            need(math.isfinite(limit), where, f"a limit is finite or left out, and this is {limit}")
    if low is not None and high is not None:
        need(low <= high, where, f"the limits are the wrong way round: {low} and {high}")


def _decimal(x: float) -> Decimal:
    # float() because the repr of another number type need not be a plain decimal.
    return Decimal(repr(float(x)))


def _past(value: float, width: float, limit: float) -> float:
    """Return a number of the sign of value + width − limit, of the decimals; these are made only where floats tell not.

    A float and the decimal that it stands for lie within its last bit, and so does each sum: 1e-14 is more than that.
    """
    off = value + width - limit
    if abs(off) > 1e-14 * (abs(value) + abs(width) + abs(limit)) + 1e-300:
        return off
    return float(_EXACT.subtract(_plus(value, width), _decimal(limit)))


def _plus(a: float, b: float) -> Decimal:
    return _EXACT.add(_decimal(a), _decimal(b))
