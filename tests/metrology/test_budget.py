"""Budgets of readings and differences, and the GUM's and EA-4/02's worked examples."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import pytest
import scipy.stats
import uncertainties
from hypothesis import given
from hypothesis import strategies as st

from metercap.errors import MetercapError
from metercap.meter import Accuracy, MeterProfile
from metercap.metrology.budget import (
    ACCURACY,
    CONTACTS,
    LEADS,
    REPEATABILITY,
    RESOLUTION,
    UNKNOWN,
    Budget,
    LeadNull,
    accuracy_row,
    difference_budget,
    lead_null,
    own_scatter,
    reading_budget,
)
from metercap.metrology.components import Component, rectangular
from metercap.metrology.domain import round6
from metercap.metrology.series import Scatter, correlation, mean, sd
from metercap.quantity import Quantity
from tests.metrology.worked import accuracy_component, correlated_sum, triangular, type_a

OHMS = Quantity.RESISTANCE
METER = MeterProfile(
    name="bench",
    family="lcd14",
    accuracy=(
        Accuracy(OHMS, 1.0, 5.0),
        Accuracy(OHMS, 0.8, 3.0, 1.0),
        Accuracy(OHMS, 0.9, 7.0, 1.0),
        Accuracy(Quantity.VOLTAGE_DC, 0.5, 2.0, 0.001),
    ),
)
BARE = MeterProfile(name="bare", family="text")


# --- published examples


def test_gum_4_3_7_and_5_1_5() -> None:
    """JCGM 100:2008, 4.3.7 example 2 with 5.1.5: 0.928571 V has u_c 15 µV, relative 16e-6."""
    meter = accuracy_component("meter", 0.928571, 2e-6, 14e-4, 1)
    budget = Budget((meter, Component("repeated observations", 12e-6)))
    assert budget.u * 1e6 == pytest.approx(15, abs=0.5)
    assert budget.u / 0.928571 == pytest.approx(16e-6, abs=0.5e-6)


def test_gum_g_4_1() -> None:
    """JCGM 100:2008, G.4.1: u 0.25 (ν 9), 0.57 (4), 0.82 (14): u_c 1.03, ν_eff 19, t95 2.09."""
    budget = Budget((Component("a", 0.25, 9), Component("b", 0.57, 4), Component("c", 0.82, 14)), confidence=0.95)
    assert budget.u == pytest.approx(1.03, abs=0.005)
    assert budget.dof == pytest.approx(19.0, abs=0.05)
    assert budget.coverage_factor == pytest.approx(2.09, abs=0.005)


def test_gum_h_1_end_gauge() -> None:
    """JCGM 100:2008, H.1: l 50.000838 mm, u(d) 9.7, then 2.9 and 16.6 nm; u_c 32 nm, ν 16, t99 2.92, U99 93 nm."""
    length_m, alpha, theta = 0.050000623, 11.5e-6, -0.1
    d = [Component("d observed", 5.8, 24), Component("d random", 3.9, 5), Component("d systematic", 6.7, 8)]
    expansion = Component("expansion", length_m * abs(theta) * 1e-6 / math.sqrt(3) * 1e9, 50, "rectangular")
    temperature = Component("temperature", length_m * alpha * 0.05 / math.sqrt(3) * 1e9, 2, "rectangular")
    budget = Budget((Component("standard", 25, 18), *d, expansion, temperature), confidence=0.99)
    assert length_m * 1e3 + 215e-6 == pytest.approx(50.000838, abs=5e-7)
    assert budget.part("d observed", "d random", "d systematic").u == pytest.approx(9.7, abs=0.05)
    assert expansion.u == pytest.approx(2.9, abs=0.05)
    assert temperature.u == pytest.approx(16.6, abs=0.05)
    assert budget.u == pytest.approx(32, abs=0.5)
    # From the unrounded 31.66 nm; the rounded 32 nm would give 17.5.
    assert budget.dof == pytest.approx(16.7, abs=0.1)
    assert budget.coverage_factor == pytest.approx(2.92, abs=0.005)
    assert budget.coverage_factor * round(budget.u) == pytest.approx(93, abs=0.5)


VOLTS = [5.007, 4.994, 5.005, 4.990, 4.999]
AMPS = [0.019663, 0.019639, 0.019640, 0.019685, 0.019678]
RADIANS = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]
PAIRS = (
    (1.0, correlation(VOLTS, AMPS), correlation(VOLTS, RADIANS)),
    (correlation(VOLTS, AMPS), 1.0, correlation(AMPS, RADIANS)),
    (correlation(VOLTS, RADIANS), correlation(AMPS, RADIANS), 1.0),
)


@pytest.mark.parametrize(
    ("name", "value", "u", "tolerance"),
    [("R", 127.732, 0.071, 5e-4), ("X", 219.847, 0.295, 1e-3), ("Z", 254.260, 0.236, 5e-4)],
)
def test_gum_h_2_impedance(name: str, value: float, u: float, tolerance: float) -> None:
    """JCGM 100:2008, H.2: R 127.732 (u 0.071), X 219.847 (0.295), Z 254.260 Ω (0.236) from correlated observations."""
    volts, amps, phase = mean(VOLTS), mean(AMPS), mean(RADIANS)
    z = volts / amps
    share, slope = {
        "R": (math.cos(phase), -math.sin(phase)),
        "X": (math.sin(phase), math.cos(phase)),
        "Z": (1.0, 0.0),
    }[name]
    errors = [sd(observed) / math.sqrt(5) for observed in (VOLTS, AMPS, RADIANS)]
    signed = [share / amps * errors[0], -share * z / amps * errors[1], slope * z * errors[2]]
    assert z * share == pytest.approx(value, abs=5e-4)
    assert correlated_sum(signed, PAIRS) == pytest.approx(u, abs=tolerance)


def test_h_2_agrees_with_a_reference_library() -> None:
    """The `uncertainties` package propagates the same correlated means to the same u(Z)."""
    errors = [sd(observed) / math.sqrt(5) for observed in (VOLTS, AMPS, RADIANS)]
    covariance = [[PAIRS[i][j] * errors[i] * errors[j] for j in range(3)] for i in range(3)]
    volts, amps, _phase = uncertainties.correlated_values([mean(VOLTS), mean(AMPS), mean(RADIANS)], covariance)
    z = volts / amps
    signed = [errors[0] / mean(AMPS), -mean(VOLTS) / mean(AMPS) ** 2 * errors[1], 0.0]
    assert correlated_sum(signed, PAIRS) == pytest.approx(z.std_dev, rel=1e-6, abs=0.0)


def test_ea_4_02_s3_resistor_by_substitution() -> None:
    """EA-4/02 S3: a 10 kΩ resistor by substitution: 10000.178 Ω, u 8.33 mΩ, U 17 mΩ."""
    ratios = [1.0000104, 1.0000107, 1.0000106, 1.0000103, 1.0000105]
    ohms = (10000.053 + 0.020) * mean(ratios)
    budget = Budget(
        (
            Component("standard", 2.5e-3),
            rectangular("drift", 10e-3),
            rectangular("temperature of the standard", 2.75e-3),
            rectangular("temperature of the resistor", 5.5e-3),
            triangular("parasitics", 1e-6 * 10000),
            Component("ratio", 10000 * type_a("ratio", ratios).u, 4),
        ),
        k=2.0,
    )
    assert ohms == pytest.approx(10000.178, abs=5e-4)
    assert budget.u == pytest.approx(8.33e-3, abs=5e-6)
    assert budget.expanded == pytest.approx(17e-3, abs=5e-4)


def test_ea_4_02_s9_handheld_meter() -> None:
    """EA-4/02 S9: a handheld multimeter at 100 V reads 100.1 V: E = 0.10 V ± 0.05 V, u 0.030, k 1.65."""
    budget = Budget(
        (rectangular("display", 0.05), Component("source", 0.001), rectangular("source drift", 0.011)), k=1.65
    )
    assert budget.u == pytest.approx(0.030, abs=5e-4)
    assert budget.expanded == pytest.approx(0.05, abs=5e-3)


# --- budgets in general


def test_agreement_with_scipy_on_random_budgets() -> None:
    """Welch–Satterthwaite and t against numpy-free sums and scipy's quantile."""
    rng = random.Random(13)
    for _ in range(200):
        us = [10.0 ** rng.uniform(-3, 2) for _ in range(rng.randint(1, 6))]
        dofs = [rng.choice([1, 2, 5, 17, math.inf]) for _ in us]
        budget = Budget(tuple(Component(str(i), u, d) for i, (u, d) in enumerate(zip(us, dofs, strict=True))))
        u = math.sqrt(math.fsum(x * x for x in us))
        below = math.fsum(x**4 / d for x, d in zip(us, dofs, strict=True))
        dof = u**4 / below if below else math.inf
        assert budget.u == pytest.approx(u, rel=1e-14, abs=0.0)
        assert budget.dof == pytest.approx(dof, rel=1e-12, abs=0.0)
        whole = math.floor(round(dof, 1)) if dof < math.inf else 1e12
        assert budget.coverage_factor == pytest.approx(scipy.stats.t.ppf(0.977249868, whole), rel=1e-5, abs=0.0)
        assert budget.expanded == pytest.approx(budget.coverage_factor * u, rel=1e-5, abs=0.0)


