"""The same history on a Dask cluster, to the last digit: of threads here, of processes one of which is killed."""

from __future__ import annotations

import os
import signal
import socket
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

import pytest

from metercap.errors import FileProblem, UsageError
from metercap.fleet import cluster as cluster_module
from metercap.fleet import gather
from metercap.fleet.cluster import cluster
from metercap.fleet.count import sessions_of
from metercap.history.summary import Summary, summary
from tests.archive.shop import Shop, job
from tests.fleet.conftest import GAINS, export, of_folder, of_set, parts

distributed = pytest.importorskip("distributed", reason="needs dask and distributed (extra fleet)")


def local(**more: Any) -> Any:
    """Return a cluster on this machine, without its page of figures."""
    plain = {"dashboard_address": ":0", "worker_dashboard_address": ":0", "silence_logs": 50}
    return distributed.LocalCluster(**plain, **more)


@pytest.fixture(scope="module")
def threads() -> Iterator[str]:
    """The address of a cluster of two threads in this process."""
    with local(processes=False, n_workers=1, threads_per_worker=2, protocol="tcp") as made:
        yield made.scheduler_address


def on(address: str, dataset: Path) -> Summary:
    """Return what a set says, counted on a cluster."""
    with cluster(address) as where:
        history, told = gather.set_history(dataset, pytest.fail, lambda text: None, where)
    assert told.unusable.n == 0
    return summary(history)


def test_a_cluster_of_threads(
    jobs: Path, tmp_path: Path, threads: str, monkeypatch: pytest.MonkeyPatch, metercap: Callable[..., Any]
) -> None:
    """More batches than wait at a time; the same by the command."""
    export(jobs, tmp_path / "set")
    monkeypatch.setattr(gather, "BATCH", 1)
    assert on(threads, tmp_path / "set") == of_folder(jobs)
    said = metercap("history", f"{tmp_path}/set", "--cluster", threads)
    assert said.out == metercap("history", f"{tmp_path}/set").out
    assert "18 sessions" in said.out


def test_what_is_stale_is_told_by_a_cluster_too(jobs: Path, tmp_path: Path, threads: str) -> None:
    """As it is here."""
    export(jobs, tmp_path / "set")
    path = parts(tmp_path / "set")[0]
    path.with_name(f".{path.stem}.part").touch()
    with cluster(threads) as where:
        history, told = gather.set_history(tmp_path / "set", pytest.fail, lambda text: None, where)
    found, here = of_set(tmp_path / "set")
    assert summary(history) == found
    assert (told, told.unusable.n, history.sessions) == (here, 1, 15)


def test_a_set_that_workers_do_not_see(
    jobs: Path, tmp_path: Path, threads: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Said once, with the machine, and not as thousands of parts that cannot be read."""
    export(jobs, tmp_path / "set")
    monkeypatch.setattr(gather, "sessions_of", lambda dataset, its: sessions_of(dataset / "elsewhere", its))
    with pytest.raises(FileProblem, match="there is no data set here") as caught, cluster(threads) as where:
        gather.set_history(tmp_path / "set", pytest.fail, lambda text: None, where)
    assert "every worker must see" in caught.value.hint


def test_another_version_on_a_worker(threads: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Which may count otherwise: refused before anything is counted."""
    monkeypatch.setattr(cluster_module, "program", lambda: "metercap 0.0")
    ask = distributed.Client.run
    monkeypatch.setattr(distributed.Client, "run", lambda self, function: ask(self, lambda: "metercap 9.9"))
    with pytest.raises(FileProblem, match=r"this is metercap 0\.0, and there is metercap 9\.9"), cluster(threads):
        pass


def test_no_scheduler_no_worker(tmp_path: Path) -> None:
    """In a second, with what to try; so is what is no address."""
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        port = held.getsockname()[1]
        for address in (f"tcp://127.0.0.1:{port}", "no such:thing", "ftp://x:1"):
            with pytest.raises(FileProblem, match="no scheduler answers"), cluster(address, wait_s=0.5):
                pass
    with (
        local(processes=False, n_workers=0, protocol="tcp") as made,
        pytest.raises(FileProblem, match="no worker"),
        cluster(made.scheduler_address, wait_s=0.3),
    ):
        pass


def test_without_dask_the_error_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    """The extra is named."""
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(UsageError, match=r"metercap\[fleet\]"), cluster("tcp://127.0.0.1:1"):
        pass


def test_only_a_set_is_counted_on_a_cluster(
    jobs: Path, metercap: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Folders are read here."""
    monkeypatch.delenv("METERCAP_TRACEBACK")
    said = metercap("history", str(jobs), "--cluster", "tcp://127.0.0.1:1")
    assert (said.status, "only a data set" in said.err) == (2, True)


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Two hundred jobs, and the set of them."""
    folder = tmp_path_factory.mktemp("many")
    maker = Shop(gains=GAINS)
    for number in range(200):
        job(folder / "jobs" / f"job-{number:03d}", maker, number)
    export(folder / "jobs", folder / "set")
    return folder / "jobs", folder / "set"


@pytest.mark.slow
@pytest.mark.attack
@pytest.mark.skipif(sys.platform == "win32", reason="signals")
def test_a_worker_killed_in_the_middle(
    many: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch, attack: Callable[[str], Any]
) -> None:
    """Processes; one is killed (SIGKILL) while it has work, in each of both passes: the answer is the folder's."""
    folder, dataset = many
    monkeypatch.setattr(gather, "BATCH", 4)
    killed: list[int] = []
    with (
        attack("a worker of the cluster killed").trial(),
        local(processes=True, n_workers=2, threads_per_worker=1) as made,
        distributed.Client(made, set_as_default=False) as watching,
        cluster(made.scheduler_address) as where,
    ):

        def murderous(work: Any, batches: Iterable[tuple[Any, ...]]) -> Iterator[Any]:
            for n, result in enumerate(where(work, batches)):
                if n == 5:
                    busy = [worker for worker, its in watching.processing().items() if its]
                    pid = watching.run(os.getpid, workers=busy[:1])[busy[0]]
                    os.kill(pid, signal.SIGKILL)
                    killed.append(pid)
                yield result

        history, told = gather.set_history(dataset, pytest.fail, lambda text: None, murderous)
    assert len(killed) == 2
    assert told.unusable.n == 0
    assert summary(history) == of_folder(folder)


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="signals")
def test_a_cluster_that_goes_away(many: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    """Its scheduler is gone in the middle: an error in words, in reasonable time, and never half a history."""
    monkeypatch.setattr(gather, "BATCH", 4)
    made = local(processes=True, n_workers=1, threads_per_worker=1)
    started_s = time.monotonic()
    with pytest.raises(FileProblem, match="the cluster gave up"), cluster(made.scheduler_address) as where:

        def cut(work: Any, batches: Iterable[tuple[Any, ...]]) -> Iterator[Any]:
            for n, result in enumerate(where(work, batches)):
                if n == 2:
                    made.close()
                yield result

        gather.set_history(many[1], pytest.fail, lambda text: None, cut)
    assert time.monotonic() - started_s < 60.0
