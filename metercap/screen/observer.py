"""The screen's eye: an observer that holds the newest view.

Views are whole and frozen, so there is no queue to overflow or to lag behind: the screen looks at the newest when it
draws, and what came and went between two pictures is in it all the same.
"""

from __future__ import annotations

from collections.abc import Callable

from metercap.records import Cue, Record
from metercap.view import View


class ScreenObserver:
    """Holds the newest `view`; calls `changed` after each, from whatever thread it came in."""

    def __init__(self) -> None:
        self.view = View()
        self.changed: Callable[[], None] | None = None

    def look(self, view: View) -> None:
        """Take the newest view, of a session or of a replay that was moved."""
        self.view = view
        if self.changed is not None:
            self.changed()

    def see(self, record: Record, line: bytes = b"") -> None:
        """All that a record says is in the view that came before it."""

    def urgent(self, record: Cue) -> None:
        """A hazard's view comes before it as well."""
