"""Leaving: a program whose terminal has hung up is gone soon after its journal is closed, whatever still waits then.

Nobody sees a program without a terminal, and one that stays holds the meter's port and the job. A port or a sound that
vanished in the same moment may be waited for in a place that no time-out reaches.
"""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable

from metercap.live.signals import hung_up
from metercap.records import Cue, EndRecord, Record, SessionRecord
from metercap.words import restore_terminals

LAST_S = 5.0
"""Real seconds from the journal's last record until the program is ended; all that closes well takes less than 4."""
LOOK_S = 0.5
"""How often it is looked whether the terminal is still there, once the journal is closed."""


class Leaving:
    """An observer: after `end` it ends a program that has lost its terminal, or loses it now, with this exit `status`.

    `ill` says whether the disk did not take the journal yet: then it is waited for. Where a session was parked the next
    one's `end` counts.
    """

    def __init__(self, status: int, ill: Callable[[], bool]) -> None:
        self._status = status
        self._ill = ill
        self._over = False
        self._looking = False
        self._closed = threading.Event()

    def see(self, record: Record, line: bytes) -> None:
        """Take the last record as the beginning of the end."""
        if isinstance(record, SessionRecord):
            self._over = False
        elif isinstance(record, EndRecord):
            self._over = True
            if not self._looking:
                self._looking = True
                threading.Thread(target=self._look, name="leaving", daemon=True).start()

    def urgent(self, record: Cue) -> None:
        """Nothing is urgent here."""

    def close(self) -> None:
        """Nothing is waited for any more; a terminal that was lost is no less lost for it."""
        if not self._lost():
            self._closed.set()

    def _look(self) -> None:
        since_s = time.monotonic()
        while time.monotonic() - since_s < LAST_S:
            if self._closed.wait(min(LOOK_S, LAST_S)):
                return
            if not self._lost():
                since_s = time.monotonic()
        restore_terminals()
        os._exit(self._status)

    def _lost(self) -> bool:
        return self._over and hung_up() and not self._ill()
