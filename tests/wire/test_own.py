"""A decoder from another package: found by its entry point, cut and kept in the same books, harmless when it fails."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from metercap.errors import ProfileError
from metercap.profiles import load_meter
from metercap.reading import Garbage, Reading
from metercap.wire import decode_frame, decoder
from tests.effort import examples

PACKAGE = '''
from metercap.quantity import Quantity
from metercap.reading import State

class Nibbles:
    """AA, length, ohms as length - 3 bytes, sum of all before modulo 256: a check that no table can express."""
    longest = 8
    def __init__(self, profile):
        self.scale = profile.tables["own"]["scale"]
    def cut(self, held):
        start = held.find(0xAA)
        if start:
            return (len(held) if start < 0 else start), 0
        if len(held) < 2:
            return 0, 0
        if not 4 <= held[1] <= 8:
            return 1, 0
        return 0, held[1]
    def decode(self, frame):
        if sum(frame[:-1]) % 256 != frame[-1]:
            return "the sum does not fit"
        counts = int.from_bytes(frame[2:-1], "big")
        if counts == 13:
            raise RuntimeError("thirteen")
        return Quantity.RESISTANCE, counts * self.scale, self.scale, "ohm", State.OK, (), frame.hex()

def broken(profile):
    raise KeyError("nothing here")
'''


@pytest.fixture
def profile(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a profile of a family that an installed package brings."""
    info = tmp_path / "nibbles-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: nibbles\nVersion: 1.0\n")
    (info / "entry_points.txt").write_text(
        "[metercap.decoders]\nnibbles = own_nibbles:Nibbles\nbroken = own_nibbles:broken\nmissing = own_gone:X\n"
    )
    (tmp_path / "own_nibbles.py").write_text(PACKAGE)
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.delitem(sys.modules, "own_nibbles", raising=False)
    path = tmp_path / "m.toml"
    path.write_text('name = "m"\nfamily = "nibbles"\n[tables.own]\nscale = 1.0\n')
    return path


def frame(counts: int, size: int = 2) -> bytes:
    """Draw a frame by the description above."""
    body = bytes([0xAA, size + 3]) + counts.to_bytes(size, "big")
    return body + bytes([sum(body) % 256])


def test_it_is_found_and_its_frames_are_read(profile: Path) -> None:
    """Whole, byte by byte, behind junk, with a wrong sum."""
    meter = load_meter(profile)
    for chunks in ([frame(2187)], [bytes([byte]) for byte in frame(2187)], [b"\x00\x17" + frame(2187)]):
        decode = decoder(meter)
        found = [item for chunk in chunks for item in decode.feed(chunk, 1.0)]
        assert [item.value for item in found if isinstance(item, Reading)] == [2187.0]
    reading = decode_frame(meter, frame(2187), 1.0)[0]
    assert isinstance(reading, Reading)
    spoiled = frame(2187)[:-1] + b"\x00"
    assert [item.why for item in decode_frame(meter, spoiled, 1.0) if isinstance(item, Garbage)] == [
        "the sum does not fit"
    ]


def test_its_failures_are_ours_to_tell(profile: Path) -> None:
    """An exception in decode is garbage; in building, or a package that is gone, an error of the profile's file."""
    meter = load_meter(profile)
    (item,) = decode_frame(meter, frame(13), 1.0)
    assert isinstance(item, Garbage)
    assert "thirteen" in item.why
    for family, what in (("broken", "nothing here"), ("missing", "own_gone"), ("nibble", "no decoder")):
        profile.write_text(f'name = "m"\nfamily = "{family}"\n[tables.own]\nscale = 1.0\n')
        with pytest.raises(ProfileError, match=what):
            load_meter(profile)


@settings(max_examples=examples(100), deadline=None)
@given(st.lists(st.one_of(st.binary(max_size=12), st.integers(14, 60_000).map(frame)), max_size=12), st.integers(1, 9))
def test_every_byte_comes_out_once(parts: list[bytes], step: int) -> None:
    """Whatever comes in, however it is chunked: readings and garbage are the stream again, in order."""
    from metercap.meter import MeterProfile
    from metercap.wire.own import Guarded, OwnDecoder

    space: dict[str, object] = {}
    exec(PACKAGE, space)
    meter = MeterProfile(name="m", family="nibbles", tables={"own": {"scale": 1.0}})
    stream = b"".join(parts)

    def run(size: int) -> list[tuple[str, str]]:
        decode = OwnDecoder(Guarded(space["Nibbles"], meter), 0.001)  # type: ignore[arg-type]
        items = [item for n in range(0, len(stream), size) for item in decode.feed(stream[n : n + size], 1.0)]
        items += decode.flush(1.0)
        return [(type(item).__name__, item.raw) for item in items]

    assert bytes.fromhex("".join(raw for _, raw in run(step))) == stream
    assert [one for one in run(step) if one[0] == "Reading"] == [one for one in run(1) if one[0] == "Reading"]
