"""Makes the steps' `bench_play` importable for the tests of this room."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "steps"))
sys.path.insert(0, str(Path(__file__).parent))
