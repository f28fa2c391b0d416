"""Writing: the promises on disk, on a disk that refuses, and on one that stalls."""

from __future__ import annotations

import errno
import os
import random
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from metercap.errors import JournalError
from metercap.journal import Writer, read, verify
from metercap.journal import format as fmt
from metercap.journal.disk import Disk
from metercap.records import EndRecord, Note, Record, SessionRecord

Records = Callable[[int, int], Iterator[Record]]


class FakeDisk(Disk):
    """The real disk until told otherwise; notes what was asked of it, in order.

    `room`: bytes it still takes, then ENOSPC after a partial write, as a full disk does. `sync_fails`: fsync gives EIO
    and, as some systems do, throws away what it could not write: zeros stand there afterwards. `gate`: what `sync`
    waits for; `write_gate`: what the thread's retries wait for; `inside`: set once one of them waits.
    """

    def __init__(self) -> None:
        self.room: int | None = None
        self.sync_fails = False
        self.gate: threading.Event | None = None
        self.write_gate: threading.Event | None = None
        self.inside = threading.Event()
        self.calls: list[tuple[str, object]] = []
        self._safe = 0

    def seek(self, fd: int, byte: int) -> None:
        if self.write_gate is not None and threading.current_thread().name == "journal":
            self.inside.set()
            self.write_gate.wait(30)
        super().seek(fd, byte)

    def write(self, fd: int, data: bytes) -> int:
        if self.write_gate is not None and threading.current_thread().name == "journal":
            self.inside.set()
            self.write_gate.wait(30)
        if self.room is not None:
            data = data[: self.room]
            if not data:
                raise OSError(errno.ENOSPC, "No space left on device")
            self.room -= len(data)
        self.calls.append(("write", data))
        return super().write(fd, data)

    def sync(self, fd: int) -> None:
        if self.gate is not None:
            self.inside.set()
            self.gate.wait(30)
        size = os.fstat(fd).st_size
        if self.sync_fails:
            os.pwrite(fd, bytes(size - self._safe), self._safe)
            raise OSError(errno.EIO, "Input/output error")
        self.calls.append(("sync", size))
        self._safe = size
        super().sync(fd)

    def sync_folder(self, folder: Path) -> None:
        self.calls.append(("folder", folder))
        super().sync_folder(folder)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "gc8.jsonl"


def until(condition: Callable[[], bool], patience_s: float = 20.0) -> bool:
    """Wait for something that a thread does; generous, since only its coming is tested."""
    give_up = time.monotonic() + patience_s
    while not condition() and time.monotonic() < give_up:
        time.sleep(0.005)
    return condition()


def test_create_puts_session_and_name_on_disk(path: Path, session: SessionRecord) -> None:
    """When `create` returns, the session's line and the folder have been synced, in that order."""
    disk = FakeDisk()
    with Writer.create(path, session, disk) as writer:
        assert [name for name, _ in disk.calls] == ["write", "sync", "folder"]
        assert disk.calls[1:] == [("sync", len(writer.first)), ("folder", path.parent)]
        assert path.read_bytes() == writer.first == fmt.Chain().line(session)
        assert writer.path == path


def test_out_must_not_exist(path: Path, session: SessionRecord) -> None:
    """An existing file, a folder and a dangling link are refused and stay as they are."""
    path.write_bytes(b"mine")
    link = path.with_name("link")
    link.symlink_to("nowhere")
    for there in (path, path.parent, link):
        with pytest.raises(JournalError, match="already exists") as raised:
            Writer.create(there, session)
        assert raised.value.where == str(there)
    assert path.read_bytes() == b"mine"
    assert not path.with_name("nowhere").exists()


def test_two_writers_never_share_a_file(path: Path, session: SessionRecord) -> None:
    """While one writes, a second `create` of the same name is refused."""
    with Writer.create(path, session), pytest.raises(JournalError, match="already exists"):
        Writer.create(path, session)


@pytest.mark.parametrize("room", [0, 1, 100])
def test_create_on_a_full_disk(path: Path, session: SessionRecord, room: int) -> None:
    """When the session record does not fit, it is an error and no half file is left."""
    disk = FakeDisk()
    disk.room = room
    with pytest.raises(JournalError, match="No space left"):
        Writer.create(path, session, disk)
    assert not path.exists()


