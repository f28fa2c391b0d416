"""A session without a meter: made-up records at their own pace, words that are only noted. For looking and testing.

`python tests/screen/harness.py SCENE [SPEED]` shows a scene on the full screen; without a scene it names them all.
"""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Callable, Sequence

from metercap.records import EndRecord, Operator, Record
from metercap.screen.observer import ScreenObserver
from tests.screen.greenhouse import see


class MadeUp:
    """Runner, word port and clock at once: plays records, takes words as operator records, ends on quit or stop."""

    def __init__(self, records: Sequence[Record], observer: ScreenObserver, *, speed: float = 1.0) -> None:
        self.records = records
        self.observer = observer
        self.speed = speed
        self.words: list[tuple[str, str]] = []
        self.stopped: int | None = None
        self.ended = threading.Event()
        self.closed = False
        self.start_s = time.monotonic()
        self.before_end: Callable[[], None] = lambda: None

    def now_s(self) -> float:
        return (time.monotonic() - self.start_s) * self.speed

    def run(self) -> str:
        reason = "done"
        for record in self.records:
            wait_s = (record.t_s - self.now_s()) / self.speed
            if (wait_s > 0 and self.ended.wait(wait_s)) or self.ended.is_set():
                reason = "interrupted" if self.stopped is not None else "quit"
                break
            see(self.observer, record)
        if reason == "done" and not self.ended.is_set() and not isinstance(self.records[-1], EndRecord):
            self.ended.wait()
            reason = "interrupted" if self.stopped is not None else "quit"
        self.before_end()
        self.closed = True
        see(self.observer, EndRecord(self.now_s(), reason, {}, "0" * 64))  # type: ignore[arg-type]
        return reason

    def put_word(self, word: str, text: str, t_s: float, source: str) -> None:
        self.words.append((word, text))
        see(self.observer, Operator(t_s, word, text))
        if word == "quit":
            self.ended.set()

    def put_stop(self, signal: int) -> None:
        self.stopped = signal
        self.ended.set()


def main() -> None:
    from metercap.screen.run import run_screen
    from tests.screen.greenhouse import scenes

    if len(sys.argv) < 2:
        return
    observer = ScreenObserver()
    made = MadeUp(scenes()[sys.argv[1]], observer, speed=float(sys.argv[2]) if len(sys.argv) > 2 else 1.0)
    run_screen(made, observer, words=made, clock=made, linger_s=2.0)


if __name__ == "__main__":
    main()
