"""What one picture of the screen says, frozen: the answer, where it stands, and the few lines around it."""

from __future__ import annotations

import math
from enum import StrEnum

import msgspec

from metercap.steps.facts import TuneFacts


class Tone(StrEnum):
    """How something is meant. A theme gives it a hue; its shape or words say the same without one."""

    PLAIN = "plain"
    QUIET = "quiet"
    GOOD = "good"
    BAD = "bad"
    UNSURE = "unsure"
    ALARM = "alarm"


class Place(StrEnum):
    """What is known of one stone of the path."""

    AHEAD = "ahead"
    HERE = "here"
    SKIPPED = "skipped"
    PASS = "pass"
    FAIL = "fail"
    UNSURE = "unsure"
    ABSENT = "absent"


MARKS = {
    Place.PASS: "✓",
    Place.FAIL: "✗",
    Place.UNSURE: "?",
    Place.ABSENT: "–",
    Place.SKIPPED: "↷",
}
"""The sign that stands for a verdict wherever it is drawn."""

TONES = {
    Place.PASS: Tone.GOOD,
    Place.FAIL: Tone.BAD,
    Place.UNSURE: Tone.UNSURE,
    Place.ABSENT: Tone.QUIET,
    Place.SKIPPED: Tone.UNSURE,
    Place.HERE: Tone.PLAIN,
    Place.AHEAD: Tone.QUIET,
}


class Stone(msgspec.Struct, frozen=True):
    """One item, press, run or step on the path."""

    name: str
    place: Place


class Path(msgspec.Struct, frozen=True):
    """Stones in order; `here` is the index of the current one, or None."""

    stones: tuple[Stone, ...]
    here: int | None


class Span(msgspec.Struct, frozen=True):
    """A time to wait out: `done` from 0 to 1."""

    done: float


class Field(msgspec.Struct, frozen=True):
    """The ground of a trimmer whose band is known; `now` is its value while the tips are on it, SI."""

    facts: TuneFacts
    low: float
    high: float
    now: float | None = None

    def share(self, value: float) -> float:
        """Where `value` stands on the ground, from 0 (left) to 1 (right).

        The band keeps the middle fifth, drawn true; further out equal ratios of distance take equal room, so
        that the way still to go shows from far off and never changes its scale. All that matters is on the ground.
        """
        facts, middle = self.facts, (self.low + self.high) / 2
        half = (self.high - self.low) / 2 or facts.resolution or 1.0
        away = (value - middle) / half
        if abs(away) <= 1:
            return 0.5 + 0.1 * away
        marks = [facts.found, facts.never_below, facts.never_above]
        reach = max([abs(mark - middle) / half for mark in marks if mark is not None] + [10.0]) * 1.6
        return 0.5 + math.copysign(0.1 + 0.4 * min(1.0, math.log(abs(away)) / math.log(reach)), away)


class Hero(msgspec.Struct, frozen=True):
    """The one thing that matters now, as large as it fits.

    `lead` is a sign drawn before it (a mark, the way to go), in `lead_tone`. `unit` is drawn smaller behind
    it. Not `armed` is drawn with a light pen: named, but not to be done yet.
    """

    text: str
    unit: str = ""
    lead: str = ""
    lead_tone: Tone = Tone.PLAIN
    tone: Tone = Tone.PLAIN
    armed: bool = True


class Done(msgspec.Struct, frozen=True):
    """What the last touch came to: a mark as large as it fits, and beneath it the item and its value."""

    mark: str
    text: str
    tone: Tone


class Line(msgspec.Struct, frozen=True):
    """A short text and how it is meant."""

    text: str
    tone: Tone = Tone.PLAIN


class Face(msgspec.Struct, frozen=True):
    """One moment of the bench.

    `aside` is drawn in middle-sized letters beside the hero (a live value, k of n); `done` is the
    verdict just given, drawn before the hero, which is then what comes next; `detail` says
    where the item is and its limits; `next` is what to do, in one line; `words` are those that mean something now.
    `cautions` take turns by `turn` where not all of them fit.
    `alarm` fills the screen with hatching: turn back, stop. `tag_stays` keeps a place for the unit's tag, whatever the
    hero: there are several units.
    """

    tag: str
    title: str
    progress: str
    hero: Hero
    next: Line
    aside: Line | None = None
    done: Done | None = None
    detail: str = ""
    ground: Path | Field | Span | None = None
    words: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    turn: int = 0
    status: tuple[Line, ...] = ()
    alarm: bool = False
    tag_stays: bool = False
