"""`metercap.open` over a real pseudo-terminal with the outside meter: found, named, pulled, closed."""

from __future__ import annotations

import contextlib
import logging
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

import metercap
from metercap.clock import ScaledClock
from metercap.errors import LinkError, ProfileError
from metercap.link.ports import announced
from metercap.link.tape import Arrival, tape_lines
from metercap.records import LinkState
from tests.e2e import outside_meter
from tests.e2e.outside_meter import Meter, Shown, lcd14

pytestmark = pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="needs pseudo-terminals and /proc")


@pytest.fixture
def meter(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Meter]:
    """A meter of 10 conversions a second on a port that can be found, and settings of its own."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "settings"))
    with Meter(tmp_path, rate=10.0) as meter, announced(str(meter.path), "outside meter"):
        yield meter


def opened(path: Path) -> bool:
    """Return whether this process has the port open by its name, beside the meter's own two ends."""
    port = os.path.realpath(path)
    count = 0
    for link in Path("/proc/self/fd").iterdir():
        with contextlib.suppress(FileNotFoundError):
            count += str(link.readlink()) == port
    return count > 1


def test_a_named_meter_is_read_and_its_port_closed(meter: Meter) -> None:
    """Readings come one by one with what the display shows, until the block ends; then the port is free."""
    meter.tips = 0.3
    with metercap.open(str(meter.path), "lcd14") as readings:
        assert opened(meter.path)
        next(reading for reading in readings if reading.value is not None)
        three = [reading for reading, _ in zip(readings, range(3), strict=False)]
        assert [(reading.value, reading.unit) for reading in three] == [(0.3, "ohm")] * 3
        assert three[0].t_s < three[1].t_s < three[2].t_s
        taken = readings.opened_utc + timedelta(seconds=three[2].t_s)
        assert abs((datetime.now(UTC) - taken).total_seconds()) < 1.0
        meter.tips = Shown("1.523", "", "V", "dc")
        volts = next(reading for reading in readings if reading.unit == "V")
        assert volts.value == 1.523
        assert (readings.port, readings.meter) == (str(meter.path), "lcd14")
        assert readings.link is not None
        assert readings.link.state is LinkState.UP
    assert not opened(meter.path)
    assert list(readings) == []
    assert readings.read(0.1) is None
    assert "closed" in repr(readings)
    readings.close()


def test_a_meter_is_found_without_a_name(
    hastened: None, meter: Meter, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The only one that is heard, and that is told to the log."""
    monkeypatch.setattr(ScaledClock.__init__, "__defaults__", (outside_meter.HASTE, time.monotonic))
    meter.tips = 0.3
    with caplog.at_level(logging.INFO, "metercap"), metercap.open() as readings:
        assert next(reading for reading in readings if reading.value is not None).value == 0.3
        assert readings.port == str(meter.path)
    assert f"meter lcd14 heard on {meter.path}" in caplog.text


def test_a_port_or_meter_that_is_none_is_refused(meter: Meter, tmp_path: Path) -> None:
    """As the commands refuse it."""
    with pytest.raises(LinkError):
        metercap.open(str(tmp_path / "none"), "lcd14")
    with pytest.raises(ProfileError):
        metercap.open(str(meter.path), "lcd15")


def test_a_silent_meter_ends_no_wait_but_a_limited_one(meter: Meter, caplog: pytest.LogCaptureFixture) -> None:
    """`read` gives up after its time; what is wrong is in `link` and in the log."""
    with metercap.open(str(meter.path), "digits14") as readings:  # the meter sends other frames
        began = time.monotonic()
        assert readings.read(3.5) is None
        assert 3.4 < time.monotonic() - began < 5.0
        assert readings.link is not None
        assert readings.link.state is LinkState.GARBAGE
        assert readings.garbage > 100
    assert "bytes arrive but fit no frame" in caplog.text


def test_a_cable_that_comes_back_goes_on(meter: Meter) -> None:
    """Pulled and plugged again, behind another pseudo-terminal: the same iterator goes on."""
    meter.tips = 0.3
    with metercap.open(str(meter.path), "lcd14") as readings:
        before = next(readings)
        meter.unplug()
        while readings.link is None or readings.link.state is not LinkState.LOST:
            readings.read(0.2)
        meter.plug()
        after = readings.read(10.0)
        assert after is not None
        assert after.t_s > before.t_s
        assert str(readings.link.state) == "up"


def test_a_tape_ends(tmp_path: Path) -> None:
    """What was recorded is read to its end, and no longer."""
    tape = tmp_path / "two.tape"
    frames = [Arrival(0.1 * n, lcd14(Shown(f"{n}.0"))) for n in (1, 2)]
    tape.write_text("".join(tape_lines(frames)), "utf-8")
    with metercap.open(f"tape:{tape}", "lcd14", rate=10.0) as readings:
        assert [(reading.t_s >= 0.1, reading.value) for reading in readings] == [(True, 1.0), (True, 2.0)]
        assert readings.profile.conversions_per_s == 10.0


README = Path(__file__).parents[2] / "README.md"
SESSIONS = Path(__file__).parents[2] / "fixtures" / "sessions"


def test_the_readme_s_lines_run_as_written(hastened: None, meter: Meter, tmp_path: Path) -> None:
    """What "From Python" shows, in a folder that holds a session: the meter is found, tables are shown, F3 is drawn."""
    pytest.importorskip("pandas")
    section = README.read_text("utf-8").partition("## From Python")[2]
    code = section.partition("```python\n")[2].partition("```")[0]
    assert code.count("\n") < 15
    meter.tips = 0.3
    shutil.copy(SESSIONS / "good-sweep.jsonl", tmp_path / "b.jsonl")
    quick = "from metercap.clock import ScaledClock as Clock; from time import monotonic"
    quick += f"; Clock.__init__.__defaults__ = {outside_meter.HASTE}, monotonic\n"
    command = [sys.executable, "-c", quick + code]
    ended = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert ended.returncode == 0, ended.stderr
    lines = ended.stdout.splitlines()
    assert lines[0].startswith("0.3 ohm since 20")
    assert [line.split()[2] for line in lines[2:]] == ["leads", "F1", "F2", "F3", "F4", "leads-after"]
    assert (tmp_path / "f3.svg").read_text("utf-8").startswith("<svg ")
