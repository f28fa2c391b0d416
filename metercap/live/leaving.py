"""Leaving: a program whose terminal has hung up is gone soon after its journal is closed, whatever still waits then.

Nobody sees a program without a terminal, and one that stays holds the meter's port and the job. A port or a sound that
vanished in the same moment may be waited for in a place that no time-out reaches.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable

from metercap.live.signals import hung_up
from metercap.records import Cue, EndRecord, Record
from metercap.words import restore_terminals

LAST_S = 5.0
"""Real seconds from the journal's last record until the program is ended; all that closes well takes less than 4."""


class Leaving:
    """An observer: after `end` it ends a program that has lost its terminal, with this exit `status`.

    `ill` says whether the disk did not take the journal yet: then it is waited for.
    """

    def __init__(self, status: int, ill: Callable[[], bool]) -> None:
        self._status = status
        self._ill = ill

    def see(self, record: Record, line: bytes) -> None:
        """Take the last record as the beginning of the end."""
        if isinstance(record, EndRecord) and hung_up() and not self._ill():
            timer = threading.Timer(LAST_S, self._leave)
            timer.daemon = True
            timer.start()

    def urgent(self, record: Cue) -> None:
        """Nothing is urgent here."""

    def _leave(self) -> None:
        restore_terminals()
        os._exit(self._status)
