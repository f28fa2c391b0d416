"""What a meter can decide: its resolution, bands too narrow to prove, limits below its last digit."""

import math
from typing import Any

import pytest

from metercap.meter import Accuracy, MeterProfile
from metercap.metrology.ranges import resolution_at
from metercap.plan.load import load_plan
from metercap.plan.rules import check_plan
from metercap.profiles import find_meter
from metercap.quantity import Quantity

OHM, VDC = Quantity.RESISTANCE, Quantity.VOLTAGE_DC
BARE = MeterProfile(name="bare", family="lcd14", counts=3999, continuity_ceiling_ohm=400.0)
COARSE = MeterProfile(name="coarse", family="text", counts=999, continuity_ceiling_ohm=999.0)
RATED = MeterProfile(
    name="rated",
    family="lcd14",
    counts=3999,
    accuracy=tuple(Accuracy(OHM, 1.0, 2.0, resolution) for resolution in (0.1, 1.0, 10.0, 1e4)),
)


def doubts(steps: str, profile: MeterProfile, head: str = "", reference: Any = None) -> Any:
    text = f'[plan]\ntitle = "GC-8"\nsupply = "none"\n{head}[[step]]\nid = "z"\nkind = "zero"\n{steps}'
    return [str(problem) for problem in check_plan(load_plan(text, "x"), profile, reference=reference)]


def tune(lines: str) -> str:
    return f'[[step]]\nid = "bridge"\nkind = "tune"\nitems = ["RV1"]\n{lines}\n'


def sweep(lines: str) -> str:
    return f'[[step]]\nid = "s"\nkind = "sweep"\n{lines}\n'


@pytest.mark.parametrize(
    ("profile", "quantity", "value", "resolution"),
    [
        # 400.0 Ω, 4.000 kΩ, … 40.00 MΩ: the ranges of a 4000-count display (common practice, no source).
        (BARE, OHM, 0.0, 0.1),
        (BARE, OHM, 2.0, 0.1),
        (BARE, OHM, 399.9, 0.1),
        (BARE, OHM, 400.0, 1.0),
        (BARE, OHM, 2187.0, 1.0),
        (BARE, OHM, 3.999e6, 1e3),
        (BARE, VDC, 3.0, 0.001),
        (BARE, VDC, -24.0, 0.01),
        (RATED, OHM, 350.0, 0.1),
        (RATED, OHM, 2187.0, 1.0),
        (RATED, OHM, 50e3, 1e4),
        (RATED, OHM, 1e9, None),
        (MeterProfile(name="mute", family="scpi"), OHM, 2.0, None),
    ],
)
def test_resolution(profile: Any, quantity: Any, value: float, resolution: float | None) -> None:
    """The finest range that shows a value: from the accuracy table, else in decades from the lowest range."""
    assert resolution_at(profile, quantity, value) == resolution


@pytest.mark.parametrize(
    ("value", "resolution"), [(2.0, 0.01), (219.0, 0.01), (221.0, 0.1), (2187.0, 0.1), (21e3, 1.0), (2e6, 100.0)]
)
def test_resolution_from_frame_tables(value: float, resolution: float) -> None:
    """Where frames carry a range code, the shipped profile's digit weights are the ranges."""
    assert resolution_at(find_meter("digits14"), OHM, value) == resolution


def test_a_band_too_narrow_to_prove() -> None:
    """±0.05 % of 2187 Ω is ±1.09 Ω; with counts of 1 Ω, accuracy unknown, U is 2·√(1/12 + 1) Ω: ±3.08 Ω at least."""
    (problem,) = doubts(tune('target = "2.187 kohm"\ntolerance = "0.05 %"'), BARE)
    assert problem == (
        'step 2 "bridge" tolerance RV1: ±1.094 Ω around 2.187 kΩ leaves fewer than two counts of 1 Ω inside the '
        "guarded band (U = 2.082 Ω); the tightest band this meter can prove is ±3.082 Ω (0.14 %)"
    )


