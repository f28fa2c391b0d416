"""Plan keys of `confirm`."""

from __future__ import annotations

from typing import Annotated

from metercap.plankeys.base import Item, Seconds, StepBase, says


class ConfirmStep(StepBase, frozen=True, tag="confirm"):
    """Keys of a `confirm` step: `wait_s` is how long to wait before asking, `items` make it a check list."""

    wait_s: Annotated[Seconds | None, says("How long to wait, from yes to begun?, before asking.", '"2 min"')] = None
    items: Annotated[
        tuple[Item, ...], says("A check list: each is asked for by itself.", '["relay clicks", "lamp lights"]')
    ] = ()

    @property
    def item_names(self) -> tuple[str, ...]:
        """Every item of the list; the step's id where there is none."""
        return tuple(item.name for item in self.items) or (self.id,)
