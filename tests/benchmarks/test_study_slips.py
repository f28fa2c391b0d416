"""Slips that must not count, and the pace that is left: every class of meter, T measured before.

A class is what dial and range do; each goes through all rates, lines and a smoothed display.

    pytest -m slow tests/benchmarks/test_study_slips.py -s

After every tick the hand slips off for up to `recontact_s` and is back on the same fuse; credited to the next one, that
would be a wrong tick. Nobody notices here, and no count check is heeded: what counts is what the rule lets through.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import msgspec
import pytest

from tests.benchmarks.fuse_study import (
    KINDS,
    LINES,
    RATES,
    RECONTACT_S,
    STEADY,
    Case,
    Table,
    by_ear_s,
    in_process,
    meter_of,
    over_cores,
    scene_of,
)
from tests.bounds import upper_bound

ROW = 100
SLIPPING = msgspec.structs.replace(STEADY, slips_after=1.0, slip_s=RECONTACT_S, notices=0.0)
SLIPS = 5_000
SETS = {"first": 50_000, "second": 860_000}
"""Where each set of seeds begins; the second was drawn after the rules were fixed."""
TOO_SHORT = "T 30 % too small"

CLASSES = [(rate, kind) for rate in RATES for kind in KINDS]


def class_of(n: int) -> tuple[Case, list[str]]:
    """Meter n and its rows: class and rate go round, line and smoothing with each round; two frames a conversion."""
    rate, kind = CLASSES[n % len(CLASSES)]
    turn = n // len(CLASSES)
    line = list(LINES)[turn % len(LINES)]
    family = "digits14" if rate > 5.0 else "lcd14"
    case = meter_of(rate, kind, line, "rate as stated", smooth=0.5 * (turn % 5 == 4), family=family, repeats=2)
    return case, [kind, f"{rate:3.0f}/s", f"{rate:3.0f}/s {kind}", *case.rows[1:2], *case.rows[3:]]


def slipping(seeds: Sequence[int]) -> Table:
    """Sweep a row of sound fuses a seed, T known."""
    table = Table()
    for seed in seeds:
        case, rows = class_of(seed)
        table.add(in_process(scene_of(seed, case.spec, SLIPPING, ROW, blown=0.0), known=True), rows)
    return table


def too_short(seeds: Sequence[int]) -> Table:
    """The same where the profile says that the meter is 1/0.7 as fast as it is, and nothing was measured before."""
    table = Table()
    for seed in seeds:
        case, rows = class_of(seed)
        spec = msgspec.structs.replace(case.spec, stated_per_s=case.rate / 0.7)
        table.add(in_process(scene_of(seed, spec, SLIPPING, ROW, blown=0.0)), rows)
    return table


def credited(table: Table) -> str:
    """A line a class: slips, and how many of them were credited to the next fuse."""
    lines = [f"{'slips up to recontact_s':30}{'slips':>7}{'credited':>9}{'at most (95 %)':>16}"]
    for row, count in sorted(table.count.items()):
        wrong, slips = count["wrong"] + count["flagged"], count["slips"]
        lines.append(f"{row.strip('~ '):30}{slips:7}{wrong:9}{upper_bound(wrong, slips):16.2g}")
    return "\n".join(lines)


def test_no_slip_is_credited_to_the_next_fuse() -> None:
    """One row of every fourth class."""
    table = slipping(range(SETS["first"] - 36, SETS["first"], 4))
    assert table["slips"] > 800
    assert table["wrong"] + table["flagged"] == 0


@pytest.mark.slow
@pytest.mark.timeout(7200)
@pytest.mark.parametrize("name", SETS)
def test_five_thousand_slips_a_class(name: str, told: Callable[[str], None]) -> None:
    """No slip of any class is credited, whatever the line."""
    seeds = range(SETS[name], SETS[name] + len(KINDS) * (SLIPS // (ROW - 1) + 1))
    table = over_cores(slipping, seeds)
    told(f"seeds {seeds[0]} to {seeds[-1]}\n{credited(table)}\n" + "\n".join(table.lines(by_ear_s(STEADY))))
    assert min(table.count[kind]["slips"] for kind in KINDS) >= SLIPS
    assert table["wrong"] + table["flagged"] == 0


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_slips_where_the_profile_states_a_faster_meter(told: Callable[[str], None]) -> None:
    """T is 30 % too small until it is measured: how many slips are credited meanwhile; printed, and few."""
    table = over_cores(too_short, range(SETS["first"], SETS["first"] + 8 * len(CLASSES)))
    told(f"T 30 % too small\n{credited(table)}")
    assert upper_bound(table["wrong"] + table["flagged"], table["slips"]) < 0.01


def paced(seeds: Sequence[int]) -> Table:
    """Sweep a row of sound fuses without any mistake, T known, on plain lines."""
    table = Table()
    for seed in seeds:
        rate, kind = CLASSES[seed % len(CLASSES)]
        family = "digits14" if rate > 5.0 else "lcd14"
        case = meter_of(rate, kind, "plain line", "rate as stated", family=family, repeats=2)
        table.add(in_process(scene_of(seed, case.spec, STEADY, 30, blown=0.0), known=True), [case.rows[0], "~ all"])
    return table


@pytest.mark.slow
@pytest.mark.timeout(1800)
def test_the_whole_cycle_beside_the_one_by_ear(told: Callable[[str], None]) -> None:
    """Lift to lift, in the air, on the fuse, and how many times as long as by ear; section by class of meter."""
    ear_s = by_ear_s(STEADY)
    table = over_cores(paced, range(SETS["first"], SETS["first"] + 4 * len(CLASSES)))
    told(f"by ear {ear_s:.2f} s\n" + "\n".join(table.lines(ear_s)))
    assert 1.6 <= ear_s <= 1.8
