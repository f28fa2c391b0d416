"""Ten readings a second on the full screen; notes when each was seen, and at the end the share of a core."""

from __future__ import annotations

import math
import sys
import time
from pathlib import Path

from metercap.records import Record
from metercap.screen.observer import ScreenObserver
from metercap.screen.run import run_screen
from tests.screen.greenhouse import ohms, see, tune
from tests.screen.harness import MadeUp


class Paced(MadeUp):
    """Sees what comes before at once, then one reading every 0.1 s."""

    def run(self) -> str:
        notes, scene, count = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
        before: list[Record] = tune([1618.0] * 2) if scene == "tune" else []
        for record in before:
            see(self.observer, record)
        time.sleep(1.0)
        seen: list[float] = []
        begun, used = time.monotonic(), time.process_time()
        for at in range(count):
            time.sleep(max(0.0, begun + 0.1 * at - time.monotonic()))
            seen.append(time.monotonic())
            see(self.observer, ohms(105.0 + 0.1 * at, round(1500 + 40 * math.sin(at / 15)), 1.0))
        share = 100 * (time.process_time() - used) / (time.monotonic() - begun)
        notes.write_text("\n".join(str(number) for number in [*seen, share]))
        return "quit"


if __name__ == "__main__":
    observer = ScreenObserver()
    paced = Paced([], observer)
    run_screen(paced, observer, words=paced)
