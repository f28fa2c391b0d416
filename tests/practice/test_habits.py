"""Hands that slip after the tick, drag, touch a neighbour first, tremble, touch partly, or go by ear alone."""

from __future__ import annotations

import itertools
from typing import Any

import msgspec
import pytest

from metercap.practice.bench import PracticeBench
from metercap.practice.by_ear import SIGN_S
from metercap.practice.scene import Scene, parse_scene
from metercap.quantity import Quantity
from metercap.records import Cue, CueKind, Do, Operator, Prompt, Record
from tests.practice.played import played

TWELVE = [f"F{n}" for n in range(1, 13)]


def swept(scene: Scene, mini: Any, decoder: Any, **habits: Any) -> tuple[PracticeBench, list[Record]]:
    bench = PracticeBench(msgspec.structs.replace(scene, hands=msgspec.structs.replace(scene.hands, **habits)))
    return bench, played(bench, mini(TWELVE), decoder)


def stays(bench: PracticeBench) -> list[tuple[str, float, float]]:
    """Where the tips were, from and to; air has no name."""
    return [(a.name, a.t_s, b.t_s) for a, b in itertools.pairwise(bench.touches)]


def test_a_slip_after_the_tick_is_short_and_back_on_the_same_item(twelve: Scene, mini: Any, text_decoder: Any) -> None:
    """Every item twice: off for at most slip_s between, and lifted once the hand is ready."""
    bench, _ = swept(twelve, mini, text_decoder, slips_after=1.0, slip_s=0.4)
    seen = stays(bench)
    names = [name for name, _, _ in seen if name]
    assert names[:6] == ["F1", "F1", "F2", "F2", "F3", "F3"]
    gaps = [b[2] - b[1] for a, b, c in zip(seen, seen[1:], seen[2:], strict=False) if a[0] == c[0] and not b[0]]
    assert gaps
    assert max(gaps) <= 0.4
    assert bench.hands.slipped == 11  # type: ignore[attr-defined]  # after the last tick the tool asks, and the hand is taken away at once


def test_dragged_tips_see_no_air_between_two_fuses(twelve: Scene, mini: Any, text_decoder: Any) -> None:
    """F1 becomes F2 with nothing between; heard it was wrong, the hand lifts."""
    bench, _ = swept(twelve, mini, text_decoder, drags=1.0)
    pairs = [(a[0], b[0]) for a, b in itertools.pairwise(stays(bench))]
    assert ("F1", "F2") in pairs


def test_a_neighbour_is_touched_first_and_the_right_one_then(twelve: Scene, mini: Any, text_decoder: Any) -> None:
    """For F5 the tips are on F4 for at most neighbour_s, then on F5."""
    bench, _ = swept(twelve, mini, text_decoder, neighbours=1.0, neighbour_s=0.3)
    seen = [stay for stay in stays(bench) if stay[0]]
    at = next(n for n, stay in enumerate(seen) if stay[0] == "F5")
    name, from_s, to_s = seen[at - 1]
    assert name == "F4"
    assert to_s - from_s <= 0.3 + 1e-9


def test_a_tick_that_comes_too_soon_after_a_neighbour_is_taken_back(
    twelve: Scene, mini: Any, text_decoder: Any
) -> None:
    """A meter of ten a second ticks within the touch of the neighbour: the hand says back."""
    quick = msgspec.structs.replace(twelve, meter=msgspec.structs.replace(twelve.meter, per_s=10.0, auto=False))
    _, records = swept(quick, mini, text_decoder, neighbours=1.0, neighbour_s=0.6)
    assert "back" in [record.word for record in records if isinstance(record, Operator)]


def test_trembling_hands_break_contact_for_moments(twelve: Scene, mini: Any, text_decoder: Any) -> None:
    """Breaks of 10 to 60 ms after 50 to 150 ms of contact, on the same item."""
    bench, _ = swept(twelve, mini, text_decoder, trembles=1.0)
    seen = stays(bench)
    breaks = [b[2] - b[1] for a, b, c in zip(seen, seen[1:], seen[2:], strict=False) if a[0] == c[0] == "F1"]
    assert len(breaks) >= 2
    assert 0.01 <= min(breaks) <= max(breaks) <= 0.06 + 1e-9


