"""The technician: what they do on prompts and cues, and how each habit shows. The tool here is
`conftest.MiniDriver`."""

from __future__ import annotations

import itertools
from typing import Any

import msgspec
import pytest

from metercap.asks import Asks
from metercap.practice.bench import PracticeBench
from metercap.practice.dial_words import dial_of, read_dial
from metercap.practice.parts import Path
from metercap.practice.scene import Scene
from metercap.quantity import Quantity
from metercap.records import Cue, CueKind, Do, Operator, Prompt, Record, Verdict, VerdictKind
from tests.practice.played import played

TWELVE = [f"F{n}" for n in range(1, 13)]


def with_habits(scene: Scene, **habits: Any) -> Scene:
    return msgspec.structs.replace(scene, hands=msgspec.structs.replace(scene.hands, **habits))


def swept(scene: Scene, mini: Any, decoder: Any, seed: int = 3) -> tuple[PracticeBench, list[Record]]:
    bench = PracticeBench(scene, seed=seed)
    return bench, played(bench, mini(TWELVE), decoder, until_s=600.0)


def touched(bench: PracticeBench) -> list[str]:
    return [touch.name for touch in bench.touches if touch.name]


def words(records: list[Record]) -> list[str]:
    return [record.word for record in records if isinstance(record, Operator)]


def test_a_careful_technician_touches_every_item_once_and_answers_yes(
    twelve: Scene, mini: Any, text_decoder: Any
) -> None:
    """Without bad habits the row is walked once, and the count check is answered truthfully."""
    bench, records = swept(twelve, mini, text_decoder)
    assert touched(bench) == TWELVE
    assert words(records) == ["yes"]
    assert [tick.here for tick in bench.hands.ticks] == TWELVE  # type: ignore[attr-defined]


def test_the_same_seed_gives_the_same_session(twelve: Scene, mini: Any, text_decoder: Any) -> None:
    """Every choice comes from the seed; another seed gives another session."""
    scene = with_habits(twelve, slips=0.3, doubles=0.1, early=0.1, on_beep=0.1, wanders=0.1)
    runs = [swept(scene, mini, type(text_decoder)(), seed)[1] for seed in (5, 5, 6)]
    assert runs[0] == runs[1] != runs[2]


def test_the_next_touch_waits_for_the_go_cue(twelve: Scene, mini: Any, text_decoder: Any) -> None:
    """Between lift and next touch the cue `go` was heard."""
    bench, records = swept(twelve, mini, text_decoder)
    goes = [record.t_s for record in records if isinstance(record, Cue) and record.cue is CueKind.GO]
    for off, on in zip(bench.touches[2:], bench.touches[3:], strict=False):
        if on.name:
            assert any(off.t_s < go_s < on.t_s for go_s in goes)


def test_who_does_not_wait_touches_earlier(twelve: Scene, mini: Any, text_decoder: Any) -> None:
    """Without waiting for `go` the technician is at the next item while the tool still doubts the lift."""
    bench, _ = swept(with_habits(twelve, waits_for_go=0.0, move_s=0.5, move_sd_s=0.0), mini, text_decoder)
    gaps = [on.t_s - off.t_s for off, on in zip(bench.touches, bench.touches[1:], strict=False) if on.name]
    assert min(gaps[1:]) < 0.7


def test_a_slip_lifts_for_no_longer_than_stated(twelve: Scene, mini: Any, text_decoder: Any) -> None:
    """Slips leave gaps of at most slip_s; some land on the next item."""
    bench, _ = swept(with_habits(twelve, slips=1.0, slips_next=0.0, slip_s=0.6), mini, text_decoder)
    gaps = {
        (before.name, after.name): after.t_s - off.t_s
        for before, off, after in zip(bench.touches, bench.touches[1:], bench.touches[2:], strict=False)
        if before.name and before.name == after.name and not off.name
    }
    assert gaps
    assert min(gaps.values()) <= 0.6
    bench, _ = swept(with_habits(twelve, slips=1.0, slips_next=1.0), mini, text_decoder)
    assert any(
        after.t_s - off.t_s <= 0.6 and after.name != before.name
        for before, off, after in zip(bench.touches[1:], bench.touches[2:], bench.touches[3:], strict=False)
        if before.name and after.name
    )


def test_an_open_item_is_left_by_the_word_open(twelve_text: str, mini: Any, text_decoder: Any) -> None:
    """Silence for as long as patience lasts, then the word."""
    from metercap.practice.scene import parse_scene

    bench, records = swept(parse_scene(_with_open_f5(twelve_text)), mini, text_decoder)
    assert words(records) == ["open", "yes"]
    fails = [r.item for r in records if isinstance(r, Verdict) and r.verdict is VerdictKind.FAIL]
    assert fails == ["F5"]
    on_s = next(touch.t_s for touch in bench.touches if touch.name == "F5")
    said_s = next(record.t_s for record in records if isinstance(record, Operator))
    assert 2.0 <= said_s - on_s <= 9.0


