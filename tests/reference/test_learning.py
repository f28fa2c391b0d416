"""Any number of good units as one reference: the same answer whether they are listed or counted, and in any order."""

from __future__ import annotations

import random
from collections.abc import Sequence
from pathlib import Path

import msgspec
import numpy as np
import pytest
from scipy import stats

from metercap.commands._opening import session_record
from metercap.errors import UsageError
from metercap.journal import Writer, iterate
from metercap.judging.good import Good, GoodValue, Origin, likeness, read_goods
from metercap.learn import learned
from metercap.metrology.pair import Measured
from metercap.plan.load import load_plan
from metercap.profiles import find_meter
from metercap.reference import learning
from metercap.reference.file import decode, encode
from metercap.reference.learning import Learning, combine
from metercap.reference.model import GoodItem, GoodUnit, Reference, SourceFile, goods, rows
from metercap.session import opening
from tests.archive.shop import PLAN

HERE = Origin("lcd14", "", "2026-03-01")
KEY = ("coils", "K1")


def unit(name: str, *values: float, good: bool = True, sha256: str = "") -> Reference:
    """Return the reference of one unit with a value for each of K1, K2, …"""
    items = tuple(
        GoodItem("coils", f"K{n}", "ohm", (GoodValue(value, 1.8, 0.1, None, 0.1, name=name),))
        for n, value in enumerate(values, 1)
    )
    known = (GoodUnit(name, f"session {name}", "2026-03-01T09:00:00Z", HERE, good),)
    sources = (SourceFile(f"{name}.jsonl", sha256),) if sha256 else ()
    return Reference(program="test", model="GC-8", title="", units=known, items=items, sources=sources)


def shop(n: int, seed: int = 1) -> list[Reference]:
    """Return so many units of 160 Ω ± 2 %, as a display with one decimal has them."""
    rng = random.Random(seed)
    return [unit(f"G{each}", round(rng.gauss(160.0, 3.2), 1)) for each in range(n)]


def values_of(parts: Sequence[Reference]) -> list[float]:
    """Return the values of K1."""
    return [part.items[0].values[0].value for part in parts]


@pytest.mark.parametrize("n", [8, 30, 31, 200])
def test_median_and_mad_by_a_reference_library(n: int) -> None:
    """From eight units on: scipy's median and scaled MAD of all values, its t with 0.37(n - 1) degrees of freedom."""
    parts = shop(n)
    (row,) = learned(combine(parts))
    values = values_of(parts)
    spread = stats.median_abs_deviation(values, scale=1 / 1.4826)
    half = stats.t.ppf(0.975, 0.37 * (n - 1)) * spread * np.sqrt(1.0 + np.pi / (2 * n))
    assert (row.n, row.method, row.floored) == (n, "median and MAD", False)
    assert row.value == pytest.approx(np.median(values), rel=1e-6)
    assert (row.low, row.high) == pytest.approx((np.median(values) - half, np.median(values) + half), rel=1e-5)


def test_from_thirty_one_on_values_are_counted() -> None:
    """Thirty are listed by name; of one more each displayed value has its number, and the units keep their names."""
    parts = shop(31)
    few, many = combine(parts[:30]), combine(parts)
    assert [value.name for value in few.items[0].values] == [f"G{n}" for n in range(30)]
    assert few.items[0].counted is None
    counted = many.items[0].counted
    assert many.items[0].values == ()
    assert counted is not None
    assert (counted.power, counted.expanded, counted.resolution) == (-1, 1.8, 0.1)
    tenths = [round(10 * value) for value in values_of(parts)]
    assert counted.counts == {each: tenths.count(each) for each in tenths}
    assert len(many.units) == 31


def test_counted_values_keep_the_largest_u_and_the_coarsest_digit() -> None:
    """Whichever comes first: a further good unit is expected no nearer than that U."""
    rough = msgspec.structs.replace(unit("rough", 160.0).items[0].values[0], expanded=40.0, resolution=1.0)
    part = unit("rough", 160.0)
    part = msgspec.structs.replace(part, items=(msgspec.structs.replace(part.items[0], values=(rough,)),))
    for parts in ([part, *shop(40)], [*shop(40), part]):
        found = combine(parts)
        (row,) = learned(found)
        assert (found.items[0].widest, found.items[0].resolution) == (40.0, 1.0)
        assert row.floored
        assert row.high - row.value == pytest.approx(40.0)


