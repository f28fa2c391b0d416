"""The real program with a simulated VISA beneath it: pyvisa-sim's devices, whose answers follow a file.

    python simulated.py DEVICES.yaml ANSWERS.json metercap's arguments ...

ANSWERS.json holds query → answer; the test writes it anew whenever the tips touch something else.
"""

from __future__ import annotations

import json
import os
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pyvisa

PERIOD_S = 0.02


def follow(devices: Any, answers: Path) -> None:
    """Give the devices the answers that the file holds, for as long as the program runs."""
    before = ""
    while True:
        text = answers.read_text(encoding="utf-8")
        if text != before:
            before = text
            for query, answer in json.loads(text).items():
                for name in devices.list_resources():
                    devices[name].add_dialogue(query, answer)
        time.sleep(PERIOD_S)


def main() -> None:
    """Simulate, and run."""
    yaml, answers, *arguments = sys.argv[1:]
    os.environ["PYVISA_LIBRARY"] = library = f"{yaml}@sim"
    manager: Any = pyvisa.ResourceManager(library)  # as long as it lives, the program gets the same devices
    threading.Thread(target=follow, args=(manager.visalib.devices, Path(answers)), daemon=True).start()
    from metercap.cli import main as metercap

    metercap(arguments)


if __name__ == "__main__":
    main()
