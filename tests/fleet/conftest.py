"""Jobs of a shop, made in process, and what a folder and a data set of them say."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from metercap.archive.gather import gathered
from metercap.fleet.count import SetTold
from metercap.fleet.gather import set_history
from metercap.fleet.save import Saved, save_set
from metercap.history.summary import Summary, summary
from tests.archive.shop import START, Shop, job
from tests.commands.conftest import metercap

__all__ = ["metercap"]

pytest.importorskip("pyarrow")

NOW = START + datetime.timedelta(days=300)
GAINS = {"SN 1": 1.0, "SN 2": 1.02}


def export(jobs: Path | Sequence[Path], dataset: Path, bench: str = "") -> Saved:
    """Bring jobs into a set."""
    many = [jobs] if isinstance(jobs, Path) else jobs
    return save_set([str(each) for each in many], dataset, bench, pytest.fail, lambda text: None, NOW)


def of_folder(*jobs: Path) -> Summary:
    """Return what the journals themselves say."""
    history, _ = gathered([str(each) for each in jobs], None, pytest.fail, lambda files, read: None, NOW)
    return summary(history)


def of_set(dataset: Path) -> tuple[Summary, SetTold]:
    """Return what the set says."""
    history, told = set_history(dataset, pytest.fail, lambda text: None)
    return summary(history), told


def parts(dataset: Path) -> list[Path]:
    """Return the set's parts, and whatever else has no name of its own there."""
    return sorted(path for path in dataset.rglob("*") if path.is_file() and path.name != "_dataset.json")


@pytest.fixture
def shop() -> Shop:
    """Two meters, one of which reads 2 % high."""
    return Shop(gains=GAINS)


@pytest.fixture
def jobs(tmp_path: Path, shop: Shop) -> Path:
    """Six jobs of three sittings."""
    for number in range(6):
        job(tmp_path / "jobs" / f"job-{number}", shop, number, 3)
    return tmp_path / "jobs"


Make = Callable[..., Path]