@pytest.mark.parametrize("most", [1000, 12])
def test_in_any_order_and_in_parts(most: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """All at once, shuffled, or learned bit by bit from earlier references: the same counts, the same expectation."""
    monkeypatch.setattr(learning, "MOST_NAMED", most)
    parts = shop(90)
    whole = combine(parts)
    shuffled = random.Random(2).sample(parts, len(parts))
    bits = combine([combine(shuffled[:7]), *shuffled[7:20], combine(shuffled[20:60]), combine(shuffled[60:])])
    saved = decode(encode(bits), "good.json")
    for other in (combine(shuffled), bits, saved):
        assert other.items == whole.items
        assert other.n == 90
        assert learned(other) == learned(whole)


def test_what_is_kept_does_not_grow(monkeypatch: pytest.MonkeyPatch) -> None:
    """Beyond the most that are named: their number, and their sources' hashes added up modulo 2^256, by hand."""
    monkeypatch.setattr(learning, "MOST_NAMED", 10)
    hashes = [f"{(n + 1) * (2**255 + 12345):064x}"[-64:] for n in range(26)]
    parts = [unit(f"G{n}", 150.0 + n % 3, sha256=hashes[n], good=n != 3) for n in range(26)]
    found = combine(parts, force=True)
    assert [one.name for one in found.units] == [f"G{n}" for n in range(22, 26)]
    assert [one.sha256 for one in found.sources] == hashes[22:]
    assert (found.folded.units, found.folded.unmarked, found.folded.sources, found.n) == (22, 1, 22, 26)
    assert int(found.folded.sha256, 16) == sum(int(each, 16) for each in hashes[:22]) % 2**256
    assert goods(found)[KEY].known_good is False
    with pytest.raises(UsageError, match="not marked known good: G3"):
        combine(parts)
    with pytest.raises(UsageError, match="not marked known good: 1 more"):
        combine([found])


def test_a_unit_counts_once_though_it_is_no_longer_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """Within one run every name is known, however many there were."""
    monkeypatch.setattr(learning, "MOST_NAMED", 5)
    with pytest.raises(UsageError, match="unit g2 is there twice"):
        combine([*shop(30), unit("g2", 160.0)])
    asked: list[str] = []
    mine = Learning(first_time=lambda name: not asked.append(name))  # type: ignore[func-returns-value]
    mine.add(unit(" G1 ", 160.0))
    assert asked == ["g1"]


def test_few_values_of_units_no_longer_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """An item that three of many units have: their mean and s, as ever, though nobody knows whose values they are."""
    monkeypatch.setattr(learning, "MOST_NAMED", 5)
    parts = [unit(f"G{n}", 160.0 + n, *([320.0 + n] if n < 3 else [])) for n in range(12)]
    found = combine(parts)
    row = next(each for each in learned(found) if each.item == "K2")
    half = float(stats.t.ppf(0.975, 2)) * 1.0 * np.sqrt(4.0 / 3.0)
    assert (row.n, row.method, row.units) == (3, "prediction", ())
    assert (row.low, row.high) == pytest.approx((321.0 - half, 321.0 + half), rel=1e-5)
    good = goods(found)["coils", "K2"]
    assert [value.value for value in good.units] == [320.0, 321.0, 322.0]
    assert {value.expanded for value in good.units} == {1.8}


def test_left_out_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    """So many are named, the others counted, also when they were counted before."""
    from metercap.reference.model import LeftOut

    monkeypatch.setattr(learning, "MOST_NAMED", 4)
    parts = [
        msgspec.structs.replace(part, left_out=(LeftOut("coils", "K9", part.units[0].name, "absent"),))
        for part in shop(7)
    ]
    found = combine([combine(parts[:6]), parts[6]])
    assert [left.unit_name for left in found.left_out] == ["G0", "G1", "G2", "G3"]
    assert found.more_left_out == 3


def listed(parts: Sequence[Reference]) -> Good:
    """Return K1's row as earlier sessions carry it: every value in it."""
    row = goods(combine(parts))[KEY]
    units = tuple(GoodValue(value, 1.8, name="any") for value in values_of(parts))
    return msgspec.structs.replace(row, units=units, mad=None)


@pytest.mark.parametrize("n", [8, 40])
@pytest.mark.parametrize("value", [155.0, 160.0, 168.7, 200.0])
def test_a_session_is_held_against_the_same_interval(n: int, value: float) -> None:
    """By the row that names median and MAD, and by one with every value: one expectation, one signal."""
    parts, profile = shop(n), find_meter("lcd14")
    now = Measured(value, 1.8, 0.1)
    short, long = goods(combine(parts))[KEY], listed(parts)
    assert (short.units, short.mad is not None, len(long.units)) == ((), True, n)
    mine, theirs = (likeness(now, good, HERE, profile) for good in (short, long))
    assert mine.differs == theirs.differs
    assert mine.expected.half_width == pytest.approx(theirs.expected.half_width, rel=1e-5)
    assert (mine.comparison, mine.expected.n) == (
        msgspec.structs.replace(
            theirs.comparison,
            expanded=mine.comparison.expanded,
            e_n=pytest.approx(theirs.comparison.e_n, rel=1e-4, abs=1e-4),
        ),
        n,
    )


def test_a_record_that_names_a_spread_of_few_is_taken_by_its_values() -> None:
    """No program of ours writes it; of fewer than eight their values say more, and nothing breaks."""
    few = goods(combine(shop(3)))[KEY]
    odd = msgspec.structs.replace(few, mad=5.0)
    now, profile = Measured(200.0, 1.8, 0.1), find_meter("lcd14")
    assert likeness(now, odd, HERE, profile) == likeness(now, few, HERE, profile)


def test_six_hundred_units_fit_into_a_first_record(tmp_path: Path) -> None:
    """Thirty items of 600 units: the journal's first line is far below its limit, and reads back."""
    rng = random.Random(3)
    parts = [unit(f"controller {n}", *(round(rng.gauss(160.0, 3.0), 1) for _ in range(30))) for n in range(600)]
    given = rows(combine(parts))
    first = session_record(load_plan(PLAN, "plan.toml"), find_meter("lcd14"), unit="B", reference=given)
    Writer.create(tmp_path / "b.jsonl", first).close(0.0, "done")
    data = (tmp_path / "b.jsonl").read_bytes().splitlines()[0]
    alone = session_record(load_plan(PLAN, "plan.toml"), find_meter("lcd14"), unit="B")
    assert len(data) < len(msgspec.json.encode(alone)) + 30 * 200
    with iterate(tmp_path / "b.jsonl") as records:
        back = read_goods(opening(records).reference)
    assert back["coils/K30"].n == 600
    assert back["coils/K30"].mad == pytest.approx(3.0, rel=0.2)
