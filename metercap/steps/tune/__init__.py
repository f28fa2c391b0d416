"""tune: a trimmer is brought to its band, live. `Tune` is the machine, `table` what each input does in each state."""

from __future__ import annotations

from metercap.steps.tune.machine import Tune

__all__ = ["Tune"]
