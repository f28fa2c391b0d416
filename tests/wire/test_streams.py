"""Streams of bytes, for every family alike: damage, chunking, timing, accounts, bounds.

Each vector is fed whole, byte by byte, with trailing bytes and behind junk. The invariants: no bytes make a
decoder raise or grow; readings and garbage give back every byte once, in order; every reading re-encodes to its
bytes; after damage the next whole frame reads; and nothing is read that no meter sent.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from metercap.meter import MeterProfile
from metercap.profiles import find_meter, meter_names
from metercap.reading import Garbage, Reading
from metercap.records import decode as from_json
from metercap.records import encode as to_json
from metercap.wire import decode_frame, decoder, frame_s
from metercap.wire.accounts import JUNK_BYTES
from metercap.wire.framing import HELD_BYTES
from tests.effort import examples
from tests.wire import redrawing
from tests.wire import wire_drawing as drawing

PROFILES = {name: profile for name in meter_names() if not (profile := find_meter(name)).like}
FRAMES = {
    "lcd14": [
        drawing.frame("2.187", "k", "ohm", "auto"),
        drawing.frame(" 0.L ", "M", "ohm", "auto", "link"),
        drawing.frame("  0.3", "ohm"),
        drawing.frame("-5.470", "V", "dc", "low_battery"),
        drawing.frame("    ", "ohm", "hold"),
    ],
    "digits14": [
        b"121870300020\r\n",
        b"600000310020\r\n",
        b"105470;40080\r\n",
        b"000187500000\r\n",
        b"000500280000\r\n",
    ],
    "digits11": [b"121873002\r\n", b"500003102\r\n", b"15470;408\r\n"],
    "polled-line": [b"OH  2.187kOhm\r", b"OH    O.LMOhm\r", b"DC- 5.470 V  \r", b"AC  230.1   V\r"],
    "text": [b"2.187 kohm\r\n", b"OL\r\n", b"-5.47 V DC\n", "4.7 µF hold\r\n".encode()],
    "scpi": [b"MEAS:RES? +1.23400000E+03\n", b"RES? 9.9E37\n", b"VOLT? -5.47\r\n", b"RES? 9.91E37\n"],
}
FIXED = ("lcd14", "digits14", "digits11", "polled-line")
SHOWS: dict[str, Callable[[bytes, Reading], bool]] = {
    "lcd14": lambda raw, reading: raw in redrawing.lcd14(reading),
    "digits14": redrawing.digits14_shows,
    "digits11": lambda raw, reading: (
        int(raw[1:5]) == redrawing.counts_of(reading) if reading.value is not None else True
    ),
    "polled-line": redrawing.polled_line_shows,
}
VECTORS = [(name, frame) for name, frames in FRAMES.items() for frame in frames]
JUNK = dict.fromkeys(FIXED, b"\x00\xff~\x7fjunk") | {"text": b"\x00junk\n", "scpi": b"\x00junk\n"}
"""Junk that a following frame must survive; a free line is marred by anything in it, so theirs ends with a line
end."""

Item = Reading | Garbage


def run(profile: MeterProfile, chunks: list[bytes], t_s: float = 1.0, step_s: float = 0.0) -> list[Item]:
    """Feed chunks `step_s` apart and flush."""
    meter = decoder(profile)
    items: list[Item] = []
    for n, chunk in enumerate(chunks):
        items += meter.feed(chunk, t_s + n * step_s)
    return [*items, *meter.flush(t_s + len(chunks) * step_s)]


def bytewise(data: bytes) -> list[bytes]:
    """Cut into single bytes."""
    return [data[n : n + 1] for n in range(len(data))]


def readings(items: list[Item]) -> list[bytes]:
    """Return the raw bytes of the readings."""
    return [bytes.fromhex(item.raw) for item in items if isinstance(item, Reading)]


def check_accounts(data: bytes, items: list[Item]) -> None:
    """Readings and garbage give back every byte once and in order, and garbage knows its offset."""
    assert b"".join(bytes.fromhex(item.raw) for item in items) == data
    offset = 0
    for item in items:
        if isinstance(item, Garbage):
            assert item.offset == offset
            assert item.why
        offset += len(item.raw) // 2


@pytest.mark.parametrize(("name", "frame"), VECTORS)
def test_every_vector_whole_bytewise_and_with_trailing_bytes(name: str, frame: bytes) -> None:
    """However a frame arrives, it is the same reading; it comes out with its last byte."""
    profile = PROFILES[name]
    (whole,) = decoder(profile).feed(frame, 1.0)
    assert isinstance(whole, Reading)
    assert decode_frame(profile, frame, 1.0) == [whole]

    meter = decoder(profile)
    for byte in bytewise(frame[:-1]):
        assert meter.feed(byte, 1.0) == []
    assert meter.feed(frame[-1:], 1.0) == [whole]

    for cut in range(1, len(frame)):
        items = run(profile, [frame + frame[:cut]])
        assert items[0] == whole
        assert readings(items) == [frame]
        check_accounts(frame + frame[:cut], items)


@pytest.mark.parametrize(("name", "frame"), VECTORS)
def test_the_journal_s_json_keeps_all_of_a_reading(name: str, frame: bytes) -> None:
    """A reading that went through its JSON line is the same, and its bytes give it again."""
    (reading,) = decoder(PROFILES[name]).feed(frame, 1.0)
    again = from_json(to_json(reading))
    assert again == reading
    assert isinstance(again, Reading)
    assert decode_frame(PROFILES[name], bytes.fromhex(again.raw), 1.0) == [reading]


@pytest.mark.parametrize("name", FRAMES)
def test_frames_read_again_after_junk_before_between_and_after(name: str) -> None:
    """Junk costs nothing but itself, whole or byte by byte."""
    frames, junk = FRAMES[name], JUNK[name]
    data = junk + junk.join(frames) + junk
    for chunks in ([data], bytewise(data)):
        items = run(PROFILES[name], chunks)
        assert readings(items) == frames
        check_accounts(data, items)


@pytest.mark.parametrize("name", FRAMES)
def test_junk_inside_a_frame_costs_at_most_that_frame(name: str) -> None:
    """A stray byte inside a frame spoils it, or is set aside; the next frame reads, and nothing is invented."""
    frame, after = FRAMES[name][0], FRAMES[name][1]
    for at in range(1, len(frame)):
        for stray in (b"\x00", b"\xff", b"\n", b"\r", b"\x7f"):
            data = frame[:at] + stray + frame[at:] + after
            items = run(PROFILES[name], [data])
            check_accounts(data, items)
            assert readings(items)[-1] == after
            if name in FIXED:
                assert set(readings(items)) <= {frame, after}


@pytest.mark.parametrize("name", FIXED)
def test_no_byte_at_all_inside_a_frame_makes_another_reading(name: str) -> None:
    """Each of the 256 bytes at each place inside: the frame is lost or intact, never changed.

    But a stray fourteenth byte before the fourteenth of an lcd14 frame: it holds no part of the value, only the
    meter's own signs.
    """
    for frame in FRAMES[name]:
        for at in range(1, len(frame)):
            for stray in range(256):
                data = frame[:at] + bytes((stray,)) + frame[at:]
                found = readings(run(PROFILES[name], [data]))
                if name == "lcd14" and at == 13:
                    found = [raw[:13] + frame[13:] for raw in found]
                assert set(found) <= {frame}


@pytest.mark.parametrize("name", FIXED)
def test_a_cut_frame_makes_no_reading_and_the_stream_goes_on(name: str) -> None:
    """Any run of bytes lost from a stream of frames: what reads are frames that were sent, and reading goes on.

    A loss of exactly one frame's length leaves two halves that look like one frame; no decoder can tell when no
    pause betrays them, so agreement of two conversions has to.
    """
    frames = [frame for frame in FRAMES[name] for _ in range(2)]
    data = b"".join(frames)
    size = len(frames[0])
    for lost in range(1, 2 * size + 1):
        if lost % size == 0:
            continue
        for at in range(len(data) - lost - size):
            cut = data[:at] + data[at + lost :]
            items = run(PROFILES[name], [cut])
            check_accounts(cut, items)
            assert set(readings(items)) <= set(frames)
            # At most the frames that lost bytes, and the one after, are gone.
            assert len(readings(items)) >= len(frames) - (lost - 1) // size - 3


@pytest.mark.parametrize("name", FIXED)
def test_interleaved_frames_make_no_reading(name: str) -> None:
    """Two frames' bytes mixed make no reading that neither sent."""
    one, two = FRAMES[name][0], FRAMES[name][1]
    mixed = b"".join(bytes(pair) for pair in zip(one, two, strict=True))
    assert readings(run(PROFILES[name], [mixed])) == []
    halves = one[:7] + two[:7] + one[7:] + two[7:]
    assert set(readings(run(PROFILES[name], [halves]))) <= {one, two}


