"""What a prompt asks, as data: which words answer it, and the facts that its sentence tells a person.

Whoever has to understand a prompt (a screen, a speaker, simulated hands) reads these fields, never its sentence.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from typing import Literal, TypedDict

from metercap.quantity import Quantity


class Asks(StrEnum):
    """What is asked beyond the kind of action (`do`)."""

    DONE = "done"
    """Is it so? Not yet is no answer."""
    BEGUN = "begun"
    """Has what is waited for begun?"""
    POINT = "point"
    """Both tips on a point that must be dead: hold, say yes, hold on."""
    POLARITY = "polarity"
    """Is red on +?"""
    REPLACED = "replaced"
    CLEANED = "cleaned"
    MENDED = "mended"
    STARTED = "started"
    """How did a start of the unit go?"""
    COUNT = "count"
    """Was the last tick on the prompt's item?"""
    REDO = "redo"
    """Sweep what became unsure again?"""
    ACROSS = "across"
    """Both tips across a switch's contacts, whose opening is nothing to wonder about."""
    PRESSING = "pressing"
    """Nothing was seen for some presses: is anybody pressing?"""
    TOKEN = "token"
    """A token was touched once: does it mean what it says?"""
    RULE = "rule"
    """The band is narrower than this meter can prove: take the simple rule?"""
    WIDER = "wider"
    UNDO = "undo"
    """Go back past a hazard limit?"""
    TARGET = "target"
    """There is no reference: a value to turn to, or this unit is good."""
    TARGET_SAID = "target said"
    """Was the value heard right?"""
    TOOL_AWAY = "tool away"
    VOLTS = "volts"
    """There is a voltage where none should be."""
    FLEX = "flex"
    LOAD = "load"
    SINCE = "since"
    """Was nothing connected to the unit since it was proved dead?"""
    NEXT_UNIT = "next unit"
    """Take the next unit of the job?"""
    PROVE = "prove"
    """The unit is not proved dead: prove it now? Going on without is a word of its own, never a yes."""
    GO_ON = "go on"
    """Something stops the ticking; yes goes on in spite of it."""


ANSWERS: Mapping[Asks, tuple[str, ...]] = {
    Asks.DONE: ("yes", "no", "fail", "skip"),
    Asks.BEGUN: ("yes", "no", "fail", "skip"),
    Asks.POINT: ("yes", "skip", "absent", "again"),
    Asks.POLARITY: ("yes", "no"),
    Asks.REPLACED: ("replaced", "no", "skip"),
    Asks.CLEANED: ("yes", "no"),
    Asks.MENDED: ("fixed", "no", "back"),
    Asks.STARTED: ("pass", "fail", "back"),
    Asks.COUNT: ("yes", "no", "back"),
    Asks.REDO: ("yes", "no"),
    Asks.ACROSS: ("yes", "missed", "fail", "skip"),
    Asks.PRESSING: ("yes", "missed", "again", "skip"),
    Asks.RULE: ("yes", "no"),
    Asks.WIDER: ("yes", "no"),
    Asks.UNDO: ("yes", "no"),
    Asks.TARGET: ("target", "good", "skip"),
    Asks.TARGET_SAID: ("yes", "no"),
    Asks.SINCE: ("yes", "no"),
    Asks.NEXT_UNIT: ("yes", "no"),
    Asks.PROVE: ("yes",),
    Asks.GO_ON: ("yes",),
}
"""The words that answer each, the likeliest first; what is not listed is answered by the hands."""

Range = Literal["low", "auto", "finer"]
"""How a dial prompt wants the meter's range: the lowest one fixed, its own choice again, a finer one."""


class PromptFacts(TypedDict, total=False):
    """The facts of a prompt, as `records.Prompt` carries them; see there."""

    asks: Asks
    quantity: Quantity
    until_s: float | None
    dial: tuple[Quantity, ...]
    range: Range
    target: float
    low: float
    high: float
    never_below: float
    never_above: float
    unit: str
    load_ohm: float
    done: int
    closed: int
    of: int
    press: bool
    keep: bool
    second: bool
    power: Literal["on", "off"]
