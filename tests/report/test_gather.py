"""One pass over the records: what is kept, what is drawn together, and that nothing grows without end."""

from __future__ import annotations

from typing import Any

import pytest

from metercap.quantity import Quantity
from metercap.reading import Garbage, Reading, State
from metercap.records import Link, LinkState, Note, Operator, VerdictKind
from metercap.report.gather import Gathered, Kept
from tests.report.papers import dipped, ramp, records, swept, trimmers
from tests.steps.bench_play import Play, confirm, fuses


def gathered(found: Any) -> Any:
    """Return what was gathered of records."""
    out = Gathered()
    out.take(found)
    return out


def said(found: Any) -> Any:
    """Return the log in short."""
    return [(entry.who, entry.text, entry.times) for entry in gathered(found).log]


def test_too_many_keep_the_first_and_the_last() -> None:
    """Five places for a thousand: three firsts, two lasts, and how many lie between."""
    kept = Kept(first=3, last=2)  # type: ignore[var-annotated]
    for n in range(1000):
        kept.add(n)
    assert (list(kept), kept.left_out, kept.cut, len(kept), kept.newest) == ([0, 1, 2, 998, 999], 995, 3, 5, 999)


def test_words_in_a_row_are_one_entry() -> None:
    """Twenty starts by the pedal are a few lines, each with its count and its item."""
    opening, *_ = records(Play(confirm()))
    found = [opening, *(Operator(float(n), "fail" if n == 3 else "pass") for n in range(6))]
    assert said(found) == [("operator", "pass", 3), ("operator", "fail", 1), ("operator", "pass", 2)]
    (first, *_), last_s = list(gathered(found).log), gathered(found).last_s
    assert (first.t_s, first.last_s, last_s) == (0.0, 2.0, 5.0)


def test_an_answer_is_said_with_what_it_answers() -> None:
    """`yes` alone says nothing; the item that was asked for goes with it, but not with a remark."""
    entries = list(gathered(records(swept()(":note=smells_burnt"))).log)
    assert (entries[0].text, entries[0].step, entries[0].item) == ("yes", "battery out", "battery out")
    assert ("skip", "fuses", "F2") in [(entry.text, entry.step, entry.item) for entry in entries]
    assert ("note smells burnt", "") in [(entry.text, entry.step) for entry in entries]


def test_the_operators_note_is_not_said_twice() -> None:
    """The program repeats a note; the same text noted by itself is another thing."""
    opening, *_ = records(Play(confirm()))
    found = [opening, Operator(1.0, "note", "F7 blown"), Note(1.0, "F7 blown"), Note(2.0, "F7 blown")]
    assert said(found) == [("operator", "note F7 blown", 1), ("program", "F7 blown", 1)]


def test_the_link_is_in_the_log_and_garbage_is_counted() -> None:
    """A pulled cable is part of the story; bytes that fit no frame are counted, not listed."""
    opening, *_ = records(Play(confirm()))
    found = [opening, Link(1.0, LinkState.LOST, "pulled"), Garbage(2.0, "ff00aa", "no frame"), Link(3.0, LinkState.UP)]
    assert said(found) == [("meter", "lost: pulled", 1), ("meter", "up", 1)]
    assert gathered(found).garbage_bytes == 3


def test_a_sweep_has_its_contacts_and_verdicts() -> None:
    """Every contact with its ends; the skipped item is there at its second look."""
    out = gathered(records(swept()))
    strip = out.strips["fuses"]
    touches = list(strip.touches)
    assert [touch.item for touch in touches] == ["F1", "F3", "F3", "F2"]
    assert all(touch.t_s < touch.to_s for touch in touches)
    assert [(tick.item, tick.verdict) for tick in strip.ticks] == [
        ("F1", VerdictKind.PASS), ("F3", VerdictKind.FAIL), ("F2", VerdictKind.PASS),
    ]  # fmt: skip
    assert list(out.passed_over) == [("fuses", "F2")]


def test_a_contact_that_never_ends_ends_with_the_file() -> None:
    """Cut off while the tips were on: the contact lasts as long as the file."""
    found = records(Play(fuses(), rate=5.0)("OL*6 0.2*2"))
    (touch,) = gathered(found).strips["fuses"].touches
    assert touch.to_s == found[-1].t_s


