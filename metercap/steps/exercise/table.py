"""The plan keys of `exercise`, its states, and what every input does in each."""

from __future__ import annotations

from enum import StrEnum

from metercap.steps.machine import Cell, Given, Row, words_rows


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
    ASK = "ask"
    """Nothing was seen for some presses: is anybody pressing?"""
    CLEAN = "clean"
    """Closures were missed: clean and exercise again?"""
    END = "end"


GOING = (S.CLOSE, S.PART, S.REST)
_JUDGED = (S.CLEAN, S.READY, S.END)
"""What follows a verdict: cleaning, the next switch, or the end."""
_NEXT = _JUDGED
"""The next switch may have failed in an interrupted session, and wait for its answer."""

TABLE: dict[tuple[StrEnum, StrEnum], Cell] = {
    (S.READY, Given.VALUE): Row("first", (S.READY, S.PART)),
    (S.READY, Given.DUE): Row("waiting", (S.READY,)),
    (S.READY, Given.AGAIN): Row("word_again", (S.READY,)),
    (S.READY, Given.YES): Row("tips_on", (S.CLOSE, S.PART)),
    (S.READY, Given.FAIL): Row("word_fail", _JUDGED),
    (S.READY, Given.MISSED): Row("word_missed", _JUDGED),
    # Half a press that was pressed in leads to its release; one that was let go ends the press.
    (S.CLOSE, Given.VALUE): Row("closing", (S.CLOSE, S.PART, S.REST, S.ASK, *_JUDGED)),
    (S.CLOSE, Given.DUE): Row("not_closed", (S.CLOSE, S.PART, S.REST, S.ASK, *_JUDGED)),
    (S.CLOSE, Given.FAIL): Row("fail_closing", (S.CLOSE, S.PART, S.REST, *_JUDGED)),
    (S.PART, Given.VALUE): Row("parting", (S.PART, S.CLOSE, S.REST, S.ASK, *_JUDGED)),
    (S.PART, Given.DUE): Row("not_parted", (S.PART, S.CLOSE)),
    (S.PART, Given.FAIL): Row("fail_parting", (S.PART, *_JUDGED)),
    (S.REST, Given.DUE): Row("rested", (S.CLOSE, S.PART)),
    (S.REST, Given.FAIL): Row("word_fail", (S.REST, *_JUDGED)),
    (S.ASK, Given.VALUE): Row("asking", (S.ASK, S.PART, S.CLOSE)),
    (S.ASK, Given.MISSED): Row("word_missed", (S.CLOSE, S.PART, *_JUDGED)),
    (S.ASK, Given.NO): Row("word_again", (S.READY,)),
    (S.ASK, Given.AGAIN): Row("word_again", (S.READY,)),
    (S.CLEAN, Given.YES): Row("cleaned", (S.READY,)),
    (S.CLEAN, Given.NO): Row("decided", _NEXT),
    **words_rows((S.ASK,), dict.fromkeys((Given.YES, Given.FAIL), Row("count_silent", (S.CLOSE, S.PART, *_JUDGED)))),
    **words_rows(
        GOING, {Given.AGAIN: Row("word_again", (S.READY,)), Given.MISSED: Row("word_missed", (*GOING, *_JUDGED))}
    ),
    **words_rows(
        (S.READY, *GOING, S.ASK, S.CLEAN),
        {
            Given.SKIP: Row("skip", _NEXT),
            Given.ABSENT: Row("absent", _NEXT),
            Given.OPEN: Row("is_open", _NEXT),
            Given.BACK: Row("back", (S.READY, S.CLEAN)),
            Given.AT: Row("to_item", (S.READY, *GOING, S.ASK, S.CLEAN)),
            Given.SKIP_STEP: Row("skip_step", (S.END,)),
        },
    ),
}
