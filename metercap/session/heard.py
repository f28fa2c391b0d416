"""What a word may be refused for before any step hears it, and what the name of an unplanned item becomes."""

from __future__ import annotations

import re
from collections.abc import Iterable

from metercap.contact.blocks import PAST_LIMIT
from metercap.contact.tokens import WRITES
from metercap.records import Operator, at
from metercap.steps import WORDS, Bench

HAND_S = 0.3
"""A key this soon after a new prompt was on its way before anybody could read it (simple reaction times to what is seen
are 0.2 s and more; from memory)."""
BY_HAND = ("key", "pedal")
"""Sources that a hand or foot may still have been pressing; a line is taken as it comes."""
CLAP = "clap"
"""The word that marks a moment for the film; it answers nothing."""
NAMES_ITS_OWN = ("at",)
"""Words that say what they are about, so that no prompt can be mistaken for it."""

LEADS_AWAY = ("at", "back", "skip", "skip step", "replaced")
"""What a step that must not be powered still hears: words that lead to the trimmer, or do without the step."""

_COUNTED = re.compile(r"(?P<head>.*?)(?P<number>[0-9]{1,9})")
_CLASS = re.compile(r"[A-Za-z]{1,2}")
"""A class of parts as schematics letter them: F, R, TP (IEC 81346-2 and common practice; from memory)."""


def refusal(event: Operator, bench: Bench, *, held_back: bool) -> str:
    """Return why a word is not taken now, or an empty text; `held_back`: a block stops what rests on readings."""
    word = event.word
    late = event.source in BY_HAND and word in WORDS and word not in NAMES_ITS_OWN
    if late and event.t_s < at(bench.prompted_s + HAND_S):
        return f"{word!r} came with a new prompt and answers neither it nor the last: say it again if it was meant"
    past = bench.standing.get(bench.asked_item)
    if word == "absent" and past is not None and past.believed:
        return f"{past.said(bench.asked_item)}: it is there, turn it back"
    block = bench.block
    if held_back and block is not None:
        powers = block.key == PAST_LIMIT and word in WORDS and word not in LEADS_AWAY
        if powers or word in WRITES:
            return f"{word!r} is not taken now: {block.say}"
    return ""


def counted_on(name: str, taken: Iterable[str]) -> str:
    """Return the name of an unplanned item: "F" counts on after the items `taken`, F1, F2, …, and so does any other
    name of which numbered ones are taken. What has its number, or is no class of parts, is meant as it stands.
    """
    numbers = [
        int(found["number"])
        for item in taken
        if (found := _COUNTED.fullmatch(item)) is not None and found["head"].casefold() == name.casefold()
    ]
    return f"{name}{max(numbers, default=0) + 1}" if numbers or _CLASS.fullmatch(name) else name