def test_a_trimmers_trace_is_what_the_tips_touched() -> None:
    """From the first reading of the contact to the last; over-range is no part of it."""
    trace = gathered(records(dipped())).traces["bridge", "RV1"]
    assert (trace.unit, trace.low.value, trace.high.value) == ("ohm", 1107.0, 2187.0)
    assert trace.first.value == 2187.0
    assert trace.last.value == 1502.0


def test_a_trace_ends_with_its_verdict() -> None:
    """Tips that stay on, slip, or come together for what is next add nothing to it."""
    more = Play(trimmers(), confirm(), rate=5.0)(
        f"OL*6 2.187k*5 {ramp(2187, 1500, -40)} 1.502k*60 OL*9 0.3*9 OL*9 0.3*9"
    )
    for one in (dipped(), more):
        trace = gathered(records(one)).traces["bridge", "RV1"]
        assert trace.last.t_s == one.verdicts["RV1"].t_s
        assert trace.low.value > 1000.0


def test_each_trimmer_has_its_own_trace() -> None:
    """Two trimmers read as found one after the other, then one turned: no reading of one is in the other's."""
    play = Play(trimmers("RV1", "RV2"), rate=5.0)("OL*6 2.187k*5 OL*9 1.800k*9 OL*9")
    play(f"2.187k*5 {ramp(2187, 1500, -40)} 1.502k*30 OL*9")
    traces = gathered(records(play)).traces
    assert (traces["bridge", "RV1"].low.value, traces["bridge", "RV1"].high.value) == (1502.0, 2187.0)
    assert {point.value for point in traces["bridge", "RV2"].points()} == {1800.0}


def test_as_found_of_a_later_steps_trimmer_belongs_to_that_step() -> None:
    """It is read before anything turns, while the first step is on; its trace is the later step's all the same."""
    play = Play(trimmers(), trimmers("RV9", id="gain"), rate=5.0)("OL*6 2.187k*5 OL*9 1.800k*9 OL*9")
    assert set(gathered(records(play)).traces) == {("bridge", "RV1"), ("gain", "RV9")}


def test_a_free_trace_keeps_every_quantity() -> None:
    """Without steps everything is drawn, each quantity by itself, over-range counted."""
    opening, *_ = records(Play())
    found = [opening]
    for n, (quantity, value) in enumerate([("resistance", 2.0), ("resistance", None), ("voltage_dc", 5.0)]):
        state = State.OK if value is not None else State.OVER
        unit = Quantity(quantity).unit
        found.append(Reading(float(n), Quantity(quantity), value, 0.1, unit, state, (), ""))
    out = gathered(found)
    assert out.readings == {"resistance": 2, "voltage_dc": 1}
    assert [(key[1], trace.n, trace.over, trace.unit) for key, trace in out.traces.items()] == [
        ("resistance", 1, 1, "ohm"), ("voltage_dc", 1, 0, "V"),
    ]  # fmt: skip


def test_a_trimmers_trace_holds_nothing_of_the_meters_walk() -> None:
    """0.00 MΩ while the meter looks for its range is no value of the trimmer, at no contact."""
    play = Play(trimmers(), rate=5.0)("OL*6 0.00M*2 02.19k*2 2.187k*5 1.900k*2 OL 0.00M*2 1.800k*2 1.502k*30")
    trace = gathered(records(play)).traces["bridge", "RV1"]
    assert (trace.low.value, trace.high.value) == (1502.0, 2190.0)


@pytest.mark.parametrize("frames", [1, 4])
def test_a_trimmers_trace_holds_no_blend_with_open_air(frames: int) -> None:
    """The first and the last conversion of a contact may have seen open air; each in as many frames as are sent."""
    play = Play(trimmers(never_below=None), rate=5.0, frames=frames)
    play("OL*6 3.337k 2.187k*5 2.100k*4 3.206k OL*9 2.601k 2.100k*4 1.900k*3 2.465k OL*9")
    trace = gathered(records(play)).traces["bridge", "RV1"]
    assert (trace.low.value, trace.high.value) == (1900.0, 2187.0)
    assert trace.n == frames * (5 + 4 + 4 + 3)
    assert sum(point.gap for point in trace.points()) == 2


def test_tips_that_stay_on_to_the_end_are_drawn_to_the_end() -> None:
    """No lift comes after the last conversion: it is no blend."""
    found = records(Play(trimmers(), rate=5.0)("OL*6 2.187k*5 1.900k*2 1.850k"))
    assert gathered(found).traces["bridge", "RV1"].last.value == 1850.0
