"""The table of a walk: its states, what each input does there, and the states that may follow."""

from __future__ import annotations

from enum import StrEnum

from metercap.steps.machine import Given, Row, words_rows


class S(StrEnum):
    """States of a walk."""

    OPEN = "open"
    """An item is asked for, nothing touches."""
    ON = "on"
    """A credited contact on the item."""
    STOPPED = "stopped"
    """Voltage was seen: nothing is judged until a certain lift."""
    LAST = "last"
    """The count check comes when the tips are off."""
    ASK = "ask"
    """The count check waits for its answer."""
    REDO = "redo"
    """The last tick was elsewhere: sweep what it was about again?"""
    END = "end"


_COUNTING = (S.LAST, S.ASK)
_MOVES = (S.OPEN, *_COUNTING, S.END)
_ITEM_WORDS = {
    Given.OPEN: Row("word_open", _MOVES),
    Given.SKIP: Row("word_skip", _MOVES),
    Given.ABSENT: Row("word_absent", _MOVES),
    Given.BACK: Row("word_back", (S.OPEN,)),
    Given.AT: Row("word_at", (S.OPEN, S.ON, S.STOPPED)),
    Given.AGAIN: Row("word_again", (S.OPEN,)),
    Given.SKIP_STEP: Row("word_skip_step", (*_COUNTING, S.END)),
}


TABLE = {
    (S.OPEN, Given.CONTACT): Row("contact", (S.ON,)),
    (S.OPEN, Given.VALUE): Row("idle", _MOVES),
    (S.OPEN, Given.DUE): Row("waiting", (S.OPEN,)),
    (S.OPEN, Given.GO): Row("stay", (S.OPEN,)),
    (S.OPEN, Given.YES): Row("word_yes", (S.OPEN,)),
    (S.ON, Given.VALUE): Row("value", (S.ON, S.STOPPED, *_MOVES)),
    (S.ON, Given.DUE): Row("still_on", (S.ON,)),
    (S.ON, Given.ENDED): Row("ended", (S.OPEN,)),
    (S.STOPPED, Given.GO): Row("reopen", (S.OPEN,)),
    (S.LAST, Given.GO): Row("lifted", (S.ASK,)),
    (S.LAST, Given.YES): Row("unseen", (S.LAST,)),
    (S.LAST, Given.NO): Row("unseen", (S.LAST,)),
    (S.ASK, Given.YES): Row("counted", (S.ASK, S.OPEN, S.END)),
    (S.ASK, Given.NO): Row("miscounted", (S.ASK, S.REDO)),
    (S.ASK, Given.GO): Row("lifted", (S.ASK,)),
    (S.REDO, Given.YES): Row("redo", (S.OPEN,)),
    (S.REDO, Given.NO): Row("leave", (S.OPEN, S.END)),
    (S.REDO, Given.GO): Row("stay", (S.REDO,)),
    **words_rows(
        (*_COUNTING, S.REDO),
        {
            Given.BACK: Row("word_back", (S.OPEN,)),
            Given.AT: Row("word_at", (S.OPEN, *_COUNTING, S.REDO)),
            Given.SKIP_STEP: Row("word_skip_step", (S.END,)),
        },
    ),
    **words_rows((S.OPEN, S.ON, S.STOPPED), _ITEM_WORDS),
}
