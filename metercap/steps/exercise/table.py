"""The states of `exercise`, its finer inputs, and what follows each."""

from __future__ import annotations

from enum import StrEnum

from metercap.steps.listed import ListSign, item_words
from metercap.steps.machine import Cells, Given, Look, Row, table


class ExerciseState(StrEnum):
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
    CLOSED = "after closing"
    """The half of a press in which the contact closes is over."""
    PARTED = "after opening"
    """The half in which it opens is over."""
    PRESSED = "after a press"
    PRESS = "press"
    """A press begins."""
    JUDGED = "judged"
    """The last press was judged."""
    NEXT = "next"
    """A switch was decided."""
    END = "end"


class ExerciseSign(StrEnum):
    """What an input turns out to be, and what a look finds."""

    SHOWN = "shown closed"
    CLOSED = "closed"
    UNCLOSED = "not closed"
    PARTED = "opened"
    UNPARTED = "not opened"
    STUCK = "still closed"
    FAILED = "failed"
    ALL = "all presses made"
    MORE = "presses to make"
    RELEASE = "its release comes"
    OVER = "the press is over"
    SILENT = "silent presses"
    PAUSE = "a pause comes"
    CLOSES = "a press closes"
    OPENS = "a press opens"
    FAULTY = "to be cleaned"
    DONE = "done with it"
    ASKED = "waits for its cleaning"


_State, _Sign = ExerciseState, ExerciseSign

_WORDS: Cells = {
    **item_words(_State.NEXT, _State.END),
    Given.SKIP: Row("skip", _State.NEXT),
    Given.OPEN: Row("is_open", _State.NEXT),
    Given.BACK: Row("back", _State.NEXT),
    Given.REPLACED: Row("replaced", _State.READY, asks=True),
}
_UNDER_WAY: Cells = {
    **_WORDS,
    Given.AGAIN: Row("word_again", _State.READY, asks=True),
    Given.MISSED: Look("word_missed", (_Sign.ALL,)),
    Given.FAIL: Look("word_fail", (_Sign.ALL,)),
    _Sign.ALL: Row("judge_run", _State.JUDGED),
    Given.BLOCKED: Row("forget", _State.READY),
}

TABLE = table(
    {
        _State.READY: {
            **_UNDER_WAY,
            Given.VALUE: Look("first", (_Sign.SHOWN,)),
            _Sign.SHOWN: Row("shown", _State.PART, asks=True),
            Given.DUE: Row("waiting", None),
            Given.YES: Row("tips_on", _State.PRESS),
            Given.BLOCKED: Row("forget", None),
        },
        _State.CLOSE: {
            **_UNDER_WAY,
            Given.VALUE: Look("closing", (_Sign.CLOSED, _Sign.UNCLOSED)),
            Given.DUE: Look("close_due", (_Sign.UNCLOSED,)),
            _Sign.CLOSED: Row("count_closed", _State.CLOSED),
            _Sign.UNCLOSED: Row("count_unclosed", _State.CLOSED),
            Given.FAIL: Look("fail_closing", (_Sign.FAILED, _Sign.ALL)),
            _Sign.FAILED: Row("count_failed", _State.CLOSED),
        },
        _State.PART: {
            **_UNDER_WAY,
            Given.VALUE: Look("parting", (_Sign.PARTED, _Sign.UNPARTED)),
            Given.DUE: Look("part_due", (_Sign.UNPARTED,)),
            _Sign.PARTED: Row("", _State.PARTED),
            _Sign.UNPARTED: Row("count_unparted", _State.PARTED),
            Given.FAIL: Look("fail_parting", (_Sign.STUCK, _Sign.ALL)),
            _Sign.STUCK: Row("judge_stuck", _State.JUDGED),
        },
        _State.REST: {
            **_UNDER_WAY,
            Given.DUE: Row("", _State.PRESS),
        },
        _State.ASK: {
            **_WORDS,
            Given.VALUE: Look("asking", (_Sign.CLOSED, _Sign.PARTED)),
            _Sign.CLOSED: Row("count_closed", _State.CLOSED),
            _Sign.PARTED: Row("", _State.CLOSE, asks=True),
            Given.YES: Look("count_silent", (_Sign.ALL, _Sign.MORE)),
            Given.FAIL: Look("count_silent", (_Sign.ALL, _Sign.MORE)),
            Given.MISSED: Look("count_missed", (_Sign.ALL, _Sign.MORE)),
            _Sign.ALL: Row("judge_run", _State.JUDGED),
            _Sign.MORE: Row("", _State.PRESS),
            Given.NO: Row("word_again", _State.READY, asks=True),
            Given.AGAIN: Row("word_again", _State.READY, asks=True),
            Given.BLOCKED: Row("forget", None),
        },
        _State.CLEAN: {
            **_WORDS,
            Given.YES: Row("cleaned", _State.READY, asks=True),
            Given.FIXED: Row("fixed", _State.READY, asks=True),
            Given.NO: Row("decided", _State.NEXT),
            Given.SKIP: Row("decided", _State.NEXT),
            Given.BLOCKED: Row("forget", None),
        },
        # Half a press that was pressed in leads to its release; one that was let go ends the press.
        _State.CLOSED: {
            Given.NOW: Look("after_closing", (_Sign.RELEASE, _Sign.OVER)),
            _Sign.RELEASE: Row("", _State.PART, asks=True),
            _Sign.OVER: Row("", _State.PRESSED),
        },
        _State.PARTED: {
            Given.NOW: Look("after_parting", (_Sign.RELEASE, _Sign.OVER)),
            _Sign.RELEASE: Row("", _State.CLOSE, asks=True),
            _Sign.OVER: Row("", _State.PRESSED),
        },
        _State.PRESSED: {
            Given.NOW: Look("after_press", (_Sign.SILENT, _Sign.ALL, _Sign.PAUSE, _Sign.MORE)),
            _Sign.SILENT: Row("doubt", _State.ASK, asks=True),
            _Sign.ALL: Row("judge_run", _State.JUDGED),
            _Sign.PAUSE: Row("rest", _State.REST),
            _Sign.MORE: Row("", _State.PRESS),
        },
        _State.PRESS: {
            Given.NOW: Look("how_pressed", (_Sign.CLOSES, _Sign.OPENS)),
            _Sign.CLOSES: Row("", _State.CLOSE, asks=True),
            _Sign.OPENS: Row("", _State.PART, asks=True),
        },
        _State.JUDGED: {
            Given.NOW: Look("to_clean", (_Sign.FAULTY, _Sign.DONE)),
            _Sign.FAULTY: Row("", _State.CLEAN, asks=True),
            _Sign.DONE: Row("decided", _State.NEXT),
        },
        _State.NEXT: {
            Given.NOW: Look("what_next", (ListSign.ITEM, _Sign.ASKED, ListSign.NONE)),
            ListSign.ITEM: Row("open_next", _State.READY, asks=True),
            _Sign.ASKED: Row("open_next", _State.CLEAN, asks=True),
            ListSign.NONE: Row("lift_off", _State.END),
        },
    }
)
