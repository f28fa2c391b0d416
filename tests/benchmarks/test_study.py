"""The study of ticking: random fuses, hands that err as people do, slow meters and fast; wrong, flagged and missed.

    pytest -m slow tests/benchmarks/test_study.py -s

Meters, hands and marks are those of `fuse_study`. The second set of seeds was drawn after the rules were fixed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import msgspec
import pytest

from tests.benchmarks.fuse_study import ERRING, Table, by_ear_s, case_of, in_process, over_a_port, over_cores, scene_of

SETS = {"first": 20_000, "second": 731_000}
"""Where each set of seeds begins."""
SESSIONS = 1_667
"""Of twelve fuses each: 20 004."""
BLIND = msgspec.structs.replace(ERRING, notices=0.0)


def studied(seeds: Sequence[int], hands: object = ERRING) -> Table:
    """Run sessions in process, each on a meter of its own."""
    table = Table()
    for seed in seeds:
        case = case_of(seed)
        table.add(in_process(scene_of(seed, case.spec, hands)), case.rows, plain=case.plain)  # type: ignore[arg-type]
    return table


def blindly(seeds: Sequence[int]) -> Table:
    """The same sessions by hands that notice no second tick on one fuse."""
    return studied(seeds, BLIND)


def check(table: Table) -> None:
    """What the study must show."""
    assert table["wrong"] == 0
    assert table["false pass"] == 0
    assert all(failed.n >= 4 for failed in table.failed)  # never by one touch alone
    assert max(table.over) <= 1.05


def test_hundreds_of_fuses_leave_no_wrong_tick_that_nothing_flags() -> None:
    """40 meters of the study, one row each: mistakes are made, and every one is flagged."""
    table = studied(range(SETS["first"] - 40, SETS["first"]))
    assert table["fuses"] == 480
    assert table["mistakes"] > 50
    assert table["flagged"] > 0
    check(table)


@pytest.mark.slow
@pytest.mark.timeout(3600)
@pytest.mark.parametrize("name", SETS)
def test_twenty_thousand_fuses(name: str, told: Callable[[str], None]) -> None:
    """No wrong tick stands unflagged; every good fuse is ticked within one conversion of the least possible."""
    seeds = range(SETS[name], SETS[name] + SESSIONS)
    table = over_cores(studied, seeds)
    told(f"in process, seeds {seeds[0]} to {seeds[-1]}\n" + "\n".join(table.lines(by_ear_s(ERRING))))
    check(table)


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_hands_that_notice_nothing(told: Callable[[str], None]) -> None:
    """What then stands wrong took two opposite mistakes in one row, with a second tick on one fuse among them."""
    table = over_cores(blindly, range(SETS["first"], SETS["first"] + SESSIONS))
    told("hands that do not notice a second tick on one fuse\n" + "\n".join(table.lines(by_ear_s(ERRING))))
    assert table.twice_wrong[False] == 0


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_two_hundred_fuses_over_a_pseudo_terminal(tmp_path: Path, told: Callable[[str], None]) -> None:
    """The same through a serial port, at twenty times the speed: no wrong tick stands unflagged."""
    pytest.importorskip("pty")
    table = Table()
    for seed in range(SETS["first"] + 5000, SETS["first"] + 5017):
        case = case_of(seed)
        scene = scene_of(seed, case.spec, ERRING)
        table.add(over_a_port(scene, tmp_path / f"{seed}.jsonl", 20.0), case.rows)
    told("over a pseudo-terminal\n" + "\n".join(table.lines(by_ear_s(ERRING))))
    assert table["fuses"] >= 200
    assert table["wrong"] == 0
    assert table["false pass"] == 0