@given(st.lists(st.tuples(st.just(0.0) | st.floats(1e-15, 1e6), st.floats(1, 100)), min_size=1, max_size=6))
def test_dof_is_never_below_the_least_and_u_never_below_the_greatest(parts: list[tuple[float, float]]) -> None:
    """min ν ≤ ν_eff, and each component is within u_c ≤ U/2 (k is 2 or more)."""
    budget = Budget(tuple(Component("part", u, dof) for u, dof in parts))
    assert budget.dof >= min(dof for _u, dof in parts) * (1 - 1e-9)
    assert budget.u >= max(u for u, _dof in parts) * (1 - 1e-12)
    assert budget.expanded >= 2.0 * budget.u * (1 - 6e-6)


def test_empty_and_zero_budgets() -> None:
    """Nothing known to be uncertain: U is 0 at k = 2, not an error."""
    assert (Budget(()).u, Budget(()).expanded, Budget(()).rows()) == (0.0, 0.0, ())
    zero = Budget((Component("none", 0.0, 3),))
    assert (zero.dof, zero.expanded, zero.rows()[0].share) == (math.inf, 0.0, 0.0)


def test_fixed_k_and_six_digits() -> None:
    """A given k stands whatever the degrees of freedom, and U has six digits."""
    budget = Budget((Component("a", 1 / 3, 2),), k=2.0)
    assert budget.expanded == 0.666667
    assert budget.coverage_factor == 2.0
    assert Budget((Component("a", 1 / 3),)).expanded == 0.666667


