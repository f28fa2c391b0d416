"""Decision risk by simulation: 100 000 units through the very rule that gives verdicts."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from metercap.meter import Accuracy, MeterProfile
from metercap.metrology.budget import reading_budget
from metercap.metrology.decide import Rule, decide
from metercap.quantity import Quantity
from metercap.records import VerdictKind
from tests.metrology.risks import consumer_risk, normal_prior, producer_risk

UNITS = 100_000
METER = MeterProfile(name="bench", family="lcd14", accuracy=(Accuracy(Quantity.RESISTANCE, 0.8, 3.0),))


def share(hits: int) -> str:
    return f"{100 * hits / UNITS:.3f} %"


@pytest.mark.parametrize("side", ["upper", "lower"])
def test_guarded_accepts_at_the_limit_at_most_25_permille(side: str, say: Callable[[str], None]) -> None:
    """True values exactly at a limit, normal errors of u = U/2: a guard of U accepts 2.3 %, as ILAC-G8 has it."""
    limit, expanded = 1500.0, 2.0
    low, high = (None, limit) if side == "upper" else (limit, None)
    errors = np.random.default_rng(20).normal(0.0, expanded / 2, UNITS)
    shown = np.round(limit + errors, 2)
    passed = sum(decide(float(x), expanded, low, high, "guarded", 0.01).verdict is VerdictKind.PASS for x in shown)
    say(f"guarded, w = U, true value at the {side} limit: {share(passed)} of {UNITS} accepted (≤ 2.5 %)")
    assert passed <= 0.025 * UNITS
    assert passed == pytest.approx(0.02275 * UNITS, abs=4 * math.sqrt(UNITS * 0.02275))


@pytest.mark.parametrize("rule", ["simple", "guarded"])
def test_risk_is_what_jcgm_106_predicts(rule: Rule, say: Callable[[str], None]) -> None:
    """Units from N(1500, 0.12) Ω, limits ±0.2, u 0.04, as in JCGM 106:2012, 9.5: both risks as the integrals say.

    The display shows 0.01 Ω and rounds, so a value that passes at `high − guard` was below it plus half a count.
    """
    prior_sd, u, resolution, limits = 0.12, 0.04, 0.01, (1499.8, 1500.2)
    rng = np.random.default_rng(21)
    true = rng.normal(1500.0, prior_sd, UNITS)
    shown = np.round(true + rng.normal(0.0, u, UNITS), 2)
    guard = resolution if rule == "simple" else 2 * u
    edges = (limits[0] + guard - resolution / 2, limits[1] - guard + resolution / 2)
    good = (true >= limits[0]) & (true <= limits[1])
    passed = np.array(
        [decide(float(x), 2 * u, *limits, rule, resolution).verdict is VerdictKind.PASS for x in shown], dtype=bool
    )
    prior = normal_prior(1500.0, prior_sd)
    lines = []
    for name, hits, predicted in (
        ("bad and accepted", int((passed & ~good).sum()), consumer_risk(prior, u, limits, edges)),
        ("good and not accepted", int((~passed & good).sum()), producer_risk(prior, u, limits, edges)),
    ):
        lines.append(f"{rule}: {name} {share(hits)}, JCGM 106 predicts {100 * predicted:.3f} %")
        assert hits == pytest.approx(predicted * UNITS, abs=4 * math.sqrt(predicted * UNITS))
    say("\n".join(lines))


def at_the_limit(units: int, seed: int) -> int:
    """Count passes among `units` whose true value is 2000 Ω, the limit, each with a meter and a budget of its own."""
    rng = np.random.default_rng(seed)
    gain = rng.uniform(-0.008, 0.008, units)
    offset = rng.uniform(-3.0, 3.0, units)
    bursts = np.round((2000.0 * (1 + gain) + offset)[:, None] + rng.normal(0.0, 0.7, (units, 3)))
    passed = 0
    for burst in bursts:
        conversions = [float(x) for x in burst]
        value = conversions[-1]
        budget = reading_budget(value, 1.0, Quantity.RESISTANCE, METER, conversions=conversions)
        passed += decide(value, budget.expanded, None, 2000.0, "guarded", 1.0).verdict is VerdictKind.PASS
    return passed


def test_a_whole_budget_accepts_at_the_limit_at_most_25_permille() -> None:
    """Meters anywhere within ±(0.8 % + 3 counts), with noise: the budget's U as guard is wider than the data sheet."""
    assert at_the_limit(3_000, 22) <= 0.025 * 3_000


@pytest.mark.slow
def test_a_whole_budget_for_all_units(say: Callable[[str], None]) -> None:
    """The same for 100 000 units."""
    passed = at_the_limit(UNITS, 23)
    say(f"guarded with a whole budget, true value at the limit: {share(passed)} of {UNITS} accepted (≤ 2.5 %)")
    assert passed <= 0.025 * UNITS