def test_create_where_nothing_can_be_created(path: Path, session: SessionRecord) -> None:
    """A missing folder is an error that says so."""
    with pytest.raises(JournalError, match="cannot be written: No such file"):
        Writer.create(path / "x.jsonl", session)


def test_append_is_one_write_of_the_line_it_returns(path: Path, session: SessionRecord, records: Records) -> None:
    """Each record is one write, in order, of the very bytes that `append` returns."""
    disk = FakeDisk()
    chain = fmt.Chain()
    chain.line(session)
    with Writer.create(path, session, disk) as writer:
        for record in records(1, 20):
            del disk.calls[:]
            line = writer.append(record)
            assert line == chain.line(record)
            assert [call for call in disk.calls if call[0] == "write"] == [("write", line)]
            assert path.read_bytes().endswith(line)


def test_close_writes_an_end_that_holds(path: Path, session: SessionRecord, records: Records) -> None:
    """The end record has the counts and the sha256 of all before it, and is on the disk when `close` returns."""
    disk = FakeDisk()
    writer = Writer.create(path, session, disk)
    for record in records(1, 20):
        writer.append(record)
    line = writer.close(30.0, "interrupted")
    assert disk.calls[-1] == ("sync", path.stat().st_size)
    assert path.read_bytes().endswith(line)
    end = read(path).end
    assert end is not None
    assert (end.t_s, end.reason, sum(end.counts.values())) == (30.0, "interrupted", 21)
    assert verify(path).state == "closed"
    assert (writer.problem, writer.unwritten) == (None, b"")
    for again in (lambda: writer.append(Note(t_s=31.0, text="late")), lambda: writer.close(31.0, "done")):
        with pytest.raises(ValueError, match="closed"):
            again()  # type: ignore[no-untyped-call]
    assert verify(path).state == "closed"


def test_refused_records_leave_the_journal_whole(path: Path, session: SessionRecord) -> None:
    """A record that a journal cannot hold raises ValueError, and the next one is written as if it had not been."""
    with Writer.create(path, session) as writer:
        for bad in (
            Note(t_s=float("nan"), text=""),
            Note(t_s=0.0, text="x" * fmt.MAX_LINE),
            Note(t_s=0.0, text="\ud800"),
        ):
            with pytest.raises(ValueError):
                writer.append(bad)
        writer.append(Note(t_s=1.0, text="good"))
        writer.close(1.0, "done")
    assert verify(path).state == "closed"
    assert [record.t_s for record in read(path).records] == [0.0, 1.0, 1.0]


def test_sync_is_on_disk_when_it_returns(path: Path, session: SessionRecord) -> None:
    """After `sync` every byte appended before it lies before a finished fsync; with nothing new it asks for none."""
    disk = FakeDisk()
    with Writer.create(path, session, disk) as writer:
        for index in range(5):
            writer.append(Note(t_s=float(index), text="x"))
            assert writer.sync()
            assert disk.calls[-1] == ("sync", path.stat().st_size)
            count = len(disk.calls)
            assert writer.sync()
            assert len(disk.calls) == count


