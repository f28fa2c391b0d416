"""What the speaker is fed: the tone's frequency, its pulses, no jumps, cues on top."""

from __future__ import annotations

from array import array

import numpy as np
import pytest

from metercap.records import CueKind
from metercap.sound.mixer import PULSE_ON, PULSE_S, TONE_LEVEL, Mixer
from metercap.sound.tones import FULL, IN_BAND_HZ, RATE_HZ, cue_samples, tune_hz
from tests.sound.listening import pitch_hz


def pulled(mixer: Mixer, seconds: float, frames: int = 480) -> array[int]:
    out = array("h")
    for _ in range(round(seconds * RATE_HZ / frames)):
        out += mixer.pull(frames)
    return out


@pytest.mark.parametrize("error", [-300.0, -20.0, 0.0, 7.6, 118.0])
def test_tune_tone_has_the_pitch_of_the_error(error: float) -> None:
    """Measured over a second of samples, in band and out of it."""
    mixer = Mixer()
    mixer.tone(tune_hz(error, 5.0), steady=abs(error) <= 5.0)
    assert pitch_hz(pulled(mixer, 1.0)) == pytest.approx(tune_hz(error, 5.0), rel=0.003)


def test_steady_in_band_and_pulsed_outside() -> None:
    """In band the tone never pauses; outside it is broken into pulses of the stated share."""

    def sounding(steady: bool) -> float:
        mixer = Mixer()
        mixer.tone(IN_BAND_HZ, steady=steady)
        samples = np.abs(np.array(pulled(mixer, PULSE_S * 10), float))
        windows = samples[: len(samples) // 120 * 120].reshape(-1, 120).max(1)
        return float((windows > 0.3 * TONE_LEVEL * FULL).mean())

    assert sounding(True) > 0.97
    assert sounding(False) == pytest.approx(PULSE_ON, abs=0.08)


def test_no_jump_when_the_pitch_changes_or_ends() -> None:
    """From one sample to the next never more than a sine of that pitch and the ramp allow: no click."""
    mixer = Mixer()
    out = array("h")
    for hz in (400.0, 900.0, 660.0, None, 500.0, None):
        mixer.tone(hz, steady=True)
        out += mixer.pull(331)
    steps = np.abs(np.diff(np.array(out, float)))
    assert steps.max() < TONE_LEVEL * FULL * (2 * np.pi * 900 / RATE_HZ + 1 / (0.008 * RATE_HZ)) * 1.05
    pulled(mixer, 0.1)
    assert mixer.silent and not any(mixer.pull(100))


def test_a_cue_comes_out_sample_by_sample() -> None:
    """However it is cut into buffers, a cue alone is exactly its samples."""
    cue = cue_samples(CueKind.FAIL)
    for frames in (1, 7, 480, 100_000):
        mixer = Mixer()
        mixer.play(cue)
        out = array("h")
        while len(out) < len(cue):
            out += mixer.pull(frames)
        assert out[: len(cue)] == cue
        assert mixer.silent


def test_alone_silences_the_others() -> None:
    """A hazard is not heard through other cues."""
    mixer = Mixer()
    for _ in range(3):
        mixer.play(cue_samples(CueKind.FAIL))
    mixer.pull(100)
    mixer.play(cue_samples(CueKind.HAZARD), alone=True)
    hazard = cue_samples(CueKind.HAZARD)
    assert mixer.pull(len(hazard)) == hazard


def test_many_at_once_stay_in_range_and_few() -> None:
    """Beyond six at once cues are dropped, and the sum is clipped, never wrapped."""
    mixer = Mixer()
    for _ in range(50):
        mixer.play(cue_samples(CueKind.HAZARD))
    samples = mixer.pull(len(cue_samples(CueKind.HAZARD)))
    assert max(samples) == FULL and min(samples) == -FULL
    assert mixer.silent
