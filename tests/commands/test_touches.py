"""`identify` measures how often a meter converts while its tips are touched; the meter is the outside one."""

from __future__ import annotations

import json
import random
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from metercap import settings
from metercap.commands import _touches
from metercap.commands._rates import kept_rates
from metercap.commands._touches import Touches, measure, touches_text
from metercap.profiles import find_meter
from metercap.quantity import Quantity
from tests.e2e.outside_meter import OPEN, Meter, Shown
from tests.e2e.program import run
from tests.screen.terminal import Terminal

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")

OHMS, VOLTS = Quantity.RESISTANCE, Quantity.VOLTAGE_DC


@contextmanager
def fingers(meter: Meter, *, volts_after_s: float = 1e9) -> Iterator[None]:
    """Touch the tips together and part them, about a second each, the last digit never still; volts after a while."""
    over, r = threading.Event(), random.Random(7)

    def run() -> None:
        t_s = 0.0
        while not over.wait(0.05):
            t_s += 0.05
            if t_s > volts_after_s:
                meter.tips = Shown(f"{r.randint(0, 3999) / 1000:.3f}", "", "V", "dc")
            else:
                meter.tips = OPEN if t_s % 2.0 > 1.3 else 0.2 + 0.1 * r.randint(0, 5)

    thread = threading.Thread(target=run)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()


def test_a_rate_is_measured_said_and_kept(tmp_path: Path) -> None:
    """10 conversions a second, each sent twice, where the profile says 2: 0.1 s, and the next session begins so."""
    with Meter(tmp_path, rate=10.0, repeats=2) as meter, fingers(meter):
        args = ["identify", "--port", str(meter.path), "--meter", "lcd14", "--touch", "4", "--keep"]
        done = run(*args, "--json", XDG_CONFIG_HOME=str(tmp_path), HOME=str(tmp_path))
        assert done.status == 0, done.err
        rates = json.loads(done.out)["rates"]
        assert rates["conversion_s"]["resistance"] == pytest.approx(0.1, rel=0.05)
        assert (rates["untold"], rates["kept"]) == ([], True)
        assert "touch the tips together" in done.err
        args = ["watch", "--port", str(meter.path), "--meter", "lcd14", "--count", "1", "--json", "--no-save"]
        assert run(*args, XDG_CONFIG_HOME=str(tmp_path), HOME=str(tmp_path)).status == 0
    if sys.platform == "linux":
        kept = json.loads((tmp_path / "metercap" / "rates.json").read_text())["conversion_s"]
        assert kept == {f"lcd14 {meter.path}": rates["conversion_s"]}


