"""Screen and speaker under a real session: practice bench, decoder and session as they are."""

from __future__ import annotations

from pathlib import Path

import pytest

import metercap.practice
from metercap.plan import to_builtins
from metercap.planfile import read_plan
from metercap.practice.bench import PracticeBench
from metercap.practice.scene import parse_scene
from metercap.practice.study import run
from metercap.profiles import find_meter, find_plan
from metercap.records import SCHEMA, Cue, Prompt, Record, Verdict, VerdictKind
from metercap.screen.face import face
from metercap.screen.model import Path as StonePath
from metercap.screen.model import Place
from metercap.screen.paint import paint
from metercap.screen.text import visible
from metercap.session import Driver, Session
from metercap.sound.ear import Ear, Play
from metercap.view import View, begin
from metercap.wire import decoder
from tests.screen.greenhouse import session as made_up

Seen = list[tuple[Record, View]]
"""Each record with the view that came with it."""


@pytest.fixture(scope="module")
def seen() -> Seen:
    """A sweep of the practice controller B with F7 and F11 blown, from the leads on."""
    text = (Path(metercap.practice.__file__).parent / "scenes" / "gc8-b.toml").read_text(encoding="utf-8")
    scene = parse_scene(text, "gc8-b")
    profile = find_meter("lcd14")
    plan = to_builtins(read_plan(find_plan("greenhouse-controller")))
    record = made_up(plan=plan, meter=profile, schema=SCHEMA, options={"steps": ["leads", "fuses"], "no_safe": True})
    driver = Driver(Session(record))
    found: Seen = []

    class Keep:
        view = begin(record)

        def look(self, view: View) -> None:
            self.view = view

        def see(self, record: Record, line: bytes) -> None:
            found.append((record, self.view))

    run(PracticeBench(scene, seed=5), driver, decoder(profile), profile, [Keep()], until_s=900.0)  # type: ignore[list-item]
    assert driver.session.finished
    return found


def test_every_moment_has_a_picture(seen: Seen) -> None:
    """After every record there is an answer, and every prompt's picture can be painted at any size."""
    for record, view in seen:
        shown = face(view)
        assert shown.hero.text and not view.broken
        if isinstance(record, Prompt | Verdict):
            for columns, rows in ((80, 24), (20, 6), (200, 60)):
                assert len(paint(shown, columns, rows).lines()) == rows


def test_the_next_item_is_named_from_the_tick_on(seen: Seen) -> None:
    """At each prompt for a fuse the answer is that fuse, light while the lift is not certain, heavy after go."""
    prompted, asked = 0, ""
    for record, view in seen:
        if isinstance(record, Prompt) and record.step == "fuses" and record.do == "probe":
            asked = record.item or ""
            assert face(view).hero.text in (visible(asked), "LIFT")
            prompted += 1
        if isinstance(record, Cue) and record.cue == "go" and asked and view.aside is None:
            assert face(view).hero.armed
    assert prompted >= 12


def test_stones_agree_with_the_verdicts(seen: Seen) -> None:
    """At the end the path shows exactly the verdicts that stand."""
    verdicts = {record.item: record for record, _ in seen if isinstance(record, Verdict) and record.step == "fuses"}
    last = next(view for record, view in reversed(seen) if isinstance(record, Prompt))
    ground = face(last).ground
    assert isinstance(ground, StonePath)
    assert len(verdicts) == 12
    assert {item for item, one in verdicts.items() if one.verdict is VerdictKind.FAIL} >= {"F7", "F11"}
    for stone in ground.stones:
        if stone.place is not Place.HERE:
            assert stone.place.value == verdicts[stone.name].verdict


def test_every_cue_is_heard_in_order(seen: Seen) -> None:
    """The ear plays the session's cues, all of them, in the file's order."""
    ear = Ear()
    played = []
    for record, view in seen:
        ear.look(view)
        played += [sound.cue for sound in ear.hear(record) if isinstance(sound, Play)]
    assert played == [record.cue for record, _ in seen if isinstance(record, Cue)]
