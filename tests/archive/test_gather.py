"""Journals by the thousand: each session counted once, each file read once, and what is wrong with some said."""

from __future__ import annotations

import datetime
import os
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from metercap.archive import remember
from metercap.archive.gather import Told, gathered
from metercap.errors import FileProblem
from metercap.history import History, Place
from metercap.journal import rescue
from metercap.records import InJob
from tests.archive.shop import START, Shop

K1 = Place("GC-8", "coils", "K1", "ohm")
NOW = START + datetime.timedelta(days=200)
PAIR = InJob("vent pair", 1, ("A", "B"))
JOB = 'title = "vent pair"\nplan = "plan.toml"\n[[unit]]\ntag = "A"\n[[unit]]\ntag = "B"\n'


def tell(*arguments: Path, place: Path | None = None, said: list[str] | None = None) -> tuple[History, Told]:
    """Return the history of some arguments."""
    heard: list[str] = [] if said is None else said
    return gathered([str(each) for each in arguments], place, heard.append, lambda files, read: None, NOW)


@pytest.fixture
def old(monkeypatch: pytest.MonkeyPatch) -> None:
    """Files that were just written are trusted by their time, as if they were old."""
    monkeypatch.setattr(remember, "_FRESH_S", -1.0)


def shop(folder: Path, n: int = 5, **more: Any) -> list[Path]:
    """Write some journals."""
    maker = Shop(**more)
    return [maker.session(folder / f"{each}.jsonl", each) for each in range(n)]


def test_folders_jobs_and_journals_are_found(tmp_path: Path) -> None:
    """At any depth; hidden ones, links to folders and other files are passed over."""
    paths = shop(tmp_path / "north" / "deep" / "deeper", 3)
    (tmp_path / "north" / ".hidden").mkdir()
    shutil.copy(paths[0], tmp_path / "north" / ".hidden" / "x.jsonl")
    (tmp_path / "north" / "note.txt").write_text("no journal")
    (tmp_path / "north" / "again").symlink_to(tmp_path / "north" / "deep")
    named = Shop(seed=2).session(tmp_path / "one.log", 99)
    history, told = tell(tmp_path / "north", named)
    assert (history.sessions, told.files, told.copies.n) == (4, 4, 0)
    assert history.benches == {str(tmp_path / "north"): 3, str(named): 1}
    assert history.cells[K1].all.n == 4


def test_values_are_those_of_the_journals(tmp_path: Path) -> None:
    """What stands in the files, read by a JSON reader of the standard library."""
    import json
    import statistics

    values = []
    for path in shop(tmp_path, 20):
        lines = map(json.loads, path.read_text().splitlines())
        values += [each["value"] for each in lines if each["kind"] == "verdict" and each["item"] == "K1"]
    history, _ = tell(tmp_path)
    assert history.cells[K1].all.n == 20
    assert history.cells[K1].all.median() == pytest.approx(statistics.median(values), abs=1e-9)


def test_a_copied_job_counts_once(tmp_path: Path) -> None:
    """A folder twice, once as it was earlier: each session once, as far as it goes."""
    paths = shop(tmp_path / "job", 3)
    shutil.copytree(tmp_path / "job", tmp_path / "copy")
    cut = (tmp_path / "copy" / "0.jsonl").read_bytes().splitlines(keepends=True)
    (tmp_path / "copy" / "0.jsonl").write_bytes(b"".join(cut[:3]))
    history, told = tell(tmp_path)
    assert (history.sessions, told.copies.n, told.unfinished) == (3, 3, 0)
    assert "the session of" in told.copies.named[0]
    assert history.cells[K1].all.n == 3
    once, _ = tell(*paths)
    assert once.cells[K1].all.counts == history.cells[K1].all.counts


def test_copies_on_two_benches_are_told_apart(tmp_path: Path) -> None:
    """Each by the folder it was found under, since their names below it are the same."""
    shop(tmp_path / "north", 1)
    shutil.copytree(tmp_path / "north", tmp_path / "south")
    _, told = tell(tmp_path / "north", tmp_path / "south")
    north, south = tmp_path / "north" / "0.jsonl", tmp_path / "south" / "0.jsonl"
    assert told.copies.named == [f"{south}: the session of {north}"]
    _, told = tell(tmp_path / "north", south)
    assert told.copies.named == [f"{south}: the session of {north}"]


def test_a_rescued_journal_stands_for_its_first_name(tmp_path: Path) -> None:
    """A session that went on in another file, its disk being full: what is counted is the whole of it, once."""
    (whole,) = shop(tmp_path / "made", 1)
    first = tmp_path / "shop" / "a.jsonl"
    first.parent.mkdir()
    first.write_bytes(b"".join(whole.read_bytes().splitlines(keepends=True)[:3]))
    shutil.copy(whole, next(rescue.names(first, first.parent)))
    for argument in (first, first.parent):
        history, told = tell(argument)
        assert (history.sessions, told.unfinished) == (1, 0)
        assert history.cells[K1].all.n == 1


