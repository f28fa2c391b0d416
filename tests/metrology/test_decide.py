"""Decision rules: their edges, their symmetry, and what they promise."""

from __future__ import annotations

import math
from collections.abc import Callable
from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from metercap.errors import MetercapError
from metercap.metrology.decide import (
    AcceptanceInterval,
    decide,
    guard_width,
    guarded_band,
    provable,
    tightest_half_width,
)
from metercap.records import VerdictKind
from tests.metrology.risks import conformance_probability

PASS, FAIL, UNSURE = VerdictKind.PASS, VerdictKind.FAIL, VerdictKind.UNSURE
cents = st.integers(-(10**6), 10**6).map(lambda whole: float(Decimal(whole).scaleb(-2)))
widths = st.integers(0, 10**4).map(lambda whole: float(Decimal(whole).scaleb(-2)))
rules = st.sampled_from(["guarded", "simple"])


@pytest.mark.parametrize(
    ("value", "verdict", "reason"),
    [
        (1.7, PASS, ""),
        (1.71, UNSURE, "within U of the upper limit"),
        (2.0, UNSURE, "within U of the upper limit"),
        (2.3, UNSURE, "within U of the upper limit"),
        (2.31, FAIL, "above the upper limit"),
    ],
)
def test_guarded_upper_limit(value: float, verdict: VerdictKind, reason: str) -> None:
    """JCGM 106:2012, 8.3.2 with w = U: pass if value + U ≤ 2, fail if value − U > 2, both ends met exactly."""
    decision = decide(value, 0.3, None, 2.0, "guarded", 0.01)
    assert (decision.verdict, decision.reason) == (verdict, reason)


@pytest.mark.parametrize(("value", "verdict"), [(1.99, PASS), (2.0, UNSURE), (2.01, UNSURE), (2.02, FAIL), (0.2, PASS)])
def test_simple_needs_the_digit_on_one_side(value: float, verdict: VerdictKind) -> None:
    """Under `simple` value ± one resolution must lie on one side of the limit, and U plays no part."""
    for expanded in (0.0, 0.3, 100.0):
        assert decide(value, expanded, None, 2.0, "simple", 0.01).verdict is verdict


def test_edges_are_met_in_decimals() -> None:
    """0.2 + 0.1 is 0.30000000000000004 in binary floats, yet it meets a written limit of 0.3."""
    assert 0.2 + 0.1 > 0.3
    assert decide(0.2, 0.1, None, 0.3, "guarded", 0.1).verdict is PASS
    assert decide(0.2, 5.0, None, 0.3, "simple", 0.1).verdict is PASS
    assert decide(0.4, 0.1, None, 0.3, "guarded", 0.1).verdict is UNSURE
    assert decide(1.1, 0.1, 1.0, None, "guarded", 0.1).verdict is PASS
    assert decide(0.2, 0.1, 0.30000000000000004, None, "guarded", 0.1).verdict is FAIL
    assert decide(0.4, 0.1, None, 0.29999999999999998, "guarded", 0.1).verdict is UNSURE
    assert decide(0.4, 0.1, None, 0.29999999999999993, "guarded", 0.1).verdict is FAIL


@given(
    st.integers(-3000, 3000),
    st.integers(0, 300),
    st.sampled_from([-5, -1, 0, 2, 9]),
    st.sampled_from(["low", "high"]),
    st.integers(-1, 1),
)
def test_every_edge_is_one_of_decimals(value: int, width: int, power: int, end: str, off: int) -> None:
    """One last digit off an edge decides, at any size: the rule of JCGM 106:2012, 8.3.2 in decimal arithmetic."""
    shown, u = Decimal(value).scaleb(power), Decimal(width).scaleb(power)
    for way in (-1, 1):
        limit = shown + way * u + Decimal(off).scaleb(power)
        above, below = shown - u > limit, shown + u < limit
        fails, passes = (above, shown + u <= limit) if end == "high" else (below, shown - u >= limit)
        found = decide(float(shown), float(u), *edges(end, float(limit)), "guarded", 1.0)
        assert found.verdict is (FAIL if fails else PASS if passes else UNSURE)


