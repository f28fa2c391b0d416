"""Histories: counted in any order and any parts, they come out the same; bounded whatever the number."""

from __future__ import annotations

import datetime
import random
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from metercap.history import History, Mark, Place, Sight, together

K1 = Place("GC-8", "coils", "K1", "ohm")
K2 = Place("GC-8", "coils", "K2", "ohm")

SIGHTS = st.lists(
    st.tuples(
        st.sampled_from([K1, K2]),
        st.builds(
            Sight,
            verdict=st.sampled_from(["pass", "fail", "unsure"]),
            value=st.one_of(st.none(), st.integers(1550, 1650).map(lambda whole: whole / 10)),
            resolution=st.sampled_from([0.1, 1.0]),
            meter=st.sampled_from(["a", "b"]),
            bench=st.sampled_from(["north", "south"]),
            day=st.dates().map(lambda day: day.isoformat()),
            job=st.sampled_from(["vent", "fan"]),
        ),
    ),
    max_size=90,
)


def of(sights: Any) -> History:
    """Return the history of some verdicts."""
    out = History()
    for place, sight in sights:
        out.session(sight.meter, sight.bench, sight.day)
        out.add(place, sight)
    return out


def state(history: History) -> Any:
    """Return all that a history is, in an order of its own."""
    return _sorted({"/".join(msgspec.structs.astuple(place)): msgspec.to_builtins(cell) for place, cell in
                    history.cells.items()} | {"": msgspec.to_builtins([history.meters, history.benches,
                    history.sessions, history.first, history.last])})  # fmt: skip


def _sorted(value: Any) -> Any:
    if isinstance(value, dict):
        return [(key, _sorted(value[key])) for key in sorted(value, key=str)]
    return [_sorted(each) for each in value] if isinstance(value, list | tuple) else value


@given(SIGHTS, st.integers(0, 90), st.integers(0, 2**20))
def test_any_parts_in_any_order(sights: Any, cut: int, seed: int) -> None:
    """A history in two parts, either first, or in another order, is the history of all."""
    whole = state(of(sights))
    a, b = of(sights[:cut]), of(sights[cut:])
    assert state(together([a, b])) == whole
    assert state(together([b, a])) == whole
    random.Random(seed).shuffle(sights)
    assert state(of(sights)) == whole


def test_parts_stay_as_they_were() -> None:
    """Adding up changes none of what is added up."""
    a, b = (of([(K1, Sight("pass", value, 0.1, "m", "n", "2026-03-01"))]) for value in (160.0, 161.0))
    before = state(a), state(b)
    together([a, b])
    assert (state(a), state(b)) == before


def test_what_a_cell_holds() -> None:
    """Three values by two meters on two days, and one verdict without a value: counted each where it belongs."""
    found = of(
        [
            (K1, Sight("pass", 160.0, 0.1, "a", "north", "2026-03-01", "vent", "A", "001-A.jsonl")),
            (K1, Sight("fail", 163.0, 1.0, "b", "north", "2026-03-02", "fan", "B")),
            (K1, Sight("pass", 161.0, 0.1, "a", "south", "2026-03-02", "fan", "C")),
            (K1, Sight("fail", None, meter="a", bench="south", day="2026-03-05")),
        ]
    )
    cell = found.cells[K1]
    assert (cell.all.n, cell.all.median(), cell.resolution) == (3, 161.0, 1.0)
    assert {name: part.n for name, part in cell.meters.items()} == {"a": 2, "b": 1}
    assert {name: part.n for name, part in cell.benches.items()} == {"north": 2, "south": 1}
    assert {name: part.median() for name, part in cell.dates.parts.items()} == {
        "2026-03-01": 160.0,
        "2026-03-02": 162.0,
    }
    assert cell.verdicts == {"pass": 2, "fail": 2}
    assert cell.lowest[0] == Mark(160.0, "2026-03-01", "vent", "A", "001-A.jsonl")
    assert cell.highest[0].value == 163.0
    assert (found.sessions, found.first, found.last) == (4, "2026-03-01", "2026-03-05")


@pytest.mark.parametrize(("days", "level", "names"), [(60, 0, 60), (61, 1, 3), (2000, 2, 6)])
def test_days_become_months_become_years(days: int, level: int, names: int) -> None:
    """60 days are told apart; 61 from 2026-01-01 on are January to March, 2000 are six years."""
    import datetime

    first = datetime.date(2026, 1, 1)
    found = of((K1, Sight("pass", 160.0, 0.1, day=str(first + datetime.timedelta(n)))) for n in range(days))
    dates = found.cells[K1].dates
    assert (dates.level, len(dates.parts)) == (level, names)
    assert dates.middle(next(iter(dates.parts))) >= first.toordinal()


def test_the_mean_day_of_a_part() -> None:
    """Values of the 1st and twice of the 4th of a month: their mean day is the 3rd."""
    import datetime

    days = [f"2026-{month:02d}-{day:02d}" for month in range(1, 7) for day in range(1, 15)]
    found = of((K1, Sight("pass", 160.0, 0.1, day=day)) for day in [*days, "2027-01-01", "2027-01-04", "2027-01-04"])
    dates = found.cells[K1].dates
    assert dates.middle("2027-01") == datetime.date(2027, 1, 3).toordinal()


def test_a_day_that_is_none_is_counted_without_its_date() -> None:
    """A clock that cannot be believed leaves the value, and no date."""
    found = of([(K1, Sight("pass", 160.0, day="")), (K1, Sight("pass", 160.0, day="2026-13-01"))])
    assert found.cells[K1].all.n == 2
    assert not found.cells[K1].dates.parts


def test_few_extremes_are_kept() -> None:
    """Of 1000 values the five lowest and highest keep their origin."""
    found = of((K1, Sight("pass", float(n), 1.0, job=str(n))) for n in range(1000))
    assert [mark.job for mark in found.cells[K1].lowest] == ["0", "1", "2", "3", "4"]
    assert [mark.job for mark in found.cells[K1].highest] == ["999", "998", "997", "996", "995"]


@given(SIGHTS, st.integers(1, 5))
def test_many_alike_count_as_often_as_they_are(sights: Any, n: int) -> None:
    """Counted at once, and marked one by one, they are what they are one after the other."""
    at_once = History()
    for place, sight in sights:
        at_once.session(sight.meter, sight.bench, sight.day)
        at_once.cell(place).count(sight, n)
        for _ in range(n if sight.value is not None else 0):
            at_once.cell(place).mark(sight.mark)
    one_by_one = of([each for each in sights for _ in range(n)])
    assert at_once.cells == one_by_one.cells


@pytest.mark.parametrize(("few", "many"), [(3, 100), (100, 3), (100, 100), (3, 18_000)])
def test_parts_whose_dates_are_coarser(few: int, many: int) -> None:
    """One part has days, the other months or years: together they have what all at once has, its middle days too."""

    def seen(n: int, seed: int) -> list[Any]:
        rng = random.Random(seed)
        first = datetime.date(2020, 1, 1)
        days = [str(first + datetime.timedelta(each)) for each in range(0, n, max(1, n // 100))]
        return [(K1, Sight("pass", rng.randint(1550, 1650) / 10, 0.1, "a", "north", day)) for day in days]

    one, other = seen(few, 1), seen(many, 2)
    parts = together([of(one), of(other)])
    assert state(parts) == state(of([*one, *other]))
    assert state(together([of(other), of(one)])) == state(parts)
    assert len(parts.cells[K1].dates.parts) <= 60
