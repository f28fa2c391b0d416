"""Session time: seconds since the session began, monotonic, real or scaled.

Wall-clock steps never reach it. `ScaledClock` lets session time run `speed` times as fast as elapsed time.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Protocol


class Now(Protocol):
    """Tells session time."""

    def now_s(self) -> float:
        """Return seconds of session time since the session began."""
        ...


class SessionClock(Now, Protocol):
    """Tells session time and how long to wait for a moment of it."""

    def wait_s(self, until_s: float) -> float:
        """Return the real seconds from now until session time `until_s`; 0.0 when it has passed."""
        ...


class ScaledClock:
    """Session time = `speed` × elapsed monotonic time. `speed` 1.0 is real time."""

    def __init__(self, speed: float = 1.0, monotonic: Callable[[], float] = time.monotonic) -> None:
        if not speed > 0:
            raise ValueError("speed must be above 0")
        self.speed = speed
        self._monotonic = monotonic
        self._start_s = monotonic()

    def now_s(self) -> float:
        """Return seconds of session time since this clock was made."""
        return (self._monotonic() - self._start_s) * self.speed

    def wait_s(self, until_s: float) -> float:
        """Return the real seconds from now until session time `until_s`; 0.0 when it has passed."""
        return max(0.0, (until_s - self.now_s()) / self.speed)


class VirtualClock:
    """Session time that moves only when told, for studies that need no real time."""

    def __init__(self) -> None:
        self._now_s = 0.0

    def now_s(self) -> float:
        """Return seconds of session time."""
        return self._now_s

    def wait_s(self, until_s: float) -> float:
        """Nothing waits on a virtual clock: always 0.0."""
        return 0.0

    def move_to(self, t_s: float) -> None:
        """Set session time; it never runs back."""
        self._now_s = max(self._now_s, t_s)
