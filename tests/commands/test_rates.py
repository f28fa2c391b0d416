"""What was measured of a meter is kept by profile and port, and never worth failing for."""

from __future__ import annotations

from pathlib import Path

import pytest

from metercap import settings
from metercap.commands._rates import MOST, keep_rates, kept_rates
from metercap.quantity import Quantity

OHMS, CONTINUITY = Quantity.RESISTANCE, Quantity.CONTINUITY


@pytest.fixture(autouse=True)
def _folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(settings, "folder", lambda: tmp_path / "settings")


def test_what_was_kept_comes_back_for_this_profile_and_port_only() -> None:
    """Another quantity is kept beside it; another port and another profile know nothing."""
    told: list[str] = []
    keep_rates("lcd14", "/dev/ttyUSB0", {OHMS: 0.2})
    keep_rates("lcd14", "/dev/ttyUSB0", {CONTINUITY: 0.1})
    assert kept_rates("lcd14", "/dev/ttyUSB0", told.append) == {OHMS: 0.2, CONTINUITY: 0.1}
    assert kept_rates("lcd14", "/dev/ttyUSB1", told.append) == {}
    assert kept_rates("text", "/dev/ttyUSB0", told.append) == {}
    assert told == []


@pytest.mark.parametrize(
    "broken", ["", "{", '{"conversion_s": 3}', '{"conversion_s": {"a b": {"no such": 1}}}', "\0" * 9]
)
def test_a_broken_file_is_told_and_counts_as_empty(broken: str) -> None:
    """It is never fatal, and the next session writes it anew."""
    settings.folder().mkdir(parents=True)
    (settings.folder() / "rates.json").write_text(broken)
    told: list[str] = []
    assert kept_rates("lcd14", "p", told.append) == {}
    assert len(told) == 1
    keep_rates("lcd14", "p", {OHMS: 0.2})
    assert kept_rates("lcd14", "p", told.append) == {OHMS: 0.2}
    assert len(told) == 1


@pytest.mark.parametrize("impossible", [0.0, -1.0, 1e9])
def test_times_that_no_meter_has_are_passed_over(impossible: float) -> None:
    """A file that was edited by hand cannot make a lift last for ever, or no time at all."""
    keep_rates("lcd14", "p", {OHMS: impossible, CONTINUITY: 0.1})
    assert kept_rates("lcd14", "p", lambda _: None) == {CONTINUITY: 0.1}


def test_the_file_stays_small() -> None:
    """The meter used longest ago is forgotten first."""
    for n in range(MOST + 5):
        keep_rates("lcd14", f"p{n}", {OHMS: 0.2})
    assert kept_rates("lcd14", "p4", lambda _: None) == {}
    assert kept_rates("lcd14", "p5", lambda _: None) == {OHMS: 0.2}