# --- one reading


def test_row_by_quantity_and_resolution() -> None:
    """The row of the range comes before the row for every range; another quantity's never applies."""
    assert accuracy_row(METER, OHMS, 1.0) == METER.accuracy[1]
    assert accuracy_row(METER, OHMS, 0.1) == METER.accuracy[0]
    assert accuracy_row(METER, OHMS, 1.0 + 1e-9) == METER.accuracy[1]
    assert accuracy_row(METER, Quantity.VOLTAGE_DC, 0.001) == METER.accuracy[3]
    assert accuracy_row(METER, Quantity.VOLTAGE_DC, 0.01) is None
    assert accuracy_row(METER, Quantity.CONTINUITY, 1.0) is None


def test_every_component_of_a_reading() -> None:
    """2187 Ω ± (0.8 % + 3 counts): each component is there with its size and share."""
    budget = reading_budget(
        2187.0,
        1.0,
        OHMS,
        METER,
        conversions=[2187.0, 2188.0, 2187.0],
        contacts=[2187.0, 2189.0],
        lead=lead_null([0.2, 0.2], 0.1),
    )
    rows = budget.rows()
    assert [row.name for row in rows] == [ACCURACY, RESOLUTION, REPEATABILITY, LEADS, CONTACTS]
    expected = [20.496 / math.sqrt(3), 1 / math.sqrt(12), 1.0, math.hypot(0.1, 0.1 / math.sqrt(12)), math.sqrt(2)]
    assert [row.u for row in rows] == pytest.approx(expected, rel=1e-5, abs=0.0)
    assert math.fsum(row.share for row in rows) == pytest.approx(100.0, abs=1e-3)
    assert [row.dof for row in rows] == [None, None, None, None, 1.0]
    assert budget.u == pytest.approx(math.sqrt(math.fsum(u * u for u in expected)), rel=1e-5, abs=0.0)
    assert budget.expanded == pytest.approx(2 * budget.u, rel=1e-3, abs=0.0)
    assert budget.reason == ""


def test_repeatability_by_number_of_conversions() -> None:
    """One count when quiet, s when not, and from 30 conversions an effective number; the note says which."""
    quiet = reading_budget(100.0, 1.0, OHMS, METER, conversions=[100.0] * 5)
    noisy = reading_budget(100.0, 1.0, OHMS, METER, conversions=[98.0, 102.0, 99.0, 103.0])
    many = reading_budget(100.0, 1.0, OHMS, METER, conversions=[98.0, 102.0] * 20, averaged=True)
    last = reading_budget(98.0, 1.0, OHMS, METER, conversions=[98.0, 102.0] * 20)
    assert quiet.part(REPEATABILITY) == Scatter(1.0, math.inf)
    assert noisy.part(REPEATABILITY).u == round6(sd([98.0, 102.0, 99.0, 103.0]))
    assert many.part(REPEATABILITY).u < 1.0
    assert last.part(REPEATABILITY).u > sd([98.0, 102.0] * 20)  # one conversion scatters by s, however many there were
    notes = [next(row.note for row in budget.rows() if row.name == REPEATABILITY) for budget in (quiet, noisy, many)]
    assert notes == ["one count", "s of 4, itself known to 42 %", "s of 40 by their effective number"]


