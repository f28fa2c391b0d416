"""Glance: all that the second screen shows at one moment, made of the view and of the bench screen's own face.

A page draws it and works nothing out. Every text in it is of one line and shows as it is (`gate.visible`). Pure.
"""

from __future__ import annotations

import msgspec

from metercap.quantity import format_value
from metercap.reading import State
from metercap.screen.face import face, limits_text
from metercap.screen.model import MARKS, TONES, Done, Face, Field, Hero, Line, Path, Span, Tone
from metercap.screen.moment import PLACE, shown
from metercap.screen.text import visible
from metercap.steps.facts import InForce
from metercap.view import View
from metercap.view.words import by_page

MOST_STONES = 60
"""Stones that a page draws; of a longer path those around the current one."""
MOST_MARKS = 500
MOST_TEXT = 200
"""Characters of one text; more is nothing to glance at."""
FILM_TICK_S = 4.0
"""How long a film shows a verdict after the tips are off: a viewer has not watched the item before."""


class Stones(msgspec.Struct, frozen=True):
    """The path: name and place of each stone, `here` the index of the current one, and how many there are `before`."""

    stones: tuple[tuple[str, str], ...]
    here: int | None
    before: int
    of: int


class Stretch(msgspec.Struct, frozen=True):
    """A trimmer's ground, each place from 0 (left) to 1 (right); `words` are place, text and tone beneath it."""

    low: float
    high: float
    inner_low: float
    inner_high: float
    now: float | None
    found: float | None
    below: float | None
    above: float | None
    stops: float | None
    inside: bool
    words: tuple[tuple[float, str, str], ...]


class Mark(msgspec.Struct, frozen=True):
    """A place on a picture: the item, which of the plan's pictures, where on it in fractions, how it stands."""

    item: str
    picture: int
    at: tuple[tuple[float, float], ...]
    state: str


class Places(msgspec.Struct, frozen=True):
    """The board: which picture to show (None: the next point is on none), what is next, and every place of the step."""

    shows: int | None
    item: str
    marks: tuple[Mark, ...]


class Film(msgspec.Struct, frozen=True):
    """What a film shows over its picture: the item, the live value, what it is measured against, and the tick."""

    item: str = ""
    value: str = ""
    target: str = ""
    mark: str = ""
    tone: Tone = Tone.PLAIN


class Glance(msgspec.Struct, frozen=True):
    """One moment on the page, complete in itself. `prompt` is the number that a word has to bring along."""

    prompt: int
    tag: str
    title: str
    progress: str
    hero: Hero
    next: Line
    aside: Line | None
    done: Done | None
    detail: str
    cautions: tuple[str, ...]
    status: tuple[Line, ...]
    alarm: bool
    stones: Stones | None = None
    stretch: Stretch | None = None
    span: float | None = None
    film: Film = Film()
    words: tuple[str, ...] = ()
    board: Places | None = None
    ended: bool = False


def glance(view: View, *, now_s: float | None = None, problem: str = "", words: bool = False) -> Glance:
    """Return what a page shows of `view` at session time `now_s`; with `words` also the words it may say."""
    drawn = face(view, now_s=now_s, problem=problem)
    ground = drawn.ground
    return Glance(
        prompt=view.prompts,
        tag=_short(drawn.tag),
        title=_short(drawn.title),
        progress=drawn.progress,
        hero=msgspec.structs.replace(drawn.hero, text=_short(drawn.hero.text)),
        next=Line("the session is closed", Tone.QUIET) if view.end is not None else _line(drawn.next),
        aside=None if drawn.aside is None else _line(drawn.aside),
        done=None if drawn.done is None else msgspec.structs.replace(drawn.done, text=_short(drawn.done.text)),
        detail=_short(drawn.detail),
        cautions=tuple(_short(caution) for caution in drawn.cautions),
        status=tuple(_line(line) for line in drawn.status),
        alarm=drawn.alarm,
        stones=_stones(ground) if isinstance(ground, Path) else None,
        stretch=_stretch(ground) if isinstance(ground, Field) else None,
        span=ground.done if isinstance(ground, Span) else None,
        film=_film(view, drawn, view.t_s if now_s is None else max(now_s, view.t_s)),
        words=by_page(view) if words else (),
        board=_places(view),
        ended=view.end is not None,
    )


