"""Where a reading belongs: the step and the item that the tips were on when it was taken.

A contact's readings belong to its step and item, from the one that began it to the last before it was lifted; what a
slip touches is what was ticked last. In the air a reading belongs to the step that was open and to no item. Steps that
do not see contact have no such record; there a reading belongs to the item that was asked for.
"""

from __future__ import annotations

from metercap.records import SessionRecord

Place = tuple[str, str]
"""A step's id and an item's name, empty where there is none."""

NOWHERE: Place = ("", "")
UNSEEN = ("confirm", "exercise", "safe", "trials")
"""Kinds of step that do not see contact."""


class Places:
    """Follows the prompts of one session."""

    def __init__(self, session: SessionRecord | None) -> None:
        steps = session.plan.get("steps", ()) if session is not None else ()
        self._unseen = {str(step.get("id")) for step in steps if isinstance(step, dict) and step.get("kind") in UNSEEN}
        self._asked = NOWHERE

    def asked(self, step: str, item: str | None) -> Place:
        """Take a prompt, whose `item` may be None; return the place of readings without contact from now on."""
        last_step, last_item = self._asked
        self._asked = (step, item if item is not None else last_item if step == last_step else "")
        return self._asked if step in self._unseen else (step, "")