def _with_open_f5(text: str) -> str:
    text = text.replace('names = "F1..F12"', 'names = "F1..F4, F6..F12"')
    return text.replace("[truth", '[[part]]\nnames = "F5"\nkind = "fuse"\nblown = true\n[truth') + 'F5 = "fail"\n'


def test_an_item_left_without_a_word_shifts_the_count_and_the_answer_is_no(
    twelve_text: str, mini: Any, text_decoder: Any
) -> None:
    """The row goes on by the technician's own count; at its end the tool's last tick was not on F12."""
    from metercap.practice.scene import parse_scene

    scene = with_habits(parse_scene(_with_open_f5(twelve_text)), leaves_open=1.0)
    bench = PracticeBench(scene)
    driver = mini(TWELVE[:11])  # the tool stops one short, as it counts one tick less
    records = played(bench, driver, text_decoder, until_s=600.0)
    assert bench.hands.left_silent == ["F5"]  # type: ignore[attr-defined]
    assert words(records) == ["no"]
    assert [(t.named, t.here) for t in bench.hands.ticks][4:6] == [("F5", "F6"), ("F6", "F7")]  # type: ignore[attr-defined]


def test_a_finished_row_and_one_more_prompt_ends_in_skip(twelve_text: str, mini: Any, text_decoder: Any) -> None:
    """By the technician's count all is done, the tool asks for one more: they say skip."""
    from metercap.practice.scene import parse_scene

    scene = with_habits(parse_scene(_with_open_f5(twelve_text)), leaves_open=1.0)
    _, records = swept(scene, mini, text_decoder)
    assert "skip" in words(records)


def test_lifting_on_the_meters_own_sign_comes_before_the_tick(twelve: Scene, mini: Any, text_decoder: Any) -> None:
    """on_beep = 1: the tips are off before the tick, and the cue `again` brings the technician back."""
    bench, records = swept(with_habits(twelve, on_beep=1.0), mini, text_decoder)
    assert bench.hands.slipped > 0  # type: ignore[attr-defined]
    assert len(touched(bench)) > 12
    assert any(isinstance(record, Cue) and record.cue is CueKind.AGAIN for record in records)


def test_a_double_contact_touches_the_same_item_after_its_tick(twelve: Scene, mini: Any, text_decoder: Any) -> None:
    """doubles = 1: every item is touched at least twice in a row."""
    bench, _ = swept(with_habits(twelve, doubles=1.0), mini, text_decoder)
    names = touched(bench)
    assert any(a == b for a, b in itertools.pairwise(names))


@pytest.mark.parametrize(("notices", "word"), [(1.0, "no"), (0.0, "yes")])
def test_a_second_tick_on_one_item_is_noticed_at_the_count_check(twelve: Scene, notices: float, word: str) -> None:
    """F1 and F2 were ticked with the tips on F1 all the time; the tool asks for F1."""
    bench = PracticeBench(with_habits(twelve, notices=notices))
    bench.see(Prompt(0.0, "fuses", "F1", Do.PROBE, "probe F1"), 0.0)
    _pass_time(bench, 3.0)
    for item in ("F1", "F2"):
        bench.see(Cue(3.0, "fuses", item, CueKind.PASS), 3.0)
    bench.see(Prompt(3.0, "fuses", "F1", Do.ANSWER, "was the last tick on F1?", asks=Asks.COUNT), 3.0)
    assert [said for said, _ in _pass_time(bench, 8.0)] == [word]


def test_who_wanders_touches_a_neighbour_and_takes_the_tick_back(twelve: Scene, mini: Any, text_decoder: Any) -> None:
    """A wandering hand notices: lifts, or says back when the tick came first."""
    bench, records = swept(with_habits(twelve, wanders=0.3), mini, text_decoder, seed=11)
    names = touched(bench)
    assert names != sorted(names, key=TWELVE.index)
    assert set(words(records)) <= {"back", "yes", "no", "skip", "open"}


def test_flux_adds_to_the_reading(twelve: Scene, mini: Any, text_decoder: Any) -> None:
    """dirty_touch: some contacts read ohms more than clean ones."""
    bench = PracticeBench(with_habits(twelve, dirty_touch=1.0, dirty_ohm=50.0))
    bench.see(Prompt(0.0, "fuses", "F1", Do.PROBE, "probe F1"), 0.0)
    bench.step(4.0)
    while bench.step(4.0):
        pass
    assert bench.meter.shown is not None
    assert bench.meter.shown.value is not None
    assert bench.meter.shown.value > 1.0


