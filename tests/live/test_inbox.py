"""The queue into the loop."""

from __future__ import annotations

import signal
import threading
import time

import pytest

from metercap.live import Inbox
from metercap.live.inbox import (
    FLOOD_BYTES,
    MOST_BYTES,
    MOST_CHUNKS,
    Arrived,
    Changed,
    Failed,
    Said,
    Stopped,
    frame_ends,
)
from metercap.profiles import find_meter, meter_names
from metercap.reading import Reading
from metercap.records import LinkState
from metercap.wire import decoder
from tests.wire.test_streams import FRAMES


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


def test_bytes_that_end_no_frame_wake_nobody() -> None:
    """They are put silently, keep their place, and come out first, by the ring of what follows or by the time-out."""
    inbox = Inbox()
    inbox.ends = b"\n"

    def later() -> None:
        time.sleep(0.05)
        inbox.put_bytes(b"1", 1.0)
        time.sleep(0.15)
        inbox.put_bytes(b"2\n", 2.0)

    threading.Thread(target=later).start()
    start = time.monotonic()
    assert inbox.get(5.0) == Arrived(b"1", 1.0)
    assert 0.1 < time.monotonic() - start < 3.0
    assert inbox.get(5.0) == Arrived(b"2\n", 2.0)
    inbox.put_bytes(b"3", 3.0)
    assert inbox.get(0.05) == Arrived(b"3", 3.0)
    assert inbox.get(0.05) is None


@pytest.mark.parametrize("name", meter_names())
def test_every_frame_ends_where_the_inbox_thinks(name: str) -> None:
    """Fed byte by byte, no decoder gives a reading before one of its family's last bytes."""
    profile = find_meter(name)
    readings = 0
    for frame in FRAMES["digits11" if name.startswith("digits11") else profile.family]:
        decoded = decoder(profile)
        for n, byte in enumerate(frame):
            found = decoded.feed(bytes([byte]), 1.0 + n * profile.serial.byte_s)
            if any(isinstance(one, Reading) for one in found):
                assert byte in frame_ends(profile)
                readings += 1
    assert readings > 0


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


def test_words_and_the_end_overtake_a_flood_and_nothing_less() -> None:
    """Behind more than a flood holds a word and a stop come out first, in their order; behind less, in their place."""
    inbox = Inbox()
    inbox.put_bytes(b"x" * FLOOD_BYTES, 1.0)
    inbox.put_word("yes", "", 2.0)
    inbox.put_bytes(b"y", 3.0)
    inbox.put_word("no", "", 4.0)
    inbox.put_stop(2)
    inbox.put_link(LinkState.LOST, "pulled", 5.0)
    got = [inbox.get() for _ in range(6)]
    assert got[:2] == [Said("no", "", 4.0), Stopped(2)]
    assert [type(item) for item in got[2:]] == [Arrived, Said, Arrived, Changed]
    inbox.put_word("yes", "", 6.0)
    inbox.put_bytes(b"z", 7.0)
    assert [type(inbox.get()) for _ in range(2)] == [Said, Arrived], "the flood has been taken out: order again"


def test_a_flood_of_large_chunks_waits_outside() -> None:
    """Few chunks can be many bytes: no more than the limit and one chunk are held, and what is left is told by size."""
    inbox = Inbox()
    thread = threading.Thread(target=lambda: [inbox.put_bytes(b"x" * 4096, 0.0) for _ in range(100)])  # type: ignore[func-returns-value]
    thread.start()
    time.sleep(0.2)
    rest = inbox.rest()
    inbox.close()
    thread.join(5.0)
    assert rest is not None
    assert rest[0] == b"x" * 64
    assert MOST_BYTES <= rest[1] <= MOST_BYTES + 4096
