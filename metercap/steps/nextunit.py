"""Nothing of this unit is open: what is next in its job? Its plan has no such step; the session asks it at the end.

So nobody's hands have to leave the probes to start the program again, and nothing goes on by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum

from metercap.asks import Asks
from metercap.plankeys import ConfirmStep
from metercap.records import Do
from metercap.steps.bench import Bench
from metercap.steps.machine import Given, Look, Machine, Row, table

STEP_ID = "job"


class NextState(StrEnum):
    """States: asking, ended."""

    ASK = "ask"
    END = "end"


class NextSign(StrEnum):
    """What the job has left."""

    LEFT = "a unit left"
    NONE = "none left"


class NextUnit(Machine):
    """Asks whether to take the first of the units that are `left`; `agreed` once it shall be."""

    shows_contact = False
    TABLE = table(
        {
            NextState.ASK: {
                Given.YES: Look("what_is_left", (NextSign.LEFT, NextSign.NONE)),
                NextSign.LEFT: Row("agree", NextState.END),
                NextSign.NONE: Row("", None, asks=True),
                Given.NO: Row("", NextState.END),
                Given.SKIP: Row("", NextState.END),
                Given.SKIP_STEP: Row("", NextState.END),
            }
        }
    )

    def __init__(self, left: Sequence[str], bench: Bench) -> None:
        super().__init__(ConfirmStep(id=STEP_ID), bench, NextState.ASK)
        self._left = left
        self.agreed = False

    def start(self) -> None:
        """Ask."""
        self.bench.changed()
        self.resume()

    def resume(self) -> None:
        """Ask again."""
        if self._left:
            say = f"nothing is open here; still open: {', '.join(self._left)}. yes takes {self._left[0]}, no ends"
        else:
            say = "nothing is open, on no unit of the job. probe NAME measures more, no ends"
        self.bench.urge(Do.CONFIRM, STEP_ID, say, asks=Asks.NEXT_UNIT)

    def what_is_left(self) -> NextSign:
        """Look whether there is another unit to take."""
        return NextSign.LEFT if self._left else NextSign.NONE

    def agree(self) -> None:
        """Take it."""
        self.agreed = True