def edges(end: str, limit: float) -> tuple[float | None, float | None]:
    """Return low and high of a limit at one end."""
    return (limit, None) if end == "low" else (None, limit)


def test_coarse_range_never_passes_a_small_limit() -> None:
    """A display of 0.000 MΩ is 0 ± 1000 Ω: it neither passes nor fails 2 Ω, under either rule."""
    for rule in ("guarded", "simple"):
        assert decide(0.0, 1000.0, None, 2.0, rule, 1000.0).verdict is UNSURE


def test_two_sided() -> None:
    """Both limits count, and a band narrower than its guards leaves nothing but doubt inside."""
    assert decide(1500.0, 1.0, 1495.0, 1505.0, "guarded", 1.0).verdict is PASS
    assert decide(1495.5, 1.0, 1495.0, 1505.0, "guarded", 1.0).reason == "within U of the lower limit"
    assert decide(1493.0, 1.0, 1495.0, 1505.0, "guarded", 1.0).reason == "below the lower limit"
    narrow = decide(1500.0, 9.0, 1495.0, 1505.0, "guarded", 1.0)
    assert (narrow.verdict, narrow.reason) == (UNSURE, "within U of both limits")
    assert decide(1500.0, 9.0, 1500.0, 1500.5, "simple", 1.0).reason == "within one count of both limits"


def test_decision_names_its_rule_and_guard() -> None:
    """A verdict can be read again later: rule, guard, limits and U are in it."""
    decision = decide(2187.0, 24.0, 2100.0, 2300.0, "simple", 1.0)
    assert (decision.rule, decision.guard, decision.expanded) == ("simple", 1.0, 24.0)
    assert (decision.value, decision.low, decision.high) == (2187.0, 2100.0, 2300.0)


def test_no_limits_is_unsure() -> None:
    """With nothing to meet there is nothing to pass."""
    decision = decide(1.0, 0.1, None, None, "guarded", 0.1)
    assert (decision.verdict, decision.reason) == (UNSURE, "no limits")


@given(cents, widths, cents, widths, rules)
def test_three_verdicts_by_their_definition(value: float, w: float, low: float, width: float, rule: str) -> None:
    """Verdict and definition agree in exact decimals, whichever rule sets the guard."""
    high = float(Decimal(repr(low)) + Decimal(repr(width)))
    expanded, resolution = (w, 0.01) if rule == "guarded" else (0.5, w)
    got = decide(value, expanded, low, high, rule, resolution).verdict  # type: ignore[arg-type]
    v, g, lo, hi = (Decimal(repr(x)) for x in (value, w, low, high))
    if v + g <= hi and v - g >= lo:
        assert got is PASS
    elif v - g > hi or v + g < lo:
        assert got is FAIL
    else:
        assert got is UNSURE


@given(cents, widths, cents, rules)
def test_mirror(value: float, w: float, limit: float, rule: str) -> None:
    """Turning every sign round turns an upper limit into a lower one and changes no verdict."""
    up = decide(value, w, None, limit, rule, w)  # type: ignore[arg-type]
    down = decide(-value, w, -limit, None, rule, w)  # type: ignore[arg-type]
    assert up.verdict is down.verdict


@given(cents, widths, widths, cents, widths, rules)
def test_more_doubt_never_turns_a_verdict(
    value: float, w: float, more: float, low: float, width: float, rule: str
) -> None:
    """A greater U or resolution can make a verdict unsure, but never a pass of a fail."""
    high = low + width
    assume(low <= high)
    before = decide(value, w, low, high, rule, w).verdict  # type: ignore[arg-type]
    after = decide(value, w + more, low, high, rule, w + more).verdict  # type: ignore[arg-type]
    assert after is before or after is UNSURE


