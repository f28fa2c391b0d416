"""A session in a terminal with the GC-8's board, for tests: `inset_child.py NOTES [FOLDER]`.

F7 is next; every word goes one fuse further. Readings keep coming, ten a second. Words are noted at the end.
FOLDER is where the pictures lie; "-" for none, and nothing is asked.
"""

from __future__ import annotations

import sys
import threading
import time
from pathlib import Path

import msgspec

from metercap.records import Record
from metercap.screen.observer import ScreenObserver
from metercap.screen.run import run_screen
from metercap.view import State
from tests.screen.boards import fuses
from tests.screen.greenhouse import fold, ohms, sweep_to
from tests.screen.harness import MadeUp

PLANS = Path(__file__).parents[2] / "profiles" / "plans"


class Sweeping(MadeUp):
    """Readings, and a board that goes on with every skip."""

    def run(self) -> str:
        first = fold(sweep_to(6))
        at = 0
        while not self.ended.is_set():
            at += 1
            lit = 7 + len([word for word, _ in self.words if word != "quit"])
            known = {f"F{n}": State.TICKED for n in range(1, 7)} | {f"F{n}": State.SKIPPED for n in range(7, lit)}
            view = fold([ohms(100 + at / 10, 0.3 + at % 7 / 10)], first)
            self.observer.look(msgspec.structs.replace(view, board=fuses(f"F{lit}", **known)))
            self.ended.wait(0.1)
        return "quit"


def main() -> None:
    notes, folder = Path(sys.argv[1]), sys.argv[2] if len(sys.argv) > 2 else str(PLANS)
    observer = ScreenObserver()
    records: list[Record] = []
    made = Sweeping(records, observer)
    observer.look(fold(sweep_to(6)))
    begun_s = time.process_time()
    run_screen(made, observer, words=made, linger_s=0.1, pictures=() if folder == "-" else (Path(folder),))
    notes.write_text(f"{time.process_time() - begun_s:.3f} {threading.active_count()} {made.words}\n")


if __name__ == "__main__":
    main()
