"""Players: the null device hears the right cues in the right order; failures are told and stepped over."""

from __future__ import annotations

import sys
import time
import wave
from array import array
from pathlib import Path

import numpy as np
import pytest

from metercap.records import CueKind
from metercap.sound.config import SoundConfig
from metercap.sound.players import BellPlayer, DevicePlayer, SilentPlayer, SystemPlayer, open_player
from metercap.sound.tones import FULL, RATE_HZ, cue_samples, tune_hz
from tests.sound.listening import pitch_hz

pytest.importorskip("miniaudio")


class Tap:
    """Keeps what the device was fed."""

    def __init__(self) -> None:
        self.samples = array("h")

    def __call__(self, samples: array[int]) -> None:
        self.samples += samples

    def until(self, seconds: float) -> np.ndarray:
        end_s = time.monotonic() + 10
        while len(self.samples) < seconds * RATE_HZ and time.monotonic() < end_s:
            time.sleep(0.01)
        return np.array(self.samples, float)


def test_cues_reach_the_device_in_order() -> None:
    """On the null device: contact, pass, fail, each found sample for sample, in that order."""
    tap = Tap()
    player = DevicePlayer(1.0, silent_device=True, tap=tap)
    order = [CueKind.CONTACT, CueKind.PASS, CueKind.FAIL]
    for cue in order:
        player.play(cue)
        time.sleep(len(cue_samples(cue)) / RATE_HZ + 0.1)
    player.close()
    player.close()
    heard = np.array(tap.samples, float)
    places = []
    for cue in order:
        shape = np.array(cue_samples(cue), float)
        match = np.correlate(heard, shape, "valid") / (shape @ shape)
        assert match.max() == pytest.approx(1.0, abs=1e-6), cue
        places.append(int(match.argmax()))
    assert places == sorted(places)


def test_a_cue_is_fed_soon() -> None:
    """From the call to the device's buffer it takes a few periods at most."""
    tap = Tap()
    player = DevicePlayer(1.0, silent_device=True, tap=tap)
    try:
        tap.until(0.1)
        fed = len(tap.samples)
        player.play(CueKind.HAZARD)
        tap.until(fed / RATE_HZ + 0.3)
        sound = np.flatnonzero(np.abs(np.array(tap.samples[fed:], float)) > 0.01 * FULL)
        assert len(sound) and sound[0] / RATE_HZ < 0.15
    finally:
        player.close()


def test_tune_tone_on_the_device() -> None:
    """The frequency that the device is fed while a trimmer is off by a known error, measured by FFT."""
    for error in (-40.0, 0.0, 90.0):
        tap = Tap()
        player = DevicePlayer(1.0, silent_device=True, tap=tap)
        try:
            player.tone(tune_hz(error, 5.0), steady=True)
            tap.until(0.7)
            assert pitch_hz(tap.samples[-RATE_HZ // 2 :]) == pytest.approx(tune_hz(error, 5.0), rel=0.003)
        finally:
            player.close()


def test_close_lets_the_last_cue_sound_out() -> None:
    """The verdict that ends a session is heard whole."""
    tap = Tap()
    player = DevicePlayer(1.0, silent_device=True, tap=tap)
    player.play(CueKind.FAIL)
    player.close()
    shape = np.array(cue_samples(CueKind.FAIL), float)
    match = np.correlate(np.array(tap.samples, float), shape, "valid") / (shape @ shape)
    assert match.max() == pytest.approx(1.0, abs=1e-6)


def test_no_card_is_no_silent_success(capfd: pytest.CaptureFixture[str]) -> None:
    """Without a sound card the device refuses and writes nothing over the screen; with one it is no null device."""
    try:
        player = DevicePlayer(0.1)
    except Exception as error:
        assert str(error)
    else:
        assert player._device.backend.casefold() != "null"
        player.close()
    assert capfd.readouterr() == ("", "")


def test_a_null_device_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the library falls back to its null device, the player says that there is no card instead of playing on."""
    import miniaudio

    real = miniaudio.PlaybackDevice
    monkeypatch.setattr(
        miniaudio, "PlaybackDevice", lambda **more: real(**{**more, "backends": [miniaudio.Backend.NULL]})
    )
    with pytest.raises(OSError, match="no sound card"):
        DevicePlayer(0.1)


def script(tmp_path: Path, body: str) -> list[str]:
    path = tmp_path / "player.py"
    path.write_text(body)
    return [sys.executable, str(path)]


def test_system_player_gets_a_good_file(tmp_path: Path) -> None:
    """The file that the system's player is given holds the cue, at its rate, and is gone afterwards."""
    out = tmp_path / "played.wav"
    player = SystemPlayer(1.0, script(tmp_path, f"import sys, shutil; shutil.copy(sys.argv[1], {str(out)!r})"))
    player.play(CueKind.GO)
    end_s = time.monotonic() + 10
    while (not out.exists() or out.stat().st_size < 100) and time.monotonic() < end_s:
        time.sleep(0.02)
    player._running[0].wait(10)
    folder = Path(player._folder.name)
    player.close()
    with wave.open(str(out)) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, RATE_HZ)
        assert array("h", file.readframes(file.getnframes())) == cue_samples(CueKind.GO)
    assert not folder.exists()


def test_system_player_that_fails_is_told(tmp_path: Path) -> None:
    """A player that ends with an error is broken, not quietly silent; a missing one too."""
    player = SystemPlayer(1.0, script(tmp_path, "import sys; sys.exit(3)"))
    player.play(CueKind.GO)
    player._running[0].wait(10)
    player.play(CueKind.GO)
    assert "status 3" in player.broken
    player.close()
    missing = SystemPlayer(1.0, [str(tmp_path / "no such")])
    missing.play(CueKind.GO)
    assert missing.broken
    missing.close()


def test_system_player_does_not_pile_up(tmp_path: Path) -> None:
    """Slow players are not started without end; an alarm ends them."""
    player = SystemPlayer(1.0, script(tmp_path, "import time; time.sleep(30)"))
    for _ in range(10):
        player.play(CueKind.PASS)
    assert len(player._running) == 3
    begun = time.monotonic()
    player.play(CueKind.HAZARD, alone=True)
    player.close()
    assert time.monotonic() - begun < 5


def test_bell_rings_for_what_matters() -> None:
    """One ring for ticks, failures and alarms; none for contact or tone."""
    rung: list[int] = []
    player = BellPlayer(lambda: rung.append(1))
    for cue in CueKind:
        player.play(cue)
    player.tone(660.0)
    player.close()
    assert len(rung) == len(BellPlayer.RINGS) == 7

    def gone() -> None:
        raise OSError("no terminal")

    broken = BellPlayer(gone)
    broken.play(CueKind.PASS)
    assert broken.broken == "no terminal"


def test_what_is_opened(monkeypatch: pytest.MonkeyPatch) -> None:
    """Mute and none are silent; auto takes the first that works, in the order device, system, bell."""
    import metercap.sound.players as players

    assert isinstance(open_player(SoundConfig(mute=True)), SilentPlayer)
    assert isinstance(open_player(SoundConfig(player="none")), SilentPlayer)

    def none(*_: object, **__: object) -> None:
        raise OSError("none here")

    monkeypatch.setattr(players, "DevicePlayer", none)
    monkeypatch.setattr(players, "system_command", lambda: ["true"])
    system = open_player(SoundConfig())
    assert isinstance(system, SystemPlayer)
    system.close()
    monkeypatch.setattr(players, "system_command", lambda: None)
    assert isinstance(open_player(SoundConfig()), BellPlayer)
    assert isinstance(open_player(SoundConfig(player="device")), BellPlayer)
