"""The table of a walk: its states, its finer inputs, and what follows each."""

from __future__ import annotations

from enum import StrEnum

from metercap.steps.machine import Cells, Given, Look, Row, table


class WalkState(StrEnum):
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
    NEXT = "next"
    """An item was decided or passed over."""
    COUNT = "count"
    """The count check is due."""
    COUNTED = "counted"
    """It is over."""
    END = "end"


class WalkSign(StrEnum):
    """What an input turns out to be, and what a look finds."""

    DECIDED = "decided"
    ONCE_MORE = "once more"
    """A settled contact is kept; another, separate one is needed."""
    VOLTAGE = "voltage"
    ZERO = "about zero"
    """Two conversions about zero after a `yes`."""
    FIRST_LOOK = "first look"
    SECOND_LOOK = "second look"
    UNSEEN = "unseen"
    """The question was hidden, or not shown yet."""
    RIGHT = "right"
    WRONG = "wrong"
    ITEM = "item left"
    DUE_COUNT = "ticks to count"
    SKIPPED = "skipped ones left"
    NONE = "none left"
    TIPS_OFF = "tips off"
    TIPS_ON = "tips on"


_State, _Sign = WalkState, WalkSign

_ITEM_WORDS: Cells = {
    Given.BLOCKED: Row("drop", _State.OPEN),
    Given.OPEN: Row("word_open", _State.NEXT),
    Given.ABSENT: Row("word_absent", _State.NEXT),
    Given.SKIP: Look("which_look", (_Sign.FIRST_LOOK, _Sign.SECOND_LOOK)),
    _Sign.FIRST_LOOK: Row("pass_over", _State.NEXT),
    _Sign.SECOND_LOOK: Row("give_up", _State.NEXT),
    Given.BACK: Row("word_back", _State.OPEN, asks=True),
    Given.AGAIN: Row("word_again", _State.OPEN, asks=True),
    Given.REPLACED: Row("word_replaced", _State.OPEN, asks=True),
    Given.AT: Row("word_at", _State.OPEN, asks=True),
    Given.SKIP_STEP: Row("skip_rest", _State.NEXT),
    Given.GOOD: Row("be_good", None),
}
_COUNT_WORDS: Cells = {
    Given.GOOD: Row("be_good", None),
    Given.BLOCKED: Row("drop", None),
    Given.BACK: Row("word_back", _State.OPEN, asks=True),
    Given.AT: Row("word_at", _State.OPEN, asks=True),
}
_WHAT_NEXT: Cells = {
    _Sign.ITEM: Row("open_next", _State.OPEN, asks=True),
    _Sign.SKIPPED: Row("open_skipped", _State.OPEN, asks=True),
    _Sign.NONE: Row("finish", _State.END),
}

TABLE = table(
    {
        _State.OPEN: {
            **_ITEM_WORDS,
            Given.CONTACT: Row("contact", _State.ON),
            Given.VALUE: Look("reads_zero", (_Sign.ZERO,)),
            _Sign.ZERO: Row("give_zero", _State.NEXT),
            Given.DUE: Row("waiting", None),
            Given.YES: Row("word_yes", None),
            Given.BLOCKED: Row("drop", None),
        },
        _State.ON: {
            **_ITEM_WORDS,
            Given.VALUE: Look("take", (_Sign.DECIDED, _Sign.ONCE_MORE, _Sign.VOLTAGE)),
            _Sign.DECIDED: Row("decide", _State.NEXT),
            _Sign.ONCE_MORE: Row("wait_again", None),
            _Sign.VOLTAGE: Row("stop", _State.STOPPED),
            Given.DUE: Row("still_on", None),
            Given.ENDED: Row("ended", _State.OPEN),
        },
        _State.STOPPED: {**_ITEM_WORDS, Given.GO: Row("begin_anew", _State.OPEN, asks=True)},
        _State.NEXT: {
            Given.NOW: Look("what_next", (_Sign.ITEM, _Sign.DUE_COUNT, _Sign.SKIPPED, _Sign.NONE)),
            _Sign.DUE_COUNT: Row("begin_count", _State.COUNT),
            **_WHAT_NEXT,
        },
        _State.COUNT: {
            Given.NOW: Look("where_tips", (_Sign.TIPS_OFF, _Sign.TIPS_ON)),
            _Sign.TIPS_OFF: Row("ask_count", _State.ASK),
            _Sign.TIPS_ON: Row("ask_lift", _State.LAST),
        },
        _State.LAST: {
            **_COUNT_WORDS,
            Given.GO: Row("ask_count", _State.ASK),
            Given.YES: Row("unseen", None),
            Given.NO: Row("unseen", None),
            Given.SKIP_STEP: Row("leave_uncounted", _State.END),
        },
        _State.ASK: {
            **_COUNT_WORDS,
            Given.GO: Row("ask_count", None),
            Given.YES: Look("is_right", (_Sign.UNSEEN, _Sign.RIGHT)),
            Given.NO: Look("is_wrong", (_Sign.UNSEEN, _Sign.WRONG)),
            _Sign.UNSEEN: Row("unseen", None),
            _Sign.RIGHT: Row("counted", _State.COUNTED),
            _Sign.WRONG: Row("miscounted", _State.REDO, asks=True),
            Given.SKIP_STEP: Row("leave_uncounted", _State.END),
        },
        _State.REDO: {
            **_COUNT_WORDS,
            Given.YES: Row("redo", _State.NEXT),
            Given.NO: Row("", _State.COUNTED),
            Given.SKIP_STEP: Row("leave_unsure", _State.END),
        },
        _State.COUNTED: {
            Given.NOW: Look("after_count", (_Sign.ITEM, _Sign.SKIPPED, _Sign.NONE)),
            **_WHAT_NEXT,
        },
    }
)