def test_a_partly_touched_fuse_reads_three_to_thirty_ohms_more(twelve: Scene) -> None:
    """Each touch adds its own, and no less than 3 Ω."""
    scene = msgspec.structs.replace(twelve, hands=msgspec.structs.replace(twelve.hands, partly=1.0))
    added = []
    bench = PracticeBench(scene)
    put = bench.put
    bench.put = lambda t_s, place: (added.append(place.touch_ohm), put(t_s, place))  # type: ignore[assignment, func-returns-value, method-assign]
    for n in range(200):
        bench.hands.put_on(float(n), "F1")  # type: ignore[attr-defined]
    assert 3.0 <= min(added) < 5.0
    assert 28.0 < max(added) <= 30.1


def test_by_ear_heeds_no_tool_and_leaves_on_the_beep(twelve_text: str) -> None:
    """On each fuse for the beep's 0.1 s and one reaction, in the air for one move; twelve fuses, no session at all."""
    text = twelve_text.replace("schema = 1", "schema = 2")
    text = text.replace('family = "text"', 'family = "text"\ndial = "continuity"')
    sure = "reaction_s = 0.25\nreaction_sd_s = 0.0\nmove_s = 1.3\nmove_sd_s = 0.0\n"
    scene = parse_scene(f"{text}[hands]\nby_ear = true\n{sure}")
    bench = PracticeBench(scene)
    assert bench.meter.quantity is Quantity.CONTINUITY
    while bench.step(60.0) is not None:
        pass
    on = [(name, to_s - from_s) for name, from_s, to_s in stays(bench) if name]
    assert [name for name, _ in on] == TWELVE
    assert [length for _, length in on] == pytest.approx([SIGN_S + 0.25] * 12)
    air = [to_s - from_s for name, from_s, to_s in stays(bench) if not name]
    assert air == pytest.approx([1.3] * 12)


def test_by_ear_waits_on_what_does_not_beep(twelve_text: str) -> None:
    """In ohms there is no beeper: each fuse is left after patience."""
    scene = parse_scene(twelve_text + "[hands]\nby_ear = true\npatience_s = 3.0\npatience_sd_s = 0.0\n")
    bench = PracticeBench(scene)
    while bench.step(20.0) is not None:
        pass
    assert next(to_s - from_s for name, from_s, to_s in stays(bench) if name) == pytest.approx(3.0)


def test_every_habit_comes_from_the_scenes_file(twelve_text: str) -> None:
    """All of it is TOML: meter, line and hands."""
    text = twelve_text.replace(
        'family = "text"',
        'family = "text"\nwalk = "hidden"\ndwell = 2\njumps = true\nsmooth = 0.5\nstated_per_s = 3.0\n'
        "jitter_s = 0.03\nburst = 3\nstalls_per_min = 2.0\nstall_s = 0.6",
    )
    scene = parse_scene(
        text + "[hands]\ndrags = 0.1\nneighbours = 0.1\ntrembles = 0.1\npartly = 0.1\nslips_after = 0.1\n"
    )
    assert (scene.meter.told_per_s, scene.meter.per_s) == (3.0, 2.0)
    assert scene.hands.trembles == 0.1


@pytest.mark.parametrize("key", ["dwell = 0", "burst = 0", "smooth = 1.0", "jitter_s = -0.1", 'walk = "sideways"'])
def test_what_no_meter_can_do_is_refused(twelve_text: str, key: str) -> None:
    """With the key named."""
    from metercap.errors import SceneError

    with pytest.raises(SceneError, match=key.split(" ", maxsplit=1)[0]):
        parse_scene(twelve_text.replace('family = "text"', f'family = "text"\n{key}'))


