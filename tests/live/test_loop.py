"""The loop's order, promises, deadlines and ends, with fakes all round."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from metercap.live import DISK_WELL, Trace
from metercap.live.inbox import Stopped
from metercap.quantity import Quantity
from metercap.reading import Garbage, Reading
from metercap.records import (
    Clock,
    Contact,
    Cue,
    CueKind,
    Do,
    EndRecord,
    Link,
    LinkState,
    Note,
    Operator,
    Prompt,
    SessionRecord,
    Verdict,
    VerdictKind,
    decode,
)

UP, SILENT, GARBAGE, LOST = LinkState.UP, LinkState.SILENT, LinkState.GARBAGE, LinkState.LOST


def cue(kind: CueKind, t_s: float = 1.0) -> Cue:
    return Cue(t_s=t_s, step="s", item="F1", cue=kind)


def verdict(t_s: float = 1.0) -> Verdict:
    return Verdict(t_s=t_s, step="s", item="F1", verdict=VerdictKind.PASS)


def prompt(t_s: float = 0.0) -> Prompt:
    return Prompt(t_s=t_s, step="s", item="F1", do=Do.PROBE, say="F1")


def steps(rig: Any) -> list[str]:
    return [f"{what} {type(record).__name__}" for what, record in rig.log]


def test_starts_with_the_session_record_and_the_first_prompt(rig: Any) -> None:
    """Observers see the file's first line as it stands in the file, then the first outcomes, written before."""
    rig.session.first = [prompt()]
    rig.live.start()
    assert steps(rig) == ["see SessionRecord", "append Prompt", "see Prompt"]
    assert rig.observer.lines[0] == rig.writer.first
    assert isinstance(decode(rig.observer.lines[0]), SessionRecord)


def test_a_verdict_is_on_the_disk_before_its_cue(rig: Any) -> None:
    """Reading, verdict, cue and next prompt are written, synced once, and only then seen, in the file's order."""
    rig.session.script = lambda event: [verdict(), cue(CueKind.PASS), prompt(1.0)] if type(event) is Reading else []
    rig.inbox.put_bytes(b"0.3\n", 1.0)
    rig.pump()
    assert steps(rig) == [
        *("append Link", "see Link"),
        *("append Reading", "append Verdict", "append Cue", "append Prompt", "sync NoneType"),
        *("see Reading", "see Verdict", "see Cue", "see Prompt"),
    ]


def test_a_word_is_on_the_disk_before_it_is_shown(rig: Any) -> None:
    """A word is synced whatever comes of it."""
    rig.inbox.put_word("note", "flux", 1.0)
    rig.pump()
    assert steps(rig) == ["append Operator", "sync NoneType", "see Operator"]
    assert rig.seen() == [Operator(t_s=1.0, word="note", text="flux")]


@pytest.mark.parametrize("source", ["key", "pedal", "line", "page"])
def test_where_a_word_came_from_is_journaled(rig: Any, source: str) -> None:
    """Replay needs it: a key may be too late for a prompt, a line never is."""
    rig.inbox.put_word("yes", "", 1.0, source)
    rig.pump()
    assert rig.seen() == [Operator(t_s=1.0, word="yes", source=source)]


def test_other_records_do_not_wait_for_the_disk(rig: Any) -> None:
    """A reading with a contact and its cue is written and seen, with no sync."""
    rig.session.script = lambda event: [Contact(t_s=1.0, step="s", item="F1"), cue(CueKind.CONTACT)]
    rig.inbox.put_bytes(b"0.3\n", 1.0)
    rig.pump()
    assert "sync NoneType" not in steps(rig)


def test_a_hazard_cue_waits_for_nothing(rig: Any) -> None:
    """It is out before its own reading is written, and comes again in its place in the file."""
    rig.session.script = lambda event: [cue(CueKind.HAZARD), verdict()] if type(event) is Reading else []
    rig.inbox.put_bytes(b"0.3\n", 1.0)
    rig.pump()
    assert steps(rig)[2:] == [
        "urgent Cue",
        *("append Reading", "append Cue", "append Verdict", "sync NoneType"),
        *("see Reading", "see Cue", "see Verdict"),
    ]


