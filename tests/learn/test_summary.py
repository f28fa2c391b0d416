"""What is said of a learned reference."""

from __future__ import annotations

import math
from typing import Any

import msgspec
import numpy as np
import pytest
from scipy import stats
from statsmodels.regression.linear_model import OLS

from metercap.learn import learned, learned_lines
from metercap.reference.learning import combine
from metercap.reference.model import Folded, LeftOut
from tests.compare.two_units import coils, good, reads, session


def units(*texts: Any, names: Any = "ACDEFGHIJK") -> Any:
    """Return one known-good unit's reference for each value of K1."""
    return [good(name, reads(text), coils("K1")).reference() for name, text in zip(names, texts, strict=False)]


def test_prediction_interval() -> None:
    """Three units: t·s·√(1 + 1/3) around the mean, t of 2 degrees of freedom by scipy."""
    (row,) = learned(combine(units("150.0", "160.0", "170.0")))
    half = float(stats.t.ppf(0.975, 2)) * 10.0 * math.sqrt(1.0 + 1.0 / 3.0)
    assert (row.n, row.value, row.method, row.floored) == (3, 160.0, "prediction", False)
    assert (row.low, row.high) == pytest.approx((160.0 - half, 160.0 + half), rel=1e-5)


def test_prediction_interval_of_a_reference_library() -> None:
    """Five units: the interval of a further one, as `statsmodels` predicts it from a fit of their mean alone."""
    texts = ("150.0", "156.0", "160.0", "163.0", "170.0")
    (row,) = learned(combine(units(*texts)))
    fit = OLS([float(text) for text in texts], np.ones(5)).fit()
    low, high = fit.get_prediction([[1.0]]).conf_int(obs=True, alpha=0.05)[0]
    assert (row.low, row.high) == pytest.approx((low, high), rel=1e-5)


def test_one_unit_has_its_uncertainty() -> None:
    """One good unit shows no spread: its value ± U."""
    (row,) = learned(combine(units("160.4")))
    assert (row.n, row.method, row.floored) == (1, "uncertainty", True)
    assert row.high - row.value == pytest.approx(
        2.0 * math.sqrt((0.008 * 160.4 + 0.3) ** 2 / 3 + 0.01 / 12 + 0.01), rel=1e-3
    )


def test_from_eight_on_median_and_mad() -> None:
    """One wild unit among eight does not move the middle, by the median of scipy's own."""
    (row,) = learned(combine(units("158.0", "159.0", "160.0", "161.0", "162.0", "163.0", "164.0", "999.9")))
    assert (row.n, row.method) == (8, "median and MAD")
    assert row.value == pytest.approx(stats.scoreatpercentile([158, 159, 160, 161, 162, 163, 164, 999.9], 50))
    assert row.high < 200.0


def test_lines_say_what_each_value_rests_on() -> None:
    """Every line says from how many units, and whom where not from all; what is left out says why."""
    a, c = units("150.0", "160.0")
    d = good("D", reads("155.0", "161.0")).reference()
    failed = good("E", reads("999.0", "999.0"), coils("K1", max=200.0)).reference()
    found = list(learned_lines(combine([a, c, d, failed])))
    assert found[0] == "GC-8: 4 good units (A, C, D, E)"
    assert "from 3 (A, C, D only): prediction interval" in found[1]
    assert "from 1 (D only): U alone" in found[2]
    assert any(line.startswith("  . coils K1 of E left out: fail") for line in found)
    assert found[-1].startswith("  8 good units and more")


def test_unmarked_units_are_said() -> None:
    """A unit taken by force is named."""
    unmarked = session("B", reads("150.0"), coils("K1")).reference()
    found = list(learned_lines(combine([*units("160.0"), unmarked], force=True)))
    assert "  note: unit B is not marked known good" in found


def test_what_is_too_many_is_counted() -> None:
    """Forty names, forty notes, forty values left out; how many more there are, also those that no file names."""
    made = combine(units("160.0"))
    (unit,) = made.units
    many = tuple(msgspec.structs.replace(unit, name=f"G{n}", known_good=n >= 42) for n in range(50))
    left = tuple(LeftOut("coils", "K9", f"G{n}", "absent") for n in range(43))
    whole = msgspec.structs.replace(
        made, units=(unit, *many), left_out=left, more_left_out=7, folded=Folded(100, 6, 0, "")
    )
    found = list(learned_lines(whole))
    assert found[0].startswith("GC-8: 151 good units (A, G0, ")
    assert found[0].endswith(", G38 and 111 more)")
    assert len([line for line in found if line.startswith("  note: unit G")]) == 40
    assert "  note: 8 units more are not marked known good" in found
    assert len([line for line in found if "left out: absent" in line]) == 40
    assert "  . and 10 more" in found
    counted = msgspec.structs.replace(whole.items[0], values=(), counted=whole.items[0].as_counted())
    (line,) = [one for one in learned_lines(msgspec.structs.replace(whole, items=(counted,))) if "coils K1" in one]
    assert "from 1 of 151: U alone" in line
