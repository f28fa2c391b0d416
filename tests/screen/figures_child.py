"""Ten readings a second on the full screen; notes when each was seen, and at the end the share of a core.

Scene `board` has the GC-8's fuses, of which another one is next after every so many readings.
"""

from __future__ import annotations

import math
import sys
import time
from pathlib import Path

import msgspec

from metercap.records import Record
from metercap.screen.observer import ScreenObserver
from metercap.screen.run import run_screen
from tests.screen.boards import fuses
from tests.screen.greenhouse import fold, ohms, see, sweep_to, tune
from tests.screen.harness import MadeUp


class Paced(MadeUp):
    """Sees what comes before at once, then one reading every 0.1 s."""

    def run(self) -> str:
        notes, scene, count = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
        before: list[Record] = tune([1618.0] * 2) if scene == "tune" else []
        for record in before:
            see(self.observer, record)
        swept, boards = fold(sweep_to(6)), [fuses(f"F{n}") for n in range(1, 13)] if scene == "board" else []
        time.sleep(1.0)
        seen: list[float] = []
        begun, used = time.monotonic(), time.process_time()
        for at in range(count):
            time.sleep(max(0.0, begun + 0.1 * at - time.monotonic()))
            seen.append(time.monotonic())
            reading = ohms(105.0 + 0.1 * at, round(1500 + 40 * math.sin(at / 15)), 1.0)
            if scene == "board":
                lit = at // int(sys.argv[4]) % 12 + 1
                view = fold([reading], swept)
                self.observer.look(msgspec.structs.replace(view, board=boards[lit - 1]))
            else:
                see(self.observer, reading)
        share = 100 * (time.process_time() - used) / (time.monotonic() - begun)
        notes.write_text("\n".join(str(number) for number in [*seen, share]))
        return "quit"


if __name__ == "__main__":
    observer = ScreenObserver()
    paced = Paced([], observer)
    plans = Path(__file__).parents[2] / "profiles" / "plans"
    run_screen(paced, observer, words=paced, pictures=[plans] if sys.argv[2] == "board" else [])
