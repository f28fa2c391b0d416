"""The states of tuning, its finer inputs, and what follows each."""

from __future__ import annotations

from enum import StrEnum

from metercap.steps.machine import Cells, Given, Look, Row, table


class TuneState(StrEnum):
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
    FOUND_VOLTS = "found volts"
    """Voltage was seen: nothing is read until a certain lift."""
    LEFT_VOLTS = "left volts"
    RULE = "rule"
    """A question: take the simple rule?"""
    WIDER = "wider"
    """A question: widen the band?"""
    UNDO = "undo"
    """A question: go back past a hazard limit?"""
    TARGET = "target"
    """Nothing says what to turn to: a value, or that this unit is good."""
    TARGET_SAID = "target said"
    """A question: the value that was said, read back?"""
    NEXT = "next"
    """A trimmer was read, turned or left: what comes now?"""
    AIM = "aim"
    """A trimmer is to be turned: can its band be proved?"""
    AIM_ON = "aim on"
    """The same, with the tips still on it."""
    END = "end"


class TuneSign(StrEnum):
    """What an input turns out to be, and what a look finds."""

    SETTLED = "settled"
    ALONE = "settled, the only trimmer"
    GOOD_UNIT = "settled, of a good unit"
    MOVED = "moved already"
    MOVED_ALONE = "moved already, the only trimmer"
    VOLTAGE = "voltage"
    IN_BAND = "in band, at rest"
    OUT_OF_BAND = "at rest, out of band"
    AT_REST = "at rest"
    NAMED = "a trimmer"
    UNNAMED = "no trimmer to turn now"
    NO_WAY_BACK = "not read as found"
    WAY_BACK = "as found is harmless"
    PAST_LIMIT = "as found is past a limit"
    CAN_WIDEN = "a wider band can be proved"
    CANNOT_WIDEN = "no wider one"
    NARROW = "band too narrow to prove"
    PROVABLE = "band can be proved"
    NO_TARGET = "no reference"
    VALUE = "a value"
    NO_VALUE = "no value"
    ON = "contact goes on"
    OFF = "no contact that counts"
    TO_FIND = "to read as found"
    TO_TURN = "to turn"
    TO_READ = "to read as left"
    NONE = "none left"


_State, _Sign = TuneState, TuneSign

_WORDS: Cells = {
    Given.YES: Row("word_yes", None),
    Given.AT: Look("find", (_Sign.NAMED, _Sign.UNNAMED)),
    _Sign.NAMED: Row("word_at", _State.AIM),
    _Sign.UNNAMED: Row("no_such", None),
    Given.SKIP: Row("word_skip", _State.NEXT),
    Given.ABSENT: Row("word_absent", _State.NEXT),
    Given.OPEN: Row("word_open", _State.NEXT),
    Given.SKIP_STEP: Row("word_skip_step", _State.END),
}
_FOUND_WORDS: Cells = {
    **_WORDS,
    Given.GOOD: Row("be_good", None, asks=True),
    Given.REPLACED: Row("replaced_unread", _State.NEXT),
    Given.AGAIN: Row("open_found", _State.FOUND, asks=True),
    Given.BACK: Row("open_found", _State.FOUND, asks=True),
}
_TURN_WORDS: Cells = {
    **_WORDS,
    Given.AGAIN: Row("aim_anew", _State.AIM),
    Given.REPLACED: Row("replaced", _State.AIM),
    Given.BACK: Row("back_from_turn", _State.AIM),
    Given.UNDO: Look("way_back", (_Sign.NO_WAY_BACK, _Sign.WAY_BACK, _Sign.PAST_LIMIT)),
    _Sign.NO_WAY_BACK: Row("nothing_found", None),
    _Sign.PAST_LIMIT: Row("ask_undo", _State.UNDO),
}
_LEFT_WORDS: Cells = {
    **_WORDS,
    Given.AGAIN: Row("open_left", _State.LEFT, asks=True),
    Given.REPLACED: Row("replaced", _State.AIM),
    Given.BACK: Row("back_from_left", _State.AIM),
}
_SAY_TARGET: Cells = {
    Given.TARGET: Look("hear_target", (_Sign.VALUE, _Sign.NO_VALUE)),
    _Sign.VALUE: Row("read_back", _State.TARGET_SAID, asks=True),
    _Sign.NO_VALUE: Row("tell_no_value", None),
    Given.GOOD: Row("be_good", _State.NEXT),
}
_SAY_AGAIN: Cells = {
    Given.TARGET: Look("hear_again", (_Sign.VALUE, _Sign.NO_VALUE)),
    _Sign.VALUE: Row("read_back", _State.TARGET_SAID, asks=True),
    _Sign.NO_VALUE: Row("tell_no_value", None),
}
_APART: Cells = {Given.DUE: Row("waiting", None), Given.BLOCKED: Row("drop", None)}
_QUESTION: Cells = {Given.BLOCKED: Row("drop", None), Given.SKIP_STEP: Row("word_skip_step", _State.END)}
_AIMED: Cells = {_Sign.ON: Row("", _State.AIM_ON), _Sign.OFF: Row("", _State.AIM)}

