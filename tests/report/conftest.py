"""Makes `bench_play` and this room's `papers` importable, and the player of whole sessions."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "steps"))
sys.path.insert(0, str(Path(__file__).parent))