@given(st.floats(-100, 100), st.floats(0.01, 10), st.floats(-50, 0), st.floats(0.1, 60))
def test_guarded_pass_conforms_with_977_permille(value: float, u: float, low: float, high: float) -> None:
    """With U = 2u a guarded pass leaves at most 2 × 2.3 % outside two limits (JCGM 106:2012, clause 7)."""
    verdict = decide(value, 2 * u, low, high, "guarded", 0.01).verdict
    inside = conformance_probability(value, u, low, high)
    if verdict is PASS:
        assert inside >= 0.954
    if verdict is FAIL:
        assert inside <= 0.0228


@given(cents, widths, widths, rules)
def test_band_holds_what_passes(low: float, width: float, w: float, rule: str) -> None:
    """The ends of the guarded band pass, and one count beyond them does not."""
    high = float(Decimal(repr(low)) + Decimal(repr(width)))
    band = guarded_band(low, high, w, rule, w)  # type: ignore[arg-type]
    if band is None:
        assert Decimal(repr(width)) < 2 * Decimal(repr(w))
        return
    assert band.low is not None
    assert band.high is not None
    assert decide(band.low, w, low, high, rule, w).verdict is PASS  # type: ignore[arg-type]
    assert decide(band.high, w, low, high, rule, w).verdict is PASS  # type: ignore[arg-type]
    assert decide(band.high + 0.01, w, low, high, rule, w).verdict is not PASS  # type: ignore[arg-type]


def test_jcgm_106_resistor_acceptance_limits() -> None:
    """JCGM 106:2012, 9.5: tolerance 1499.8…1500.2 Ω with a guard of 0.02 Ω accepts 1499.82…1500.18 Ω."""
    assert guarded_band(1499.8, 1500.2, 0.02, "guarded", 0.001) == AcceptanceInterval(1499.82, 1500.18)


def test_open_bands() -> None:
    """One limit leaves the other end open, and no limit both."""
    assert guarded_band(None, 2.0, 0.3, "guarded", 0.01) == AcceptanceInterval(None, 1.7)
    assert guarded_band(2.0, None, 0.3, "simple", 0.01) == AcceptanceInterval(2.01, None)
    assert guarded_band(None, None, 0.3, "guarded", 0.01) == AcceptanceInterval(None, None)


def test_provable_band_is_two_counts_wide() -> None:
    """A band ± t is provable just when t is the tightest half-width or more."""
    for rule in ("guarded", "simple"):
        t = tightest_half_width(21.3, rule, 1.0)
        assert t == (22.3 if rule == "guarded" else 2.0)
        assert provable(2187.0 - t, 2187.0 + t, 21.3, rule, 1.0)
        assert not provable(2187.1 - t, 2187.0 + t, 21.3, rule, 1.0)
    assert provable(None, 2.0, 1000.0, "guarded", 1.0)


@pytest.mark.parametrize(
    "refused",
    [
        lambda: decide(math.nan, 0.1, None, 2.0, "guarded", 0.1),
        lambda: decide(math.inf, 0.1, None, 2.0, "guarded", 0.1),
        lambda: decide(1.0, -0.1, None, 2.0, "guarded", 0.1),
        lambda: decide(1.0, 0.1, None, math.inf, "guarded", 0.1),
        lambda: decide(1.0, 0.1, 3.0, 2.0, "guarded", 0.1),
        lambda: decide(1.0, 0.1, None, 2.0, "lenient", 0.1),  # type: ignore[arg-type]
        lambda: guard_width(0.1, "simple", math.nan),
        lambda: provable(3.0, 2.0, 0.1, "simple", 0.1),
    ],
)
def test_refusals(refused: Callable[[], object]) -> None:
    """Values and limits that are none, and rules that are none, are errors and never verdicts."""
    with pytest.raises(MetercapError):
        refused()