def test_no_accuracy_row_is_what_is_known() -> None:
    """Without a data sheet U is that of resolution, scatter, contacts and null; the reason says so. By hand."""
    # s of two is 8/√2 with one degree of freedom: t(95.45 %, 1) = 13.97 (JCGM 100:2008, table G.2, p = 95.45 %).
    budget = reading_budget(2187.0, 1.0, OHMS, BARE, conversions=[2187.0, 2195.0])
    assert budget.expanded == pytest.approx(13.97 * math.sqrt(32.0 + 1 / 12), rel=1e-3)
    assert budget.reason == UNKNOWN
    assert [row.name for row in budget.rows()] == [RESOLUTION, REPEATABILITY]
    quiet = reading_budget(2187.0, 1.0, OHMS, BARE, conversions=[2187.0, 2187.0])
    assert quiet.expanded == pytest.approx(2.0 * math.sqrt(1.0 + 1 / 12), rel=1e-5)
    nulled = reading_budget(2187.0, 1.0, OHMS, BARE, lead=LeadNull(1.0, 0.75))
    assert nulled.expanded == pytest.approx(2.0 * math.sqrt(1.0 + 1 / 12 + 0.75**2), rel=1e-5)


def test_no_accuracy_row_is_one_resolution_at_least() -> None:
    """Thirty equal readings leave their mean δ/√12, U 0.58 counts: less than one count is not claimed."""
    budget = reading_budget(100.0, 1.0, OHMS, BARE, conversions=[100.0] * 30, averaged=True)
    assert (budget.expanded, budget.reason) == (1.0, UNKNOWN)


def test_spread_of_the_step_stands_for_the_contacts() -> None:
    """A pooled spread of 0.5 with four degrees of freedom takes the place of two contacts' own, whatever these are."""
    pooled = Scatter(0.5, 4.0)
    budget = reading_budget(100.0, 0.01, OHMS, BARE, contacts=[100.0, 100.4], spread=pooled)
    assert budget.part(CONTACTS) == pooled
    # u² = 0.25 + 0.01²·(1 + 1/12): ν_eff is 4 but for 0.1 %, t(95.45 %, 4) = 2.87 (table G.2).
    assert budget.expanded == pytest.approx(2.87 * 0.5, rel=2e-3)


def test_coarse_range_says_nothing_about_a_small_value() -> None:
    """0.000 MΩ is 0 with resolution 1000: U is thousands of ohms, with or without an accuracy table."""
    assert reading_budget(0.0, 1000.0, OHMS, METER).expanded > 1000.0


@given(st.floats(-1e6, 1e6), st.sampled_from([0.01, 0.1, 1.0, 10.0, 1000.0]), st.integers(2, 40))
def test_more_is_never_less_uncertain(value: float, resolution: float, n: int) -> None:
    """A lead null and disagreeing contacts never make U smaller; U is at least two counts for a short burst."""
    shown = round(value / resolution) * resolution
    burst = [shown] * min(n, 29)
    bare = reading_budget(shown, resolution, OHMS, METER, conversions=burst)
    with_lead = reading_budget(shown, resolution, OHMS, METER, conversions=burst, lead=LeadNull(0.2, 0.1))
    spread = reading_budget(shown, resolution, OHMS, METER, conversions=burst, contacts=[shown, shown + 4 * resolution])
    assert 2.0 * resolution <= bare.expanded <= with_lead.expanded
    assert bare.expanded <= spread.expanded


def test_lead_null() -> None:
    """Tips together: the mean, with scatter of one count at least and the display's step."""
    null = lead_null([0.21, 0.22, 0.21], 0.01)
    assert null.value == pytest.approx(0.2133333, abs=1e-6)
    assert null.u == pytest.approx(math.hypot(0.01, 0.01 / math.sqrt(12)))
    assert lead_null([0.2], 0.1).value == 0.2


# --- the difference of two


