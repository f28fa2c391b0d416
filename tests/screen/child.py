"""A program with the full screen, for tests in a real terminal: plays a scene, notes how it ended in a file.

`child.py NOTES SCENE [fault|forever]`; `fault` breaks the picture after a moment, `forever` never ends by itself.
"""

from __future__ import annotations

import sys
import threading
from pathlib import Path

from greenhouse import scenes
from harness import MadeUp

from metercap.screen.observer import ScreenObserver
from metercap.screen.run import run_screen


def main() -> int:
    notes, scene, how = Path(sys.argv[1]), sys.argv[2], sys.argv[3] if len(sys.argv) > 3 else ""
    observer = ScreenObserver()
    made = MadeUp(scenes()[scene], observer, speed=1e6)
    made.before_end = lambda: notes.write_text("closed\n")
    if how == "fault":
        threading.Timer(0.7, lambda: observer.show(None)).start()  # type: ignore[arg-type]
    try:
        reason = run_screen(made, observer, words=made, clock=None, linger_s=0.3 if how != "forever" else 60.0)
    except Exception as error:
        with notes.open("a") as file:
            file.write(f"raised {type(error).__name__}\n")
        return 7
    with notes.open("a") as file:
        file.write(f"{reason} {made.stopped} {made.words}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
