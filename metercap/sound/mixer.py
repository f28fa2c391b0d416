"""What comes out of the speaker: cues over the trimmer's tone. Pure but for its own state; any player pulls samples.

The tone never jumps: its phase runs on when the pitch changes, and it comes and goes within a few milliseconds. Out of
the band it is broken into pulses, in the band it is steady; so "there" is heard without knowing the pitch.
"""

from __future__ import annotations

import math
from array import array
from collections import deque

from metercap.sound.tones import FULL, RATE_HZ

PULSE_S = 0.16
PULSE_ON = 0.55
"""Share of a pulse that sounds."""
TONE_LEVEL = 0.22
_RAMP = 1.0 / (0.008 * RATE_HZ)
_MOST_CUES = 6


class Mixer:
    """Mixes up to six cues and the tone: `tone` sets its pitch, `play` starts a cue, `pull` gives samples."""

    def __init__(self, volume: float = 1.0) -> None:
        self.volume = volume
        self._cues: list[tuple[array[int], int]] = []
        # The player's thread puts, the card's thread takes: a deque needs no lock for that.
        self._coming: deque[tuple[array[int], bool]] = deque()
        self._hz = 0.0
        self._on = False
        self._steady = True
        self._turns = 0.0
        self._level = 0.0
        self._since = 0

    def play(self, samples: array[int], *, alone: bool = False) -> None:
        """Start a cue; `alone` ends all others first. Beyond six at once it is dropped."""
        if samples:
            self._coming.append((samples, alone))

    def tone(self, hz: float | None, *, steady: bool = True) -> None:
        """Set the trimmer's tone; None ends it."""
        self._on = hz is not None
        if hz is not None:
            self._hz = hz
            self._steady = steady

    @property
    def silent(self) -> bool:
        """Whether nothing sounds."""
        return not self._coming and not self._cues and not self._on and self._level == 0.0

    def pull(self, frames: int) -> array[int]:
        """Return the next samples."""
        if self.silent:
            self._since += frames
            return array("h", bytes(2 * frames))
        while self._coming:
            samples, alone = self._coming.popleft()
            if alone:
                self._cues.clear()
            if len(self._cues) < _MOST_CUES:
                self._cues.append((samples, 0))
        total = self._tone(frames) if self._on or self._level else [0.0] * frames
        going: list[tuple[array[int], int]] = []
        for samples, at in self._cues:
            for index, sample in enumerate(samples[at : at + frames]):
                total[index] += sample
            if at + frames < len(samples):
                going.append((samples, at + frames))
        self._cues = going
        return array("h", (int(min(max(sample, -FULL), FULL)) for sample in total))

    def _tone(self, frames: int) -> list[float]:
        out = [0.0] * frames
        pulse, loud = round(PULSE_S * RATE_HZ), TONE_LEVEL * FULL * self.volume
        step = self._hz / RATE_HZ
        for index in range(frames):
            on = self._on and (self._steady or (self._since + index) % pulse < PULSE_ON * pulse)
            self._level = min(1.0, self._level + _RAMP) if on else max(0.0, self._level - _RAMP)
            if self._level:
                out[index] = loud * self._level * math.sin(2 * math.pi * self._turns)
            self._turns = (self._turns + step) % 1.0
        self._since += frames
        return out
