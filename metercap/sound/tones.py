"""Cues as samples, from one table. Pure: the same cue and volume always give the same samples.

Each cue is a few notes; each note is a sum of partials under an envelope that begins and ends at nothing, so that no
cue clicks. Cues are told apart by rhythm and by the way the pitch goes, not by pitch alone: up is good, down is bad,
even repeats ask for something, and the hazard is the only loud and rough one. Frequencies lie between 200 and 2400 Hz,
where small laptop speakers still carry. The table is metercap's own.
"""

from __future__ import annotations

import math
from array import array

import msgspec

from metercap.records import CueKind

RATE_HZ = 24_000
"""Samples a second, one channel, 16 bit."""
FULL = 32_767
_FADE_S = 0.006

_SOFT = (1.0,)
_ROUND = (1.0, 0.25, 0.08)
_ROUGH = (1.0, 0.0, 0.6, 0.0, 0.4, 0.0, 0.25)
"""Partials as shares of the first: soft is a bare sine, rough has odd partials only."""


class Tone(msgspec.Struct, frozen=True):
    """One note of a cue: it begins at `at_s`, lasts `for_s`, glides from `hz` to `to_hz` (0: stays), `level` 0 to 1."""

    hz: float
    at_s: float
    for_s: float
    level: float = 0.5
    to_hz: float = 0.0
    partials: tuple[float, ...] = _ROUND


_Row = tuple[Tone, ...]


def _row(hz: tuple[float, ...], for_s: float, gap_s: float, level: float, partials: tuple[float, ...]) -> _Row:
    return tuple(Tone(pitch, at * (for_s + gap_s), for_s, level, partials=partials) for at, pitch in enumerate(hz))


TABLE: dict[CueKind, tuple[Tone, ...]] = {
    CueKind.CONTACT: (Tone(620, 0.0, 0.035, 0.16, partials=_SOFT),),
    CueKind.PASS: _row((990, 1485), 0.06, 0.0, 0.5, _ROUND),
    CueKind.FAIL: _row((392, 262), 0.17, 0.02, 0.6, _ROUGH),
    CueKind.UNSURE: _row((587, 494, 587), 0.1, 0.0, 0.5, _ROUND),
    CueKind.ABSENT: (Tone(440, 0.0, 0.14, 0.35, partials=_SOFT),),
    CueKind.SKIP: _row((523, 523), 0.05, 0.03, 0.35, _SOFT),
    CueKind.GO: (Tone(1760, 0.0, 0.05, 0.4),),
    CueKind.LIFT: (Tone(420, 0.0, 0.22, 0.5, to_hz=1050),),
    CueKind.AGAIN: _row((659, 659, 659), 0.07, 0.05, 0.5, _ROUND),
    CueKind.WAITING: (Tone(330, 0.0, 0.25, 0.4, partials=_SOFT),),
    CueKind.STOP: _row((784, 784, 784, 784), 0.12, 0.06, 0.8, _ROUGH),
    CueKind.HAZARD: _row((1175, 740) * 4, 0.09, 0.0, 1.0, _ROUGH),
    CueKind.SLOW: (Tone(880, 0.0, 0.2, 0.45, to_hz=440),),
    CueKind.WRONG_WAY: _row((494, 370, 494, 370), 0.06, 0.0, 0.55, _ROUGH),
    CueKind.PAST_IT: _row((740, 554, 415), 0.07, 0.0, 0.5, _ROUND),
}
"""Notes of every cue that is a sound of its own. `far`, `near` and `in band` are not: the trimmer's tone says them."""


def synthesize(notes: tuple[Tone, ...], volume: float = 1.0, rate_hz: int = RATE_HZ) -> array[int]:
    """Return signed 16-bit samples of notes that may overlap; `volume` 0 to 1 scales them. No notes: no samples.

    A note's sample is level · envelope(t) · Σ aₖ sin(k φ(t)) / Σ aₖ, with φ the integral of a pitch that glides
    linearly. Sums beyond full scale are clipped.
    """
    length = max((round((note.at_s + note.for_s) * rate_hz) for note in notes), default=0)
    total = [0.0] * length
    for note in notes:
        start, count = round(note.at_s * rate_hz), round(note.for_s * rate_hz)
        end_hz = note.to_hz or note.hz
        whole = math.fsum(note.partials)
        weights = [(k, share / whole) for k, share in enumerate(note.partials, 1) if share]
        for index in range(min(count, length - start)):
            t_s = index / rate_hz
            turns = note.hz * t_s + (end_hz - note.hz) * t_s * t_s / (2 * note.for_s)
            wave = 0.0
            for k, share in weights:
                wave += share * math.sin(2 * math.pi * k * turns)
            total[start + index] += note.level * _envelope(t_s, note.for_s) * wave
    loud = FULL * min(max(volume, 0.0), 1.0)
    return array("h", (round(loud * min(max(sample, -1.0), 1.0)) for sample in total))


def _envelope(t_s: float, for_s: float) -> float:
    """Up within 6 ms, a gentle fall, down within 6 ms: raised cosines."""
    rise = min(1.0, t_s / _FADE_S, max(0.0, (for_s - t_s) / _FADE_S))
    return (0.5 - 0.5 * math.cos(math.pi * rise)) * (1.0 - 0.35 * t_s / for_s)


def cue_samples(cue: CueKind, volume: float = 1.0) -> array[int]:
    """Return a cue's samples; none for the cues that the trimmer's tone says."""
    return synthesize(TABLE.get(cue, ()), volume)


# --- the trimmer's tone

IN_BAND_HZ = 660.0
"""The steady pitch in the proved part of the band."""
SPAN_OCTAVES = 1.5
"""Furthest that the pitch goes from it."""
_FAR_BANDS = 64.0


def tune_hz(error: float, half: float) -> float:
    """Pitch for a signed `error` from the target where values within ± `half` are proved good, same unit.

    Inside it is `IN_BAND_HZ` exactly. Outside, log₂ of the distance to the band, in half bands, moves it: above the
    band higher, below it lower, and never further than 1.5 octaves, reached at 64 half bands. Degenerate: `half` ≤ 0
    (the meter cannot prove the band) counts as a very narrow one.
    """
    narrow = max(half, abs(error) * 1e-6, 1e-12)
    beyond = abs(error) / narrow - 1.0
    if beyond <= 0.0:
        return IN_BAND_HZ
    share = min(1.0, math.log2(1.0 + beyond) / math.log2(_FAR_BANDS))
    # A step at the edge, so that the ear hears the border: out of the band is at least a semitone away.
    octaves = 1 / 12 + (SPAN_OCTAVES - 1 / 12) * share
    return float(IN_BAND_HZ * 2.0 ** math.copysign(octaves, error))
