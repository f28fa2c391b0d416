"""The real program with a quicker clock: as many seconds of its sessions pass in one as the first argument says.

    python hastened.py SPEED metercap's arguments ...

Frames, ports and files are the real ones; whoever sends the frames has to be as quick.
"""

from __future__ import annotations

import sys
import time

from metercap.clock import ScaledClock


def main() -> None:
    """Quicken what is in no hurry of its own, and run."""
    _, speed, *arguments = sys.argv
    ScaledClock.__init__.__defaults__ = (float(speed), time.monotonic)
    from metercap.cli import main as metercap

    metercap(arguments)


if __name__ == "__main__":
    main()
