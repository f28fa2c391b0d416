"""What a history says of each place."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from metercap.history import History, Mark, Place, Sight
from metercap.history.summary import summary

K1 = Place("GC-8", "coils", "K1", "ohm")


def history(*values: float, place: Place = K1, resolution: float = 0.1) -> History:
    """Return a history of one place."""
    out = History()
    for n, value in enumerate(values):
        out.session("a", "north", "2026-03-01")
        out.add(place, Sight("pass", value, resolution, "a", "north", "2026-03-01", f"job {n}", "A", "001-A.jsonl"))
    return out


def test_numbers_of_a_place() -> None:
    """Median, MAD and quarters as numpy and scipy have them."""
    values = [158.1, 158.9, 160.2, 160.4, 161.7, 163.0, 171.3]
    (row,) = summary(history(*values)).places
    assert (row.n, row.median, row.least, row.most) == (7, 160.4, 158.1, 171.3)
    assert row.spread == pytest.approx(float(stats.median_abs_deviation(values, scale="normal")), rel=1e-5)
    assert (row.low_quarter, row.high_quarter) == pytest.approx(tuple(np.quantile(values, [0.25, 0.75])))
    assert (row.verdicts, row.drift, row.coarse) == ({"pass": 7}, None, False)
    assert [(part.name, part.n) for part in row.meters] == [("a", 7)]


def test_what_stands_out_comes_with_its_job() -> None:
    """NIST e-Handbook 1.3.5.17 (from memory): a modified z-score, 0.6745(x − median)/MAD, above 3.5.

    Values 159 to 161 have a MAD of 0.5: the fence is 3.5·0.5/0.6745 = 2.594 from 160.
    """
    values = [159.0, 159.5, 160.0, 160.0, 160.5, 161.0, 162.5, 162.7]
    (row,) = summary(history(*values)).places
    fence = 3.5 * float(stats.median_abs_deviation(values, scale="normal"))
    expected = [value for value in values if abs(value - float(np.median(values))) > fence]
    assert row.fence == pytest.approx(fence, rel=1e-5)
    assert [mark.value for mark in row.outliers] == sorted(expected, reverse=True)
    (row,) = summary(history(*[159.5, 160.0, 160.5] * 4, 171.0, 147.0)).places
    assert row.outside == 2
    assert row.outliers == (
        Mark(147.0, "2026-03-01", "job 13", "A", "001-A.jsonl"),
        Mark(171.0, "2026-03-01", "job 12", "A", "001-A.jsonl"),
    )


def test_one_digit_does_not_stand_out() -> None:
    """Where more than half the values are equal the last digit is the least spread: three digits off are no outlier."""
    (row,) = summary(history(*[160.0] * 20, 160.3)).places
    assert row.outside == 0
    assert row.fence == pytest.approx(0.35)
    (row,) = summary(history(*[160.0] * 20, 160.4)).places
    assert row.outside == 1


def test_four_values_have_no_outlier() -> None:
    """Of four nobody can say which one stands out."""
    (row,) = summary(history(160.0, 160.0, 160.0, 999.0)).places
    assert (row.fence, row.outside) == (None, 0)


def test_many_that_stand_out_are_counted() -> None:
    """Twenty stand out: all are counted, the ten farthest named."""
    (row,) = summary(history(*[160.0, 160.1, 159.9] * 40, *[200.0 + n for n in range(10)], *[90.0] * 10)).places
    assert row.outside == 20
    assert len(row.outliers) == 10


def test_places_stand_in_their_natural_order() -> None:
    """F2 before F10, models apart, and what is measured differently is another place."""
    whole = History()
    for item in ("F10", "F2"):
        whole.take(history(0.2, place=Place("GC-8", "fuses", item, "ohm")))
    whole.take(history(0.2, place=Place("GC-8", "fuses", "F2", "ohm", how="lamp in")))
    whole.take(history(0.2, place=Place("GC-7", "fuses", "F3", "ohm")))
    found = summary(whole)
    assert [(row.model, row.name) for row in found.places] == [
        ("GC-7", "fuses F3"),
        ("GC-8", "fuses F2"),
        ("GC-8", "fuses F2 (lamp in)"),
        ("GC-8", "fuses F10"),
    ]
    assert found.sessions == 4


def test_a_place_without_a_value() -> None:
    """A switch that is only counted has verdicts and no numbers."""
    whole = History()
    whole.add(Place("GC-8", "cover", "SW1"), Sight("fail"))
    (row,) = summary(whole).places
    assert (row.n, row.median, row.fence, row.verdicts) == (0, None, None, {"fail": 1})