@pytest.mark.parametrize(
    ("said", "wanted"),
    [
        ("volts dc", "voltage_dc"),
        ("volts ac", "voltage_ac"),
        ("ohms", "resistance"),
        ("continuity", "continuity"),
        ("up", None),
    ],
)
def test_dial_words(said: str, wanted: str | None) -> None:
    """What a person says of the dial."""
    assert read_dial(said) == (None if wanted is None else Quantity(wanted))


def test_what_a_prompt_wants_of_the_dial_is_read_from_its_fields() -> None:
    """The first quantity it names, or continuity for hands that like it; the sentence says nothing to them."""
    either = (Quantity.RESISTANCE, Quantity.CONTINUITY)
    prompt = Prompt(0.0, "fuses", None, Do.DIAL, "volts ac!", dial=either, range="low")
    assert dial_of(prompt) == (Quantity.RESISTANCE, "low")
    assert dial_of(prompt, continuity=True) == (Quantity.CONTINUITY, "low")
    assert dial_of(Prompt(0.0, "fuses", "F1", Do.DIAL, "HOLD is on: set volts dc")) == (None, None)


def test_tips_go_together_for_zero_and_apart_at_its_tick(twelve: Scene) -> None:
    """Prompt short: the tips touch each other until the tick."""
    bench = PracticeBench(twelve)
    bench.see(Prompt(0.0, "leads", "leads", Do.SHORT, "hold the tips together"), 0.0)
    _pass_time(bench, 5.0)
    assert bench.touches[-1].name == "tips together"
    assert bench.meter.shown is not None
    assert bench.meter.shown.value == pytest.approx(0.15, abs=0.11)
    bench.see(Cue(5.0, "leads", "leads", CueKind.PASS), 5.0)
    _pass_time(bench, 7.0)
    assert bench.touches[-1].name == ""
    _pass_time(bench, 20.0)
    assert bench.touches[-1].t_s < 7.0


def test_a_dial_prompt_turns_the_meter_and_takes_hold_off(twelve: Scene) -> None:
    """Prompt dial is obeyed within seconds."""
    bench = PracticeBench(twelve)
    bench.meter.press_hold()
    bench.see(Prompt(0.0, "dead", "dead", Do.DIAL, "set the meter to volts dc", dial=(Quantity.VOLTAGE_DC,)), 0.0)
    _pass_time(bench, 5.0)
    assert bench.meter.quantity is Quantity.VOLTAGE_DC
    assert not bench.meter.hold


def test_voltage_in_the_circuit_is_taken_off_before_the_next_touch(twelve: Scene) -> None:
    """The prompt stop: tips away, disconnect and discharge, and only then, when asked again, back to the
    item."""
    bench = PracticeBench(twelve)
    bench.board.parts["F1"] = Path(0.1, volt=-0.05)
    bench.see(Prompt(0.0, "fuses", "F1", Do.PROBE, "probe F1"), 0.0)
    _pass_time(bench, 3.0)
    assert bench.touches[-1].name == "F1"
    bench.see(Cue(3.0, "fuses", "F1", CueKind.STOP), 3.0)
    bench.see(Prompt(3.0, "fuses", "F1", Do.STOP, "F1: voltage in the circuit: lift", asks=Asks.VOLTS), 3.0)
    assert _pass_time(bench, 5.0) == []
    assert bench.touches[-1].name == ""
    bench.see(Cue(5.0, "fuses", "F1", CueKind.GO), 5.0)
    bench.see(Prompt(5.0, "fuses", "F1", Do.PROBE, "F1: probe"), 5.0)
    _pass_time(bench, 20.0)
    assert bench.touches[-1].name == "F1"
    assert bench.touches[-1].t_s > 11.0
    assert bench.board.parts["F1"].seen(20.0).volt == 0.0


def test_who_cannot_take_a_voltage_off_skips(twelve: Scene) -> None:
    """discharges = false: the word that leaves the item for a second look."""
    bench = PracticeBench(with_habits(twelve, discharges=False))
    bench.see(Prompt(0.0, "fuses", "F1", Do.PROBE, "probe F1"), 0.0)
    _pass_time(bench, 3.0)
    bench.see(Prompt(3.0, "fuses", "F1", Do.STOP, "F1: voltage in the circuit: lift", asks=Asks.VOLTS), 3.0)
    assert [word for word, *_ in _pass_time(bench, 8.0)] == ["skip"]
    assert bench.touches[-1].name == ""


def _pass_time(bench: PracticeBench, until_s: float) -> list[tuple[str, float]]:
    said = []
    while (out := bench.step(until_s)) is not None:
        if hasattr(out, "word"):
            said.append((out.word, out.t_s))
    return said
