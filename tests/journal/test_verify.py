"""Verify finds every accident with line and byte; repair keeps what is proved, in a new file."""

from __future__ import annotations

import hashlib
import os
import random
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest

from metercap.errors import JournalError
from metercap.journal import REPAIR_NOTE, read, repair, verify
from metercap.journal import format as fmt
from metercap.journal.verify import LISTED
from metercap.records import SCHEMA, EndRecord, Note, Record, SessionRecord

Journal = Callable[..., tuple[Path, list[Record]]]


def split(path: Path) -> list[bytes]:
    return path.read_bytes().splitlines(keepends=True)


def starts(lines: list[bytes]) -> list[int]:
    return [sum(map(len, lines[:index])) for index in range(len(lines))]


def check_every_change(path: Path, values: Callable[[int], list[int]]) -> None:
    """Change each byte of a closed journal to some other values, and look for line and byte in the report."""
    whole = path.read_bytes()
    places = starts(split(path))
    with path.open("r+b", buffering=0) as file:
        line = 0
        for at, old in enumerate(whole):
            while line + 1 < len(places) and places[line + 1] <= at:
                line += 1
            for new in values(old):
                os.pwrite(file.fileno(), bytes([new]), at)
                report = verify(path)
                assert (report.state, report.exit_status) == ("damaged", 2), (at, new)
                assert (report.problems[0].line, report.problems[0].byte) == (line + 1, places[line]), (at, new)
            os.pwrite(file.fileno(), bytes([old]), at)
    assert verify(path).state == "closed"


def test_intact_journal(journal: Journal) -> None:
    """A closed file is intact: status 0, every record counted, nothing lost."""
    path, written = journal(count=25)
    report = verify(path)
    assert (report.state, report.exit_status, report.problems, report.lost) == ("closed", 0, (), "")
    assert report.records == len(written) + 1
    assert sum(report.counts.values()) == len(written)
    assert report.bytes == path.stat().st_size


def test_unclosed_and_torn(journal: Journal) -> None:
    """Unclosed and torn files give status 1; a torn tail is listed with line and byte."""
    path, written = journal(count=5, closed=False)
    report = verify(path)
    assert (report.state, report.exit_status, report.problems) == ("unclosed", 1, ())
    size = path.stat().st_size
    os.truncate(path, size - 1)
    report = verify(path)
    last = starts(split(path))[-1]
    assert (report.state, report.exit_status, report.records) == ("torn", 1, len(written) - 1)
    assert str(report.problems[0]) == f"line 6, byte {last}: a record was cut off after {size - 1 - last} bytes"
    assert report.lost == str(report.problems[0])
    os.truncate(path, 0)
    assert verify(path).state == "torn"


def test_every_changed_byte_is_found(journal: Journal) -> None:
    """Any byte changed to at least six other values is damage, reported at its own line and that line's byte."""
    path, _ = journal(count=9)
    others = (0x00, 0x0A, 0x22, 0x7D)
    check_every_change(path, lambda old: [old ^ 1, old ^ 0x20, old ^ 0x80, *(new for new in others if new != old)])


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_every_value_of_every_byte_is_found(journal: Journal) -> None:
    """Any byte changed to any other value at all, in a file of 2 kB."""
    path, _ = journal(count=3)
    check_every_change(path, lambda old: [new for new in range(256) if new != old])


def test_moved_lines_are_found(journal: Journal) -> None:
    """A line doubled, left out or swapped with the next is damage at the first line that is not where it was."""
    path, _ = journal(count=14)
    lines = split(path)
    for index in range(len(lines)):
        doubled = [*lines[: index + 1], *lines[index:]]
        without = [*lines[:index], *lines[index + 1 :]]
        swapped = [*lines[:index], *lines[index + 1 : index + 2], lines[index], *lines[index + 2 :]]
        for name, changed, first in (
            ("doubled", doubled, index + 2),
            ("without", without, index + 1),
            ("swapped", swapped, index + 1),
        ):
            if index == len(lines) - 1 and name != "doubled":
                continue  # leaving out the last line is a cut, and it has no next to swap with
            path.write_bytes(b"".join(changed))
            report = verify(path)
            assert (report.state, report.problems[0].line) == ("damaged", first), (name, index)
    path.write_bytes(b"".join(lines[:-1]))
    assert verify(path).state == "unclosed"


def test_one_changed_byte_costs_one_record(journal: Journal) -> None:
    """Behind a line whose body or checksum was changed the chain is found again, so all others are proved."""
    path, written = journal(count=14)
    lines = split(path)
    for index in range(1, len(lines)):
        for at in (10, -4):
            line = bytearray(lines[index])
            line[at] ^= 1
            path.write_bytes(b"".join([*lines[:index], bytes(line), *lines[index + 1 :]]))
            report = verify(path)
            assert (report.damaged_lines, report.records) == (1, len(written)), (index, at)


