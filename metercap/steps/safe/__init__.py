"""safe: a unit is proved dead. `machine` runs it, `table` says what each input does in each state."""

from __future__ import annotations

from metercap.steps.safe.machine import Safe

__all__ = ["Safe"]
