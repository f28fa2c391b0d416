"""The driver: deadlines first, time never back, and the same outcomes however late anything was delivered."""

from __future__ import annotations

import copy
import os
import random
import subprocess
import sys
from collections.abc import Iterable, Iterator

import pytest

from metercap.reading import Garbage
from metercap.records import Clock, Event, Operator, Outcome, SessionRecord, at, decode, encode
from metercap.session import Driver, Session, feed_recorded
from tests.steps.bench_play import Play, check, confirm, fuses, safe, zero

STORY = (
    "OL*4 9 0.20*3 0.20*20 OL*5 9 1.90*2 OL*30 :skip OL*2 9 5.0*4 OL*5 9 5.2*4 OL*3 :probe=R77 OL*5 9 47.3*3 OL*5 "
    "^lost +30 OL*9 9 0.2 0.3!hold*4 0.2*4 OL*5 9 0.2*2 OL*5 :back OL*3 9 0.3*2 OL*5 :no "
    ":no 0.2!low_battery*3 :yes OL*5 9 0.40*3 OL*4 :yes OL*2 9 0.60*3 :yes +70 :yes"
)


def story() -> Play:
    """Return a session with a bit of everything, played to its end."""
    out = Play(
        zero(), fuses(3, count_check=True, patience_s=4.0), zero(id="leads again"), confirm(wait_s=60.0), frames=3
    )
    out(STORY)
    return out


def fed(record: SessionRecord, events: Iterable[Event]) -> list[tuple[Event | None, list[Outcome]]]:
    """Return what a new session makes of events."""
    driver = Driver(Session(record))
    out: list[tuple[Event | None, list[Outcome]]] = [(None, driver.start())]
    for event in events:
        out += driver.feed(event)
    return out


def given(story: Play) -> list[Event]:
    """Return the events that were fed from outside: all but the deadlines."""
    return [event for event in story.events if not isinstance(event, Clock)]


def test_story_is_worth_playing() -> None:
    """The story has deadlines, blocks, verdicts and a question, and comes to its end."""
    told = story()
    assert told.session.finished
    assert sum(isinstance(event, Clock) for event in told.events) >= 3
    assert {"wait", "dial", "answer", "confirm", "short", "probe"} <= {prompt.split()[0] for prompt in told.prompts}
    assert len(told.ticks) >= 8


def test_deadlines_are_derived_again() -> None:
    """The events alone give the same deadlines, the same outcomes, in the same order."""
    told = story()
    driver = Driver(Session(told.record))
    again: list[tuple[Event | None, list[Outcome]]] = [(None, driver.start())]
    for event in given(told):
        again += driver.feed(event)
    last = told.events[-1]
    if isinstance(last, Clock):
        again += driver.due(last.t_s)
    assert again == told.pairs


@pytest.mark.parametrize("seed", range(8))
def test_waking_early_late_or_often_changes_nothing(seed: int) -> None:
    """Between events somebody may ask what is due at any times; nothing depends on it."""
    told = story()
    rng = random.Random(seed)
    driver = Driver(Session(told.record))
    again: list[tuple[Event | None, list[Outcome]]] = [(None, driver.start())]
    now = 0.0
    for event in given(told):
        for _ in range(rng.choice((0, 0, 1, 3))):
            now = at(rng.uniform(now, event.t_s))
            again += driver.due(now)
        again += driver.feed(event)
        now = event.t_s
    again += driver.due(told.t_s)
    assert again == told.pairs


def test_deadline_is_stamped_with_itself() -> None:
    """A `Clock` event bears the deadline, not the moment somebody woke up, and names the step."""
    driver = Driver(Session(story().record))
    driver.start()
    told = Play(fuses(1))("+1000")
    assert told.events == [Clock(10.0, "fuses")]


def test_deadline_at_the_events_own_time_comes_first() -> None:
    """A deadline that lies at the very time of an event comes before it."""
    told = Play(fuses(1))
    told.feed(Operator(10.0, "open"))
    assert [type(event) for event in told.events] == [Clock, Operator]
    assert told.cues == ["waiting F1", "fail F1"]


