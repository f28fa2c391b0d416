"""Lends the end-to-end tests' meter and program, and the screen tests' terminal."""

from __future__ import annotations

import sys
from pathlib import Path

for room in ("e2e", "screen", "attacks"):
    sys.path.insert(0, str(Path(__file__).parents[1] / room))
