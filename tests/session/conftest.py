"""Makes `hands_model` and the steps' `bench_play` importable for the tests of this room."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1] / "steps")]
