"""The first screen: drawn for any size, and in a real terminal with a meter that is not ours."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from metercap.link.ports import announced
from metercap.screen.start import Choice, Plugged, paint_start
from tests.e2e.outside_meter import Meter
from tests.e2e.program import command
from tests.screen.terminal import Terminal

CHOICES = (Choice("s", "sweep", "tick fuses off"), Choice("w", "watch", "show readings"), Choice("q", "quit", ""))


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60), (40, 12), (1, 1), (20, 3)])
def test_every_size_is_drawn_whole(size: tuple[int, int]) -> None:
    """The canvas has the terminal's size; from 80 × 24 on every key, the value, the meter and the last session show."""
    columns, rows = size
    lines = paint_start(columns, rows, Plugged("0.2 Ω", "meter lcd14 on /dev/x"), "last: B, sweep", CHOICES).lines()
    assert len(lines) == rows
    assert all(len(line) == columns for line in lines)
    if columns >= 80:
        text = "\n".join(lines)
        for part in ("meter lcd14 on /dev/x", "last: B, sweep", " s   sweep", " w   watch", " q   quit", "█"):
            assert part in text, part


def test_long_advice_is_wrapped_and_never_covers_the_keys() -> None:
    """Two lines of advice at most, above the keys."""
    told = "no meter is heard: turn the meter's send mode on and seat its head; " * 4
    lines = paint_start(80, 24, Plugged("", told, well=False), "", CHOICES).lines()
    assert "no meter is heard" in "\n".join(lines)
    assert lines[-4].strip() == "s   sweep        tick fuses off"


@pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")
@pytest.mark.usefixtures("hastened")
@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (120, 40)])
def test_in_a_real_terminal_the_meter_is_found_and_read(
    columns: int, rows: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`metercap` alone hears the meter, names it, shows its value; q gives the terminal back with status 0."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "settings"))
    with Meter(tmp_path, rate=10.0) as meter, announced(str(meter.path), "outside"):
        meter.tips = 123.4
        terminal = Terminal(command()[1:], columns, rows)
        try:
            terminal.until("quit")
            terminal.until("meter lcd14 on")
            terminal.until("█")  # the value in large letters
            terminal.keys(b"x")  # a key that means nothing
            terminal.read(0.2)
            terminal.keys(b"q")
            assert terminal.ended() == 0
            assert terminal.usable()
        finally:
            terminal.close()