def test_readings_are_synced_within_a_quarter_second(path: Path, session: SessionRecord) -> None:
    """Without `sync` the thread syncs each line: half of twelve within 0.25 s (a busy machine may delay others)."""
    disk = FakeDisk()
    rng = random.Random(4)
    delays = []
    with Writer.create(path, session, disk) as writer:
        for index in range(12):
            time.sleep(rng.random() * 0.02)
            writer.append(Note(t_s=float(index), text="x"))
            size = path.stat().st_size
            start = time.monotonic()
            assert until(lambda size=size: any(c == ("sync", size) for c in disk.calls))  # type: ignore[misc]
            delays.append(time.monotonic() - start)
    assert sorted(delays)[len(delays) // 2] <= 0.25


def test_append_does_not_wait_for_fsync(path: Path, session: SessionRecord) -> None:
    """While an fsync hangs, appends return and their bytes are in the file."""
    disk = FakeDisk()
    with Writer.create(path, session, disk) as writer:
        disk.gate = threading.Event()
        writer.append(Note(t_s=0.0, text="starts the thread's fsync"))
        assert disk.inside.wait(20)
        lines = [writer.append(Note(t_s=1.0, text=str(index))) for index in range(500)]
        assert path.read_bytes().endswith(b"".join(lines))
        disk.gate.set()
        writer.close(2.0, "done")
    assert verify(path).state == "closed"


def test_append_does_not_wait_for_a_retry(path: Path, session: SessionRecord) -> None:
    """While the thread's write of waiting lines hangs, appends return, and all is written in order later."""
    disk = FakeDisk()
    with Writer.create(path, session, disk) as writer:
        disk.write_gate = threading.Event()
        disk.room = 0
        lines = [writer.append(Note(t_s=0.0, text="waits"))]
        assert disk.inside.wait(20)
        lines += [writer.append(Note(t_s=1.0, text=str(index))) for index in range(500)]
        disk.room = None
        disk.write_gate.set()
        assert writer.sync()
        assert path.read_bytes() == writer.first + b"".join(lines)


def test_trouble_during_an_fsync_is_not_forgotten(path: Path, session: SessionRecord) -> None:
    """When the disk fills while an fsync of earlier lines hangs, that fsync's success does not clear `problem`."""
    disk = FakeDisk()
    with Writer.create(path, session, disk) as writer:
        disk.gate = threading.Event()
        disk.write_gate = threading.Event()  # holds the thread's retry, which would find the trouble anew
        writer.append(Note(t_s=0.0, text="synced"))
        synced: list[bool] = []
        syncing = threading.Thread(target=lambda: synced.append(writer.sync()))
        syncing.start()
        assert disk.inside.wait(20)
        disk.room = 0
        writer.append(Note(t_s=1.0, text="does not fit"))
        disk.gate.set()
        syncing.join(20)
        assert synced == [False]
        assert writer.problem is not None
        disk.room = None
        disk.write_gate.set()
        assert writer.sync() is True
        assert writer.problem is None


@pytest.mark.parametrize("room", [0, 1, 30, 61, 62, 500])
def test_full_disk_goes_on_in_memory(path: Path, session: SessionRecord, records: Records, room: int) -> None:
    """A full disk tears the file where it stands, says so, and once it has room every line is there once, in order."""
    disk = FakeDisk()
    writer = Writer.create(path, session, disk)
    assert writer.problem is None
    disk.room = room
    lines = [writer.append(record) for record in records(1, 30)]
    assert path.stat().st_size == len(writer.first) + room
    assert writer.problem is not None
    for words in (str(path), "No space left", f"{sum(map(len, lines)) - room} bytes wait", "free some space"):
        assert words in writer.problem
    assert writer.sync() is False
    assert path.read_bytes() + writer.unwritten == writer.first + b"".join(lines)
    assert read(path).state in ("torn", "unclosed")
    disk.room = None
    assert until(lambda: writer.problem is None)
    assert path.read_bytes() == writer.first + b"".join(lines)
    writer.close(99.0, "done")
    assert verify(path).state == "closed"


def test_disk_that_fills_and_drains_over_and_over(path: Path, session: SessionRecord, records: Records) -> None:
    """Whatever the seeded pattern of room, lossy fsyncs and appends, the file ends as the lines, in order, once."""
    rng = random.Random(8)
    disk = FakeDisk()
    writer = Writer.create(path, session, disk)
    lines = [writer.first]
    for record in records(9, 1500):
        chance = rng.random()
        if chance < 0.05:
            disk.room = rng.choice([None, None, 0, rng.randrange(2000)])
        elif chance < 0.08:
            disk.sync_fails = rng.random() < 0.5
        elif chance < 0.2:
            synced = writer.sync()
            assert synced is (writer.problem is None)
            if synced:
                assert path.read_bytes() == b"".join(lines)
        lines.append(writer.append(record))
    disk.room = None
    disk.sync_fails = False
    lines.append(writer.close(1e4, "done"))
    assert path.read_bytes() == b"".join(lines)
    assert verify(path).state == "closed"


def test_failed_fsync_writes_again_what_it_may_have_lost(path: Path, session: SessionRecord) -> None:
    """After an fsync that fails and loses its bytes, all lines since the last good one are written again."""
    disk = FakeDisk()
    with Writer.create(path, session, disk) as writer:
        lines = [writer.first, writer.append(Note(t_s=0.0, text="safe"))]
        assert writer.sync()
        lines += [writer.append(Note(t_s=1.0, text=str(index))) for index in range(9)]
        disk.sync_fails = True
        assert writer.sync() is False
        assert writer.problem is not None
        assert "Input/output error" in writer.problem
        assert "check the disk" in writer.problem
        lines.append(writer.append(Note(t_s=2.0, text="meanwhile")))
        disk.sync_fails = False
        assert writer.sync()
        assert path.read_bytes() == b"".join(lines)
        assert writer.problem is None


class FullDevice(Disk):
    """Sends writes to the system's always-full device while `full`: the kernel's own ENOSPC."""

    full = False

    def write(self, fd: int, data: bytes) -> int:
        if not self.full:
            return super().write(fd, data)
        device = os.open("/dev/full", os.O_WRONLY)
        try:
            return os.write(device, data)
        finally:
            os.close(device)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs the system's full device")
def test_full_device(path: Path, session: SessionRecord, records: Records) -> None:
    """The kernel's own "no space" is survived as the injected one is."""
    disk = FullDevice()
    writer = Writer.create(path, session, disk)
    disk.full = True
    lines = [writer.append(record) for record in records(1, 10)]
    assert writer.problem is not None
    assert os.strerror(errno.ENOSPC) in writer.problem
    disk.full = False
    lines.append(writer.close(99.0, "done"))
    assert path.read_bytes() == writer.first + b"".join(lines)


def test_close_on_a_full_disk_keeps_the_rest(path: Path, session: SessionRecord, records: Records) -> None:
    """When the disk stays full past `close`, the bytes stay at hand, and a whole copy can be saved elsewhere."""
    disk = FakeDisk()
    with Writer.create(path, session, disk) as writer:
        disk.room = 100
        lines = [writer.append(record) for record in records(1, 10)]
        lines.append(writer.close(99.0, "done", patience_s=0.2))
        assert writer.problem is not None
        assert path.read_bytes() + writer.unwritten == writer.first + b"".join(lines)
        with pytest.raises(JournalError, match="already exists"):
            writer.save_copy(path)
        copy = path.with_name("copy.jsonl")
        writer.save_copy(copy)
        assert copy.read_bytes() == writer.first + b"".join(lines)
        assert verify(copy).state == "closed"


def test_a_copy_in_the_middle_changes_nothing(path: Path, session: SessionRecord, records: Records) -> None:
    """`save_copy` gives all lines so far, and the journal goes on where it was."""
    with Writer.create(path, session) as writer:
        lines = [writer.append(record) for record in records(1, 10)]
        writer.save_copy(path.with_name("copy.jsonl"))
        assert path.with_name("copy.jsonl").read_bytes() == writer.first + b"".join(lines)
        writer.close(99.0, "done")
    assert verify(path).state == "closed"


def test_leaving_without_close_is_unclosed(path: Path, session: SessionRecord) -> None:
    """A `with` block that ends by an error leaves a synced, unclosed file and no thread."""
    disk = FakeDisk()
    with pytest.raises(KeyError), Writer.create(path, session, disk) as writer:
        writer.append(Note(t_s=1.0, text="x"))
        raise KeyError
    assert disk.calls[-1] == ("sync", path.stat().st_size)
    assert read(path).state == "unclosed"
    assert not any(thread is writer._thread for thread in threading.enumerate())
    assert isinstance(read(path).records[-1], Note)
    assert not isinstance(read(path).records[-1], EndRecord)


def test_memory_is_bounded_when_time_is_compressed(path: Path, session: SessionRecord) -> None:
    """Lines kept for a failed fsync never grow beyond a few MB, however fast they come."""
    with Writer.create(path, session) as writer:
        note = Note(t_s=1.0, text="x" * 20_000)
        for _ in range(400):
            writer.append(note)
            assert sum(map(len, writer._unsynced)) < 3_000_000


def test_a_close_in_the_moment_that_the_thread_takes_up_its_work_ends_it(
    tmp_path: Path, session: SessionRecord
) -> None:
    """Both events of the end come just before the thread clears one: it ends all the same, and so does the program."""
    writer = Writer.create(tmp_path / "a.jsonl", session)

    class Late(threading.Event):
        def clear(self) -> None:
            writer._stop.set()
            self.set()
            super().clear()

    writer._dirty = Late()
    writer.append(Note(t_s=0.1, text="one"))
    writer._thread.join(5.0)
    assert not writer._thread.is_alive()
    writer.close(0.2, "done")
