"""A program with the full screen, for tests in a real terminal: plays a scene, notes how it ended in a file.

`child.py NOTES SCENE [fault|forever|busy]`: `fault` breaks the picture after a moment, `forever` never ends by itself,
`busy` neither, and readings keep coming.
"""

from __future__ import annotations

import sys
import threading
import time
from pathlib import Path

from metercap.screen.observer import ScreenObserver
from metercap.screen.run import run_screen
from tests.screen.greenhouse import ohms, scenes, see
from tests.screen.harness import MadeUp


def keep_reading(observer: ScreenObserver) -> None:
    """Fifty readings a second, for as long as the program runs."""
    for at in range(100_000):
        see(observer, ohms(200 + at / 50, 0.3 + at % 70 / 10))
        time.sleep(0.02)


def main() -> int:
    notes, scene, how = Path(sys.argv[1]), sys.argv[2], sys.argv[3] if len(sys.argv) > 3 else ""
    observer = ScreenObserver()
    made = MadeUp(scenes()[scene], observer, speed=1e6)
    made.before_end = lambda: notes.write_text("closed\n")  # type: ignore[assignment]
    if how == "fault":
        threading.Timer(0.7, lambda: observer.look(None)).start()  # type: ignore[arg-type]
    if how == "busy":
        threading.Thread(target=keep_reading, args=(observer,), daemon=True).start()
    try:
        reason = run_screen(made, observer, words=made, clock=None, linger_s=0.3 if how in ("", "fault") else 60.0)
    except Exception as error:
        with notes.open("a") as file:
            file.write(f"raised {type(error).__name__}\n")
        return 7
    with notes.open("a") as file:
        file.write(f"{reason} {made.stopped} {made.words}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
