"""A job on the practice bench: units in turn on one mat, told where to go by errands."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from metercap.clock import ScaledClock
from metercap.commands._by_hand import Grip
from metercap.commands._pair import hand_mat, play_job
from metercap.errors import SceneError
from metercap.journal import read
from metercap.plankeys import ConfirmStep
from metercap.practice.mat import load_job_scene
from metercap.practice.port import PracticePort
from metercap.profiles import find_meter
from metercap.records import EndRecord, Operator, Record, Verdict, VerdictKind
from tests.steps.bench_play import opening


def journals(folder: Path) -> dict[str, list[Record]]:
    """The records of a job's journals, in their order, by number and tag."""
    return {path.stem: list(read(path).records) for path in sorted(folder.glob("*.jsonl"))}


@pytest.mark.parametrize("seed", [12, 3])
def test_a_job_is_played_as_life_has_it(seed: int, tmp_path: Path) -> None:
    """B needs A's value, then A's fuses are swept while B's clock waits; cells and switches as the scene says."""
    played = play_job(load_job_scene("gc8-pair"), tmp_path / "pair", speed=1000.0, seed=seed, plain=True)
    assert played.untrue == ()
    kept = journals(tmp_path / "pair")
    assert [name[-1] for name in kept] == ["B", "A", "B", "A", "B", "A"]
    ends = [end.reason for records in kept.values() if isinstance(end := records[-1], EndRecord)]
    assert ends == ["parked"] * 5 + ["done"]
    first, good, second, swept = (records for records in list(kept.values())[:4])
    said = [(one.word, one.text) for one in first if isinstance(one, Operator)]
    assert ("replaced", "") in said and said[-1] == ("take", "A")
    cover = [one.verdict for one in first if isinstance(one, Verdict) and one.item == "S1"]
    assert cover == [VerdictKind.FAIL, VerdictKind.FAIL, VerdictKind.PASS], "cleaned twice"
    values = [one.value for one in good if isinstance(one, Verdict) and one.item == "RV1"]
    (turned,) = [one for one in second if isinstance(one, Verdict) and one.item == "RV1"]
    assert turned.target == pytest.approx(values[-1], rel=1e-5), "what B is turned to is what A measured"
    ticked = [one.item for one in swept if isinstance(one, Verdict) and one.step == "fuses" and one.n]
    assert len(ticked) == 12
    calls = [one.text for one in swept if type(one).__name__ == "Note" and "wait of clock is over" in one.text]
    assert len(calls) == 1 and calls[0].startswith("B:")


@pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")
def test_a_persons_hands_are_on_the_unit_on_the_mat() -> None:
    """Moves and taps reach the board of the unit that was taken last; a board that comes back is as it was left."""
    mat = hand_mat(load_job_scene("gc8-pair"), speed=20.0)

    def sit(tag: str) -> None:
        record = opening([ConfirmStep(id="ready", say="ready?")], find_meter("lcd14"), tag=tag)
        port.at_once(lambda t_s: mat.sit(record, t_s, t_s))

    with PracticePort(mat, ScaledClock(20.0)) as port:
        grip = Grip(port)
        sit("B")
        first = mat.board
        assert grip.tap("F1") == "" and grip.status == "tips on F1"
        sit("A")
        assert grip.status == "tips in the air" and mat.board is not first and "RV1" in grip.points
        assert "this board has no F99" in grip.tap("F99")
        assert grip.tap("F2") == "" and grip.status == "tips on F2"
        assert grip.tap("") == "" and grip.status == "tips in the air"
        sit("B")
        assert mat.board is first
    assert port.problem is None


def test_a_job_that_is_not_there() -> None:
    """Its name is answered with those that are."""
    with pytest.raises(SceneError, match="gc8-pair"):
        load_job_scene("gc8-pear")
