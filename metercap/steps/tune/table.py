"""The states of tuning, and what every input does in each."""

from __future__ import annotations

from enum import StrEnum

from metercap.steps.machine import Given, Row, words_rows


class S(StrEnum):
    """States of tuning."""

    FOUND = "found"
    """Asking for a trimmer to read as found."""
    FOUND_ON = "found on"
    TURN = "turn"
    """Asking for contact with the trimmer to turn, or contact lost while it is turned."""
    TURN_ON = "turn on"
    STOP = "stop"
    """In band and at rest: the tool is taken away, contact off."""
    STOP_ON = "stop on"
    LEFT = "left"
    """Asking for a trimmer to read as left."""
    LEFT_ON = "left on"
    ASK = "ask"
    """A question: take the simple rule, or go back past a hazard limit."""
    VOLTS = "volts"
    END = "end"


_ALL = tuple(state for state in S if state is not S.END)
_BUSY = (S.FOUND, S.FOUND_ON, S.TURN, S.TURN_ON, S.STOP, S.STOP_ON, S.LEFT, S.LEFT_ON)
_NEXT = (S.FOUND, S.TURN, S.TURN_ON, S.LEFT, S.ASK, S.END)

TABLE: dict[tuple[StrEnum, Given], Row] = {
    (S.FOUND, Given.CONTACT): Row("read", (S.FOUND_ON,)),
    (S.LEFT, Given.CONTACT): Row("read", (S.LEFT_ON,)),
    (S.FOUND_ON, Given.VALUE): Row("found", (S.FOUND_ON, S.VOLTS, *_NEXT)),
    (S.LEFT_ON, Given.VALUE): Row("left", (S.LEFT_ON, S.VOLTS, *_NEXT)),
    (S.FOUND_ON, Given.ENDED): Row("parted", (S.FOUND,)),
    (S.LEFT_ON, Given.ENDED): Row("parted", (S.LEFT,)),
    (S.VOLTS, Given.GO): Row("reopen", (S.FOUND, S.TURN, S.LEFT)),
    (S.TURN, Given.CONTACT): Row("touch", (S.TURN_ON,)),
    (S.STOP, Given.CONTACT): Row("touch", (S.STOP_ON,)),
    (S.TURN_ON, Given.VALUE): Row("turning", (S.TURN_ON, S.STOP_ON)),
    (S.STOP_ON, Given.VALUE): Row("resting", (S.STOP_ON, *_NEXT)),
    (S.TURN_ON, Given.ENDED): Row("lost", (S.TURN,)),
    (S.STOP_ON, Given.ENDED): Row("lost", (S.STOP,)),
    (S.ASK, Given.YES): Row("agreed", (S.TURN,)),
    (S.ASK, Given.NO): Row("refused", (S.ASK, S.TURN)),
    **words_rows((S.FOUND, S.TURN, S.STOP, S.LEFT), {Given.DUE: Row("waiting", (S.FOUND, S.TURN, S.STOP, S.LEFT))}),
    **words_rows(
        (S.FOUND, S.TURN, S.STOP, S.LEFT, S.ASK), {Given.GO: Row("stay", (S.FOUND, S.TURN, S.STOP, S.LEFT, S.ASK))}
    ),
    **words_rows(
        _BUSY,
        {
            Given.YES: Row("word_yes", _BUSY),
            Given.AGAIN: Row("word_again", (S.FOUND, S.TURN, S.LEFT)),
            Given.BACK: Row("word_back", (S.FOUND, S.TURN, S.LEFT)),
            Given.AT: Row("word_at", _BUSY),
            Given.SKIP: Row("word_skip", (S.STOP, S.STOP_ON, *_NEXT)),
            Given.ABSENT: Row("word_absent", _NEXT),
            Given.OPEN: Row("word_open", _NEXT),
        },
    ),
    **words_rows(
        (S.TURN, S.TURN_ON, S.STOP, S.STOP_ON), {Given.UNDO: Row("undo", (S.TURN, S.TURN_ON, S.STOP, S.STOP_ON, S.ASK))}
    ),
    **words_rows(_ALL, {Given.SKIP_STEP: Row("word_skip_step", (S.END,))}),
}