def test_observers_need_no_urgent(rig: Any) -> None:
    """An observer that only sees is enough."""

    records = []

    class Plain:
        def see(self, record: Any, line: bytes) -> None:
            records.append(record)

    live = rig.make(observers=[Plain()])
    rig.session.script = lambda event: [cue(CueKind.HAZARD)] if type(event) is Reading else []
    rig.inbox.put_bytes(b"0.3\n", 1.0)
    live.take(rig.inbox.get())
    assert [type(record) for record in records] == [Link, Reading, Cue]


def test_without_a_journal_the_lines_have_no_checksum(rig: Any) -> None:
    """Listening alone shows each record's JSON."""
    live = rig.make(writer=None)
    live.start()
    rig.inbox.put_bytes(b"0.3\n", 1.0)
    live.take(rig.inbox.get())
    assert [decode(line) for line in rig.observer.lines] == rig.seen()
    assert all(line.endswith(b"}\n") for line in rig.observer.lines)


def test_times_are_rounded_to_a_microsecond(rig: Any) -> None:
    """What is fed, and so what is journaled, carries six decimals."""
    rig.inbox.put_bytes(b"0.3\n", 1.23456789)
    rig.inbox.put_word("yes", "", 2.00000049)
    rig.pump()
    assert [record.t_s for record in rig.seen(Reading, Operator)] == [1.234568, 2.0]


def test_deadlines_that_passed_come_before_what_arrived_after_them(rig: Any) -> None:
    """A deadline is fed at its own time although the loop was busy until a later arrival, partial frames included."""
    rig.session.deadlines = [1.5, 2.5, 9.0]
    rig.inbox.put_bytes(b"0.", 2.0)
    rig.inbox.put_bytes(b"3\n", 3.0)
    rig.pump()
    assert [(type(r), r.t_s) for r in rig.seen()] == [
        (Clock, 1.5),
        (Clock, 2.5),
        (Link, 3.0),
        (Reading, 3.0),
    ]


def test_the_next_deadline_is_the_sessions_or_the_links(rig: Any) -> None:
    """The loop wakes for whichever comes first."""
    assert rig.live.deadline_s is None
    rig.inbox.put_link(UP, "open", 1.0)
    rig.pump()
    assert rig.live.deadline_s == 3.0
    rig.session.deadlines = [2.0]
    assert rig.live.deadline_s == 2.0
    rig.session.deadlines = [7.0]
    assert rig.live.deadline_s == 3.0
    rig.live.due(10.0)
    assert [(type(r), r.t_s) for r in rig.seen()] == [(Link, 1.0), (Link, 3.0), (Clock, 7.0)]


def test_the_link_is_watched_in_session_time(rig: Any) -> None:
    """Up, silent at the deadline itself, up with the next frame, garbage, lost: each an event at its time."""
    rig.inbox.put_link(UP, "open", 0.0)
    rig.pump()
    rig.live.due(50.0)
    rig.inbox.put_bytes(b"1\n", 60.0)
    for n in range(40):
        rig.inbox.put_bytes(b"\x80", 60.1 + n * 0.1)
    rig.inbox.put_link(LOST, "pulled", 64.5)
    rig.pump()
    assert [(link.state, link.t_s) for link in rig.seen(Link)] == [
        (UP, 0.0),
        (SILENT, 2.0),
        (UP, 60.0),
        (GARBAGE, 62.1),
        (LOST, 64.5),
    ]


def test_a_lost_link_leaves_no_half_frame(rig: Any) -> None:
    """What was begun before the cable was pulled is garbage, and is not completed by what comes after."""
    rig.inbox.put_link(UP, "open", 0.0)
    rig.inbox.put_bytes(b"12", 1.0)
    rig.inbox.put_link(LOST, "pulled", 1.5)
    rig.inbox.put_link(UP, "back", 3.0)
    rig.inbox.put_bytes(b"3\n", 3.5)
    rig.pump()
    assert rig.seen() == [
        Link(t_s=0.0, state=UP, why="open"),
        Garbage(t_s=1.5, raw="3132", why="cut"),
        Link(t_s=1.5, state=LOST, why="pulled"),
        Link(t_s=3.0, state=UP, why="back"),
        msgspec.structs.replace(rig.seen(Reading)[0], value=3.0, t_s=3.5),
    ]


