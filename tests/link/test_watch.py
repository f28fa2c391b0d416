"""The link's states, from frames, bytes and time alone."""

from __future__ import annotations

import itertools

import pytest

from metercap.link.watch import NEVER_SENT, NOISE_BYTES, LinkWatch
from metercap.meter import MeterProfile, Poll
from metercap.quantity import Quantity
from metercap.records import Link, LinkState

FAST = MeterProfile(name="fast", family="lcd14", conversions_per_s=10.0)
SLOW = MeterProfile(name="slow", family="text", conversions_per_s=1.0, conversions_per_s_by={Quantity.CAPACITANCE: 0.2})
OHM = Quantity.RESISTANCE


def up(profile: MeterProfile = FAST, t_s: float = 0.0) -> LinkWatch:
    watch = LinkWatch(profile)
    assert watch.change(LinkState.UP, "open", t_s) == [Link(t_s=t_s, state=LinkState.UP, why="open")]
    return watch


@pytest.mark.parametrize(
    ("profile", "seen", "quiet_s"),
    [
        (FAST, None, 2.0),
        (FAST, OHM, 2.0),
        (SLOW, None, 4.0),
        (SLOW, Quantity.CAPACITANCE, 20.0),
        (MeterProfile(name="p", family="polled-line", poll=Poll(send="D", per_s=0.5)), OHM, 8.0),
    ],
)
def test_quiet_follows_the_rate(profile: MeterProfile, seen: Quantity | None, quiet_s: float) -> None:
    """The time to silence is max(2 s, 4 T) of what was last measured, and never below four polls."""
    watch = up(profile)
    if seen is not None:
        watch.frame(seen, 0.5)
    assert watch.quiet_s == quiet_s


def test_nothing_before_it_is_open() -> None:
    """A link that was never opened has no state and no deadline."""
    watch = LinkWatch(FAST)
    assert (watch.state, watch.deadline_s, watch.due(1e6)) == (None, None, [])


def test_silence_before_any_frame_names_the_send_mode() -> None:
    """A meter that never sent is told apart from one that stopped; the record carries the deadline."""
    watch = up(t_s=1.0)
    assert watch.due(2.999999) == []
    assert watch.due(500.0) == [Link(t_s=3.0, state=LinkState.SILENT, why=NEVER_SENT)]
    assert watch.deadline_s is None


def test_silence_after_frames_names_hold_and_auto_off() -> None:
    """A meter that stopped may be on HOLD or off; a frame brings the link up again, before the reading."""
    watch = up()
    assert watch.frame(OHM, 1.0) == []
    (silent,) = watch.due(10.0)
    assert (silent.t_s, silent.state) == (3.0, LinkState.SILENT)
    assert "HOLD or auto-off?" in silent.why
    assert watch.frame(OHM, 11.0) == [Link(t_s=11.0, state=LinkState.UP, why="readings again")]


def test_silence_after_reopening_is_again_a_meter_that_never_sent() -> None:
    """Frames of the connection before say nothing about this one."""
    watch = up()
    watch.frame(OHM, 1.0)
    watch.change(LinkState.LOST, "pulled", 1.5)
    assert watch.deadline_s is None
    watch.change(LinkState.UP, "back", 5.0)
    assert watch.due(8.0) == [Link(t_s=7.0, state=LinkState.SILENT, why=NEVER_SENT)]


def test_bytes_without_frames_are_garbage_with_a_sample() -> None:
    """A stream that fits no frame is named with its first bytes in hex, then goes silent when it stops."""
    watch = up()
    for n in range(30):
        watch.noise(b"\xfe\x1b", 0.1 + n * 0.1)
    (garbage,) = watch.due(3.0)
    assert (garbage.t_s, garbage.state) == (2.1, LinkState.GARBAGE)
    assert "try identify" in garbage.why
    assert "fe 1b fe" in garbage.why
    (silent,) = watch.due(60.0)
    assert (silent.t_s, silent.state) == (5.0, LinkState.SILENT)


def test_silent_then_garbage() -> None:
    """A silent link on which bytes begin that fit no frame becomes garbage after the same time."""
    watch = up()
    watch.due(2.0)
    for n in range(30):
        watch.noise(b"\x00", 10.0 + n * 0.1)
    assert [(link.t_s, link.state) for link in watch.due(13.0)] == [(12.0, LinkState.GARBAGE)]


def test_one_cut_frame_before_a_silence_is_silence() -> None:
    """What a meter was sending when it was switched off is no stream of garbage."""
    watch = up()
    watch.frame(OHM, 1.0)
    for n in range(12):
        watch.noise(b"\x17", 1.5 + n * 0.004)
    assert [link.state for link in watch.due(20.0)] == [LinkState.SILENT]


