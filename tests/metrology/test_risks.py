"""Conformance probability and risks against JCGM 106, ILAC-G8 and scipy."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from itertools import pairwise

import pytest
from scipy import integrate, special, stats

from metercap.errors import MetercapError
from tests.metrology.risks import (
    acceptance_probability,
    conformance_probability,
    consumer_risk,
    gamma_prior,
    guard_for_risk,
    normal_prior,
    producer_risk,
    risk_at_guard,
)


@pytest.mark.parametrize(
    ("value", "u", "low", "high", "p"),
    [
        (-5.47, 0.05, None, -5.40, 0.92),
        (509.7, 8.6, 490.0, None, 0.99),
        (13.6, 1.8, 12.5, 16.3, 0.66),
    ],
    ids=["breakdown voltage", "pressure", "two-sided"],
)
def test_jcgm_106_clause_7(value: float, u: float, low: float | None, high: float | None, p: float) -> None:
    """JCGM 106:2012, clause 7: the three conformance probabilities of its examples."""
    assert conformance_probability(value, u, low, high) == pytest.approx(p, abs=0.005)


def test_jcgm_106_resistors() -> None:
    """JCGM 106:2012, 9.5: N(1500, 0.12) Ω, u_m 0.04, limits ±0.2, accepted ±0.18: consumer 1 %, producer 7 %."""
    prior = normal_prior(1500.0, 0.12)
    limits, acceptance = (1499.8, 1500.2), (1499.82, 1500.18)
    assert consumer_risk(prior, 0.04, limits, acceptance) == pytest.approx(0.00988, abs=5e-6)
    assert producer_risk(prior, 0.04, limits, acceptance) == pytest.approx(0.0690, abs=5e-5)


def test_jcgm_106_bearings() -> None:
    """JCGM 106:2012, 9.5.4: gamma(4, 0.25), limit 2, u_m 0.25: 4.2 % bad, risk 0.8 %; accepted to 1.67 it is 0.1 %."""
    prior = gamma_prior(4.0, 0.25)
    everything = (None, None)
    assert consumer_risk(prior, 0.25, (None, 2.0), everything) == pytest.approx(0.042, abs=5e-4)
    assert consumer_risk(prior, 0.25, (None, 2.0), (None, 2.0)) == pytest.approx(0.008, abs=5e-4)
    assert consumer_risk(prior, 0.25, (None, 2.0), (None, 1.67)) == pytest.approx(0.001, abs=5e-5)


@pytest.mark.parametrize(("ratio", "risk"), [(3.0, 1e-6), (1.5, 0.0016), (1.0, 0.025), (0.83, 0.05), (0.0, 0.5000001)])
def test_ilac_g8_guard_bands(ratio: float, risk: float) -> None:
    """ILAC-G8:09/2019: a guard of 3U, 1.5U, U, 0.83U, 0 keeps the risk under 1 ppm, 0.16, 2.5, 5, 50 %."""
    assert risk_at_guard(ratio) < risk
    assert risk_at_guard(ratio) > risk / 1100  # the published bounds are round, 3U by far
    assert acceptance_probability(10.0, 0.5, None, 10.0 - ratio) == pytest.approx(
        risk_at_guard(ratio), rel=1e-9, abs=0.0
    )


def test_guard_for_risk_inverts() -> None:
    """JCGM 106:2012, Table 1: 5 % needs 1.64 u, and that guard leaves 5 %."""
    assert guard_for_risk(2.0, 0.05) == pytest.approx(2 * 1.64, abs=0.01)
    assert risk_at_guard(guard_for_risk(1.0, 0.001), k=1.0) == pytest.approx(0.001, rel=1e-9, abs=0.0)
    assert guard_for_risk(1.0, 0.5) == pytest.approx(0.0, abs=1e-15)


class ByQuadrature:
    """The same integrals by scipy, in pieces about the acceptance limits so that its adaptive rule sees the steps."""

    def __init__(self, density: Callable[[float], float], u: float, acceptance: tuple[float, float]) -> None:
        self.density, self.u, self.acceptance = density, u, acceptance

    def accepted(self, x: float) -> float:
        low, high = ((edge - x) / self.u for edge in self.acceptance)
        return float(special.ndtr(high) - special.ndtr(low))

    def refused(self, x: float) -> float:
        return 1.0 - self.accepted(x)

    def total(self, weight: Callable[[float], float], a: float, b: float) -> float:
        steps = (edge + i * self.u for edge in self.acceptance for i in (-8, -3, 0, 3, 8))
        marks = sorted({a, b, *(min(max(step, a), b) for step in steps)})
        return math.fsum(
            integrate.quad(lambda x: weight(x) * self.density(x), left, right, epsabs=1e-12)[0]
            for left, right in pairwise(marks)
        )


def test_risks_agree_with_scipy_quadrature() -> None:
    """scipy.integrate.quad and scipy.stats give the same risks on random normal and gamma priors."""
    rng = random.Random(14)
    for turn in range(12):
        sd, u = 10.0 ** rng.uniform(-2, 1), 10.0 ** rng.uniform(-2.5, 1)
        prior, reference = normal_prior(100.0, sd), stats.norm(100.0, sd)
        if turn % 2:
            shape = rng.uniform(1.0, 30.0)
            prior, reference = gamma_prior(shape, 100 / shape), stats.gamma(shape, scale=100 / shape)
        low, high = float(reference.ppf(rng.uniform(0.02, 0.4))), float(reference.ppf(rng.uniform(0.6, 0.98)))
        w = min(rng.uniform(-0.5, 1.5) * u, (high - low) / 2)
        by = ByQuadrature(prior.density, u, (low + w, high - w))
        for x in (low, high):
            assert prior.density(x) == pytest.approx(float(reference.pdf(x)), rel=1e-9, abs=0.0)
        least, most = float(reference.ppf(1e-15)), float(reference.isf(1e-15))
        outside = by.total(by.accepted, least, low) + by.total(by.accepted, high, most)
        inside = by.total(by.refused, low, high)
        assert consumer_risk(prior, u, (low, high), by.acceptance) == pytest.approx(outside, rel=1e-7, abs=1e-9)
        assert producer_risk(prior, u, (low, high), by.acceptance) == pytest.approx(inside, rel=1e-7, abs=1e-9)


def test_exact_measurement_is_a_step() -> None:
    """With u = 0 a unit is in or out, and no risk is left."""
    assert conformance_probability(2.0, 0.0, None, 2.0) == 1.0
    assert conformance_probability(2.1, 0.0, None, 2.0) == 0.0
    assert conformance_probability(2.1, 0.1, None, None) == 1.0
    prior = normal_prior(0.0, 1.0)
    assert consumer_risk(prior, 0.0, (-1.0, 1.0), (-1.0, 1.0)) == 0.0
    assert producer_risk(prior, 0.0, (-1.0, 1.0), (-1.0, 1.0)) == 0.0
    # Accepting less than the limits refuses the good ones between, and nothing else.
    between = stats.norm.cdf(1.0) - stats.norm.cdf(0.5)
    assert producer_risk(prior, 0.0, (None, 1.0), (None, 0.5)) == pytest.approx(between, rel=1e-9, abs=0.0)


def test_nothing_accepted() -> None:
    """A guard wider than half the band accepts nothing: no consumer's risk, and every good unit refused."""
    prior = normal_prior(0.0, 1.0)
    assert consumer_risk(prior, 0.1, (-1.0, 1.0), (0.5, -0.5)) == 0.0
    assert producer_risk(prior, 0.1, (-1.0, 1.0), (0.5, -0.5)) == pytest.approx(0.6827, abs=1e-4)


def test_exponential_prior() -> None:
    """gamma(1, b) is exponential, which is not zero at 0."""
    assert gamma_prior(1.0, 2.0).density(0.0) == pytest.approx(0.5)
    assert gamma_prior(3.0, 2.0).density(0.0) == 0.0
    assert consumer_risk(gamma_prior(1.0, 2.0), 0.1, (None, 4.0), (None, None)) == pytest.approx(
        math.exp(-2), rel=1e-9, abs=0.0
    )


@pytest.mark.parametrize(
    "refused",
    [
        lambda: conformance_probability(math.nan, 0.1, None, 2.0),
        lambda: conformance_probability(1.0, -0.1, None, 2.0),
        lambda: acceptance_probability(math.inf, 0.1, None, 2.0),
        lambda: normal_prior(0.0, 0.0),
        lambda: gamma_prior(0.5, 1.0),
        lambda: guard_for_risk(1.0, 0.0),
        lambda: consumer_risk(normal_prior(0.0, 1.0), math.nan, (None, 1.0), (None, 1.0)),
    ],
)
def test_refusals(refused: Callable[[], object]) -> None:
    """What is no value, no uncertainty or no density is an error."""
    with pytest.raises(MetercapError):
        refused()
