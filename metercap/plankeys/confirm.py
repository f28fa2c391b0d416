"""Plan keys of `confirm`."""

from __future__ import annotations

from metercap.plankeys.base import Item, Seconds, StepBase


class ConfirmStep(StepBase, frozen=True, tag="confirm"):
    """Keys of a `confirm` step: `wait_s` is how long to wait before asking, `items` make it a check list."""

    wait_s: Seconds | None = None
    items: tuple[Item, ...] = ()

    @property
    def item_names(self) -> tuple[str, ...]:
        """Every item of the list; the step's id where there is none."""
        return tuple(item.name for item in self.items) or (self.id,)
