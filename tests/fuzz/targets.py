"""What is fuzzed: each target takes any bytes and raises only when a promise is broken.

An error of the house's own tree is an answer, never a find. `metercap` is imported inside the functions' module so that
the fuzzer can instrument it first.
"""

from __future__ import annotations

import contextlib
import json
import re
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

from metercap.errors import MetercapError, ProfileError
from metercap.journal import read, repair, verify
from metercap.journal.format import seal
from metercap.meter import impossible as impossible_profile
from metercap.plan import from_builtins, to_builtins
from metercap.plan.load import examine
from metercap.plan.rules import check_plan
from metercap.plan.stored import impossible as impossible_plan
from metercap.profiles import find_meter, load_meter
from metercap.reading import Garbage, Reading
from metercap.records import decode as record_of
from metercap.records import encode as json_of
from metercap.reference.file import decode as reference_of
from metercap.reference.file import encode as reference_bytes
from metercap.session.replay import check
from metercap.wire import decode_frame, decoder

FAMILIES = ("lcd14", "digits14", "digits11", "polled-line", "text", "scpi")
ONE_NUMBER = re.compile(rb"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
"""IEEE 488.2, 8.7.2 to 8.7.4 (NR1, NR2, NR3), with the lenience of 7.7.2 for what a listener takes; from memory."""


@cache
def _profile(name: str) -> Any:
    return find_meter(name)


def _stream(name: str, data: bytes) -> None:
    """Every byte comes out once, in order, whatever the chunks; a reading decodes again."""
    profile = _profile(name)
    size, gap = (data[0] % 37 + 1, (data[1] % 5) * 0.1) if len(data) > 1 else (1, 0.0)
    body, meter, items = data[2:], decoder(profile), []
    for n in range(0, len(body), size):
        items += meter.feed(body[n : n + size], n * gap)
    items += meter.flush(len(body) * gap + 1.0)
    assert b"".join(bytes.fromhex(item.raw) for item in items) == body
    for item in items:
        assert record_of(json_of(item)) == item
        if isinstance(item, Reading):
            raw = bytes.fromhex(item.raw)
            assert decode_frame(profile, raw, item.t_s) == [item]
        else:
            assert isinstance(item, Garbage) and item.why


def _answer(data: bytes) -> None:
    """What a SCPI meter answers becomes a reading only when all of it is one number in the standard's syntax."""
    answer = data.replace(b"\n", b"\r")
    profile, meter = _profile("scpi"), decoder(_profile("scpi"))
    for item in [*meter.feed(b"MEAS:RES?2 " + answer + b"\n", 1.0), *meter.flush(2.0)]:
        if isinstance(item, Reading):
            assert ONE_NUMBER.fullmatch(answer.removesuffix(b"\r")), answer
            assert item.value is None or abs(item.value) < 9.9e37
            assert item.value is None or item.resolution >= 0.01  # 100 ohm over 19 999 counts is 5 mohm
    assert profile.family == "scpi"


def _plan(data: bytes) -> None:
    """A plan that loads survives storing, is possible, and can be checked."""
    found = examine(data.decode("utf-8", "replace"))
    if found.plan is None:
        assert found.count
        return
    stored = json.loads(json.dumps(to_builtins(found.plan)))
    assert from_builtins(stored) == found.plan
    assert not list(impossible_plan(found.plan))
    check_plan(found.plan, _profile("lcd14"))


def _meter(data: bytes) -> None:
    """A profile that loads can be decoded with, and is possible."""
    with tempfile.NamedTemporaryFile(suffix=".toml") as file:
        file.write(data)
        file.flush()
        try:
            profile = load_meter(Path(file.name))
        except ProfileError:
            return
    assert not impossible_profile(profile)
    meter = decoder(profile)
    for chunk in (data[:300], b"1.23 ohm\r\n", b"MEAS:RES? 1\n", bytes(range(256))):
        items = [*meter.feed(chunk, 1.0), *meter.flush(1.0)]
        assert b"".join(bytes.fromhex(item.raw) for item in items) == chunk


def _reference(data: bytes) -> None:
    """A reference that decodes encodes to one that says the same."""
    try:
        found = reference_of(data, "x")
    except MetercapError:
        return
    assert reference_of(reference_bytes(found), "x") == found


def _journal(data: bytes) -> None:
    """Reading, verifying and repairing any file end in an answer; what was repaired verifies."""
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "a.jsonl"
        place.write_bytes(data)
        try:
            report = verify(place)
        except MetercapError:
            return
        assert report.bytes == len(data)
        with contextlib.suppress(MetercapError):
            read(place)
        try:
            repair(place, Path(folder) / "b.jsonl")
        except MetercapError:
            return
        assert verify(Path(folder) / "b.jsonl").state != "damaged"


def _sealed(data: bytes) -> None:
    """A journal whose checksums are right, whatever it says, is read, and its outcomes derived, without a defect."""
    out, crc = b"", 0
    for body in data.split(b"\n"):
        line, crc = seal(body, crc)
        out += line
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "a.jsonl"
        place.write_bytes(out)
        try:
            check(read(place).records)
        except MetercapError:
            return


TARGETS: dict[str, Callable[[bytes], None]] = {
    **{name: (lambda data, name=name: _stream(name, data)) for name in FAMILIES},  # type: ignore[misc]
    "answer": _answer,
    "plan": _plan,
    "profile": _meter,
    "reference": _reference,
    "journal": _journal,
    "sealed": _sealed,
}
