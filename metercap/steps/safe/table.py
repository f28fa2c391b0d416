"""The states of `safe`, its finer inputs, and what follows each."""

from __future__ import annotations

from enum import StrEnum

from metercap.steps.machine import Cells, Given, Look, Row, table


class SafeState(StrEnum):
    """States: the source before, the lift off it, a point, a point's `yes` waiting for two values, the source after."""

    BEFORE = "before"
    LIFT = "lift"
    POINT = "point"
    ANSWERED = "answered"
    AFTER = "after"
    PROVED = "proved"
    """The source before is over."""
    NEXT = "next"
    """A point is over."""
    END = "end"


class SafeSign(StrEnum):
    """What an input turns out to be, and what follows."""

    SHOWN = "the source's voltage"
    TIPS_OFF = "dead, lifted"
    LIVE = "live"
    DEAD_AGAIN = "dead again"
    HELD_BACK = "while a block stands"
    SOON = "too soon"
    HEARD = "in time"
    DEAD = "dead twice"
    COARSE = "range too coarse"
    POINTS = "points to measure"
    NO_POINTS = "no points"
    POINT = "point left"
    NONE = "none left"


_State, _Sign = SafeState, SafeSign

_POINT_WORDS: Cells = {
    Given.SKIP: Row("skip_point", _State.NEXT),
    Given.NO: Row("skip_point", _State.NEXT),
    Given.ABSENT: Row("absent_point", _State.NEXT),
    Given.BACK: Row("back", _State.POINT, asks=True),
    Given.AGAIN: Row("", _State.POINT, asks=True),
    Given.SKIP_STEP: Row("skip_step", _State.END),
}

TABLE = table(
    {
        _State.BEFORE: {
            Given.VALUE: Look("source", (_Sign.SHOWN,)),
            _Sign.SHOWN: Row("proved_before", _State.PROVED),
            Given.SKIP: Row("skip_before", _State.PROVED),
            Given.YES: Row("say_wanted", None),
            Given.AGAIN: Row("", None, asks=True),
            Given.SKIP_STEP: Row("skip_step", _State.END),
            Given.BLOCKED: Row("drop", None),
        },
        _State.PROVED: {
            Given.NOW: Look("any_points", (_Sign.POINTS, _Sign.NO_POINTS)),
            _Sign.POINTS: Row("", _State.LIFT, asks=True),
            _Sign.NO_POINTS: Row("", _State.AFTER, asks=True),
        },
        _State.LIFT: {
            Given.VALUE: Look("lifting", (_Sign.TIPS_OFF, _Sign.LIVE)),
            _Sign.TIPS_OFF: Row("to_points", _State.POINT, asks=True),
            _Sign.LIVE: Row("stop", None),
            Given.YES: Row("lift_first", None),
            Given.SKIP: Row("skip_lift", _State.POINT, asks=True),
            Given.AGAIN: Row("", _State.BEFORE, asks=True),
            Given.SKIP_STEP: Row("skip_step", _State.END),
            Given.BLOCKED: Row("drop", None),
        },
        _State.POINT: {
            **_POINT_WORDS,
            Given.VALUE: Look("watch", (_Sign.LIVE, _Sign.DEAD_AGAIN)),
            _Sign.LIVE: Row("stop", None),
            _Sign.DEAD_AGAIN: Row("over_again", None),
            Given.YES: Look("hear", (_Sign.HELD_BACK, _Sign.SOON, _Sign.HEARD)),
            _Sign.HELD_BACK: Row("say_again", None),
            _Sign.SOON: Row("too_soon", None),
            _Sign.HEARD: Row("heard", _State.ANSWERED),
            Given.BLOCKED: Row("drop", None),
        },
        _State.ANSWERED: {
            **_POINT_WORDS,
            Given.VALUE: Look("two_values", (_Sign.DEAD, _Sign.LIVE, _Sign.COARSE)),
            _Sign.DEAD: Row("prove", _State.NEXT),
            _Sign.LIVE: Row("stop_after_yes", _State.POINT),
            _Sign.COARSE: Row("too_coarse", _State.POINT),
            Given.YES: Row("", None),
            Given.BLOCKED: Row("drop", _State.POINT),
        },
        _State.NEXT: {
            Given.NOW: Look("what_next", (_Sign.POINT, _Sign.NONE)),
            _Sign.POINT: Row("", _State.POINT, asks=True),
            _Sign.NONE: Row("", _State.AFTER, asks=True),
        },
        _State.AFTER: {
            Given.VALUE: Look("source", (_Sign.SHOWN,)),
            _Sign.SHOWN: Row("proved_after", _State.END),
            Given.SKIP: Row("skip_after", _State.END),
            Given.YES: Row("say_wanted", None),
            Given.AGAIN: Row("", None, asks=True),
            Given.SKIP_STEP: Row("skip_step", _State.END),
            Given.BLOCKED: Row("drop", None),
        },
    }
)
