"""The plan keys of `exercise`, its states, and what every input does in each."""

from __future__ import annotations

from enum import StrEnum
from typing import Literal

from metercap.quantity import Quantity
from metercap.steps.keys import ItemsStep, Ohm, Seconds, Share
from metercap.steps.machine import Given, Row, words_rows


class ExerciseStep(ItemsStep, frozen=True, tag="exercise", kw_only=True):
    """Keys of an `exercise` step. `form` "no" closes when pressed, "nc" opens.

    `pace_s` is the longest a press or a release may take; default: three conversions, one more, and the hand. A closed
    contact reads at most `max`; above `open_above` (default: only over-range) it is open.
    """

    presses: int = 20
    pace_s: Seconds | None = None
    max: Ohm = 2.0
    form: Literal["no", "nc"] = "no"
    open_above: Ohm | None = None
    rest_s: Seconds | None = None
    confidence: Share = 0.95

    @property
    def wanted(self) -> tuple[Quantity, ...]:
        """Ohms, or continuity."""
        return (Quantity.RESISTANCE, Quantity.CONTINUITY)


class S(StrEnum):
    """States of exercising."""

    READY = "ready"
    """Waiting for the first sign of the switch: a closure ("no"), or a closed contact at rest ("nc")."""
    CLOSE = "close"
    """The contact should close now: pressed ("no") or released ("nc")."""
    PART = "part"
    """The contact should open now."""
    REST = "rest"
    """A pause between two presses."""
    CLEAN = "clean"
    """Closures were missed: clean and exercise again?"""
    END = "end"


GOING = (S.CLOSE, S.PART, S.REST)
_AFTER = (S.READY, S.CLOSE, S.PART, S.REST, S.CLEAN, S.END)

TABLE: dict[tuple[StrEnum, Given], Row] = {
    (S.READY, Given.VALUE): Row("first", (S.READY, S.PART, S.CLOSE)),
    (S.READY, Given.DUE): Row("waiting", (S.READY,)),
    (S.READY, Given.FAIL): Row("word_fail", (S.READY, S.CLEAN, S.END)),
    (S.CLOSE, Given.VALUE): Row("closing", _AFTER),
    (S.CLOSE, Given.DUE): Row("not_closed", _AFTER),
    (S.PART, Given.VALUE): Row("parting", _AFTER),
    (S.PART, Given.DUE): Row("not_parted", _AFTER),
    (S.REST, Given.DUE): Row("rested", (S.CLOSE, S.PART)),
    (S.CLEAN, Given.YES): Row("cleaned", (S.READY,)),
    (S.CLEAN, Given.NO): Row("decided", (S.READY, S.END)),
    **words_rows(
        GOING,
        {Given.FAIL: Row("word_fail", _AFTER), Given.AGAIN: Row("word_again", (S.READY, S.CLOSE, S.PART, S.REST))},
    ),
    **words_rows(
        (S.READY, *GOING, S.CLEAN),
        {
            Given.SKIP: Row("skip", (S.READY, S.END)),
            Given.ABSENT: Row("absent", (S.READY, S.END)),
            Given.OPEN: Row("is_open", (S.READY, S.END)),
            Given.SKIP_STEP: Row("skip_step", (S.END,)),
        },
    ),
}
