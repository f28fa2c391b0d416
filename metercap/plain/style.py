"""Words and marks of plain output: shape first, colour only where it may be used."""

from __future__ import annotations

import os
from typing import TextIO

import click

from metercap.gate import visible as safe
from metercap.outlet import colour_forced
from metercap.quantity import format_value
from metercap.records import CueKind, Verdict, VerdictKind

__all__ = ["LOUD", "MARKS", "SAYINGS", "limits_text", "paint", "safe", "use_colour", "value_text"]

MARKS = {
    VerdictKind.PASS: ("+", "green"),
    VerdictKind.FAIL: ("X", "red"),
    VerdictKind.UNSURE: ("?", "yellow"),
    VerdictKind.ABSENT: ("-", "cyan"),
}

SAYINGS = {
    CueKind.CONTACT: "contact",
    CueKind.GO: "go: the lift was seen",
    CueKind.LIFT: "lift the probes",
    CueKind.AGAIN: "again: touch it once more",
    CueKind.WAITING: "waiting: touch it, or say open, skip or absent",
    CueKind.STOP: "STOP",
    CueKind.HAZARD: "HAZARD",
    CueKind.SKIP: "skipped: a second look comes at the end",
    CueKind.FAR: "far",
    CueKind.NEAR: "near",
    CueKind.SLOW: "slow down",
    CueKind.IN_BAND: "in band: hold it there",
    CueKind.WRONG_WAY: "wrong way",
    CueKind.PAST_IT: "past it: turn back",
}
LOUD = (CueKind.STOP, CueKind.HAZARD)


def use_colour(stream: TextIO) -> bool:
    """Return whether colour may be written: where it is forced, or a terminal, NO_COLOR not set and TERM not dumb."""
    if colour_forced():
        return True
    if os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb":
        return False
    return stream.isatty()


def paint(text: str, colour: str | None, use: bool, *, bold: bool = False) -> str:
    """Return `text`, escaped, in a colour where colour is used."""
    return click.style(safe(text), fg=colour, bold=bold or None) if use else safe(text)


def value_text(verdict: Verdict) -> str:
    """Return "0.2 Ω ± 0.1 Ω", or an empty text where the verdict has no value."""
    if verdict.value is None:
        return ""
    text = format_value(verdict.value, verdict.unit, verdict.resolution)
    if verdict.expanded is not None:
        finer = None if verdict.resolution is None else verdict.resolution / 10.0
        text += f" ± {format_value(verdict.expanded, verdict.unit, finer)}"
    return text


def limits_text(verdict: Verdict) -> str:
    """Return "at most 2 Ω", "1.485 kΩ to 1.515 kΩ", or an empty text."""
    low = None if verdict.min is None else format_value(verdict.min, verdict.unit)
    high = None if verdict.max is None else format_value(verdict.max, verdict.unit)
    if low is not None and high is not None:
        return f"{low} to {high}"
    if high is not None:
        return f"at most {high}"
    return "" if low is None else f"at least {low}"