def test_a_line_put_between_others_costs_none_of_them(journal: Journal) -> None:
    """A foreign line between two good ones is damage; all records that were there are proved."""
    path, written = journal(count=14)
    lines = split(path)
    for at in range(1, len(lines)):
        for foreign in (lines[at - 2], b"junk\n"):
            path.write_bytes(b"".join([*lines[:at], foreign, *lines[at:]]))
            report = verify(path)
            assert (report.damaged_lines, report.records) == (1, len(written) + 1), (at, foreign)
            assert report.problems[0].line == at + 1


def test_nothing_may_follow_the_end(tmp_path: Path, session: SessionRecord) -> None:
    """Even a line whose checksum goes on from the end record's is damage."""
    chain = fmt.Chain()
    first = chain.line(session)
    end = EndRecord(t_s=1.0, reason="done", counts={"session": 1}, sha256=hashlib.sha256(first).hexdigest())
    path = tmp_path / "end.jsonl"
    path.write_bytes(first + chain.line(end) + chain.line(Note(t_s=2.0, text="late")))
    report = verify(path)
    assert (report.state, report.records) == ("damaged", 2)
    assert "something follows the end record" in str(report.problems[0])


def test_end_record_is_held_to_its_words(tmp_path: Path, session: SessionRecord) -> None:
    """An end record with a right checksum but wrong counts or sha256 is damage."""
    chain = fmt.Chain()
    first = chain.line(session)
    good = EndRecord(t_s=1.0, reason="done", counts={"session": 1}, sha256=hashlib.sha256(first).hexdigest())
    path = tmp_path / "end.jsonl"
    for end, state in (
        (good, "closed"),
        (msgspec.structs.replace(good, counts={"session": 1, "note": 1}), "damaged"),
        (msgspec.structs.replace(good, sha256="0" * 64), "damaged"),
    ):
        path.write_bytes(first + fmt.seal(fmt.body(end), chain.crc)[0])
        assert verify(path).state == state


def test_newer_schema_is_refused(tmp_path: Path, new_session: Callable[..., SessionRecord]) -> None:
    """Nobody can judge a newer schema: an error, not a report."""
    path = tmp_path / "new.jsonl"
    path.write_bytes(fmt.Chain().line(new_session(schema=SCHEMA + 1)))
    with pytest.raises(JournalError, match="line 1: a journal of schema 3"):
        verify(path)


def test_hostile_files_get_a_bounded_report(tmp_path: Path, session: SessionRecord) -> None:
    """Huge lines are passed over in bounded memory; of endless damage the first lines are listed, the rest counted."""
    path = tmp_path / "hostile.jsonl"
    chain = fmt.Chain()
    first = chain.line(session)
    huge = b"[" * (20 << 20)
    path.write_bytes(
        first + huge + b"\n" + chain.line(Note(t_s=1.0, text="after")) + b"x\n" * 50_000 + b"[" * (3 << 20)
    )
    tracemalloc.start()
    try:
        report = verify(path)
        assert tracemalloc.get_traced_memory()[1] < 6 * fmt.MAX_LINE
    finally:
        tracemalloc.stop()
    assert (report.state, report.records, report.damaged_lines) == ("damaged", 2, 50_002)
    assert len(report.problems) == LISTED
    assert str(report.problems[0]) == f"line 2, byte {len(first)}: a line of more than {fmt.MAX_LINE} bytes"
    assert report.problems[1].byte == len(first) + len(huge) + 1 + len(split(path)[2])
    assert report.bytes == path.stat().st_size


@pytest.mark.parametrize("closed", [True, False])
def test_repair_of_an_undamaged_file_is_a_copy(journal: Journal, tmp_path: Path, closed: bool) -> None:
    """Byte for byte, closed or not."""
    path, _ = journal(count=20, closed=closed)
    report = repair(path, tmp_path / "copy.jsonl")
    assert (tmp_path / "copy.jsonl").read_bytes() == path.read_bytes()
    assert report.written == str(tmp_path / "copy.jsonl")


def test_repair_of_a_torn_file(journal: Journal, tmp_path: Path) -> None:
    """What stands before the cut is kept byte for byte, and a note says what is gone."""
    path, written = journal(count=8, closed=False)
    os.truncate(path, path.stat().st_size - 7)
    old = path.read_bytes()
    new = tmp_path / "new.jsonl"
    report = repair(path, new)
    whole = old[: old.rindex(b"\n") + 1]
    assert report.state == "torn"
    assert path.read_bytes() == old
    assert new.read_bytes().startswith(whole)
    got = read(new)
    assert got.records[:-1] == tuple(written[:-1])
    note = got.records[-1]
    assert note == Note(
        t_s=written[-2].t_s,
        text=f"{REPAIR_NOTE}line 9 (bytes {len(whole)} to {len(old) - 1}) of the damaged file could not be "
        "proved and were left out",
    )
    assert verify(new).state == "unclosed"


