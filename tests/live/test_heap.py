"""Floods of garbage in the books: bounded, counted, every byte."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from metercap.live.heap import FREE, Heap
from metercap.reading import Garbage
from metercap.records import decode, encode
from tests.effort import examples


def pour(pieces: list[Garbage]) -> list[Garbage]:
    """Return what a heap records of pieces, its deadlines kept."""
    heap, out = Heap(), []
    for piece in pieces:
        if heap.deadline_s is not None and heap.deadline_s <= piece.t_s:
            out.append(heap.out())
        if (now := heap.take(piece)) is not None:
            out.append(now)
    if (last := heap.out()) is not None:
        out.append(last)
    assert heap.out() is None
    assert heap.deadline_s is None
    return out  # type: ignore[return-value]


def test_ordinary_garbage_is_a_record_each() -> None:
    """Up to ten a second pass as they are."""
    pieces = [Garbage(n / 9, "0a", "no frame", n) for n in range(100)]
    assert pour(pieces) == pieces


def test_a_flood_is_a_record_a_second() -> None:
    """Ten seconds of 1000 equal pieces a second: 110 records at most, and the counts add up."""
    pieces = [Garbage(n / 1000, "0a", "an empty line", n) for n in range(10_000)]
    kept = pour(pieces)
    assert len(kept) <= 10 * (FREE + 1)
    assert sum(one.bytes for one in kept) == 10_000
    merged = [one for one in kept if one.count != one.__class__(0.0, "", "").count]
    assert len(merged) == 10
    assert {(one.raw, one.why) for one in kept} == {("0a", "an empty line")}
    assert [one.offset for one in merged] == [1000 * n + FREE for n in range(10)]
    assert merged[0].count == merged[0].size == 1000 - FREE


def test_pieces_of_many_bytes_count_by_their_bytes() -> None:
    """A hundred pieces of 64 bytes at once: ten for themselves, ninety in one record of 5760 bytes."""
    kept = pour([Garbage(0.0, "00" * 64, "no frame", 64 * n) for n in range(100)])
    assert (kept[-1].count, kept[-1].size) == (90, 5760)


def test_different_kinds_say_so() -> None:
    """The first piece is told, and that others were unlike it."""
    kept = pour([Garbage(0.0, "0a", f"why {n % 2}", n) for n in range(100)])
    assert len(kept) == FREE + 1
    assert kept[-1].why == "why 0, and other kinds"


@given(st.lists(st.tuples(st.floats(0, 0.05), st.integers(1, 64), st.sampled_from(["a", "b"])), max_size=200))
@settings(max_examples=examples(200), derandomize=True, deadline=None)
def test_every_byte_is_accounted_for_in_order(steps: list[tuple[float, int, str]]) -> None:
    """Whatever comes: bytes add up, times never run back, at most eleven records a second, JSON gives them back."""
    pieces, t_s, offset = [], 0.0, 0
    for wait_s, size, why in steps:
        t_s = round(t_s + wait_s, 6)
        pieces.append(Garbage(t_s, "00" * size, why, offset))
        offset += size
    kept = pour(pieces)
    assert sum(one.bytes for one in kept) == offset
    assert [one.t_s for one in kept] == sorted(one.t_s for one in kept)
    assert len(kept) <= (FREE + 1) * (t_s + 1)
    assert [decode(encode(one)) for one in kept] == kept


def test_what_is_held_is_recorded_before_what_came_after_it() -> None:
    """A reading, a word, a change of the link, the end: the merged garbage stands before each."""
    from metercap.clock import VirtualClock
    from metercap.live import Inbox, Live, Trace
    from metercap.live.inbox import Arrived, Changed, Said, Stopped
    from metercap.profiles import find_meter
    from metercap.reading import Reading
    from metercap.records import EndRecord, Link, LinkState, Operator, Record
    from metercap.wire import decoder

    class Seen:
        def __init__(self) -> None:
            self.records: list[Record] = []

        def see(self, record: Record, line: bytes) -> None:
            self.records.append(record)

    profile = find_meter("text")
    flood = b"".join(b"x%d\n" % n for n in range(50))
    for after, kind in (
        (Arrived(b"0.2 ohm\n", 1.2), Reading),
        (Said("note", "hello", 1.2), Operator),
        (Changed(LinkState.LOST, "pulled", 1.2), Link),
        (Stopped(2), EndRecord),
    ):
        seen = Seen()
        live = Live(Trace(), decoder(profile), None, [seen], Inbox(), VirtualClock(), profile=profile)  # type: ignore[list-item]
        live.start()
        live.take(Arrived(flood, 1.0))
        held = len(seen.records)
        live.take(after)
        told = [one for one in seen.records if isinstance(one, Garbage)]
        assert sum(one.bytes for one in told) == len(flood), kind
        assert told[-1].count == 50 - FREE
        new = [one for one in seen.records[held:] if not isinstance(one, Link) or kind is Link]
        assert isinstance(new[0], Garbage), kind
        assert kind is EndRecord or isinstance(new[1], kind)