@pytest.mark.usefixtures("old")
def test_a_rescued_journal_that_went_on_is_read_again(tmp_path: Path) -> None:
    """The first file stays as it is; the other one is looked at each time, and remembered by itself."""
    (whole,) = shop(tmp_path / "made", 1)
    lines = whole.read_bytes().splitlines(keepends=True)
    first, place = tmp_path / "a.jsonl", tmp_path / "kept"
    first.write_bytes(b"".join(lines[:3]))
    rescued = next(rescue.names(first, tmp_path))
    rescued.write_bytes(b"".join(lines[:6]))
    _, told = tell(first, place=place)
    assert (told.unfinished, tell(first, place=place)[1].read) == (1, 0)
    shutil.copy(whole, rescued)
    history, told = tell(first, place=place)
    assert (told.unfinished, told.read, history.cells[K1].all.n) == (0, 1, 1)
    assert tell(first, place=place)[1].read == 0


def test_the_same_folder_twice_is_no_copy(tmp_path: Path) -> None:
    """Arguments that overlap name the same files."""
    shop(tmp_path / "job", 3)
    history, told = tell(tmp_path, tmp_path / "job")
    assert (history.sessions, told.copies.n) == (3, 0)


def test_damage_is_told_and_what_stands_before_it_counts(tmp_path: Path) -> None:
    """A changed byte, a torn line, another's file, an empty one: each said by name, the rest counted."""
    changed, torn, *_ = shop(tmp_path, 4)
    data = changed.read_bytes()
    at = data.rindex(b'"K3"')
    changed.write_bytes(data[:at] + b'"K9"' + data[at + 4 :])
    torn.write_bytes(torn.read_bytes()[:-200])
    (tmp_path / "other.jsonl").write_text('{"event": "of another program"}\n')
    (tmp_path / "empty.jsonl").write_text("")
    history, told = tell(tmp_path)
    assert (history.sessions, told.foreign, told.damaged.n, told.unfinished) == (4, 2, 2, 2)
    assert any("checksum" in text and "0.jsonl" in text for text in told.damaged.named)
    assert history.cells[K1].all.n == 4
    assert history.cells[Place("GC-8", "coils", "K3", "ohm")].all.n == 3


def test_a_session_that_was_not_ended_counts(tmp_path: Path) -> None:
    """What an unfinished job decided is counted, and said."""
    Shop().session(tmp_path / "a.jsonl", 1, end=False)
    history, told = tell(tmp_path)
    assert (history.sessions, told.unfinished, told.damaged.n) == (1, 1, 0)


def test_clocks_that_cannot_be_right(tmp_path: Path) -> None:
    """Before 2020, in the future, or before the journal before it in the job: values count, the day does not."""
    maker, job = Shop(), tmp_path / "vent"
    job.mkdir()
    (job / "job.toml").write_text(JOB)
    maker.session(tmp_path / "lost.jsonl", 1, start=START.replace(year=1970))
    maker.session(tmp_path / "ahead.jsonl", 2, start=NOW + datetime.timedelta(days=400))
    for number, day in ((1, 10), (2, 12), (3, 11), (4, 11), (5, 13)):
        maker.session(job / f"{number:03d}-A.jsonl", 10 + number, start=START + datetime.timedelta(days=day), job=PAIR)
    history, told = tell(tmp_path)
    assert (history.sessions, told.undated.n) == (7, 4)
    assert history.cells[K1].all.n == 7
    assert sorted(history.cells[K1].dates.parts) == ["2026-03-12", "2026-03-14", "2026-03-15"]
    for name in ("003-A.jsonl", "004-A.jsonl"):
        assert any(name in text and "before" in text for text in told.undated.named)
    assert (history.first, history.last) == ("2026-03-12", "2026-03-15")


def test_what_is_not_there(tmp_path: Path) -> None:
    """An argument that is nothing, or named by itself and no journal, is an error; an empty folder is none."""
    (tmp_path / "x.jsonl").write_text("nothing\n")
    with pytest.raises(FileProblem, match="no journal"):
        tell(tmp_path / "x.jsonl")
    with pytest.raises(FileProblem, match="there is no such"):
        tell(tmp_path / "nowhere")
    (tmp_path / "empty").mkdir()
    assert tell(tmp_path / "empty")[0].sessions == 0


