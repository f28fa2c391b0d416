"""Sessions on the practice bench with no real time at all.

`Virtual` puts a bench into the live loop's virtual run, with every observer and the journal as they are;
`run` is the short way for studies of thousands of items: wire, session and hands, nothing else.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from metercap.clock import SessionClock
from metercap.live import Inbox
from metercap.live.parts import Decoder, Driver
from metercap.practice.bench import Bench, Said
from metercap.practice.body import NEVER_S
from metercap.records import Cue, Event, Operator, Outcome, Record


class Virtual:
    """A bench as `Live.run_virtual` wants it: `next_s` and `act`, and the technician as an observer.

    `poll_per_s`: how often a polled meter is asked, in the place of the link that would ask it.
    """

    def __init__(self, bench: Bench, inbox: Inbox, clock: SessionClock, *, poll_per_s: float | None = None) -> None:
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
    bench: Bench, driver: Driver, decoder: Decoder, *, until_s: float = 86_400.0, poll_per_s: float | None = None
) -> Iterator[Record]:
    """Yield every event and outcome of a session on the bench, in the journal's order.

    Ends when the session is finished, or at session time `until_s`. The technician sees each record at the
    moment it is made.
    """
    now_s = 0.0
    poll_s = NEVER_S if poll_per_s is None else 0.0

    def told(fed: Iterable[tuple[Event, list[Outcome]]]) -> Iterator[Record]:
        for event, outcomes in fed:
            yield event
            for outcome in outcomes:
                bench.see(outcome, now_s)
                yield outcome

    for outcome in driver.start():
        bench.see(outcome, now_s)
        yield outcome
    while not driver.session.finished:
        due_s = driver.session.deadline_s
        now_s = min(bench.next_s, poll_s, NEVER_S if due_s is None else due_s)
        if now_s > until_s:
            return
        if due_s is not None and due_s <= now_s:
            yield from told(driver.due(now_s))
            continue
        if poll_per_s is not None and poll_s <= now_s:
            bench.poll(poll_s)
            poll_s += 1.0 / poll_per_s
        while (out := bench.step(now_s)) is not None:
            if isinstance(out, Said):
                yield from told(driver.feed(Operator(out.t_s, out.word, out.text, "line")))
            else:
                for reading in decoder.feed(out.data, out.t_s):
                    yield from told(driver.feed(reading))
