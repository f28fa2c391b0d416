"""sweep and check: items in natural order, hands-free. `machine` runs both, `table` has its inputs by state."""

from __future__ import annotations

from metercap.steps.walk.kinds import Check, Sweep

__all__ = ["Check", "Sweep"]
