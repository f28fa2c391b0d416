"""sweep and check: items in natural order, hands-free. `machine` runs both, `table` has its inputs by state."""

from __future__ import annotations

from metercap.steps.walk.check import Check
from metercap.steps.walk.sweep import Sweep

__all__ = ["Check", "Sweep"]
