"""A journal that another program cuts, overwrites, moves or deletes while it is written; and how it is found again."""

from __future__ import annotations

import errno
import os
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from metercap.errors import JournalError
from metercap.journal import Writer, iterate, read, rescue, verify
from metercap.journal.disk import Disk
from metercap.records import Note, Record, SessionRecord

Records = Callable[[int, int], Iterator[Record]]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "gc8.jsonl"


@pytest.fixture(autouse=True)
def nowhere_else(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep what is rescued inside the test's own folder."""
    for name in ("tmp", "home"):
        (tmp_path / name).mkdir()
    monkeypatch.setattr("tempfile.gettempdir", lambda: str(tmp_path / "tmp"))
    monkeypatch.setattr(Path, "home", lambda: tmp_path / "home")


def middle(path: Path) -> None:
    os.truncate(path, path.stat().st_size // 2)


def hole(path: Path) -> None:
    """NULs in the middle, the length as it was."""
    with path.open("r+b") as file:
        file.seek(path.stat().st_size // 3)
        file.write(bytes(200))


def overwrite(path: Path) -> None:
    """Another file takes the name."""
    other = path.with_name("other")
    other.write_bytes(b"mine now\n" * 1000)
    other.replace(path)


def appended(path: Path) -> None:
    """Another program takes it for its own log."""
    with path.open("ab") as file:
        file.write(b"junk")


WAYS: dict[str, tuple[Callable[[Path], object], str]] = {
    "cut to nothing": (lambda path: os.truncate(path, 0), "was cut short"),
    "cut in the middle": (middle, "was cut short"),
    "a hole of NULs": (hole, "was changed"),
    "deleted": (lambda path: path.unlink(), "was deleted"),
    "moved away": (lambda path: path.rename(path.with_name("elsewhere")), "was moved away"),
    "another file in its place": (overwrite, "was replaced"),
    "appended to": (appended, "was written to"),
}


def noticed(writer: Writer, within_s: float = 5.0) -> str:
    """Wait until the writer says that it goes on elsewhere."""
    give_up = time.monotonic() + within_s
    while not writer.moved and time.monotonic() < give_up:
        time.sleep(0.01)
    return writer.moved


@pytest.mark.parametrize("idle", [True, False])
@pytest.mark.parametrize("way", list(WAYS))
def test_nothing_is_lost_whatever_is_done_to_it(
    path: Path, session: SessionRecord, records: Records, way: str, idle: bool
) -> None:
    """It is noticed without another line, or by the next one, and the whole journal goes on in a file beside it."""
    do, what = WAYS[way]
    with Writer.create(path, session) as writer:
        lines = [writer.append(record) for record in records(1, 30)]
        assert writer.sync()
        time.sleep(0.02)  # beyond the tick of the file system's clock
        do(path)
        left = path.read_bytes() if path.exists() else None
        if not idle:
            lines.append(writer.append(Note(t_s=50.0, text="after it")))
        assert f"{path} {what} by another program" in noticed(writer)
        lines.append(writer.append(Note(t_s=51.0, text="later")))
        assert writer.sync()
        assert writer.problem is None
        end = writer.close(60.0, "done")
    assert writer.path.parent == path.parent
    assert str(writer.path) in writer.moved
    assert writer.path.read_bytes() == writer.first + b"".join(lines) + end
    assert verify(writer.path).state == "closed"
    # What the other program made of the first file is its own affair; a line may have gone into it before it was seen.
    assert left is None or path.read_bytes().startswith(left[:200])


def test_it_is_noticed_within_a_second(path: Path, session: SessionRecord) -> None:
    """Without another line: the best of three, since a busy machine may delay one."""
    took = []
    for n in range(3):
        name = path.with_name(f"{n}.jsonl")
        with Writer.create(name, session) as writer:
            writer.append(Note(t_s=1.0, text="x"))
            writer.sync()
            begun = time.monotonic()
            name.unlink()
            assert noticed(writer)
            took.append(time.monotonic() - begun)
    assert min(took) <= 1.0


def test_a_change_in_the_tick_of_the_last_line_is_found_at_the_end(path: Path, session: SessionRecord) -> None:
    """Where the file's time does not show it, every byte is read back before the journal is called closed."""

    class NoTimes(Disk):
        def state(self, fd: int) -> tuple[int, int]:
            return super().state(fd)[0], 7

    with Writer.create(path, session, NoTimes()) as writer:
        for index in range(20):
            writer.append(Note(t_s=float(index), text="x"))
        hole(path)
        writer.append(Note(t_s=30.0, text="y"))
        writer.close(31.0, "done")
    assert "was changed" in writer.moved
    assert verify(writer.path).state == "closed"


def test_it_happens_twice(path: Path, session: SessionRecord) -> None:
    """The second file is watched as well; the third has another name."""
    with Writer.create(path, session) as writer:
        for n in range(2):
            writer.append(Note(t_s=float(n), text="x"))
            writer.sync()
            was = writer.path
            os.truncate(was, 0)
            writer.append(Note(t_s=n + 0.5, text="y"))
            give_up = time.monotonic() + 5
            while writer.path == was and time.monotonic() < give_up:
                time.sleep(0.01)
        writer.close(9.0, "done")
    assert len({path, was, writer.path}) == 3
    assert verify(writer.path).state == "closed"
    assert read(path).session is not None, "found by its first name"


def test_own_changes_are_no_others(path: Path, session: SessionRecord, records: Records) -> None:
    """Copies, other readers and long pauses raise no alarm; nothing but the journal stands in the folder."""
    with Writer.create(path, session) as writer:
        for record in records(1, 40):
            writer.append(record)
            verify(path)
        writer.sync()
        time.sleep(1.2)
        writer.save_copy(path.with_name("copy.jsonl"))
        os.utime(path)  # another time alone changes no byte
        time.sleep(1.2)
        writer.append(Note(t_s=99.0, text="x"))
        writer.close(99.0, "done")
    assert writer.moved == ""
    assert {each.name for each in path.parent.iterdir() if each.is_file()} == {"gc8.jsonl", "copy.jsonl"}


def test_without_a_second_copy_it_is_said_and_tried_again(
    path: Path, session: SessionRecord, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No room for the second copy: what is done to the file stays a problem, and what still stands can be saved."""

    def refused(**_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("tempfile.TemporaryFile", refused)
    with Writer.create(path, session) as writer:
        lines = [writer.append(Note(t_s=1.0, text="x"))]
        writer.sync()
        path.unlink()
        lines.append(writer.append(Note(t_s=2.0, text="y")))
        give_up = time.monotonic() + 5
        while writer.problem is None and time.monotonic() < give_up:
            time.sleep(0.01)
        assert writer.problem is not None
        end = writer.close(3.0, "done", patience_s=0.0)
        copy = path.with_name("copy.jsonl")
        writer.save_copy(copy)
    assert copy.read_bytes() == writer.first + b"".join(lines) + end


def saved(path: Path, session: SessionRecord, *, folder: Path) -> Path:
    """Write a journal whose file is left torn, and its whole copy to where a rescue saves it; return the copy."""
    with Writer.create(path, session) as writer:
        writer.append(Note(t_s=1.0, text="x"))
        copy = next(rescue.names(path, folder))
        writer.close(2.0, "done")
        writer.save_copy(copy) if writer._fd >= 0 else copy.write_bytes(path.read_bytes())
    os.truncate(path, path.stat().st_size - 60)
    return copy


@pytest.mark.parametrize("folder", ["", "tmp", "home"])
def test_a_rescued_journal_is_found_by_its_first_name(path: Path, session: SessionRecord, folder: str) -> None:
    """Reading, verifying and repairing the first name takes the rescued file; a whole first file is taken itself."""
    copy = saved(path, session, folder=path.parent / folder)
    assert verify(path).state == "closed"
    assert verify(path).path == str(copy)
    assert [type(record).__name__ for record in iterate(path)] == ["SessionRecord", "Note", "EndRecord"]
    path.write_bytes(copy.read_bytes())
    assert verify(path).path == str(path)
    path.unlink()
    assert read(path).state == "closed"


def test_another_session_is_never_taken_for_it(
    path: Path, session: SessionRecord, new_session: Callable[..., SessionRecord]
) -> None:
    """A rescued file of an earlier session of that name, or of another user, is not the one asked for."""
    copy = saved(path, session, folder=path.parent)
    path.unlink()
    with Writer.create(path, new_session(id="another")) as writer:
        writer.append(Note(t_s=1.0, text="x"))
    assert read(path).state == "unclosed"
    path.unlink()
    copy.unlink()
    with pytest.raises(JournalError, match="cannot be read"):
        read(path)