def test_the_source_is_told_what_is_wanted_when_it_changes(rig: Any) -> None:
    """At the start, and then only when quantity or range differ."""

    wants = []

    class Source(Failing):
        def start(self, sink: Any, clock: Any) -> None:
            wants.append("started")

        def want(self, quantity: Any, range_si: Any) -> None:
            wants.append((quantity, range_si))  # type: ignore[arg-type]

    live = rig.make(source=Source(""))
    rig.session.wanted = Quantity.RESISTANCE

    def script(event: Any) -> list[Any]:
        rig.session.wanted_range = 2.0 if event.t_s < 3 else 5.0
        return []

    rig.session.script = script
    live.start()
    for t_s in (1.0, 2.0, 3.0, 4.0):
        rig.inbox.put_word("say", "", t_s)
        live.take(rig.inbox.get())
    ohm = Quantity.RESISTANCE
    assert wants == [(ohm, None), "started", (ohm, 2.0), (ohm, 5.0)]


def test_disk_trouble_is_told_once_and_when_it_is_over(rig: Any) -> None:
    """The note is in no file: its line is empty. It names the problem, then the all-clear."""
    rig.writer.problem = "disk full: 10 bytes wait"
    rig.inbox.put_word("say", "", 1.0)
    rig.pump()
    rig.writer.problem = "disk full: 20 bytes wait"
    rig.inbox.put_word("say", "", 2.0)
    rig.pump()
    rig.writer.problem = None
    rig.inbox.put_word("say", "", 3.0)
    rig.pump()
    assert [note.text for note in rig.seen(Note)] == ["disk full: 10 bytes wait", DISK_WELL]
    assert [line for line in rig.observer.lines if not line] == [b"", b""]
    assert not any(type(record) is Note for what, record in rig.log if what == "append")


def run(rig: Any, live: Any = None) -> Any:
    return (live or rig.live).run_virtual(rig.clock, lambda: 1.0, lambda t_s: None)


@pytest.mark.parametrize("reason", ["done", "quit"])
def test_ends_when_the_session_is_finished(rig: Any, reason: str) -> None:
    """The loop ends by itself, writes `end`, and the observers see it last; nothing after it is fed."""

    def script(event: Any) -> list[Any]:
        rig.session.finished, rig.session.end_reason = True, reason
        return []

    rig.session.script = script
    rig.inbox.put_word("quit", "", 1.0)
    rig.inbox.put_word("yes", "", 2.0)
    assert run(rig) == reason
    assert rig.seen(Operator) == [Operator(t_s=1.0, word="quit")]
    assert rig.log[-1] == ("see", rig.log[-2][1])
    assert (rig.log[-2][0], rig.log[-2][1].reason, rig.log[-2][1].t_s) == ("close", reason, 1.0)


def test_a_session_that_is_finished_from_the_start(rig: Any) -> None:
    """A plan with nothing to do ends at once."""
    rig.session.finished = True
    assert run(rig) == "done"


def test_what_was_put_before_a_stop_is_still_done(rig: Any) -> None:
    """A reading received before the signal is in the journal; the end says interrupted."""
    rig.inbox.put_bytes(b"0.3\n", 1.0)
    rig.inbox.put_stop(15)
    rig.inbox.put_bytes(b"0.4\n", 2.0)
    assert run(rig) == "interrupted"
    assert [record.value for record in rig.seen(Reading)] == [0.3]
    assert rig.seen(EndRecord)[0].reason == "interrupted"


def test_keyboard_interrupt_without_a_handler_ends_well(rig: Any) -> None:
    """Where signals are not taken over, the exception that Python raises does the same."""

    def script(event: Any) -> list[Any]:
        raise KeyboardInterrupt

    rig.session.script = script
    rig.inbox.put_word("say", "", 1.0)
    assert run(rig) == "interrupted"
    assert rig.seen(EndRecord)[0].reason == "interrupted"


class Failing:
    """Raises at a given call, and counts what is still done to it."""

    identity = ""

    def __init__(self, at: str) -> None:
        self.at = at
        self.calls: list[Any] = []

    def _do(self, call: str) -> None:
        self.calls.append(call)
        if call == self.at:
            raise ZeroDivisionError(call)

    def start(self, sink: Any, clock: Any) -> None:
        self._do("start")

    def want(self, quantity: Any, range_si: Any) -> None:
        self._do("want")

    def stop(self) -> None:
        self._do("stop")

    def see(self, record: Any, line: bytes) -> None:
        self._do("see")

    def urgent(self, record: Any) -> None:
        self._do("urgent")


