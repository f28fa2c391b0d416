"""From one session to the next in one loop: no byte lost, each session in its own time, each journal closed once."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from metercap.clock import VirtualClock
from metercap.journal import Writer, iterate
from metercap.live import Following, Inbox, Live
from metercap.plankeys import ConfirmStep
from metercap.profiles import find_meter
from metercap.reading import Reading
from metercap.records import Clock, Cue, EndRecord, InJob, Link, LinkState, Operator, Record, SessionRecord
from metercap.session import Driver, Session
from metercap.wire import decoder
from tests.e2e.outside_meter import OPEN, auto_ohms, lcd14
from tests.steps.bench_play import confirm, opening

PROFILE = find_meter("lcd14").at_rate(10.0)
FRAME = lcd14(auto_ohms(OPEN))
TAKEN_S = 5.0


def first(tag: str, step: ConfirmStep) -> SessionRecord:
    """Return the first record of a unit's session."""
    return opening((step,), PROFILE, tag=tag, id=tag, job=InJob("pair", 1, ("L", "R")))


class Rig:
    """A loop on a clock of its own: what happens when is given, and the journals tell what came of it."""

    def __init__(self, folder: Path, following: Callable[[Rig], Following] | None = None) -> None:
        self.folder = folder
        self.clock, self.inbox = VirtualClock(), Inbox()
        self.todo: list[tuple[float, Callable[[float], Any]]] = []
        self.seen: list[Record] = []
        record = first("L", confirm())
        self.live = Live(
            Driver(Session(record)),
            decoder(PROFILE, midstream=True),
            Writer.create(folder / "L.jsonl", record),
            [self],
            self.inbox,
            self.clock,
            profile=PROFILE,
            after_parking=lambda: (following or Rig.next)(self),
        )

    def next(self) -> Following:
        """Begin R's session, a second after L was parked: that long it took to make."""
        record = first("R", confirm(wait_s=3.0))
        writer = Writer.create(self.folder / "R.jsonl", record)
        return Following(Driver(Session(record)), writer, self.clock.now_s())

    def see(self, record: Record, line: bytes) -> None:
        """Keep what an observer sees."""
        self.seen.append(record)

    def urgent(self, record: Cue) -> None:
        """Nothing is urgent here."""

    def at(self, t_s: float, act: Callable[[float], Any]) -> None:
        """Let something happen at a time of the clock."""
        self.todo.append((t_s, act))

    def bytes_at(self, t_s: float, data: bytes) -> None:
        """The meter's bytes arrive."""
        self.at(t_s, lambda now_s: self.inbox.put_bytes(data, now_s))

    def word_at(self, t_s: float, word: str, text: str = "") -> None:
        """The operator says a word."""
        self.at(t_s, lambda now_s: self.inbox.put_word(word, text, now_s, "line"))

    def run(self) -> str:
        """Run until nothing happens any more."""

        def act(t_s: float) -> None:
            self.todo.pop(0)[1](t_s)

        return self.live.run_virtual(self.clock, lambda: self.todo[0][0] if self.todo else float("inf"), act)

    def journal(self, tag: str) -> list[Record]:
        """Return what a journal holds."""
        return list(iterate(self.folder / f"{tag}.jsonl"))


def kinds(records: list[Record], kind: type) -> list[Any]:
    """Return the records of one kind."""
    return [record for record in records if isinstance(record, kind)]


def parked(folder: Path) -> Rig:
    """Return a rig in which R is taken while a frame is half received, and R waits from its second second on."""
    rig = Rig(folder)
    rig.at(0.0, lambda now_s: rig.inbox.put_link(LinkState.UP, "meter is open", now_s))
    for n in range(40):
        rig.bytes_at(0.5 + n / 10, FRAME)
    rig.bytes_at(TAKEN_S - 0.01, FRAME[:5])
    rig.word_at(TAKEN_S, "take", "R")
    rig.bytes_at(TAKEN_S + 0.01, FRAME[5:])
    for n in range(60):
        rig.bytes_at(TAKEN_S + 0.1 + n / 10, FRAME)
        if n == 9:
            rig.word_at(TAKEN_S + 1.0, "yes")
    rig.word_at(TAKEN_S + 6.5, "quit")
    return rig


def test_a_frame_that_was_half_received_is_the_first_of_the_next_session(tmp_path: Path) -> None:
    """All that was sent stands in the two journals, in order, and nothing twice."""
    rig = parked(tmp_path)
    assert rig.run() == "quit"
    left, right = rig.journal("L"), rig.journal("R")
    assert [len(kinds(each, Reading)) for each in (left, right)] == [40, 61]
    found = kinds(right, Reading)[0]
    assert bytes.fromhex(found.raw) == FRAME and found.t_s == pytest.approx(0.01)
    assert rig.seen == [*left, *right]


def test_each_session_has_its_own_time(tmp_path: Path) -> None:
    """Words, the link and a wait count from the beginning of R's session."""
    rig = parked(tmp_path)
    rig.run()
    right = rig.journal("R")
    assert kinds(right, Link) == [Link(0.0, LinkState.UP, "meter is open")]
    assert [(word.word, word.t_s) for word in kinds(right, Operator)] == [("yes", 1.0), ("quit", 6.5)]
    assert [clock.t_s for clock in kinds(right, Clock)] == [4.0]
    assert kinds(right, Reading)[-1].t_s == pytest.approx(6.0)
    assert rig.live.origin_s == TAKEN_S
    assert [kinds(each, EndRecord)[0].reason for each in (rig.journal("L"), right)] == ["parked", "quit"]


def test_a_link_that_was_lost_is_lost_in_the_next_session(tmp_path: Path) -> None:
    """What the cable does is known from the first moment."""
    rig = Rig(tmp_path)
    rig.at(0.0, lambda now_s: rig.inbox.put_link(LinkState.LOST, "cable pulled", now_s))
    rig.word_at(1.0, "take", "R")
    rig.word_at(2.0, "quit")
    rig.run()
    assert kinds(rig.journal("R"), Link) == [Link(0.0, LinkState.LOST, "cable pulled")]


def test_a_next_session_that_cannot_begin_leaves_the_first_one_closed(tmp_path: Path) -> None:
    """The fault is raised; the journal of the unit that was parked has its one end."""

    def broken(rig: Rig) -> Following:
        raise OSError("no room")

    rig = Rig(tmp_path, broken)
    rig.word_at(1.0, "take", "R")
    with pytest.raises(OSError, match="no room"):
        rig.run()
    assert [end.reason for end in kinds(rig.journal("L"), EndRecord)] == ["parked"]


def test_without_a_job_a_parked_session_is_the_end(tmp_path: Path) -> None:
    """Whoever gives no next session has the loop end."""
    rig = Rig(tmp_path)
    rig.live._after_parking = None
    rig.word_at(1.0, "take", "R")
    assert rig.run() == "parked"
