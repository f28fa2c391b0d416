"""Values with units of their own, tolerances and times."""

import math

import eseries
import pytest
from eseries.eseries import tolerance_limits

from metercap.errors import ValueText
from metercap.quantity import Tolerance, Value, parse_duration_s, parse_tolerance, parse_value


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2 min", Value(120.0, "s", 60.0)),  # SI Brochure, table 8: 1 min = 60 s, 1 h = 3600 s
        ("1.5 min", Value(90.0, "s", 6.0)),
        ("1 h", Value(3600.0, "s", 3600.0)),
        ("0.6 s", Value(0.6, "s", 0.1)),
        ("500 ms", Value(0.5, "s", 0.001)),
        ("85 degC", Value(85.0, "degC", 1.0)),
        ("85 °C", Value(85.0, "degC", 1.0)),
        ("85 ℃", Value(85.0, "degC", 1.0)),
        ("-5.47 V", Value(-5.47, "V", 0.01)),
        ("50 %", Value(50.0, "%", 1.0)),
        ("1500", Value(1500.0, "", 1.0)),
        ("1.5e3 ohm", Value(1500.0, "ohm", 100.0)),
    ],
)
def test_values_as_written(text: str, expected: Value) -> None:
    """Value, unit and the weight of the last written digit."""
    assert parse_value(text) == expected


def test_a_plain_number_takes_the_unit_wanted() -> None:
    """A number without unit is in the unit the caller wants."""
    assert parse_value("1500", unit="ohm") == Value(1500.0, "ohm", 1.0)


def test_negative_zero_loses_its_sign() -> None:
    """A written -0 is plain zero."""
    assert math.copysign(1.0, parse_value("-0.0 V").value) == 1.0


@pytest.mark.parametrize("text", ["± 0.5 %", "0.5 %", "+-0.5%", "+/-0.5 %", " ±0.5%", "+\u22120.5 %"])
def test_relative_tolerance(text: str) -> None:
    """All ways to write a percentage give the nearest float of the fraction."""
    assert parse_tolerance(text) == Tolerance(relative=0.005, absolute=None, unit="")
    assert parse_tolerance(text, unit="ohm").relative == 0.005


@pytest.mark.parametrize("text", ["± 3 ohm", "3 ohm", "+-3Ω", "3R0"])
def test_absolute_tolerance(text: str) -> None:
    """An absolute tolerance keeps its unit and does not depend on the target."""
    tolerance = parse_tolerance(text, unit="ohm")
    assert tolerance == Tolerance(relative=None, absolute=3.0, unit="ohm")
    assert tolerance.around(2187.0) == tolerance.around(-1.0) == 3.0


def test_relative_half_width_follows_the_target() -> None:
    """The limits of E-series parts come out as the `eseries` package gives them; a negative target has a band too."""
    for key in (eseries.E6, eseries.E12, eseries.E24, eseries.E96):
        tolerance = parse_tolerance(f"± {eseries.tolerance(key) * 100:g} %")
        for target in eseries.series(key):
            low, high = tolerance_limits(key, target)
            assert target - tolerance.around(target) == pytest.approx(low, rel=1e-12)
            assert target + tolerance.around(target) == pytest.approx(high, rel=1e-12)
    assert parse_tolerance("1 %").around(-5.0) == 0.05


@pytest.mark.parametrize("text", ["-3 ohm", "±-3 ohm", "-0.5 %", "3", "± 0.5", "", "±", "± ±3 ohm", "3 V", "1,5 %"])
def test_tolerances_refused(text: str) -> None:
    """Negative ones, those that could be percent or ohm, the wrong unit, and none at all are refused."""
    with pytest.raises(ValueText):
        parse_tolerance(text, unit="ohm")


@pytest.mark.parametrize(
    ("relative", "absolute"), [(None, None), (0.1, 1.0), (-0.1, None), (None, -1.0), (math.nan, None), (None, math.inf)]
)
def test_a_tolerance_is_exactly_one_sound_number(relative: float | None, absolute: float | None) -> None:
    """No tolerance can be built that has both forms, neither, or no sound size."""
    with pytest.raises(ValueText):
        Tolerance(relative=relative, absolute=absolute, unit="ohm")


@pytest.mark.parametrize(
    ("text", "duration_s"),
    [("0.6 s", 0.6), ("500 ms", 0.5), ("2 min", 120.0), ("10", 10.0), ("24 h", 86400.0), ("0", 0.0)],
)
def test_durations(text: str, duration_s: float) -> None:
    """Times in the units people write, plain numbers in seconds (SI Brochure, table 8: 1 d = 86 400 s)."""
    assert parse_duration_s(text) == duration_s


@pytest.mark.parametrize("text", ["-1 s", "3 V", "10 m", "soon", "1 min 30 s"])
def test_durations_refused(text: str) -> None:
    """Negative times, other units and metres are no durations."""
    with pytest.raises(ValueText):
        parse_duration_s(text)