def test_the_audit_knows_what_a_late_frame_showed(twelve: Scene) -> None:
    """Frames that were held up for a second show what the tips touched then, not what they touch as they arrive."""
    meter = msgspec.structs.replace(twelve.meter, burst=4)
    bench = PracticeBench(msgspec.structs.replace(twelve, meter=meter))
    bench.hands.drop("move")  # type: ignore[attr-defined]
    bench.put(0.0, bench.board.place("F1"))
    arrived: list[Any] = []
    while not arrived:
        out = bench.step(bench.next_s)
        arrived += [out.t_s] if out is not None else []
    bench.put(arrived[0] - 0.005, bench.board.place("F2"))
    shown = bench.shown(arrived[0], arrived[0])
    assert shown is not None
    assert shown[1] - shown[0] == pytest.approx(4 * 0.5, abs=0.5)
    assert bench.touched(*shown) == {"F1"}


def asked(scene: Scene, item: str, **habits: Any) -> PracticeBench:
    """A bench whose hands were just asked for an item, and hold all before it for done."""
    bench = PracticeBench(msgspec.structs.replace(scene, hands=msgspec.structs.replace(scene.hands, **habits)))
    hands: Any = bench.hands
    hands._new_step("fuses", 0.0)
    hands._count.done = f"F{int(item[1:]) - 1}"
    bench.see(Prompt(0.0, "fuses", item, Do.PROBE, f"probe {item}"), 0.0)
    return bench


def act_until(bench: PracticeBench, item: str) -> float:
    """Let the hands act until they are on an item; return when that was."""
    hands: Any = bench.hands
    while hands.here != item:
        t_s = hands.next_s
        hands.act()
    return float(t_s)


@pytest.mark.parametrize(("where", "after_s", "back"), [("F1", 0.02, True), ("F2", 0.1, True), ("F2", 0.5, False)])
def test_a_tick_on_the_way_is_not_believed(twelve: Scene, where: str, after_s: float, back: bool) -> None:
    """Heard on the neighbour, or within 0.3 s of the right fuse: `back`; later it is the right one's."""
    bench = asked(twelve, "F2", neighbours=1.0)
    t_s = act_until(bench, where)
    bench.see(Cue(t_s + after_s, "fuses", "F2", CueKind.PASS), t_s + after_s)
    assert bench.hands.planned("word") is back  # type: ignore[attr-defined]


@pytest.mark.parametrize(("follows", "back"), [("prompt", True), ("row", False)])
def test_who_goes_by_the_screen_sees_that_it_names_another_fuse(twelve: Scene, follows: str, back: bool) -> None:
    """The tips are on F5 and the tool ticks F4: one reads it, the other counts on."""
    bench = asked(twelve, "F4", follows=follows)
    bench.hands.drop("move")  # type: ignore[attr-defined]
    bench.hands.put_on(1.0, "F5")  # type: ignore[attr-defined]
    bench.see(Cue(3.0, "fuses", "F4", CueKind.PASS), 3.0)
    assert bench.hands.planned("word") is back  # type: ignore[attr-defined]


def test_a_tremor_ends_with_the_touch(twelve: Scene) -> None:
    """Lifted in the middle of it, the tips stay in the air."""
    bench = PracticeBench(msgspec.structs.replace(twelve, hands=msgspec.structs.replace(twelve.hands, trembles=1.0)))
    hands: Any = bench.hands
    hands.put_on(0.0, "F1")
    for _ in range(3):
        hands.act()
    hands.take_off(hands.next_s)
    assert hands.next_s == float("inf")
    assert bench.touches[-1].name == ""


def test_a_session_is_told_the_stated_rate(twelve: Scene) -> None:
    """The profile says three a second of a meter that makes two."""
    from metercap.commands._bench import profile_of

    meter = msgspec.structs.replace(twelve.meter, stated_per_s=3.0)
    assert profile_of(msgspec.structs.replace(twelve, meter=meter)).conversions_per_s == 3.0


def test_later_frames_show_nothing_of_an_earlier_time(twelve: Scene) -> None:
    """Two conversions a second: a second's frames show a second and the conversion before it, long after."""
    bench = PracticeBench(twelve)
    bench.hands.drop("move")  # type: ignore[attr-defined]
    while bench.step(30.0) is not None:
        pass
    shown = bench.shown(4.0, 5.0)
    assert shown is not None
    assert 3.0 <= shown[0] <= shown[1] <= 5.0
    assert 1.0 <= shown[1] - shown[0] <= 2.0
