"""What a record costs in `append`, and until it is on this machine's disk. Run with -m slow; figures are printed."""

from __future__ import annotations

import math
import os
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from metercap.journal import Writer, verify
from metercap.meter import MeterProfile
from metercap.quantity import Quantity
from metercap.reading import Reading, State
from metercap.records import Record, SessionRecord, Verdict, VerdictKind

pytestmark = pytest.mark.slow

SESSION = SessionRecord(
    t_s=0.0,
    schema=2,
    id="bench",
    start_utc="2031-03-04T05:06:07Z",
    zone_offset_s=0,
    unit="controller B",
    tag="B",
    operator="",
    known_good=False,
    plan={},
    meter=MeterProfile(name="lcd14", family="lcd14"),
    identity="",
    reference={},
    options={},
    inherited={},
    program="metercap",
)


def reading(index: int) -> Record:
    return Reading(
        t_s=index / 10,
        quantity=Quantity.RESISTANCE,
        value=index % 2000 / 10,
        resolution=0.1,
        unit="ohm",
        state=State.OK,
        flags=("auto",),
        raw="1f2b3d4a5e6f7d8a9eabbccdd0e8",
    )


@pytest.fixture
def tell(capsys: pytest.CaptureFixture[str]) -> Callable[[str], None]:
    """Print a figure past pytest's capture."""

    def out(text: str) -> None:
        with capsys.disabled():
            print(f"\n{text}", end="")  # noqa: T201

    return out


def quantile(values: list[float], share: float) -> float:
    """The smallest value that `share` of all do not exceed."""
    return sorted(values)[math.ceil(share * len(values)) - 1]


def test_append(tmp_path: Path, tell: Callable[[str], None]) -> None:
    """A reading costs microseconds, and even beside the thread's fsyncs 99 % of the appends take under 1 ms."""
    records = [reading(index) for index in range(200_000)]
    with Writer.create(tmp_path / "a.jsonl", SESSION) as writer:
        times = []
        for record in records:
            start = time.perf_counter()
            writer.append(record)
            times.append(time.perf_counter() - start)
        writer.close(20_000.0, "done")
    p50, p99 = quantile(times, 0.5), quantile(times, 0.99)
    tell(f"append at full speed: p50 {p50 * 1e6:.1f} us, p99 {p99 * 1e6:.1f} us, worst {max(times) * 1e3:.2f} ms")
    assert verify(tmp_path / "a.jsonl").state == "closed"
    assert p99 < 1e-3


def test_append_at_the_pace_of_a_meter(tmp_path: Path, tell: Callable[[str], None]) -> None:
    """At 50 readings/s the thread's fsync of the same file never holds an append up for long."""
    times = []
    with Writer.create(tmp_path / "a.jsonl", SESSION) as writer:
        for index in range(250):
            time.sleep(0.02)
            start = time.perf_counter()
            writer.append(reading(index))
            times.append(time.perf_counter() - start)
    tell(
        f"append at 50/s: p50 {quantile(times, 0.5) * 1e6:.1f} us, p99 {quantile(times, 0.99) * 1e6:.1f} us, "
        f"worst {max(times) * 1e3:.2f} ms"
    )
    assert quantile(times, 0.99) < 0.02


def test_sync(tmp_path: Path, tell: Callable[[str], None]) -> None:
    """What a verdict waits for, `append` and `sync`, against a bare write and fsync of the same bytes in one run."""
    verdict = Verdict(t_s=1.0, step="fuses", item="F1", verdict=VerdictKind.PASS, value=0.2, unit="ohm")
    ours, bare = [], []
    with Writer.create(tmp_path / "a.jsonl", SESSION) as writer, (tmp_path / "b").open("wb", buffering=0) as file:
        for _ in range(400):
            start = time.perf_counter()
            line = writer.append(verdict)
            assert writer.sync()
            ours.append(time.perf_counter() - start)
            start = time.perf_counter()
            file.write(line)
            os.fsync(file.fileno())
            bare.append(time.perf_counter() - start)
    for name, times in (("append + sync", ours), ("bare write + fsync", bare)):
        p50, p99 = quantile(times, 0.5), quantile(times, 0.99)
        tell(f"{name}: p50 {p50 * 1e3:.2f} ms, p99 {p99 * 1e3:.2f} ms, worst {max(times) * 1e3:.2f} ms")
    assert quantile(ours, 0.5) < 2 * quantile(bare, 0.5) + 1e-3