def test_difference_by_its_formula() -> None:
    """u²(Δ) = (g·Δ)²/3 + 2(c·res)²/3 + 2·res²/12 + u₁² + u₂², term by term."""
    first, second = Scatter(1.0, math.inf), Scatter(2.0, math.inf)
    budget = difference_budget(-50.0, 1.0, OHMS, METER, first, second)
    square = (0.008 * 50) ** 2 / 3 + 2 * 3.0**2 / 3 + 2 / 12 + 1.0 + 4.0
    assert budget.u == pytest.approx(math.sqrt(square), rel=1e-14, abs=0.0)
    assert budget.expanded == pytest.approx(2 * math.sqrt(square), rel=1e-5, abs=0.0)
    assert [row.name for row in budget.rows()][:3] == ["gain", "counts", RESOLUTION]


def test_difference_is_sharper_than_two_full_uncertainties() -> None:
    """Two units near 2187 Ω on one meter: the 0.8 % gain error leaves, so U(Δ) is far below √(U₁² + U₂²)."""
    one = reading_budget(2187.0, 1.0, OHMS, METER)
    shared = difference_budget(20.0, 1.0, OHMS, METER, own_scatter(one), own_scatter(one))
    assert shared.expanded < 0.2 * math.sqrt(2) * one.expanded


def test_difference_agrees_with_shared_errors_in_a_reference_library() -> None:
    """The `uncertainties` package, given one shared gain and each reading's own rest, finds the same u(Δ)."""
    gain = uncertainties.ufloat(1.0, 0.008 / math.sqrt(3))
    own = math.sqrt(3.0**2 / 3 + 1 / 12 + 1.0)
    one, two = uncertainties.ufloat(2187.0, own), uncertainties.ufloat(2137.0, own)
    budget = difference_budget(50.0, 1.0, OHMS, METER, Scatter(1.0, math.inf), Scatter(1.0, math.inf))
    assert budget.u == pytest.approx((gain * (one - two)).std_dev, rel=1e-9, abs=0.0)


def test_own_scatter_is_repeatability_and_contacts() -> None:
    """What a meter's difference keeps of each reading: neither accuracy nor resolution nor the shared null."""
    budget = reading_budget(
        2187.0, 1.0, OHMS, METER, conversions=[2187.0, 2187.0], contacts=[2187.0, 2189.0], lead=LeadNull(0.2, 0.1)
    )
    assert own_scatter(budget).u == pytest.approx(math.sqrt(1.0 + 2.0), rel=1e-5)
    assert own_scatter(budget).dof == pytest.approx(9 / 4, rel=1e-5)
    assert budget.part("nothing of that name") == Scatter(0.0, math.inf)


def test_difference_without_accuracy() -> None:
    """Resolutions and scatter in quadrature, two resolutions at least, with the reason."""
    budget = difference_budget(3.0, 1.0, OHMS, BARE, Scatter(1.0, math.inf), Scatter(1.0, math.inf))
    assert budget.expanded == pytest.approx(2.0 * math.sqrt(2.0 + 2 / 12), rel=1e-5)
    assert budget.reason == UNKNOWN
    still = difference_budget(3.0, 1.0, OHMS, BARE, Scatter(0.0, math.inf), Scatter(0.0, math.inf))
    assert (still.expanded, still.reason) == (1.41421, UNKNOWN)


@pytest.mark.parametrize(
    "refused",
    [
        lambda: reading_budget(math.nan, 1.0, OHMS, METER),
        lambda: reading_budget(1.0, 0.0, OHMS, METER),
        lambda: difference_budget(1.0, 0.0, OHMS, METER, Scatter(1.0, 1.0), Scatter(1.0, 1.0)),
        lambda: difference_budget(math.inf, 1.0, OHMS, METER, Scatter(1.0, 1.0), Scatter(1.0, 1.0)),
        lambda: Budget((), k=0.0),
        lambda: Budget((), confidence=1.0),
        lambda: Budget((), stated=-1.0),
        lambda: lead_null([], 0.1),
    ],
)
def test_refusals(refused: Callable[[], object]) -> None:
    """What is no value, no resolution or no factor is an error."""
    with pytest.raises(MetercapError):
        refused()


def test_below_zero_by_the_noise_that_the_null_showed() -> None:
    """A reading is as noisy as those of the null: 2·√(0.02² + 0.02²); quiet, it is the null's own 2·u."""
    assert LeadNull(0.15, 0.01, 9.0, 0.02).below == pytest.approx(2.0 * math.sqrt(2.0) * 0.02, rel=1e-5)
    assert LeadNull(0.15, 0.01).below == 0.02