def _places(view: View) -> Places | None:
    board = view.board
    if board is None:
        return None
    marks = tuple(Mark(_short(visible(each.item)), each.picture, each.at, str(each.state)) for each in board.marks)
    stage = view.stage
    placed = stage is not None and view.item != stage.id and stage.spot(view.item) is not None
    item = visible(view.item) if placed and view.asked is not None and view.end is None and board.marks else ""
    return Places(board.shows, _short(item), marks[:MOST_MARKS])


def _short(text: str) -> str:
    return text if len(text) <= MOST_TEXT else f"{text[: MOST_TEXT - 1]}…"


def _line(line: Line) -> Line:
    return Line(_short(line.text), line.tone)


def _stones(path: Path) -> Stones:
    count = len(path.stones)
    middle = path.here or 0
    first = max(0, min(middle - MOST_STONES // 2, count - MOST_STONES))
    cut = path.stones[first : first + MOST_STONES]
    here = None if path.here is None else path.here - first
    return Stones(tuple((_short(stone.name), str(stone.place)) for stone in cut), here, first, count)


def _stretch(field: Field) -> Stretch:
    facts = field.facts

    def place(value: float | None) -> float | None:
        return None if value is None else round(field.share(value), 4)

    limits = ((facts.never_below, "below"), (facts.never_above, "above"))
    words = [
        (value, f"never {side} {format_value(value, facts.unit)}", Tone.BAD)
        for value, side in limits
        if value is not None
    ]
    words += [(value, format_value(value, facts.unit), Tone.PLAIN) for value in (field.low, field.high)]
    if facts.found is not None:
        words.append((facts.found, f"found {format_value(facts.found, facts.unit)}", Tone.QUIET))
    low, high = field.share(field.low), field.share(field.high)
    return Stretch(
        low=round(low, 4),
        high=round(high, 4),
        inner_low=round(low if facts.inner_low is None else field.share(facts.inner_low), 4),
        inner_high=round(high if facts.inner_high is None else field.share(facts.inner_high), 4),
        now=place(field.now),
        found=place(facts.found),
        below=place(facts.never_below),
        above=place(facts.never_above),
        stops=place(facts.stops_at) if field.now is not None else None,
        inside=facts.inside and field.now is not None,
        words=tuple((round(field.share(value), 4), text, str(tone)) for value, text, tone in words),
    )


def _film(view: View, drawn: Face, now_s: float) -> Film:
    """The item that is being measured, or, for a while after a verdict, the one that it is about."""
    reading, last = view.live, view.last
    own = None if reading is None or reading.value is None else shown(reading, reading.value)
    if (last is not None and view.touch is None and now_s - last.t_s < FILM_TICK_S) or _ticked(view):
        assert last is not None
        place = PLACE[last.verdict]
        value = "" if last.value is None else format_value(last.value, last.unit, last.resolution)
        target = limits_text(InForce(last.min, last.max, last.unit, last.rule))
        return Film(_short(visible(last.item)), value, target, MARKS[place], TONES[place])
    looked_at = view.touching or view.asked is None
    value = own if own is not None and looked_at else ""
    if reading is not None and reading.state is State.OVER and looked_at:
        value = shown(reading, None)
    trimmer = view.trimmer
    target = limits_text(view.limits)
    if trimmer is not None and trimmer.target is not None:
        target = f"to {format_value(trimmer.target, trimmer.unit)}"
    item = visible(view.item or view.step) if view.asked is not None else ""
    mark = drawn.hero.text if drawn.alarm or view.link is not None else ""
    return Film(_short(item), value, target, mark, Tone.ALARM if drawn.alarm else Tone.BAD if mark else Tone.PLAIN)


def _ticked(view: View) -> bool:
    """Whether the tips are still on the item that was just decided."""
    return view.last is not None and view.touch is not None and not view.armed
