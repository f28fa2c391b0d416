"""Makes the sessions of `two_units` importable for the tests of this room."""

from __future__ import annotations

import sys
from pathlib import Path

for room in ("steps", "compare"):
    sys.path.insert(0, str(Path(__file__).parents[1] / room))