@pytest.mark.parametrize("name", FRAMES)
def test_a_frame_sent_twice_is_two_readings(name: str) -> None:
    """Repeats of one conversion are for the contact rules; the wire tells them all."""
    frame = FRAMES[name][0]
    assert readings(run(PROFILES[name], [frame * 3])) == [frame] * 3


# --- timing -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", FRAMES)
def test_bytes_at_the_line_s_own_pace_and_half_of_it_read(name: str) -> None:
    """A byte at a time in its wire time is a frame, at half that pace too."""
    profile, frame = PROFILES[name], FRAMES[name][0]
    for slow in (1.0, 2.0):
        assert readings(run(profile, bytewise(frame), step_s=slow * profile.serial.byte_s)) == [frame]


@pytest.mark.parametrize("name", FRAMES)
def test_a_frame_that_takes_far_too_long_is_garbage(name: str) -> None:
    """Bytes spread over more than twice their wire time and the reader's latency are no frame; the next frame is
    one."""
    profile, frame = PROFILES[name], FRAMES[name][0]
    wire_s = len(frame) * profile.serial.byte_s
    for at in range(1, len(frame)):
        meter = decoder(profile)
        items = meter.feed(frame[:at], 1.0)
        items += meter.feed(frame[at:], 1.0 + 2 * wire_s + 0.051)
        assert readings(items) == []
        for n in range(2):
            items += meter.feed(frame, 3.0 + n)
        assert readings(items)[-1] == frame
        assert len(readings(items)) == 2 if name in FIXED else len(readings(items)) >= 1
        items += meter.flush(5.0)
        check_accounts(frame * 3, items)


