"""The line format and its checksum, against the definition of CRC-32."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator

import msgspec
import pytest

from metercap.journal import format as fmt
from metercap.meter import Accuracy, MeterProfile
from metercap.quantity import Quantity
from metercap.records import Note, Record, SessionRecord, Verdict, VerdictKind, encode

Records = Callable[[int, int], Iterator[Record]]


def crc32_by_definition(data: bytes) -> int:
    """CRC-32 bit by bit: ISO/IEC 3309 (and RFC 1952, section 8): polynomial 0xEDB88320 reflected, ones in and out."""
    crc = 0xFFFFFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xEDB88320 if crc & 1 else 0)
    return crc ^ 0xFFFFFFFF


def test_crc_check_value() -> None:
    """The definition written here gives ITU-T V.42's check value of "123456789", so it may judge the package's."""
    assert crc32_by_definition(b"123456789") == 0xCBF43926


def test_chain_is_the_crc_of_all_bodies(session: SessionRecord, records: Records) -> None:
    """Line n carries CRC-32, by the definition, of the bodies of lines 1 to n one after the other."""
    chain = fmt.Chain()
    bodies = b""
    for record in [session, *records(3, 15)]:
        bodies += encode(record)
        line = chain.line(record)
        assert line == encode(record)[:-1] + b',"crc":"%08x"}\n' % crc32_by_definition(bodies)
        assert fmt.body_of(line) == encode(record)


def test_line_is_json_with_kind_first_and_crc_last(session: SessionRecord, records: Records) -> None:
    """Every line is one JSON object of one text line, `kind` and `t_s` first, `crc` last, whatever its text holds."""
    chain = fmt.Chain()
    for record in [session, *records(3, 15)]:
        line = chain.line(record)
        keys = list(msgspec.json.decode(line))
        assert (keys[:2], keys[-1]) == (["kind", "t_s"], "crc")
        assert line.index(b"\n") == len(line) - 1
        assert line.startswith(fmt.LINE)
        assert re.fullmatch(r"[0-9a-f]{8}", msgspec.json.decode(line)["crc"])
    assert chain.line(session).startswith(fmt.FIRST)


def test_any_changed_byte_breaks_the_line(records: Records) -> None:
    """No single changed byte leaves a line whose carried checksum is the computed one."""
    chain = fmt.Chain()
    for record in records(5, 12):
        before = chain.crc
        line = chain.line(record)
        assert fmt.carried(line) == fmt.computed(line, before) == chain.crc
        for at in range(len(line)):
            for flip in (0x01, 0x20, 0x80, 0xFF):
                changed = line[:at] + bytes([line[at] ^ flip]) + line[at + 1 :]
                assert fmt.carried(changed) is None or fmt.carried(changed) != fmt.computed(changed, before)


def test_short_and_upper_case_lines_carry_nothing() -> None:
    """What is too short, or writes its checksum in capitals, carries none."""
    for line in (b"", b"\n", b"}\n", b'"}\n', b',"crc":""}\n', b'{,"crc":"0000000A"}\n', b'{,"crc":"0000000a"} \n'):
        assert fmt.carried(line) is None
    assert fmt.carried(b'{,"crc":"0000000a"}\n') == 10


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_non_finite_numbers_are_refused(session: SessionRecord, bad: float) -> None:
    """A NaN or an infinity is an error wherever it stands, and leaves the chain where it was; it never becomes null."""
    replace = msgspec.structs.replace
    profile = MeterProfile(
        name="x", family="text", accuracy=(Accuracy(quantity=Quantity.DIODE, percent=bad, counts=1.0),)
    )
    chain = fmt.Chain()
    chain.line(session)
    before = chain.crc
    for record in (
        replace(session, plan={"step": [{"id": "a", "max": bad}]}),
        replace(session, reference={"a/F1": {"value": bad}}),
        replace(session, options={"rate": bad}),
        replace(session, inherited={"deep": {"deeper": [1.0, bad]}}),
        replace(session, meter=profile),
        replace(session, t_s=bad),
        Verdict(t_s=1.0, step="s", item="i", verdict=VerdictKind.PASS, value=bad),
        Verdict(t_s=1.0, step="s", item="i", verdict=VerdictKind.PASS, as_left=bad),
        Note(t_s=bad, text=""),
    ):
        with pytest.raises(ValueError, match="which a journal cannot hold"):
            chain.line(record)
    assert chain.crc == before


def test_text_that_is_not_unicode_is_refused() -> None:
    """A lone surrogate has no UTF-8."""
    with pytest.raises(ValueError, match="surrogates"):
        fmt.Chain().line(Note(t_s=0.0, text="\udc80"))


def test_line_limit() -> None:
    """A line of MAX_LINE bytes is written, one byte more is refused and leaves the chain where it was."""
    chain = fmt.Chain()
    spare = fmt.MAX_LINE - len(fmt.Chain().line(Note(t_s=0.0, text="")))
    assert len(fmt.Chain().line(Note(t_s=0.0, text="x" * spare))) == fmt.MAX_LINE
    with pytest.raises(ValueError, match="longer"):
        chain.line(Note(t_s=0.0, text="x" * (spare + 1)))
    assert chain.crc == 0


def test_could_begin(session: SessionRecord, records: Records) -> None:
    """A proper beginning of a line could be a line cut off; one with a changed LF, or other bytes, could not."""
    chain = fmt.Chain()
    for number, record in enumerate([session, *records(2, 12)]):
        line = chain.line(record)
        assert all(fmt.could_begin(line[:cut], first=number == 0) for cut in range(len(line)))
        if number:
            assert not fmt.could_begin(line[:-1] + b"X", first=False)
    for tail in (b"\x00", b"\x00" * 512, b'{"kimd"', b"\xef\xbb\xbf"):
        assert not fmt.could_begin(tail, first=False)
        assert not fmt.could_begin(tail, first=True)
    assert not fmt.could_begin(b'{"kind":"reading"', first=True)