@pytest.mark.parametrize(
    ("lasted_s", "state"),
    [(0.25, LinkState.SILENT), (0.75, LinkState.SILENT), (0.99, LinkState.SILENT), (1.0, LinkState.GARBAGE)],
)
def test_noise_is_garbage_when_it_goes_on_for_half_the_time(lasted_s: float, state: LinkState) -> None:
    """The time to silence is 2 s: bytes that stop within the first of them are a frame cut by the silence."""
    watch = up()
    watch.frame(OHM, 1.0)
    for n in range(NOISE_BYTES + 1):
        watch.noise(b"x", 1.5 + lasted_s * n / NOISE_BYTES)
    (told,) = watch.due(4.0)
    assert told.state is state


def test_bytes_that_begin_at_the_deadline_get_their_time() -> None:
    """A meter that wakes up just when it would be called silent is not called garbage before its frame is whole."""
    watch = up()
    for n in range(13):
        watch.noise(b"\x17", 1.99 + n * 0.004)
    assert watch.due(2.06) == []
    assert watch.frame(OHM, 2.07) == []


def test_a_few_stray_bytes_are_silence() -> None:
    """Fewer than NOISE_BYTES within the time, an optical head's echo say, leave the meter silent."""
    watch = up()
    for n in range(NOISE_BYTES - 1):
        watch.noise(b"D", n * 0.25)
    assert [link.state for link in watch.due(2.0)] == [LinkState.SILENT]


def test_stray_bytes_far_apart_never_add_up() -> None:
    """A crackle every few seconds stays silence for ever."""
    watch = up()
    watch.due(2.0)
    for n in range(200):
        watch.noise(b"\xff", 10.0 + 5.0 * n)
        assert watch.due(10.0 + 5.0 * n) == []
    assert watch.state is LinkState.SILENT


def test_lost_is_told_once_for_each_reason() -> None:
    """Repeating a loss says nothing; another reason for it does."""
    watch = up()
    assert len(watch.change(LinkState.LOST, "pulled", 1.0)) == 1
    assert watch.change(LinkState.LOST, "pulled", 2.0) == []
    assert watch.change(LinkState.LOST, "no permission", 3.0)[0].why == "no permission"


def test_what_the_source_says_itself_goes_through() -> None:
    """A source that knows more (a meter that refuses a query) is believed, once; a frame brings it up."""
    watch = up()
    assert watch.change(LinkState.SILENT, "refused", 1.0)[0].why == "refused"
    assert watch.change(LinkState.SILENT, "refused", 2.0) == []
    assert watch.deadline_s is None
    assert watch.frame(OHM, 3.0)[0].state is LinkState.UP


def test_what_a_source_has_to_say_besides_is_told_once() -> None:
    """A link that is up: other words make a record, the same or none do not; silence counts from the last frame."""
    watch = LinkWatch(FAST)
    watch.change(LinkState.UP, "open", 0.0)
    watch.frame(OHM, 1.0)
    told = [watch.change(LinkState.UP, why, 1.5) for why in ("the meter complains", "the meter complains", "")]
    assert [[(r.state, r.why) for r in records] for records in told] == [
        [(LinkState.UP, "the meter complains")],
        [],
        [],
    ]
    assert watch.deadline_s == pytest.approx(1.0 + watch.quiet_s)
    assert "HOLD or auto-off" in watch.due(60.0)[0].why


STEPS = ("open", "lost", "frame", "noise", "wait")


@pytest.mark.parametrize("depth", [4])
def test_every_path_keeps_the_invariants(depth: int) -> None:
    """Every sequence of inputs: no two records of one state in a row but for lost, time never back, deadlines ahead."""
    paths = [()]
    for _ in range(depth):
        paths = [(*path, step) for path in paths for step in STEPS]  # type: ignore[misc]
    for path in paths:
        watch, t_s, records = LinkWatch(FAST), 0.0, []
        for step in path:  # type: ignore[var-annotated]
            t_s += 0.5
            if step == "wait":
                t_s += 7.0
            records += watch.due(t_s)
            if step == "open":
                records += watch.change(LinkState.UP, "", t_s)
            elif step == "lost":
                records += watch.change(LinkState.LOST, "", t_s)
            elif step == "frame":
                records += watch.frame(OHM, t_s)
            elif step == "noise":
                for n in range(20):
                    watch.noise(b"\x99", t_s + n * 0.1)
                t_s += 2.0
            if watch.deadline_s is not None:
                assert watch.deadline_s >= t_s - 2.0, path
        times = [record.t_s for record in records]
        assert times == sorted(times), path
        for one, two in itertools.pairwise(records):
            assert one.state is not two.state, path
        if records:
            assert records[-1].state is watch.state
            assert all(record.state is not LinkState.GARBAGE for record in records) or "noise" in path