@pytest.mark.parametrize("name", FRAMES)
def test_a_frame_may_come_as_late_as_stated(name: str) -> None:
    """Twice the wire time and 50 ms are allowed; `latency_s` states another allowance."""
    profile, frame = PROFILES[name], FRAMES[name][0]
    wire_s = len(frame) * profile.serial.byte_s
    meter = decoder(profile)
    meter.feed(frame[:5], 1.0)
    assert readings(meter.feed(frame[5:], 1.0 + 2 * wire_s + 0.049)) == [frame]
    meter = decoder(profile, latency_s=1.0)
    meter.feed(frame[:5], 1.0)
    assert readings(meter.feed(frame[5:], 1.0 + 2 * wire_s + 0.999)) == [frame]


@pytest.mark.parametrize("name", FIXED)
def test_a_splice_over_a_pause_is_garbage(name: str) -> None:
    """Half a frame, the pause to the next conversion, and the other half of another frame: no reading."""
    profile, (one, two) = PROFILES[name], FRAMES[name][:2]
    for at in range(1, len(one)):
        for pause_s in (0.5, 0.3):
            meter = decoder(profile)
            items = [*meter.feed(one[:at], 1.0), *meter.feed(two[at:], 1.0 + pause_s), *meter.feed(two, 2.0)]
            if pause_s > 2 * frame_s(profile) + 0.05:
                assert readings(items) == [two]


def test_frame_s_is_the_time_on_the_wire() -> None:
    """Start bit, data, parity and stop bits over the baud rate: 58.3 ms for 14 bytes at 2400 8N1, and so on."""
    assert frame_s(PROFILES["lcd14"]) == pytest.approx(14 * 10 / 2400)
    assert frame_s(PROFILES["digits14"]) == pytest.approx(14 * 10 / 19200)
    assert frame_s(PROFILES["digits11"]) == pytest.approx(11 * 10 / 19200)
    assert frame_s(PROFILES["polled-line"]) == pytest.approx(14 * 10 / 600)


