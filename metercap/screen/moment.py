"""One moment of the bench, with what several of the screen's rules ask of it, and how values and places are said."""

from __future__ import annotations

import re
from collections.abc import Iterable

from metercap.quantity import format_value
from metercap.reading import State
from metercap.records import Do, LinkState, Operator, Verdict, VerdictKind
from metercap.screen.model import MARKS, Field, Place
from metercap.screen.text import visible
from metercap.session.facts import Shown
from metercap.steps.facts import TuneFacts
from metercap.view import View

UNHEARD = {LinkState.LOST: "NO CABLE", LinkState.SILENT: "METER SILENT", LinkState.GARBAGE: "NO FRAMES"}
"""What is large while the meter is not heard."""
FRESH_S = 2.5
"""How long a verdict given without a contact stays beside the next item."""
LONG = 40
"""Characters beyond which a prompt's first clause alone is drawn in letters."""
MOST_WORDS = 6
VALUE_MATTERS = {"check", "cell", "zero", "safe", "wiggle"}
"""Steps whose answer is the live value, once the probes are on."""
PLACE = {
    VerdictKind.PASS: Place.PASS,
    VerdictKind.FAIL: Place.FAIL,
    VerdictKind.UNSURE: Place.UNSURE,
    VerdictKind.ABSENT: Place.ABSENT,
}


class Moment:
    """The view with what several rules ask of it."""

    def __init__(self, view: View, now_s: float) -> None:
        self.view = view
        self.now_s = now_s
        self.kind = view.kind
        prompt = view.asked
        self.do = prompt.do if prompt is not None else None
        self.item = view.item or view.step
        self.field: Field | None = None
        own = view.own
        turned = isinstance(own, TuneFacts) and self.do in (Do.TURN, Do.STOP, Do.KEEP)
        if turned and isinstance(own, TuneFacts) and own.low is not None and own.high is not None:
            self.field = Field(
                own, own.low, own.high, own.value if view.touch is not None and view.link is None else None
            )
        # Only what is touched next has to wait for a certain lift; a word, a dial or a press does not.
        self.armed = view.armed or self.do not in (Do.PROBE, Do.SHORT, None)
        last = view.last
        self.fresh: Verdict | None = None
        if last is not None and view.end is None and (not self.armed or now_s - last.t_s < FRESH_S):
            self.fresh = last if view.touch is None or view.touch.same or not view.armed else None

    @property
    def off(self) -> bool:
        """Whether a lift that was asked for has begun: the meter reads open, and no contact is seen."""
        reading = self.view.reading
        return self.view.touch is None and reading is not None and reading.state is State.OVER


def counts(verdicts: Iterable[Verdict]) -> dict[Place, int]:
    """Return how many verdicts there are of each kind, in the order of the marks."""
    found: dict[Place, int] = {}
    for verdict in verdicts:
        found[PLACE[verdict.verdict]] = found.get(PLACE[verdict.verdict], 0) + 1
    return {place: found[place] for place in MARKS if place in found}


def shown(reading: Shown, value: float | None) -> str:
    """Return what the meter shows, with `value` for its number: "2.187 kΩ", "OL Ω", or a dash for a blank display."""
    if reading.state is State.OVER:
        return f"OL {_sign(reading)}"
    if value is None:
        return "–"
    return format_value(value, reading.unit, reading.resolution or None)


def _sign(reading: Shown) -> str:
    return format_value(0.0, reading.unit).partition(" ")[2]


def split(value: float, unit: str, resolution: float) -> tuple[str, str]:
    """Return a value's number and its unit with prefix."""
    number, _, unit = format_value(value, unit, resolution or None).partition(" ")
    return number, unit


def left(now: Moment, until_s: float) -> str:
    """Return the time that is left as minutes and seconds, "0:09": a number with a unit reads as another one at two
    metres."""
    whole = max(0, int(until_s - now.now_s + 0.999))
    return f"{whole // 60}:{whole % 60:02d}"


def spoken(word: Operator) -> str:
    """Return an operator's word as it was said."""
    return visible(f"{word.word} {word.text}".strip())


def untagged(now: Moment, say: str) -> str:
    """Return a prompt's text without the unit's tag, which the screen shows elsewhere."""
    tag = now.view.unit.tag if now.view.unit is not None else ""
    return visible(say.removeprefix(f"{tag}: ") if tag else say)


def headline(now: Moment, say: str) -> str:
    """Return a prompt's text as large letters need it: without tag, brackets and what the keys say anyway."""
    text = re.sub(r"\s*\([^()]*\)", "", untagged(now, say)).strip()
    if now.kind == "trials":
        text = text.partition(":")[0]
    # A question is asked whole, without the label before it; what follows it stands in the line below.
    question = re.match(r"(?:[\w ]{1,12}: )?([^?]+\?)", text)
    if question is not None:
        text = re.split(r"[.;] ", question[1])[-1]
    elif len(text) > LONG:
        text = re.split(r"[:;]", text, maxsplit=1)[0]
    text = re.sub(r"[;:,]?\s*yes or no\??$", "", text) or "?"
    if len(text) > LONG:
        # Letters that are read from two metres hold the first thing that is asked about; the line below has it all.
        first = re.split(r"[,.;:]", text, maxsplit=1)[0]
        text = f"{' '.join(first.split()[:MOST_WORDS])} ...{'?' if text.endswith('?') else ''}"
    return text