@pytest.mark.parametrize(
    ("tolerance", "rule", "narrow"),
    [
        ("3.1 ohm", "guarded", False),
        ("3 ohm", "guarded", True),
        ("2 ohm", "simple", False),
        ("1.9 ohm", "simple", True),
    ],
)
def test_the_edge_of_what_is_provable(tolerance: str, rule: str, narrow: bool) -> None:
    """Two counts inside the guard are enough: one count by the simple rule, 2·√(1/12 + 1) where scatter is a count."""
    found = doubts(tune(f'target = "2.187 kohm"\ntolerance = "{tolerance}"\nrule = "{rule}"'), BARE)
    assert bool(found) is narrow


def test_a_band_with_an_accuracy_table() -> None:
    """U by hand (JCGM 100, 4.3.7, F.2.2.1): at 1000 Ω ±(1 % + 2 counts) is 12/√3, a count 1/√12, scatter one count."""
    expanded = 2.0 * math.sqrt(12.0**2 / 3.0 + 1.0 / 12.0 + 1.0)
    (problem,) = doubts(tune('target = "1 kohm"\ntolerance = "15 ohm"'), RATED)
    assert f"U = {expanded:.4g} Ω" in problem
    assert f"±{expanded + 1.0:.4g} Ω" in problem
    assert doubts(tune('target = "1 kohm"\ntolerance = "15.1 ohm"'), RATED) == []
    assert doubts(tune('target = "1 kohm"\ntolerance = "2 ohm"\nrule = "simple"'), RATED) == []


def test_a_target_from_the_reference() -> None:
    """The band around a reference's value is checked as soon as the value is known."""
    steps = tune('target = "reference"\ntolerance = "0.05 %"')
    assert "tightest band" not in doubts(steps, BARE)[0]
    assert "±1.094 Ω around 2.187 kΩ" in doubts(steps, BARE, reference={"bridge/RV1": {"value": 2187.0}})[0]


def test_a_meter_that_does_not_tell() -> None:
    """A profile without counts cannot be asked, and that is said."""
    (problem,) = doubts(tune('target = "1 kohm"\ntolerance = "1 %"'), MeterProfile(name="mute", family="scpi"))
    assert "does not tell its counts" in problem


def test_a_limit_below_the_last_digit() -> None:
    """With counts of 1 Ω and U = 2.08 Ω a limit of 3 Ω leaves nothing but 0; 3.1 Ω leaves 0 and 1 Ω. Alike are one."""
    (problem,) = doubts(sweep('items = "F1..F12"\nmax = "3 ohm"'), COARSE)
    assert problem == (
        'step 2 "s" max F1 … F12: a limit of 3 Ω leaves no count to pass: U is 2.082 Ω; '
        "this meter can prove a limit of 3.082 Ω"
    )
    assert doubts(sweep('items = "F1..F12"\nmax = "3.1 ohm"'), COARSE) == []


def test_two_limits_too_near() -> None:
    """6.2 counts of 1 Ω between two limits leave two inside a guard of 2.08 each; 6 do not."""
    assert doubts(sweep('items = ["R1"]\nmin = "990 ohm"\nmax = "996.2 ohm"'), BARE) == []
    (problem,) = doubts(sweep('items = [{ name = "R1", min = "990 ohm", max = "996 ohm" }]'), BARE)
    assert problem.startswith('step 2 "s" items R1: 990 Ω … 996 Ω leaves fewer than two counts to pass')
    assert problem.endswith("this meter can prove a width of 6.163 Ω")


def test_a_value_in_no_range() -> None:
    """A limit above every range is named."""
    (problem,) = doubts(sweep('items = ["R1"]\nmin = "1 Gohm"'), RATED)
    assert "no range of this meter shows 1 GΩ" in problem


def test_nothing_to_decide() -> None:
    """Items without limits, one-sided volts and words give no doubt."""
    steps = '[[step]]\nid = "c"\nkind = "check"\nitems = ["TP1"]\nmax = "1 mV"\n'
    steps += '[[step]]\nid = "q"\nkind = "confirm"\nsay = "done?"\n'
    assert doubts(steps, BARE) == []
