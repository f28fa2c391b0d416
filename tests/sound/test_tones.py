"""Cues as samples: measured with an FFT, not read out of the table that made them."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from metercap.records import CueKind
from metercap.sound.tones import (
    FULL,
    IN_BAND_HZ,
    RATE_HZ,
    SPAN_OCTAVES,
    TABLE,
    Tone,
    cue_samples,
    synthesize,
    tune_hz,
)
from tests.sound.listening import pitch_hz


def test_contact_is_immediate_short_and_quiet() -> None:
    """The contact tone sounds from its first milliseconds, ends within 50 ms, and is the quietest of all."""
    contact = np.array(cue_samples(CueKind.CONTACT))
    assert len(contact) <= 0.05 * RATE_HZ
    assert np.abs(contact[: RATE_HZ // 100]).max() > 0.5 * np.abs(contact).max()
    loudness = {cue: np.abs(np.array(cue_samples(cue))).max() for cue in TABLE}
    assert min(loudness, key=loudness.__getitem__) is CueKind.CONTACT
    assert loudness[CueKind.PASS] > 2 * loudness[CueKind.CONTACT]


def test_hazard_is_the_loudest() -> None:
    """Nothing sounds as loud as the hazard, by its power over a second."""
    power = {cue: float((np.array(cue_samples(cue), float) ** 2).sum()) for cue in TABLE}
    assert max(power, key=power.__getitem__) is CueKind.HAZARD


@pytest.mark.parametrize("cue", list(TABLE))
def test_begins_and_ends_at_nothing(cue: CueKind) -> None:
    """No cue clicks: it starts and ends within 2 % of full scale, has no offset, and is no longer than a second."""
    samples = np.array(cue_samples(cue), float)
    assert abs(samples[0]) < 0.02 * FULL and abs(samples[-1]) < 0.02 * FULL
    assert abs(samples.mean()) < 0.01 * FULL
    assert 0.02 <= len(samples) / RATE_HZ <= 1.0


def contour(cue: CueKind) -> tuple[float, ...]:
    """Pitches of the loud stretches, 20 ms at a time, as steps in semitones, rounded: what an ear tells apart."""
    samples = cue_samples(cue)
    step = RATE_HZ // 50
    found = []
    for start in range(0, len(samples) - step + 1, step):
        piece = samples[start : start + step]
        loud = np.abs(np.array(piece)).max()
        found.append(round(12 * np.log2(pitch_hz(piece) / 440)) if loud > 0.02 * FULL else -99)
    return tuple(found)


def test_cues_differ() -> None:
    """No two cues have the same course of pitch and silence."""
    courses = {cue: contour(cue) for cue in TABLE}
    for one, other in itertools.combinations(TABLE, 2):
        assert courses[one] != courses[other], f"{one} and {other}"


def test_good_goes_up_and_bad_goes_down() -> None:
    """The tick rises, the failure falls, the lift glides up, slow glides down: heard without knowing the pitches."""

    def ends(cue: CueKind) -> float:
        samples = cue_samples(cue)
        third = len(samples) // 3
        return pitch_hz(samples[-third:]) / pitch_hz(samples[:third])

    assert ends(CueKind.PASS) > 1.3 and ends(CueKind.LIFT) > 1.3
    assert ends(CueKind.FAIL) < 0.8 and ends(CueKind.SLOW) < 0.8


@pytest.mark.parametrize("hz", [262.0, 440.0, 660.0, 1760.0])
def test_pitch_of_a_note(hz: float) -> None:
    """A note has the pitch that was asked for, within 0.2 %."""
    assert pitch_hz(synthesize((Tone(hz, 0.0, 0.3),))) == pytest.approx(hz, rel=0.002)


def test_octave_and_fifth_against_equal_temperament() -> None:
    """The tick's two notes are a fifth, 3 : 2 (just intonation), the hazard's a falling interval of under an octave."""
    samples = cue_samples(CueKind.PASS)
    half = len(samples) // 2
    assert pitch_hz(samples[half:]) / pitch_hz(samples[:half]) == pytest.approx(1.5, rel=0.02)


def test_volume_scales_and_never_clips_over() -> None:
    """Half the volume is half the samples; more than full is full; no volume is silence."""
    loud, half = np.array(cue_samples(CueKind.FAIL, 1.0)), np.array(cue_samples(CueKind.FAIL, 0.5))
    assert np.abs(loud - 2 * half).max() <= 1
    assert cue_samples(CueKind.FAIL, 9.0) == cue_samples(CueKind.FAIL, 1.0)
    assert not any(cue_samples(CueKind.FAIL, 0.0))
    over = synthesize((Tone(440, 0, 0.1, 1.0), Tone(440, 0, 0.1, 1.0)))
    assert max(over) <= FULL and min(over) >= -FULL


def test_no_sound_of_their_own() -> None:
    """Far, near and in band are said by the trimmer's tone."""
    for cue in (CueKind.FAR, CueKind.NEAR, CueKind.IN_BAND):
        assert len(cue_samples(cue)) == 0
    assert set(CueKind) == set(TABLE) | {CueKind.FAR, CueKind.NEAR, CueKind.IN_BAND}


@given(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6), st.floats(1e-3, 1e3))
def test_tune_pitch_follows_the_error(one: float, other: float, half: float) -> None:
    """A larger error has a higher pitch, never a lower one; equal inside the band; within three octaves in all."""
    low, high = sorted((one, other))
    assert tune_hz(low, half) <= tune_hz(high, half)
    assert abs(np.log2(tune_hz(one, half) / IN_BAND_HZ)) <= SPAN_OCTAVES + 1e-9
    assert (tune_hz(one, half) == IN_BAND_HZ) == (abs(one) / half - 1 <= 0)


def test_tune_pitch_is_even_on_both_sides_and_steps_at_the_edge() -> None:
    """Equal errors above and below are equal intervals; leaving the band is at least a semitone, 2^(1/12)."""
    assert tune_hz(30, 5) * tune_hz(-30, 5) == pytest.approx(IN_BAND_HZ**2)
    assert tune_hz(5.0001, 5) / IN_BAND_HZ >= 2 ** (1 / 12)
    assert tune_hz(1.0, 0.0) == pytest.approx(IN_BAND_HZ * 2**SPAN_OCTAVES)
    assert tune_hz(0.0, 0.0) == IN_BAND_HZ
