"""Screen and speaker under a real session: practice bench, decoder and session as they are."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

import metercap.practice
from metercap.plan import to_builtins
from metercap.planfile import read_plan
from metercap.practice.bench import Bench
from metercap.practice.scene import parse_scene
from metercap.practice.study import run
from metercap.profiles import find_meter, find_plan
from metercap.records import Cue, Prompt, Record, Verdict, VerdictKind
from metercap.screen.model import Path as StonePath
from metercap.screen.model import Place, View
from metercap.screen.paint import paint
from metercap.screen.state import BenchState, advance
from metercap.screen.text import visible
from metercap.screen.view import view
from metercap.session import Driver, Session
from metercap.sound.ear import Ear, Play
from metercap.wire import decoder
from tests.screen.greenhouse import session as made_up


@pytest.fixture(scope="module")
def records() -> list[Record]:
    """A sweep of the practice controller B with F7 and F11 blown, from the leads on."""
    text = (Path(metercap.practice.__file__).parent / "scenes" / "gc8-b.toml").read_text(encoding="utf-8")
    scene = parse_scene(text, "gc8-b")
    profile = find_meter("lcd14")
    plan = to_builtins(read_plan(find_plan("greenhouse-controller")))
    record = made_up(plan=plan, meter=profile, options={"steps": ["leads", "fuses"]})
    driver = Driver(Session(record))
    found: list[Record] = [record]

    class Keep:
        def see(self, record: Record, line: bytes) -> None:
            found.append(record)

    run(Bench(scene, seed=5), driver, decoder(profile), profile, [Keep()], until_s=900.0)  # type: ignore[list-item]
    assert driver.session.finished
    return found


def moments(records: list[Record]) -> Iterator[tuple[Record, BenchState, View]]:
    state = BenchState()
    for record in records:
        state = advance(state, record)
        yield record, state, view(state)


def test_every_moment_has_a_picture(records: list[Record]) -> None:
    """After every record there is an answer, and every prompt's picture can be painted at any size."""
    for record, _, shown in moments(records):
        assert shown.hero.text
        if isinstance(record, Prompt | Verdict):
            for columns, rows in ((80, 24), (20, 6), (200, 60)):
                assert len(paint(shown, columns, rows).lines()) == rows


def test_the_next_item_is_named_from_the_tick_on(records: list[Record]) -> None:
    """At each prompt for a fuse the answer is that fuse, light while the lift is not certain, heavy after go."""
    seen = 0
    state = BenchState()
    asked = ""
    for record in records:
        state = advance(state, record)
        if isinstance(record, Prompt) and record.step == "fuses" and record.do == "probe":
            asked = record.item or ""
            shown = view(state)
            assert shown.hero.text in (visible(asked), "LIFT")
            seen += 1
        if isinstance(record, Cue) and record.cue == "go" and asked and state.aside is None:
            assert view(state).hero.armed
    assert seen >= 12


def test_stones_agree_with_the_verdicts(records: list[Record]) -> None:
    """At the end the path shows exactly the verdicts that stand."""
    *_, (_, state, shown) = moments([record for record in records if getattr(record, "step", "fuses") == "fuses"])
    assert isinstance(shown.ground, StonePath)
    verdicts = {item: verdict.verdict for (step, item), verdict in state.verdicts.items() if step == "fuses"}
    assert len(verdicts) == 12
    assert {item for item, kind in verdicts.items() if kind is VerdictKind.FAIL} >= {"F7", "F11"}
    for stone in shown.ground.stones:
        if stone.place is not Place.HERE:
            assert stone.place.value == verdicts[stone.name].value


def test_every_cue_is_heard_in_order(records: list[Record]) -> None:
    """The ear plays the session's cues, all of them, in the file's order."""
    ear = Ear()
    played = [sound.cue for record in records for sound in ear.hear(record) if isinstance(sound, Play)]
    assert played == [record.cue for record in records if isinstance(record, Cue)]