@pytest.mark.slow
def test_each_quantity_has_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The dial is turned on the way: both are measured, and it ends by itself long before its time.

    The same from a tape, below, is quick.
    """
    monkeypatch.setattr(_touches, "SETTLED_S", 3.0)
    with Meter(tmp_path, rate=10.0) as meter, fingers(meter, volts_after_s=3.0):
        found = measure(str(meter.path), find_meter("lcd14"), 60.0)
    assert found.times_s == {OHMS: pytest.approx(0.1, rel=0.05), VOLTS: pytest.approx(0.1, rel=0.05)}
    assert found.untold == ()
    assert found.seconds < 30.0


def test_a_display_that_stands_still_tells_nothing(tmp_path: Path) -> None:
    """No change, no rate: said, with what to try; nothing is kept, and the status is that of the finding."""
    with Meter(tmp_path, rate=10.0) as meter:
        args = ["identify", "--port", str(meter.path), "--meter", "lcd14", "--touch", "0.8", "--keep"]
        done = run(*args, XDG_CONFIG_HOME=str(tmp_path), HOME=str(tmp_path))
    assert done.status == 0
    assert "resistance: not measured" in done.out.decode()
    assert "pencil line" in done.out.decode()
    assert not (tmp_path / "metercap" / "rates.json").exists()


@pytest.mark.skipif(sys.platform != "linux", reason="looks into the settings where Linux has them")
@pytest.mark.parametrize(("answer", "kept"), [("y", True), ("n", False)])
def test_in_a_terminal_it_is_offered(tmp_path: Path, answer: str, kept: bool) -> None:
    """Without an option: asked for touches, measured, and kept only on yes. (It waits less long for more to learn.)"""
    less = "from metercap.commands import _touches; _touches.SETTLED_S = 1.0; from metercap.cli import main; main()"
    with Meter(tmp_path, rate=10.0) as meter, fingers(meter):
        args = ["identify", "--port", str(meter.path), "--meter", "lcd14"]
        shown = Terminal(["-c", less, *args], columns=200, XDG_CONFIG_HOME=str(tmp_path), HOME=str(tmp_path))
        try:
            shown.until("now touch the tips together")
            shown.until("a new value every")
            shown.until("Keep it for this meter on this port?")
            shown.keys(answer.encode() + b"\r")
            assert shown.ended() == 0
        finally:
            shown.close()
    assert (tmp_path / "metercap" / "rates.json").exists() is kept


def test_nothing_is_measured_on_a_pipe_unasked(tmp_path: Path) -> None:
    """No option, no terminal: as before, and `rates` is not there."""
    with Meter(tmp_path, rate=20.0) as meter:
        done = run("identify", "--port", str(meter.path), "--meter", "lcd14", "--json")
    assert "rates" not in json.loads(done.out)
    assert "touch the tips" not in done.err


def test_one_meter_must_be_named(metercap: Callable[..., Any]) -> None:
    """--touch and --keep without --port are refused."""
    for option in (["--touch", "5"], ["--keep"]):
        said = metercap("identify", *option)
        assert (said.status, "--port" in said.err) == (2, True)


def test_a_tape_is_no_meter(metercap: Callable[..., Any], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its rate is measured and said (0.08 s by its own times), and never kept."""
    monkeypatch.setattr(settings, "folder", lambda: tmp_path / "settings")
    frames = [b"%d.%d ohm\r\n" % divmod(n * 7 % 50, 10) for n in range(60)]
    rows = "".join(f"{0.08 * n:.3f} {frame.hex()}\n" for n, frame in enumerate(frames, 1))
    (tmp_path / "tape").write_text(f"metercap tape 1\n{rows}", encoding="utf-8")
    port = f"tape:{tmp_path / 'tape'}"
    said = metercap("identify", "--port", port, "--meter", "text", "--touch", "2.5", "--keep", "--json")
    rates = json.loads(said.out)["rates"]
    assert rates["conversion_s"]["resistance"] == pytest.approx(0.08, rel=0.03)
    assert rates["kept"] is False
    assert kept_rates("text", port, lambda _: None) == {}


def test_a_quantity_that_stands_still_at_first_is_waited_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ohms are measured, volts come and do not change for longer than the patience: still it goes on until they do."""
    monkeypatch.setattr(_touches, "SETTLED_S", 0.5)
    t_s, rows = 0.0, ["metercap tape 1"]
    for n in range(200):  # for longer than it is watched: that it is measured is what ends it
        t_s += 0.04
        volts = b"0.500 V DC" if n < 55 else b"0.%d00 V DC" % (n * 7 % 10)
        line = b"%d.%d ohm" % divmod(n * 7 % 50, 10) if n < 25 else volts
        rows.append(f"{t_s:.3f} {(line + bytes([13, 10])).hex()}")
    (tmp_path / "tape").write_text("\n".join(rows) + "\n", encoding="utf-8")
    found = measure(f"tape:{tmp_path / 'tape'}", find_meter("text"), 6.0)
    assert found.times_s == {OHMS: pytest.approx(0.04, rel=0.05), VOLTS: pytest.approx(0.04, rel=0.05)}
    assert found.seconds < 5.5


def test_words() -> None:
    """By hand: 0.4 s is 2.5 a second; what is not known is said with what to try; silence has its reason."""
    profile = find_meter("lcd14")
    lines = touches_text(Touches({OHMS: 0.4}, (VOLTS,), 9.0), profile)
    assert lines[0] == "  resistance: a new value every 0.4 s (2.5 a second; the profile says 2)"
    assert lines[1].startswith("  voltage dc: not measured")
    assert touches_text(Touches({}, (), 9.0, "cable pulled"), profile) == ["  no reading came: cable pulled"]