TABLE = table(
    {
        _State.FOUND: {
            **_FOUND_WORDS,
            **_APART,
            Given.CONTACT: Row("read", _State.FOUND_ON),
            _Sign.MOVED: Row("moved", _State.NEXT),
        },
        _State.FOUND_ON: {
            **_FOUND_WORDS,
            Given.VALUE: Look(
                "read_found",
                (_Sign.SETTLED, _Sign.ALONE, _Sign.GOOD_UNIT, _Sign.MOVED, _Sign.MOVED_ALONE, _Sign.VOLTAGE),
            ),
            _Sign.SETTLED: Row("keep_found", _State.NEXT),
            _Sign.ALONE: Row("keep_only", _State.AIM_ON),
            _Sign.GOOD_UNIT: Row("keep_good", _State.NEXT),
            _Sign.MOVED: Row("moved", _State.NEXT),
            _Sign.MOVED_ALONE: Row("moved_only", _State.AIM_ON),
            _Sign.VOLTAGE: Row("", _State.FOUND_VOLTS),
            Given.ENDED: Row("parted", _State.FOUND),
            Given.BLOCKED: Row("drop", _State.FOUND),
        },
        _State.TURN: {
            **_TURN_WORDS,
            **_APART,
            Given.CONTACT: Row("touch_to_turn", _State.TURN_ON),
            _Sign.WAY_BACK: Row("go_back", _State.TURN),
            Given.SKIP: Row("judge_left", _State.STOP),
        },
        _State.TURN_ON: {
            **_TURN_WORDS,
            Given.VALUE: Look("turning", (_Sign.IN_BAND,)),
            _Sign.IN_BAND: Row("tool_away", _State.STOP_ON),
            Given.ENDED: Row("lost", _State.TURN),
            _Sign.WAY_BACK: Row("go_back", _State.TURN_ON),
            Given.SKIP: Row("judge_left", _State.STOP_ON),
            Given.BLOCKED: Row("drop", _State.TURN),
        },
        _State.STOP: {
            **_TURN_WORDS,
            **_APART,
            Given.CONTACT: Row("touch_at_rest", _State.STOP_ON),
            _Sign.WAY_BACK: Row("go_back", _State.TURN),
        },
        _State.STOP_ON: {
            **_TURN_WORDS,
            Given.VALUE: Look("resting", (_Sign.OUT_OF_BAND, _Sign.AT_REST)),
            _Sign.OUT_OF_BAND: Row("say_turn", _State.TURN_ON),
            _Sign.AT_REST: Row("leave_at_rest", _State.NEXT),
            Given.ENDED: Row("lost", _State.STOP),
            _Sign.WAY_BACK: Row("go_back", _State.TURN_ON),
            Given.BLOCKED: Row("drop", _State.STOP),
        },
        _State.LEFT: {**_LEFT_WORDS, **_APART, Given.CONTACT: Row("read", _State.LEFT_ON)},
        _State.LEFT_ON: {
            **_LEFT_WORDS,
            Given.VALUE: Look("read_left", (_Sign.SETTLED, _Sign.VOLTAGE)),
            _Sign.SETTLED: Row("keep_left", _State.NEXT),
            _Sign.VOLTAGE: Row("", _State.LEFT_VOLTS),
            Given.ENDED: Row("parted", _State.LEFT),
            Given.BLOCKED: Row("drop", _State.LEFT),
        },
        _State.FOUND_VOLTS: {
            _Sign.MOVED: Row("moved", _State.NEXT),
            Given.GO: Row("open_found", _State.FOUND, asks=True),
            Given.BLOCKED: Row("drop", _State.FOUND),
            Given.SKIP_STEP: Row("word_skip_step", _State.END),
        },
        _State.LEFT_VOLTS: {
            Given.GO: Row("open_left", _State.LEFT, asks=True),
            Given.BLOCKED: Row("drop", _State.LEFT),
            Given.SKIP_STEP: Row("word_skip_step", _State.END),
        },
        _State.RULE: {
            **_QUESTION,
            **_SAY_AGAIN,
            Given.YES: Look("take_simple", (_Sign.ON, _Sign.OFF)),
            **_AIMED,
            Given.NO: Look("could_widen", (_Sign.CAN_WIDEN, _Sign.CANNOT_WIDEN)),
            _Sign.CAN_WIDEN: Row("ask_wider", _State.WIDER),
            _Sign.CANNOT_WIDEN: Row("aim_anew", _State.AIM),
        },
        _State.WIDER: {
            **_QUESTION,
            **_SAY_AGAIN,
            Given.YES: Look("widen", (_Sign.ON, _Sign.OFF)),
            **_AIMED,
            Given.NO: Row("aim_anew", _State.AIM),
        },
        _State.UNDO: {
            **_QUESTION,
            Given.YES: Look("still_on", (_Sign.ON, _Sign.OFF)),
            _Sign.ON: Row("go_back", _State.TURN_ON),
            _Sign.OFF: Row("go_back", _State.TURN),
            Given.NO: Row("aim_anew", _State.AIM),
        },
        _State.TARGET: {
            **_WORDS,
            **_SAY_TARGET,
            Given.AGAIN: Row("aim_anew", _State.AIM),
            Given.REPLACED: Row("replaced", _State.AIM),
            Given.BACK: Row("back_from_turn", _State.AIM),
            Given.BLOCKED: Row("drop", None),
        },
        _State.TARGET_SAID: {
            **_QUESTION,
            **_SAY_TARGET,
            Given.YES: Look("take_target", (_Sign.ON, _Sign.OFF)),
            **_AIMED,
            Given.NO: Row("", _State.TARGET, asks=True),
        },
        _State.NEXT: {
            Given.NOW: Look("what_next", (_Sign.TO_FIND, _Sign.TO_TURN, _Sign.TO_READ, _Sign.NONE)),
            _Sign.TO_FIND: Row("open_found", _State.FOUND, asks=True),
            _Sign.TO_TURN: Row("aim_next", _State.AIM),
            _Sign.TO_READ: Row("reread_next", _State.LEFT, asks=True),
            _Sign.NONE: Row("", _State.END),
        },
        _State.AIM: {
            Given.NOW: Look("can_prove", (_Sign.NO_TARGET, _Sign.NARROW, _Sign.PROVABLE)),
            _Sign.NO_TARGET: Row("", _State.TARGET, asks=True),
            _Sign.NARROW: Row("ask_rule", _State.RULE),
            _Sign.PROVABLE: Row("", _State.TURN, asks=True),
        },
        _State.AIM_ON: {
            Given.NOW: Look("can_prove", (_Sign.NO_TARGET, _Sign.NARROW, _Sign.PROVABLE)),
            _Sign.NO_TARGET: Row("", _State.TARGET, asks=True),
            _Sign.NARROW: Row("ask_rule", _State.RULE),
            _Sign.PROVABLE: Row("turn_on", _State.TURN_ON),
        },
    }
)
