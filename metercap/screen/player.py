"""A replay under the full screen: a recorded session told again, paced by its own times, paused, stepped and jumped.

Its events go through the same session as they did then (`view.retold`), so that the screen shows what it showed. To go
back is to go on from a copy that was kept, one in every `EVERY` records and `MOST_KEPT` of them at most; memory grows
neither with readings nor with verdicts.
"""

from __future__ import annotations

import copy
import threading
import time
from array import array
from bisect import bisect_right
from collections.abc import Callable, Sequence

from metercap.records import EVENTS, Record, Verdict
from metercap.screen.ports import Looks
from metercap.view.retold import Moment, Retold

LONGEST_WAIT_S = 0.2
"""Real seconds after which a waiting replay looks at its keys again."""
EVERY = 2000
MOST_KEPT = 32
SLOWEST, FASTEST = 1 / 16, 4096.0


class Player:
    """Runs `records` into a screen's observer; a `Runner`, `Controls`, `WordPort` and clock all at once.

    `also` get every record that is played in order (sound, for one), but none that a jump passes over. `monotonic` and
    `wait` are real time, injected for tests.
    """

    def __init__(
        self,
        records: Sequence[Record],
        observer: Looks,
        *,
        speed: float = 1.0,
        also: Sequence[Callable[[Record], None]] = (),
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._records = records
        self._observer = observer
        self._also = also
        self._monotonic = monotonic
        self._lock = threading.Condition()
        self._at = 0
        self._speed = speed
        self._paused = False
        self._stopped = False
        self._base_t_s = records[0].t_s if records else 0.0
        self._base_s = monotonic()
        self._again = Retold()
        self._kept: dict[int, Retold] = {0: Retold()}
        # A sequence that stays in its file knows its verdicts already.
        at = getattr(records, "verdicts", None)
        if at is None:
            at = [index for index, record in enumerate(records) if isinstance(record, Verdict)]
        self._marks = array("Q", (index + 1 for index in at))

    # --- Runner

    def run(self) -> str:
        """Play until the last record was shown and the screen is left, or until asked to stop."""
        while True:
            with self._lock:
                if self._stopped:
                    return "done" if self._at >= len(self._records) else "quit"
                wait_s = self._wait_s()
                if wait_s > 0:
                    self._lock.wait(wait_s)
                    continue
                self._show_one()

    def _wait_s(self) -> float:
        if self._paused or self._at >= len(self._records):
            return LONGEST_WAIT_S
        return min((self._records[self._at].t_s - self._time_s()) / self._speed, LONGEST_WAIT_S)

    def _show_one(self) -> None:
        for view, told in self._take():
            self._observer.look(view)
            for see in self._also:
                for record in told:
                    see(record)

    def _take(self) -> Sequence[Moment]:
        """Take the next record, and keep a copy now and then."""
        moments = list(self._again.take(self._records[self._at]))
        self._step_on()
        return moments

    def _step_on(self) -> None:
        self._at += 1
        if self._at % EVERY == 0:
            self._keep()

    # --- clock

    def now_s(self) -> float:
        """Return the replay's own session time."""
        with self._lock:
            if self._at >= len(self._records):
                return self._records[-1].t_s if self._records else 0.0
            return self._base_t_s if self._paused else self._time_s()

    def _time_s(self) -> float:
        return self._base_t_s + (self._monotonic() - self._base_s) * self._speed

    def _rebase(self, t_s: float) -> None:
        self._base_t_s, self._base_s = t_s, self._monotonic()

    # --- Controls

    @property
    def status(self) -> str:
        """Return "replay 2×", "replay paused" or "replay at its end"."""
        if self._at >= len(self._records):
            return "replay at its end"
        return "replay paused" if self._paused else f"replay {self._speed:g}×"

    def pause(self) -> None:
        """Stop the time, or let it go on."""
        with self._lock:
            self._rebase(self._base_t_s if self._paused else self._time_s())
            self._paused = not self._paused
            self._lock.notify()

    def step(self) -> None:
        """Pause, and show the next event with all that came of it."""
        with self._lock:
            self._hold()
            first = True
            while self._at < len(self._records) and (first or not isinstance(self._records[self._at], EVENTS)):
                self._show_one()
                first = False
            self._rebase(self._records[self._at - 1].t_s if self._at else 0.0)

    def faster(self, factor: float) -> None:
        """Multiply the speed; it stays between 1/16 and 4096."""
        with self._lock:
            self._rebase(self._base_t_s if self._paused else self._time_s())
            self._speed = min(max(self._speed * factor, SLOWEST), FASTEST)
            self._lock.notify()

    def jump(self, verdicts: int) -> None:
        """Go on or back by so many verdicts, to the moment right after one, and pause; past the ends, to the ends."""
        with self._lock:
            self._hold()
            here = bisect_right(self._marks, self._at)
            if verdicts < 0 and not (here and self._marks[here - 1] == self._at):
                verdicts += 1
            place = here + verdicts
            goal = 0 if place < 1 else len(self._records) if place > len(self._marks) else self._marks[place - 1]
            self._go(goal)

    def _hold(self) -> None:
        if not self._paused:
            self._rebase(self._time_s())
            self._paused = True

    def _go(self, goal: int) -> None:
        start = max(index for index in self._kept if index <= goal)
        if not start < self._at <= goal:
            self._at, self._again = start, copy.deepcopy(self._kept[start])
        while self._at < goal:
            self._again.pass_over(self._records[self._at])
            self._step_on()
        self._rebase(self._records[goal - 1].t_s if goal else 0.0)
        self._observer.look(self._again.settle())

    def _keep(self) -> None:
        """Keep a copy to go back to; where there are too many, every other one goes."""
        self._kept[self._at] = copy.deepcopy(self._again)
        if len(self._kept) > MOST_KEPT:
            for index in sorted(self._kept)[1::2]:
                del self._kept[index]

    # --- WordPort

    def put_word(self, word: str, text: str, t_s: float, source: str) -> None:
        """Nobody to hear a word: the hands in the recording answered other prompts."""

    def put_stop(self, signal: int) -> None:
        """Stop playing."""
        with self._lock:
            self._stopped = True
            self._lock.notify()
