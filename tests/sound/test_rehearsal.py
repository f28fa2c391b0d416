"""Trying the sounds: each is announced and played, and everything has a meaning."""

from __future__ import annotations

from metercap.records import CueKind
from metercap.sound.config import SoundConfig
from metercap.sound.rehearsal import MEANINGS, rehearse
from metercap.sound.tones import IN_BAND_HZ, TABLE
from tests.sound.listening import Noting


def test_every_sound_once() -> None:
    """Every cue that sounds is announced by name and played, then the tone goes into the band and ends."""
    player = Noting()
    lines = list(rehearse(SoundConfig(speech=False), player=player, sleep=lambda _: None))
    assert player.cues == list(MEANINGS) and set(MEANINGS) == set(TABLE)
    assert lines[0] == "player: noting" and lines[-1] == "speech: switched off"
    assert all(any(line.startswith(f"{cue.value}: ") for line in lines) for cue in MEANINGS)
    assert IN_BAND_HZ in player.tones and player.tones[-1] is None
    assert player.closed == 0  # it was not opened here


def test_one_sound() -> None:
    """One cue alone."""
    player = Noting()
    lines = list(rehearse(SoundConfig(), CueKind.LIFT, player=player, sleep=lambda _: None))
    assert player.cues == [CueKind.LIFT] and len(lines) == 2


def test_broken_is_told() -> None:
    """A player that fails says so at the end."""
    player = Noting()
    player.broken = "card pulled"
    assert "card pulled" in list(rehearse(SoundConfig(mute=True), player=player, sleep=lambda _: None))[-1]
