"""Two units item by item: differences, their uncertainty, what is not compared, and the order."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from metercap.compare.pairs import Beside, pair
from metercap.metrology.pair import FULL
from metercap.plankeys import CheckStep, Item
from metercap.reference.learning import combine
from tests.compare.two_units import coils, good, reads, session
from tests.steps.bench_play import fuses, meter

A = good("A", reads("160.4", "161.0"))


def beside(*sessions: Any, every: Any = False) -> Any:
    """What the given sessions measured, as something to be compared with."""
    return Beside.of(combine([one.reference(every=every) for one in sessions], force=True), "good units", "unit A")


def test_the_most_suspicious_comes_first() -> None:
    """63.2 Ω beside 160.4 Ω comes before 161.4 beside 161.0 Ω; U(Δ) is that of one meter, worked by hand."""
    found = pair(session("B", reads("161.4", "63.2")), "b", beside(good("A", reads("161.0", "160.4"))))
    assert [line.item for line in found.lines] == ["K2", "K1"]
    first, second = found.lines
    # u² = (0.008·Δ)²/3 + 2·0.3²/3 + 2·0.1²/12 + 2·0.1²; JCGM 100, 5.2
    for line, difference in ((first, -97.2), (second, 0.4)):
        by_hand = 2.0 * math.sqrt((0.008 * difference) ** 2 / 3 + 0.06 + 0.02 / 12 + 0.02)
        assert line.difference == pytest.approx(difference)
        assert line.difference_expanded == pytest.approx(by_hand, rel=1e-5)
        assert line.e_n == pytest.approx(difference / by_hand, rel=1e-5)
        assert line.how == ""
    assert (first.differs, second.differs) == (True, False)
    assert first.ratio == pytest.approx(63.2 / 160.4, rel=1e-5)
    assert found.differing == 1


def test_chance_alone_would_flag() -> None:
    """Two items compared: 4.55 % of them lie beyond k = 2 by chance (JCGM 100, Table G.1)."""
    here = session("B", reads("160.4", "161.0"))
    assert pair(here, "b", beside(A, good("C", reads("160.4", "161.0")))).chance == pytest.approx(2 * 0.0455, abs=1e-4)


def test_one_good_unit_is_not_held_against_chance() -> None:
    """How far good units lie apart is not known from one: differences rank, and none is counted or flagged."""
    found = pair(session("B", reads("161.4", "63.2")), "b", beside(A))
    assert found.chance is None
    assert [(line.item, line.differs, line.flagged) for line in found.lines] == [
        ("K2", True, False),
        ("K1", True, False),
    ]


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ({"start_utc": "2026-03-02T09:00:00Z"}, "another day"),
        ({"zone_offset_s": -12 * 3600}, "another day"),
        ({"start_utc": ""}, "another day"),
        ({"identity": "serial 7"}, "another meter"),
        ({"profile": meter(accuracy=A.first.meter.accuracy, title="x").at_rate(2.0)}, ""),
    ],
)
def test_another_day_or_meter_takes_both_uncertainties(more: Any, why: str) -> None:
    """The gain error cancels only for one meter on one local day; where not, the line says so and U is wider."""
    line = pair(session("B", reads("160.9", "161.0"), **more), "b", beside(A)).lines[0]
    assert line.how == (f"{FULL}: {why}" if why else "")
    assert (line.difference_expanded > 2.0) is bool(why)


def test_two_unknown_days_are_not_one_day() -> None:
    """Neither file says when it was made: nothing lets one take it for the same day, so the full U of both holds."""
    there = beside(good("A", reads("160.4", "161.0"), start_utc=""))
    line = pair(session("B", reads("160.9", "161.0"), start_utc=""), "b", there).lines[0]
    assert line.how == f"{FULL}: another day"


def test_another_range_takes_both_uncertainties() -> None:
    """A value of another resolution has another gain error."""
    line = pair(session("B", reads("160", "161")), "b", beside(A)).lines[0]
    assert line.how == f"{FULL}: another range"


def test_open_here_comes_first_of_all() -> None:
    """An item that was said to be open has no number, and is the most suspicious of all."""
    found = pair(session("B", reads("160.4") + ":open " + "OL*4"), "b", beside(A))
    assert [(odd.item, odd.here) for odd in found.odd] == [("K2", "fail: open, by the operator's word")]
    assert found.odd[0].there == "161.0 Ω"
    assert found.differing == 1


def test_absent_on_both_sides_is_nothing() -> None:
    """What neither unit has is not worth a line."""
    script = reads("160.4") + ":absent OL*4"
    found = pair(session("B", script), "b", beside(good("A", script)))
    assert (found.odd, found.apart, found.differing) == ((), (), 0)


def test_what_the_good_unit_did_not_pass_is_not_compared() -> None:
    """A value that failed in the good unit is no good value; its reason is told."""
    tight = coils(max=100.0)
    found = pair(session("B", reads("63.2", "63.2")), "b", beside(good("A", reads("63.2", "161.0", "161.0"), tight)))
    assert [line.item for line in found.lines] == ["K1"]
    assert [(one.item, one.why) for one in found.apart] == [("K2", "A: fail: above the upper limit")]


@pytest.mark.parametrize("key", ["connected", "red", "black"])
def test_connected_and_polarity_make_items_comparable(key: str) -> None:
    """Something else plugged in, or the tips the other way round, is not compared, whatever the values."""
    other = CheckStep(id="coils", items=(Item("K1", **{key: "x"}), Item("K2")), contacts=1, unit="ohm")  # type: ignore[arg-type]
    found = pair(session("B", reads("160.4", "161.0"), other), "b", beside(A))
    assert [line.item for line in found.lines] == ["K2"]
    assert [one.item for one in found.apart] == ["K1"]
    assert found.apart[0].why.startswith(key)


def test_only_one_side_has_it() -> None:
    """Items of one side alone are listed, not compared."""
    found = pair(session("B", reads("160.4", "9.0"), coils("K1", "K9")), "b", beside(A))
    assert [(one.item, one.why) for one in found.apart] == [("K9", "not in unit A"), ("K2", "not measured in b")]


def test_a_decisive_value_is_no_value_to_compare() -> None:
    """A fuse that passed before a plateau has no settled value, so its number says little."""
    found = pair(
        session("B", "OL*6 9.0 0.2 1.5 0.2 1.5 OL*8", fuses(1), profile=meter()),
        "b",
        beside(good("A", "OL*6 0.2*3 OL*8", fuses(1), profile=meter())),
    )
    assert [(one.item, one.why) for one in found.apart] == [("F1", "no settled value, only a decisive one")]


def test_several_good_units_expect_an_interval() -> None:
    """Three good units: the reference is their mean, and E_n counts half-widths (scipy checks those in `steps`)."""
    units = [good(name, reads(text, "161.0")) for name, text in (("A", "150.0"), ("C", "160.0"), ("D", "170.0"))]
    line = next(
        one for one in pair(session("B", reads("190.0", "161.0")), "b", beside(*units)).lines if one.item == "K1"
    )
    assert (line.n, line.reference) == (3, 160.0)
    assert line.high - line.reference == pytest.approx(4.30265 * 10.0 * math.sqrt(4.0 / 3.0), rel=1e-4)
    assert not line.differs


@settings(max_examples=25, deadline=None)
@given(st.integers(1000, 3000), st.integers(1000, 3000))
def test_exchanging_the_units_turns_the_sign(here: Any, there: Any) -> None:
    """B beside A differs as A beside B does, the other way round."""
    texts = [f"{value / 10:.1f}" for value in (here, there)]
    one, other = (session(name, reads(text), coils("K1")) for name, text in zip("AB", texts, strict=True))
    ab = pair(one, "a", beside(other, every=True)).lines[0]
    ba = pair(other, "b", beside(one, every=True)).lines[0]
    assert (ab.e_n, ab.difference_expanded) == (-ba.e_n, ba.difference_expanded)