def test_repair_keeps_what_is_proved(journal: Journal, tmp_path: Path) -> None:
    """One changed byte: one note where the record was, all else equal, and the file is closed again."""
    path, written = journal(count=14)
    lines = split(path)
    for index in range(1, len(lines)):
        line = bytearray(lines[index])
        line[12] ^= 4
        path.write_bytes(b"".join([*lines[:index], bytes(line), *lines[index + 1 :]]))
        new = tmp_path / f"new{index}.jsonl"
        repair(path, new)
        got = read(new)
        assert new.read_bytes().startswith(b"".join(lines[:index]))
        assert got.records[:index] == tuple(written[:index])
        note = got.records[index]
        assert isinstance(note, Note)
        start = starts(lines)[index]
        assert note.text.startswith(f"{REPAIR_NOTE}line {index + 1} (bytes {start} to {start + len(line) - 1}) of")
        assert note.t_s == written[index - 1].t_s
        if index < len(written):
            assert got.state == "closed"
            assert got.records[index + 1 : -1] == tuple(written[index + 1 :])
        else:
            assert got.state == "unclosed"


def test_repair_proves_nothing_behind_a_missing_line(journal: Journal, tmp_path: Path) -> None:
    """The record right after a line that is gone cannot be proved; those behind it can."""
    path, written = journal(count=10)
    lines = split(path)
    path.write_bytes(b"".join([*lines[:5], *lines[6:]]))
    repair(path, tmp_path / "new.jsonl")
    got = read(tmp_path / "new.jsonl")
    assert got.state == "closed"
    assert got.records[:5] == tuple(written[:5])
    assert got.records[6:-1] == tuple(written[7:])
    assert "line 6 (bytes" in got.records[5].text


def test_repair_drops_what_follows_the_end(journal: Journal, tmp_path: Path) -> None:
    """Bytes after the end record are noted before it, so the new file still ends with its end."""
    path, written = journal(count=6)
    path.write_bytes(path.read_bytes() + b"more\n" + b"and more")
    repair(path, tmp_path / "new.jsonl")
    got = read(tmp_path / "new.jsonl")
    assert got.state == "closed"
    assert got.records[:-2] == tuple(written)
    assert f"lines {len(written) + 2} to {len(written) + 3} (bytes" in got.records[-2].text


def test_repaired_files_always_verify(journal: Journal, tmp_path: Path) -> None:
    """After a seeded mixture of accidents the new file verifies, keeps order, and holds only what was written."""
    rng = random.Random(20)
    path, written = journal(count=30)
    lines = split(path)
    for round_ in range(150):
        changed = list(lines)
        for _ in range(rng.randint(1, 4)):
            at = rng.randrange(1, len(changed))
            accident = rng.randrange(5)
            if accident == 0:
                changed[at] = changed[at][: rng.randrange(len(changed[at]))]
            elif accident == 1:
                changed.insert(at, rng.choice(changed[1:]))
            elif accident == 2:
                del changed[at]
            elif accident == 3:
                changed[at - 1 : at] = [rng.randbytes(rng.randrange(1, 60))] if at > 1 else changed[:1]
            else:
                other = rng.randrange(1, len(changed))
                changed[at], changed[other] = changed[other], changed[at]
        path.write_bytes(b"".join(changed))
        new = tmp_path / f"new{round_}.jsonl"
        repair(path, new)
        report = verify(new)
        assert report.exit_status < 2, changed
        kept = [
            record
            for record in read(new).records
            if not isinstance(record, EndRecord)
            and not (isinstance(record, Note) and record.text.startswith(REPAIR_NOTE))
        ]
        places = [written.index(record) for record in kept]
        assert places == sorted(places)
        assert len(places) == len(set(places))


def test_repair_refuses(journal: Journal, tmp_path: Path) -> None:
    """No repair onto a file that exists, none without a session record, and nothing is left behind."""
    path, _ = journal(count=4)
    old = path.read_bytes()
    for target in (path, tmp_path / "there"):
        (tmp_path / "there").write_bytes(b"mine")
        with pytest.raises(JournalError, match="already exists"):
            repair(path, target)
    assert ((tmp_path / "there").read_bytes(), path.read_bytes()) == (b"mine", old)
    with pytest.raises(JournalError, match="cannot be written"):
        repair(path, tmp_path / "no folder" / "new.jsonl")
    for content in (b"", b"x" + old[1:], old[:40], b"junk\n" + old):
        path.write_bytes(content)
        with pytest.raises(JournalError, match="session record cannot be proved"):
            repair(path, tmp_path / "new.jsonl")
        assert not (tmp_path / "new.jsonl").exists()