# --- garbage ------------------------------------------------------------------------------------------------------


def test_junk_comes_in_pieces_not_byte_by_byte() -> None:
    """At a wrong baud rate a byte at a time makes a record per 64 bytes, and the rest when the link ends."""
    items = run(PROFILES["lcd14"], bytewise(b"\xf7" * 200))
    assert [len(item.raw) // 2 for item in items] == [64, 64, 64, 8]


def test_junk_that_waits_is_told_with_the_next_byte() -> None:
    """A few strange bytes are not held for ever: the first byte after 0.25 s brings them out."""
    meter = decoder(PROFILES["lcd14"])
    assert meter.feed(b"\xf7\xf7", 1.0) == []
    (item,) = meter.feed(b"\xf7", 1.3)
    assert isinstance(item, Garbage)
    assert (item.raw, item.t_s) == ("f7f7", 1.3)


def test_time_is_rounded_to_a_microsecond() -> None:
    """A reading carries the time that is journaled."""
    (item,) = decoder(PROFILES["lcd14"]).feed(FRAMES["lcd14"][0], 1.23456789)
    assert item.t_s == 1.234568


# --- any bytes ----------------------------------------------------------------------------------------------------

anything = st.one_of(
    st.binary(max_size=400),
    st.lists(
        st.one_of(
            st.sampled_from([frame for _, frame in VECTORS]),
            st.sampled_from([frame for _, frame in VECTORS]).flatmap(
                lambda frame: st.integers(0, len(frame)).map(lambda cut: frame[:cut])
            ),
            st.sampled_from([frame for _, frame in VECTORS]).flatmap(
                lambda frame: st.integers(0, len(frame)).map(lambda cut: frame[cut:])
            ),
            st.binary(max_size=20),
            st.text("0123456789;<=>?:OL.-kMohmVDC \r\n", max_size=20).map(lambda text: text.encode()),
        ),
        max_size=25,
    ).map(b"".join),
)


@settings(max_examples=examples(120), deadline=None, derandomize=True)
@given(data=anything, cuts=st.lists(st.integers(0, 400), max_size=30), name=st.sampled_from(sorted(PROFILES)))
def test_any_bytes_in_any_chunks(data: bytes, cuts: list[int], name: str) -> None:
    """No bytes make a decoder raise or grow; all are accounted for; chunks change nothing; a reading decodes again."""
    profile = PROFILES[name]
    edges = sorted({0, len(data), *(cut for cut in cuts if cut < len(data))})
    chunks = [data[start:stop] for start, stop in pairwise(edges)]
    items = run(profile, chunks)
    check_accounts(data, items)
    assert items == run(profile, [data])
    assert items == run(profile, bytewise(data))
    for item in items:
        if isinstance(item, Reading):
            raw = bytes.fromhex(item.raw)
            assert decode_frame(profile, raw, item.t_s) == [item]


@settings(max_examples=examples(60), deadline=None, derandomize=True)
@given(
    chunks=st.lists(st.tuples(anything, st.floats(-1.0, 10.0)), max_size=20),
    name=st.sampled_from(sorted(PROFILES)),
    midstream=st.booleans(),
)
def test_any_bytes_at_any_time(chunks: list[tuple[bytes, float]], name: str, midstream: bool) -> None:
    """Whatever the times, even running back, bytes are accounted for and buffers stay bounded."""
    meter = decoder(PROFILES[name], midstream=midstream)
    items: list[Item] = []
    for data, t_s in chunks:
        items += meter.feed(data, t_s)
        assert meter.held <= HELD_BYTES + JUNK_BYTES
    items += meter.flush(20.0)
    assert meter.held == 0
    check_accounts(b"".join(data for data, _ in chunks), items)


@settings(max_examples=examples(300), deadline=None, derandomize=True)
@given(
    nibbles=st.lists(st.integers(0, 15), min_size=14, max_size=14),
    frame=st.sampled_from(FRAMES["lcd14"]),
    n=st.integers(0, 14),
)
def test_any_segments_are_garbage_or_a_way_to_show_the_reading(nibbles: list[int], frame: bytes, n: int) -> None:
    """A frame with any low nibbles from byte n on is garbage with a reason, or a way to draw what it reads as."""
    data = frame[:n] + bytes((count << 4) | nibble for count, nibble in list(enumerate(nibbles, 1))[n:])
    (item,) = decoder(PROFILES["lcd14"]).feed(data, 1.0)
    if isinstance(item, Reading):
        assert data in redrawing.lcd14(item)


@pytest.mark.parametrize("name", FIXED)
def test_any_changed_byte_is_garbage_or_shows_the_reading(name: str) -> None:
    """Each byte of a frame changed to each other byte: no exception, and a reading is what its bytes show."""
    for frame in FRAMES[name]:
        for at in range(len(frame)):
            for byte in range(256):
                data = frame[:at] + bytes((byte,)) + frame[at + 1 :]
                items = run(PROFILES[name], [data])
                check_accounts(data, items)
                for item in items:
                    if isinstance(item, Reading):
                        assert SHOWS[name](bytes.fromhex(item.raw), item)


def test_an_endless_line_does_not_grow() -> None:
    """200 kB without a line end is handed out as it comes, and the next good frame reads."""
    for name in PROFILES:
        meter = decoder(PROFILES[name])
        for _ in range(20):
            meter.feed(b"0" * 10_000, 1.0)
            assert meter.held <= HELD_BYTES + JUNK_BYTES
        items = meter.feed(b"\r\n" + FRAMES[name][0] * 2, 1.0)
        assert readings(items)[-1] == FRAMES[name][0]


# --- cost ---------------------------------------------------------------------------------------------------------


def test_the_same_bytes_are_decoded_once() -> None:
    """A repeated frame costs a look-up, and what is remembered is bounded."""
    meter = decoder(PROFILES["lcd14"])
    for _ in range(1000):
        meter.feed(FRAMES["lcd14"][0], 1.0)
    info = meter.one_good_frame.cache_info()
    assert (info.hits, info.misses) == (999, 1)
    assert info.maxsize is not None


@pytest.mark.parametrize("name", [*FIXED, "text", "scpi"])
@pytest.mark.parametrize("unit", [b"\n", b"\r\n", b"\r"], ids=["LF", "CRLF", "CR"])
def test_line_ends_without_end_cost_no_record_each(name: str, unit: bytes) -> None:
    """A flood of line ends is junk in pieces of 64 bytes, every byte once, and the next frame is read."""
    data = unit * (20_000 // len(unit)) + (b"\n" if name in ("text", "scpi") else b"")
    items = run(find_meter(name), [data[n : n + 999] for n in range(0, len(data), 999)] + FRAMES[name][:1])
    assert readings(items) == FRAMES[name][:1]
    garbage = [item for item in items if isinstance(item, Garbage)]
    assert b"".join(bytes.fromhex(item.raw) for item in garbage) == data
    assert len(garbage) <= len(data) // 64 + 2


@pytest.mark.parametrize("name", ["digits14", "polled-line", "text", "scpi"])
def test_empty_lines_come_out_the_same_however_they_are_cut(name: str) -> None:
    """Blank lines, alone and among frames: the same pieces byte by byte, whole, and in chunks of three."""
    frame = FRAMES[name][0]
    data = b"\n \r\n\r\r" + frame + b"\n\n" + frame + b" \t\n" * 40 + frame + b"\r\n" * 200
    whole = run(find_meter(name), [data])
    assert readings(whole)
    assert run(find_meter(name), bytewise(data)) == whole
    assert run(find_meter(name), [data[n : n + 3] for n in range(0, len(data), 3)]) == whole


@pytest.mark.parametrize("name", ["digits14", "digits11", "polled-line", "text", "scpi"])
def test_blank_lines_about_as_long_as_a_frame_are_cut_alike(name: str) -> None:
    """Around the length of a frame, and of the longest line, chunks make no difference either."""
    end = FRAMES[name][0][-1:]
    for n in (9, 10, 11, 12, 13, 14, 15, 253, 254, 255, 256, 257):
        data = b" " * n + end + FRAMES[name][0]
        assert run(find_meter(name), bytewise(data)) == run(find_meter(name), [data])
