"""The replay's player: pace, pause, step, speed and jumps, on a clock that the test moves."""

from __future__ import annotations

import threading
import time

from metercap.records import EVENTS, Verdict
from metercap.screen.observer import ScreenObserver
from metercap.screen.player import FASTEST, Player
from tests.screen.greenhouse import fold, scenes

RECORDS = scenes()["done"]
VERDICTS = [at for at, record in enumerate(RECORDS, 1) if isinstance(record, Verdict)]


def player(**more: object) -> tuple[Player, ScreenObserver]:
    observer = ScreenObserver()
    return Player(RECORDS, observer, **more), observer  # type: ignore[arg-type]


def test_jumps_land_after_each_verdict() -> None:
    """Forward over every verdict, then back over every one: always exactly what folding up to there gives."""
    mine, observer = player()
    for mark in VERDICTS:
        mine.jump(1)
        assert observer.view == fold(RECORDS[:mark])
    mine.jump(1)
    assert observer.view == fold(RECORDS) and mine.status == "replay at its end"
    for mark in reversed(VERDICTS):
        mine.jump(-1)
        assert observer.view == fold(RECORDS[:mark])
    mine.jump(-1)
    assert observer.view == fold([])


def test_step_shows_one_event_with_its_outcomes() -> None:
    """After a step the next record is an event, or there is none; all together are the whole file."""
    mine, observer = player()
    steps = 0
    while mine.status != "replay at its end":
        mine.step()
        steps += 1
    assert observer.view == fold(RECORDS)
    first_outcomes = 1
    assert steps >= sum(isinstance(record, EVENTS) for record in RECORDS[first_outcomes:])


def test_pace_follows_the_records_times() -> None:
    """At a speed, records come out no earlier than their time allows, and the clock runs with them."""
    seen: list[tuple[float, float]] = []
    begun = time.monotonic()
    mine, _ = player(speed=400.0, also=[lambda record: seen.append((record.t_s, time.monotonic() - begun))])
    thread = threading.Thread(target=mine.run)
    thread.start()
    deadline = time.monotonic() + 5
    while mine.status != "replay at its end" and time.monotonic() < deadline:
        time.sleep(0.005)
    mine.put_stop(15)
    thread.join(2)
    assert not thread.is_alive() and len(seen) == len(RECORDS)
    assert all(real_s >= t_s / 400.0 - 0.002 for t_s, real_s in seen)
    assert seen[-1][1] < 100.0 / 400.0 + 1.0


def test_pause_holds_the_time() -> None:
    """While paused neither records nor the clock move; going on takes up where it was."""
    now = [0.0]
    mine, _ = player(monotonic=lambda: now[0])
    now[0] = 5.0
    mine.pause()
    now[0] = 50.0
    assert mine.now_s() == 5.0 and mine.status == "replay paused"
    mine.pause()
    now[0] = 51.0
    assert mine.now_s() == 6.0
    mine.faster(2.0)
    now[0] = 52.0
    assert mine.now_s() == 8.0 and mine.status == "replay 2×"
    for _ in range(40):
        mine.faster(2.0)
    assert mine.status == f"replay {FASTEST:g}×"


def test_nothing_to_play() -> None:
    """An empty file plays to its end at once and can be steered all the same."""
    mine = Player([], ScreenObserver())
    mine.step()
    mine.jump(1)
    mine.jump(-1)
    assert mine.status == "replay at its end" and mine.now_s() == 0.0
