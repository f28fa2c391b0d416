"""The queue into the loop."""

from __future__ import annotations

import signal
import threading
import time

from metercap.live import Inbox
from metercap.live.inbox import MOST_CHUNKS, Arrived, Changed, Failed, Said, Stopped
from metercap.records import LinkState


def test_order_is_kept_among_all_kinds() -> None:
    """What is put first comes out first, whatever it is; an empty inbox gives None at once, or after the wait."""
    inbox, error = Inbox(), ValueError("x")
    inbox.put_bytes(b"a", 1.0)
    inbox.put_link(LinkState.LOST, "pulled", 2.0)
    inbox.put_word("at", "F3", 3.0)
    inbox.put_stop(2)
    inbox.put_fault(error)
    assert [inbox.get() for _ in range(6)] == [
        Arrived(b"a", 1.0),
        Changed(LinkState.LOST, "pulled", 2.0),
        Said("at", "F3", 3.0),
        Stopped(2),
        Failed(error),
        None,
    ]
    start = time.monotonic()
    assert inbox.get(0.05) is None
    assert time.monotonic() - start >= 0.045


def test_a_flood_waits_outside_and_ends_with_the_inbox() -> None:
    """Bytes beyond the limit wait in the link's thread, none is dropped; closing lets the thread go."""
    inbox = Inbox()
    put = []

    def flood() -> None:
        for n in range(MOST_CHUNKS + 50):
            inbox.put_bytes(b"x", float(n))
            put.append(n)

    thread = threading.Thread(target=flood)
    thread.start()
    time.sleep(0.1)
    assert len(put) == MOST_CHUNKS
    got = [inbox.get(1.0) for _ in range(10)]
    assert [item.t_s for item in got] == list(range(10))
    inbox.put_word("yes", "", 0.0)
    inbox.close()
    thread.join(8.0)
    assert not thread.is_alive()


def test_a_signal_handler_may_put_into_a_waiting_get() -> None:
    """A handler that interrupts the main thread's own `get` puts without a deadlock, and wakes it."""
    inbox = Inbox()
    before = signal.signal(signal.SIGALRM, lambda number, frame: inbox.put_stop(number))
    try:
        signal.setitimer(signal.ITIMER_REAL, 0.05)
        start = time.monotonic()
        assert inbox.get(5.0) == Stopped(signal.SIGALRM)
        assert time.monotonic() - start < 2.0
    finally:
        signal.signal(signal.SIGALRM, before)