@pytest.mark.parametrize("call", ["see", "start", "want"])
def test_an_exception_writes_the_end_and_is_raised(rig: Any, call: str) -> None:
    """Whoever raises: `end` with reason fault is written, everybody is stopped, the exception comes out."""
    failing = Failing(call)
    words = Failing("")
    live = rig.make(observers=[rig.observer, failing], source=failing, words=[words])
    with pytest.raises(ZeroDivisionError, match=call):
        run(rig, live)
    assert [record.reason for what, record in rig.log if what == "close"] == ["fault"]
    assert failing.calls[-1] == "stop"
    assert words.calls[-1] == "stop"
    assert live.reason == "fault"


@pytest.mark.parametrize("where", ["driver", "thread"])
def test_a_defect_anywhere_is_a_fault(rig: Any, where: str) -> None:
    """A session that raises, or a thread that died, ends the loop with `end` written and the exception raised."""

    def script(event: Any) -> list[Any]:
        raise ZeroDivisionError

    if where == "driver":
        rig.session.script = script
        rig.inbox.put_word("say", "", 1.0)
    else:
        rig.inbox.put_fault(ZeroDivisionError())
    with pytest.raises(ZeroDivisionError):
        run(rig)
    assert rig.seen(EndRecord)[0].reason == "fault"


def test_one_that_cannot_be_stopped_does_not_keep_the_others_running(rig: Any) -> None:
    """A source that raises on stopping comes after the end was written, and the words are stopped all the same."""
    source, words = Failing("stop"), [Failing("stop"), Failing("")]
    live = rig.make(source=source, words=words)
    rig.inbox.put_stop(2)
    with pytest.raises(ZeroDivisionError):
        run(rig, live)
    assert rig.seen(EndRecord)[0].reason == "interrupted"
    assert [one.calls[-1] for one in (source, *words)] == ["stop"] * 3


def test_virtual_time_runs_between_deadlines_and_acts(rig: Any) -> None:
    """Deadlines come before an act of the same moment; the clock moves to each; nothing left ends it."""
    acts = [(1.0, b"1\n"), (2.0, b"2\n"), (5.0, b"5\n")]
    rig.session.deadlines = [2.0, 4.0]
    moments = []

    def act(t_s: float) -> None:
        moments.append(rig.clock.now_s())
        rig.inbox.put_bytes(acts.pop(0)[1], t_s)

    def next_s() -> float:
        return acts[0][0] if acts else float("inf")

    assert rig.live.run_virtual(rig.clock, next_s, act) == "interrupted"
    assert moments == [1.0, 2.0, 5.0]
    assert [(type(r).__name__, r.t_s) for r in rig.seen(Reading, Clock, Link)] == [
        ("Link", 1.0),
        ("Reading", 1.0),
        ("Clock", 2.0),
        ("Reading", 2.0),
        ("Clock", 4.0),
        ("Link", 4.0),
        ("Link", 5.0),
        ("Reading", 5.0),
        ("Link", 7.0),
    ]
    assert rig.seen(EndRecord)[0].t_s == 7.0


def test_virtual_time_ends_where_it_is_told(rig: Any) -> None:
    """`until_s` ends a run that would go on for ever."""
    t_s = 0.0

    def act(now_s: float) -> None:
        nonlocal t_s
        t_s = now_s + 0.5
        rig.inbox.put_bytes(b"1\n", now_s)

    assert rig.live.run_virtual(rig.clock, lambda: t_s, act, until_s=10.0) == "interrupted"
    assert len(rig.seen(Reading)) == 21


def test_a_trace_keeps_every_event_and_ends_by_a_word(rig: Any) -> None:
    """Listening without a plan: readings and notes are kept, nothing else happens, `quit` ends it."""
    rig.driver = Trace()
    live = rig.make()
    rig.inbox.put_bytes(b"1\nx\n", 5.0)
    rig.inbox.put_word("note", "warm", 4.0)
    rig.inbox.put_word("quit", "", 6.0)
    assert run(rig, live) == "quit"
    assert [(type(r).__name__, r.t_s) for r in rig.seen()[1:-1]] == [
        ("Link", 5.0),
        ("Reading", 5.0),
        ("Garbage", 5.0),
        ("Operator", 5.0),
        ("Operator", 6.0),
    ]


def test_stop_items_name_their_signal() -> None:
    """What a handler puts says which signal it was."""
    assert Stopped(15).signal == 15