@pytest.mark.usefixtures("old")
def test_a_second_run_reads_what_changed(tmp_path: Path) -> None:
    """Nothing the second time; a new, a changed, a longer journal is read, one that was only touched is not."""
    place, folder = tmp_path / "cache" / "kept", tmp_path / "shop"
    paths = shop(folder, 6)
    first, told = tell(folder, place=place)
    assert told.read == 6
    again, told = tell(folder, place=place)
    assert told.read == 0
    assert again == first
    os.utime(paths[0], (1, 1))
    Shop(seed=9).session(paths[1], 1, wild=["K1"])
    Shop(seed=9).session(folder / "new.jsonl", 77)
    third, told = tell(folder, place=place)
    assert told.read == 2
    assert third.sessions == 7
    assert third == tell(folder)[0]
    (folder / "new.jsonl").unlink()
    assert tell(folder, place=place)[0].sessions == 6


def test_a_file_changed_within_one_tick_is_read_again(tmp_path: Path) -> None:
    """Same size and time, other bytes, just written: only the bytes tell."""
    place, folder = tmp_path / "kept", tmp_path / "shop"
    (path,) = shop(folder, 1)
    before, _ = tell(folder, place=place)
    status = path.stat()
    data = path.read_bytes()
    Shop().session(path, 0, session_id="other session 00")
    assert len(path.read_bytes()) == len(data)
    os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))
    after, told = tell(folder, place=place)
    assert told.read == 1
    assert after == before, "the same values, by another session"


def _garbage(place: Path) -> None:
    place.write_bytes(b"no store at all" * 1000)


def _torn(place: Path) -> None:
    place.write_bytes(place.read_bytes()[: place.stat().st_size // 2])


def _spoilt(place: Path) -> None:
    data = bytearray(place.read_bytes())
    data[4096 * 2 :] = bytes(len(data) - 4096 * 2)
    place.write_bytes(data)


def _by(statement: str) -> Callable[[Path], None]:
    """Return what spoils a store by a statement of SQL."""

    def spoil(place: Path) -> None:
        with sqlite3.connect(place) as base:
            base.execute(statement)
        base.close()

    return spoil


_forged = _by("update kept set data = (select data from kept order by key desc limit 1)")
_other_layout = _by("pragma user_version = 99")
_rubbish_rows = _by("update kept set data = 'text', sha256 = x'00'")
_no_table = _by("drop table kept")


@pytest.mark.usefixtures("old")
@pytest.mark.parametrize("spoil", [_no_table, _garbage, _torn, _spoilt, _forged, _other_layout, _rubbish_rows])
def test_a_damaged_store_is_made_anew(tmp_path: Path, spoil: Callable[[Path], None]) -> None:
    """Whatever became of it, the answer is that of the journals, and the run after is quick again."""
    place, folder = tmp_path / "kept", tmp_path / "shop"
    shop(folder, 60)
    right, _ = tell(folder, place=place)
    assert [each.name for each in tmp_path.iterdir() if each.name.startswith("kept")] == ["kept"]
    spoil(place)
    assert tell(folder, place=place)[0] == right
    again, told = tell(folder, place=place)
    assert again == right
    assert told.read == 0


def test_a_place_that_cannot_be(tmp_path: Path) -> None:
    """Where nothing can be kept everything is read, and that is said."""
    folder = tmp_path / "shop"
    shop(folder, 3)
    (tmp_path / "file").write_text("in the way")
    said: list[str] = []
    history, told = tell(folder, place=tmp_path / "file" / "kept", said=said)
    assert (history.sessions, told.read) == (3, 3)
    assert "not remembered" in said[0]


def test_a_store_that_another_program_holds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """While another program writes to it nothing is kept, and the answer is the same."""
    from metercap.archive import store

    monkeypatch.setattr(store, "_WAIT_S", 0.05)
    place, folder = tmp_path / "kept", tmp_path / "shop"
    shop(folder, 3)
    tell(folder, place=place)
    shop(folder, 5)
    other = sqlite3.connect(place, isolation_level=None)
    other.execute("begin immediate")
    history, told = tell(folder, place=place)
    other.execute("rollback")
    other.close()
    assert (history.sessions, told.read) == (5, 2)


def test_stopped_in_the_middle_it_goes_on_there(tmp_path: Path) -> None:
    """What was read before Ctrl-C is remembered."""
    place, folder = tmp_path / "kept", tmp_path / "shop"
    shop(folder, 8)

    def stop(files: int, read: int) -> None:
        if read == 5:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        gathered([str(folder)], place, print, stop, NOW)
    assert tell(folder, place=place)[1].read == 3


def test_a_name_that_is_no_utf8(tmp_path: Path) -> None:
    """Bytes of any kind in a file's name are kept apart and can be told."""
    folder = tmp_path / os.fsdecode(b"shop \xff")
    shop(folder, 2)
    history, _ = tell(folder, place=tmp_path / "kept")
    assert history.sessions == 2
    next(iter(history.benches)).encode()
