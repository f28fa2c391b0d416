"""Scoring a sample: the right profile comes first, noise fits none."""

from __future__ import annotations

from pathlib import Path

import pytest

from metercap.profiles import find_meter, meter_names
from metercap.quantity import Quantity
from metercap.wire.identify import rank, score

FOLDER = Path(__file__).parents[2] / "fixtures" / "bytes"
PROFILES = [profile for name in meter_names() if not (profile := find_meter(name)).like]


@pytest.mark.parametrize(
    ("sample", "name"),
    [
        ("lcd14-two-fuses.bin", "lcd14"),
        ("lcd14-damaged.bin", "lcd14"),
        ("digits14-round.bin", "digits14"),
        ("polled-line-round.bin", "polled-line"),
        ("text-homemade.txt", "text"),
        ("scpi-answers.txt", "scpi"),
    ],
)
def test_the_meter_s_own_profile_comes_first(sample: str, name: str) -> None:
    """Every recorded stream is told apart, and no other profile but its relatives reads a single byte of it."""
    best, *others = rank(PROFILES, (FOLDER / sample).read_bytes())
    assert best.profile == name
    assert best.readings > 0
    assert all(other.read_bytes == 0 for other in others)


def test_a_score_counts_bytes() -> None:
    """Bytes read, readings, quantities in the order seen, and what was wrong most often."""
    found = score(find_meter("polled-line"), b"OH  000.3 Ohm\rXX 1234  Ohm\r\r" + b"DC- 5.470   V\r")
    assert (found.sample_bytes, found.read_bytes, found.readings) == (42, 28, 2)
    assert found.quantities == (Quantity.RESISTANCE, Quantity.VOLTAGE_DC)
    assert found.share == pytest.approx(28 / 42)
    assert "13 bytes" in found.why


def test_nothing_and_noise_fit_nothing() -> None:
    """An empty sample has a share of 0; noise reads as nothing in every profile."""
    for profile in PROFILES:
        assert score(profile, b"").share == 0.0
        assert score(profile, bytes(range(256)) * 8).readings == 0
