"""Sessions on the practice bench with no real time at all: the live loop's virtual run, every observer as it is."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from metercap.clock import SessionClock, VirtualClock
from metercap.live import Following, Inbox, Live
from metercap.live.parts import Decoder, Driver, Observer, Writer
from metercap.meter import MeterProfile
from metercap.practice.bench import PracticeBench, Said
from metercap.practice.body import NEVER_S
from metercap.practice.mat import Mat
from metercap.records import Cue, Reason, Record


class Virtual:
    """A bench as `Live.run_virtual` wants it: `next_s` and `act`, and the technician as an observer.

    `poll_per_s`: how often a polled meter is asked, in the place of the link that would ask it.
    """

    def __init__(
        self, bench: PracticeBench | Mat, inbox: Inbox, clock: SessionClock, *, poll_per_s: float | None = None
    ) -> None:
        self.bench = bench
        self._inbox = inbox
        self._clock = clock
        self._poll_gap_s = NEVER_S if poll_per_s is None else 1.0 / poll_per_s
        self._poll_s = NEVER_S if poll_per_s is None else 0.0

    def next_s(self) -> float:
        """Return when something happens next on the bench, in session time."""
        return min(self.bench.next_s, self._poll_s)

    def act(self, t_s: float) -> None:
        """Let everything up to `t_s` happen; bytes and words go into the inbox."""
        if self._poll_s <= t_s:
            self.bench.poll(self._poll_s)
            self._poll_s += self._poll_gap_s
        while (out := self.bench.step(t_s)) is not None:
            if isinstance(out, Said):
                self._inbox.put_word(out.word, out.text, out.t_s, "line")
            else:
                self._inbox.put_bytes(out.data, out.t_s)

    def see(self, record: Record, line: bytes) -> None:
        """Let the technician see a record."""
        self.bench.see(record, self._clock.now_s())

    def urgent(self, record: Cue) -> None:
        """What is urgent is seen with its record."""


def run(
    bench: PracticeBench | Mat,
    driver: Driver,
    decoder: Decoder,
    profile: MeterProfile,
    observers: Sequence[Observer] = (),
    writer: Writer | None = None,
    *,
    until_s: float = 86_400.0,
    clock: VirtualClock | None = None,
    after_parking: Callable[[], Following] | None = None,
) -> Reason:
    """Run a session on the bench and return why it ended: `interrupted` at session time `until_s`.

    A polled meter is asked as often as its profile says.
    """
    clock, inbox = clock or VirtualClock(), Inbox()
    poll = profile.poll
    virtual = Virtual(bench, inbox, clock, poll_per_s=None if poll is None else poll.per_s)
    seen = [virtual, *observers]
    live = Live(driver, decoder, writer, seen, inbox, clock, profile=profile, after_parking=after_parking)
    return live.run_virtual(clock, virtual.next_s, virtual.act, until_s=until_s)
