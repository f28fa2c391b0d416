"""What a page is told of one moment: expected from what was displayed and from the plan, by hand."""

from __future__ import annotations

import json
from typing import Any

import msgspec
import pytest

from metercap.plan import from_builtins, to_builtins
from metercap.plankeys import Item, Picture, SweepStep, TuneStep
from metercap.view import View
from metercap.web.glance import MOST_MARKS, MOST_STONES, MOST_TEXT, Glance, glance
from tests.attacks.hostile import EVIL, RAW
from tests.steps.bench_play import Play, fuses, meter, opening

PICTURE = Picture(
    "front.png", side="front", title="Cover off", at={"fuses/F1": ((0.1, 0.2),), "fuses/F2": ((0.3, 0.4),)}
)


def play(*steps: Any, pictures: tuple[Picture, ...] = (), **more: Any) -> Play:
    """A session whose plan has pictures."""
    plan = msgspec.structs.replace(from_builtins(opening(steps, meter(5.0)).plan), pictures=pictures)
    return Play(*steps, rate=5.0, plan=to_builtins(plan), **more)


def test_the_page_has_what_the_bench_screen_has() -> None:
    """F1 was good at 0.2 Ω, F2 is next: its number of the prompt, the path and the places on the picture."""
    run = play(fuses(3, count_check=False), pictures=(PICTURE,))("OL*6 0.2*2 OL*12")
    told = glance(run.view)
    assert told.hero.text == "F2"
    assert told.prompt == len(run.prompts)
    assert told.stones is not None
    assert told.stones.stones == (("F1", "pass"), ("F2", "here"), ("F3", "ahead")) and told.stones.here == 1
    assert told.board is not None
    assert [(mark.item, mark.at, mark.state) for mark in told.board.marks] == [
        ("F1", ((0.1, 0.2),), "ticked"),
        ("F2", ((0.3, 0.4),), "next"),
    ]
    assert (told.board.shows, told.board.item) == (0, "F2")
    assert not told.ended and not told.alarm and told.words == ()
    elsewhere = glance(run("0.2*2 OL*12").view).board
    assert elsewhere is not None and (elsewhere.shows, elsewhere.item) == (None, "F3")


def test_words_are_told_only_where_they_may_be_said() -> None:
    run = play(fuses(2, count_check=False))("OL*6")
    assert glance(run.view).words == ()
    assert glance(run.view, words=True).words == ("open", "skip", "absent", "back", "again")


def test_a_film_shows_a_value_only_while_it_is_touched_and_a_tick_for_a_while() -> None:
    """At 5/s: 20 open conversions are the 4 s that a tick stays; the target is the plan's 2 Ω."""
    run = play(fuses(2, count_check=False))("OL*6")
    assert (glance(run.view).film.value, glance(run.view).film.target) == ("", "at most 2 Ω")
    ticked = run("0.2*2")
    assert (glance(ticked.view).film.mark, glance(ticked.view).film.item) == ("✓", "F1")
    assert glance(ticked.view).film.value.startswith("0.2")
    lifted = ticked("OL*5")
    assert glance(lifted.view).film.item == "F1"
    later = lifted("OL*18")
    assert (glance(later.view).film.mark, glance(later.view).film.item, glance(later.view).film.value) == ("", "F2", "")


def test_a_trimmers_ground_is_in_fractions_of_its_width() -> None:
    """Band 148.5 to 151.5 Ω around 150 Ω, never below 120 Ω: in this order from left to right, all within 0 and 1."""
    step = TuneStep(
        id="rv", items=(Item("RV1"),), target=150.0, tolerance=1.5, never_below=120.0, unit="ohm", rule="simple"
    )
    run = play(step)("OL*10 190.0*6 188.0 186.0 184.0 182.0 180.0")
    ground = glance(run.view).stretch
    assert ground is not None and ground.below is not None and ground.now is not None
    places = [0.0, ground.below, ground.low, ground.inner_low, ground.inner_high, ground.high, ground.now, 1.0]
    assert places == sorted(places)
    assert ground.above is None and not ground.inside
    assert any("never below 120" in text and tone == "bad" for _, text, tone in ground.words)


def test_a_long_plan_and_long_names_are_cut() -> None:
    """Of 900 items with names of 400 characters those around the one in turn are drawn."""
    items = tuple(Item(f"F{n}{'x' * 400}") for n in range(1, 901))
    places: dict[str, tuple[tuple[float, float], ...]] = {f"fuses/{item.name}": ((0.5, 0.5),) for item in items}
    step = SweepStep(id="fuses", items=items, max=2.0, unit="ohm", count_check=False)
    told = glance(play(step, pictures=(Picture("a.png", at=places),)).view)
    assert told.stones is not None and told.board is not None
    assert len(told.stones.stones) == MOST_STONES and told.stones.of == 900
    assert len(told.board.marks) == MOST_MARKS
    assert all(len(text) <= MOST_TEXT for text in texts(told))
    assert len(msgspec.json.encode(told)) < 1 << 20


@pytest.mark.parametrize("words", ["", ":note=x"])
def test_nothing_that_drives_or_hides_text_is_told(words: str) -> None:
    """Names and notes that are hostile are told escaped, on one line (UAX 9, ECMA-48)."""
    items = tuple(Item(f"F{n}{EVIL}") for n in (1, 2))
    step = SweepStep(
        id="fuses", items=items, max=2.0, unit="ohm", say=f"look{EVIL}", cautions=(f"hot{EVIL}",), count_check=False
    )
    places: dict[str, tuple[tuple[float, float], ...]] = {f"fuses/{items[0].name}": ((0.5, 0.5),)}
    run = play(step, pictures=(Picture("a.png", side="front", title=f"t{EVIL}", at=places),), tag=f"B{EVIL}")
    view = run(f"OL*6 {words}").view
    line = msgspec.json.encode(glance(view, problem=f"disk{EVIL}", words=True))
    for text in texts(json.loads(line)):
        assert not RAW.search(text.encode()) and "\n" not in text
    assert any("F1" in text for text in texts(json.loads(line)))


def test_a_view_of_nothing_is_drawn() -> None:
    assert glance(View()).hero.text


def texts(value: Any) -> list[str]:
    """Return every text in it."""
    if isinstance(value, Glance):
        return texts(msgspec.to_builtins(value))
    if isinstance(value, dict):
        return [text for each in value.values() for text in texts(each)]
    if isinstance(value, list | tuple):
        return [text for each in value for text in texts(each)]
    return [value] if isinstance(value, str) else []