def test_time_never_runs_back() -> None:
    """An event stamped earlier than the last takes the last's time, and says so by what is yielded."""
    told = Play(fuses(2))("OL*8")
    told.feed(Operator(1.0, "open"))
    assert told.events[-1] == Operator(4.0, "open")
    assert told.verdicts["F1"].t_s == 4.0


def test_time_never_runs_back_past_a_deadline() -> None:
    """An event that comes after a deadline but is stamped before it takes the deadline's time."""
    told = Play(fuses(2))("+12")
    told.feed(Operator(9.0, "open"))
    assert told.events[-1] == Operator(10.0, "open")


def test_restamped_events_replay() -> None:
    """What is fed is what is journaled: the restamped events give the same outcomes again."""
    told = Play(fuses(2))("OL*8")
    told.feed(Operator(1.0, "skip"))
    told("+20 OL*3")
    assert fed(told.record, given(told)) == told.pairs


def test_garbage_changes_nothing() -> None:
    """Bytes that fit no frame are passed over, wherever they come."""
    told = story()
    mixed: list[Event] = []
    for event in given(told):
        mixed += [Garbage(event.t_s, "ff", "noise"), event]
    pairs = [pair for pair in fed(told.record, mixed) if not isinstance(pair[0], Garbage)]
    assert [pair for pair in pairs if not isinstance(pair[0], Clock) or pair[1]] == told.pairs[: len(pairs)]


def test_copies_go_the_same_way() -> None:
    """A copy of the session at any event goes on like the original."""
    told = story()
    events = given(told)
    driver = Driver(Session(told.record))
    driver.start()
    for place, event in enumerate(events):
        if place % 40 == 0:
            twin = copy.deepcopy(driver)
            ahead = [pair for later in events[place : place + 60] for pair in twin.feed(later)]
            fork = copy.deepcopy(driver)
            assert [pair for later in events[place : place + 60] for pair in fork.feed(later)] == ahead
        list(driver.feed(event))


def test_session_is_rebuilt_from_its_record_through_json() -> None:
    """The first record's JSON is enough: the same events, through JSON too, give the same bits."""
    told = story()
    record = decode(encode(told.record))
    assert isinstance(record, SessionRecord)
    events: list[Event] = [decode(encode(event)) for event in told.events]  # type: ignore[misc]
    driver = Driver(Session(record))
    again: list[tuple[Event | None, list[Outcome]]] = [(None, driver.start()), *feed_recorded(driver, events)]
    assert [(None if event is None else encode(event), list(map(encode, out))) for event, out in again] == [
        (None if event is None else encode(event), list(map(encode, out))) for event, out in told.pairs
    ]


def lines(told: Play) -> Iterator[bytes]:
    """Yield a journal's lines without their checksums."""
    yield encode(told.record)
    for event, outcomes in told.pairs:
        if event is not None:
            yield encode(event)
        for outcome in outcomes:
            yield encode(outcome)


def test_lines_are_the_same_in_another_process() -> None:
    """Another interpreter with another hash seed derives the very same lines."""
    code = (
        "import sys\n"
        "from tests.session import test_driver\n"
        "sys.stdout.buffer.write(b'\\n'.join(test_driver.lines(test_driver.story())))\n"
    )
    out = [
        subprocess.run(
            [sys.executable, "-c", code], env={**os.environ, "PYTHONHASHSEED": seed}, check=True, capture_output=True
        ).stdout
        for seed in ("1", "2")
    ]
    assert out[0] == out[1] == b"\n".join(lines(story()))


def test_deadlines_progress_whatever_is_waited_for() -> None:
    """With nobody there for a year, every kind of step comes to rest after a few deadlines."""
    for steps in ([confirm(wait_s=3600.0)], [fuses(2)], [check("R1")], [zero()], [safe("C12")]):
        told = Play(*steps)("+31536000")
        assert len(told.events) <= 2
        assert told.session.deadline_s is None
