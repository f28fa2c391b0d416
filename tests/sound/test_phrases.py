"""Speech: units in full, names letter by letter, nothing an engine could take for a command."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from metercap.sound.phrases import MOST, speakable


@pytest.mark.parametrize(
    ("text", "spoken"),
    [
        ("B, F7", "B, F 7"),
        ("RV1 pass 1.500 kΩ", "R V 1 pass 1.500 kilo ohm"),
        ("F4 fail 38.4 Ω", "F 4 fail 38.4 ohm"),
        ("-12.5 mV", "minus 12.5 millivolt"),
        ("set 10 µF, then 2 min", "set 10 microfarad, then 2 minutes"),
        ("F1-F12", "F 1-F 12"),
        ("100 %", "100 percent"),
        ("", ""),
    ],
)
def test_spoken(text: str, spoken: str) -> None:
    """Examples, as an ear expects them."""
    assert speakable(text) == spoken


@given(st.text(max_size=400))
def test_nothing_hostile_is_spoken(text: str) -> None:
    """Whatever a plan says, only letters, digits and plain signs reach the engine, and not many."""
    spoken = speakable(text)
    assert len(spoken) <= MOST
    assert all(char.isalnum() or char in " .,:;?!'%-+" for char in spoken)
