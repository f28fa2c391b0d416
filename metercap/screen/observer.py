"""The screen's ear: an observer that folds every record as it comes, in the session's own thread.

There is no queue to overflow or to lag behind: the screen looks at the newest state when it draws, and what came and
went between two pictures was folded all the same. A defect in the fold must never hurt the session, so it is kept
for the screen to raise.
"""

from __future__ import annotations

from collections.abc import Callable

import msgspec

from metercap.contact import Stay
from metercap.records import Cue, Record
from metercap.screen.state import BenchState, advance


class ScreenObserver:
    """Holds the newest `state`; calls `changed` after each record, from whatever thread the record came in.

    `fault` is what went wrong while folding, or None. `stay` tells how long the tips have still to stay off, where
    there is a session to ask.
    """

    def __init__(self) -> None:
        self.state = BenchState()
        self.fault: Exception | None = None
        self.changed: Callable[[], None] | None = None
        self.stay: Callable[[], Stay | None] | None = None

    def see(self, record: Record, line: bytes = b"") -> None:
        """Fold one record."""
        try:
            state = advance(self.state, record)
            stay = self.stay() if self.stay is not None else None
            self.state = state if stay == state.stay else msgspec.structs.replace(state, stay=stay)
        except Exception as error:  # a picture that cannot be drawn is no reason to lose a measurement
            self.fault = self.fault or error
        self._tell()

    def urgent(self, record: Cue) -> None:
        """Fold a hazard cue ahead of its line; folding it again changes nothing."""
        self.see(record)

    def show(self, state: BenchState) -> None:
        """Show another moment: a replay was moved."""
        self.state = state
        self._tell()

    def _tell(self) -> None:
        if self.changed is not None:
            self.changed()
