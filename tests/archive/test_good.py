"""A reference from files: each read once, named by its hash, one in memory at a time."""

from __future__ import annotations

import hashlib
import shutil
import tracemalloc
from pathlib import Path
from typing import Any

import pytest

from metercap.archive import good, remember
from metercap.archive.good import learn_from
from metercap.errors import FileProblem, JournalError, UsageError
from metercap.journal import rescue
from metercap.records import InJob
from metercap.reference import learning
from metercap.reference.file import encode, signed_off
from metercap.reference.model import Reference
from tests.archive.shop import Shop

PAIR = InJob("vent pair", 1, ("A", "B"))
JOB = (
    'title = "vent pair"\nplan = "plan.toml"\n'
    '[[unit]]\ntag = "A"\nname = "one"\nknown_good = true\n[[unit]]\ntag = "B"\nname = "two"\n'
)


def shop(folder: Path, n: int = 5, **more: Any) -> list[Path]:
    """Write journals of good units."""
    maker = Shop(**more)
    return [maker.session(folder / f"{each}.jsonl", each, known_good=True) for each in range(n)]


def learn(*paths: Path, place: Path | None = None, said: list[str] | None = None) -> tuple[Reference, int]:
    """Return what some files make together, and how many of them were read for it."""
    reads = [0]
    heard: list[str] = [] if said is None else said

    def progress(number: int, read: int) -> None:
        reads.append(read)

    return learn_from(paths, place, heard.append, progress, program="test"), reads[-1]


@pytest.fixture
def old(monkeypatch: pytest.MonkeyPatch) -> None:
    """Files that were just written are trusted by their time, as if they were old."""
    monkeypatch.setattr(remember, "_FRESH_S", -1.0)


def sha256(path: Path) -> str:
    """Return the hash of a file's bytes (FIPS 180-4), by the standard library."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.usefixtures("old")
def test_a_second_run_reads_what_changed(tmp_path: Path) -> None:
    """Nothing the second time; a new file only, then; and the answer is that of reading everything."""
    place, paths = tmp_path / "kept", shop(tmp_path, 5)
    first, read = learn(*paths[:4], place=place)
    assert (read, first.n) == (4, 4)
    again, read = learn(*paths[:4], place=place)
    assert (read, again) == (0, first)
    more, read = learn(*paths, place=place)
    assert (read, more) == (1, learn(*paths)[0])
    Shop(seed=9).session(paths[1], 1, known_good=True)
    changed, read = learn(*paths, place=place)
    assert (read, changed) == (1, learn(*paths)[0])
    assert changed != more


def test_sources_are_named_by_their_hash(tmp_path: Path) -> None:
    """Each journal by its name without its folder, and the SHA-256 of its bytes; through an earlier reference too."""
    paths = shop(tmp_path, 3)
    first = signed_off(learn(*paths[:2])[0], "Ilse", "2026-03-01T09:00:00.000Z")
    (tmp_path / "good.json").write_bytes(encode(first))
    found, _ = learn(tmp_path / "good.json", paths[2])
    assert [(one.file, one.sha256, one.signed) for one in found.sources] == [
        ("0.jsonl", sha256(paths[0]), ""),
        ("1.jsonl", sha256(paths[1]), ""),
        ("good.json", sha256(tmp_path / "good.json"), "Ilse, 2026-03-01T09:00:00.000Z"),
        ("2.jsonl", sha256(paths[2]), ""),
    ]
    assert found.signed is None, "nobody signed what was added"
    assert found.n == 3


@pytest.mark.usefixtures("old")
def test_a_job_gives_its_good_unit_over_all_its_sittings(tmp_path: Path) -> None:
    """Two journals of A are one unit and two sources; a third one makes it new, B is not good and not taken."""
    folder, place, maker = tmp_path / "vent", tmp_path / "kept", Shop()
    folder.mkdir()
    (folder / "job.toml").write_text(JOB)
    first = maker.session(folder / "001-A.jsonl", 1, unit="one", known_good=True, job=PAIR)
    maker.session(folder / "002-B.jsonl", 2, unit="two", job=PAIR)
    last = maker.session(folder / "003-A.jsonl", 3, unit="one", known_good=True, job=PAIR)
    found, read = learn(folder, place=place)
    assert ([one.name for one in found.units], read) == (["one"], 1)
    assert [(one.file, one.sha256) for one in found.sources] == [
        ("vent/001-A.jsonl", sha256(first)),
        ("vent/003-A.jsonl", sha256(last)),
    ]
    assert learn(folder / "job.toml", place=place) == (found, 0)
    again = maker.session(folder / "004-A.jsonl", 4, unit="one", known_good=True, job=PAIR)
    newer, read = learn(folder, place=place)
    assert (read, newer.sources[-1].sha256) == (1, sha256(again))
    assert newer.items != found.items
    alone, _ = learn(first, place=place)
    assert [one.file for one in alone.sources] == ["001-A.jsonl"]


@pytest.mark.usefixtures("old")
def test_a_journal_of_a_job_and_by_itself(tmp_path: Path) -> None:
    """Torn: in its job what stands before the end is taken, and it is named in the job; by itself by its own path."""
    folder, place = tmp_path / "vent", tmp_path / "kept"
    folder.mkdir()
    (folder / "job.toml").write_text(JOB)
    path = Shop().session(folder / "001-A.jsonl", 1, unit="one", known_good=True, job=PAIR)
    path.write_bytes(path.read_bytes()[:-30])
    for _ in range(2):
        of_job, alone = list[str](), list[str]()
        learn(folder, place=place, said=of_job)
        learn(path, place=place, said=alone)
        assert of_job[0].startswith("001-A.jsonl: ")
        assert alone[0].startswith(f"{path}: ")


def test_a_rescued_journal_is_the_source(tmp_path: Path) -> None:
    """Of a session that went on in another file the hash is that file's, as the values are."""
    (whole,) = shop(tmp_path / "made", 1)
    first = tmp_path / "a.jsonl"
    first.write_bytes(b"".join(whole.read_bytes().splitlines(keepends=True)[:3]))
    rescued = next(rescue.names(first, tmp_path))
    shutil.copy(whole, rescued)
    found, _ = learn(first)
    assert [(one.file, one.sha256) for one in found.sources] == [(rescued.name, sha256(rescued))]
    assert len(found.items) == 13


@pytest.mark.usefixtures("old")
def test_what_is_to_be_said_is_said_each_time(tmp_path: Path) -> None:
    """A torn journal's loss, read now or remembered."""
    (path,) = shop(tmp_path, 1)
    path.write_bytes(path.read_bytes()[:-200])
    for _ in range(2):
        said: list[str] = []
        found, _ = learn(path, place=tmp_path / "kept", said=said)
        assert found.n == 1
        assert len(said) == 1
        assert str(path) in said[0]


def test_units_no_longer_named_may_be_twice(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a reference of so many that it names none: how many, since nobody can say whether the next is one of them."""
    monkeypatch.setattr(learning, "MOST_NAMED", 3)
    paths = shop(tmp_path, 6)
    (tmp_path / "good.json").write_bytes(encode(learn(*paths[:5])[0]))
    said: list[str] = []
    assert learn(tmp_path / "good.json", paths[5], said=said)[0].n == 6
    (text,) = said
    assert text == f"{tmp_path / 'good.json'}: 4 of its units are no longer named: one of them may be there twice"


def test_what_cannot_be_used_is_refused(tmp_path: Path) -> None:
    """Not there; no journal; damaged in the middle; one unit twice, as a copy in another folder."""
    paths = shop(tmp_path, 2)
    (tmp_path / "note.txt").write_text("F7 is blown\n")
    shutil.copy(paths[0], tmp_path / "copy.jsonl")
    damaged = tmp_path / "damaged.jsonl"
    damaged.write_bytes(paths[1].read_bytes().replace(b'"K3"', b'"K9"'))
    place = tmp_path / "kept"
    for path, error, words in (
        (tmp_path / "nowhere", FileProblem, "No such file"),
        (tmp_path / "note.txt", FileProblem, "neither a journal nor a reference"),
        (damaged, JournalError, "checksum"),
        (tmp_path / "copy.jsonl", UsageError, "controller 0 is there twice"),
    ):
        for _ in range(2):
            with pytest.raises(error, match=words):
                learn(paths[0], path, place=place)


def test_a_file_that_is_written_meanwhile_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its hash would be that of other bytes than its values are from."""
    (path,) = shop(tmp_path, 1)
    read = good._read_now

    def slow(closed: Any) -> Any:
        found = read(closed)
        with path.open("ab") as file:
            file.write(b"more\n")
        return found

    monkeypatch.setattr(good, "_read_now", slow)
    with pytest.raises(FileProblem, match="changed while it was read"):
        learn(path, place=tmp_path / "kept")


@pytest.mark.usefixtures("old")
def test_a_damaged_store_is_made_anew(tmp_path: Path) -> None:
    """The answer is that of the files, said once; a store of which nothing can be made is done without."""
    place, paths = tmp_path / "kept", shop(tmp_path, 4)
    right, _ = learn(*paths, place=place)
    place.write_bytes(b"no store at all" * 1000)
    said: list[str] = []
    assert learn(*paths, place=place, said=said) == (right, 4)
    assert [text.split(" (")[0] for text in said] == ["what was read before is damaged"]
    assert learn(*paths, place=place) == (right, 0)
    (tmp_path / "in the way").write_text("a file")
    said.clear()
    assert learn(*paths, place=tmp_path / "in the way" / "kept", said=said) == (right, 4)
    assert ["not remembered" in text for text in said] == [True]


def test_a_damaged_store_that_cannot_be_removed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In a folder that is not ours to write in: everything is read, and said to be."""
    from metercap.archive import store

    place, paths = tmp_path / "kept", shop(tmp_path, 2)
    place.write_bytes(b"no store at all" * 1000)
    monkeypatch.setattr(store, "discard", lambda place: None)
    said: list[str] = []
    assert learn(*paths, place=place, said=said)[0].n == 2
    assert ["not remembered" in text for text in said] == [False, True]


def test_memory_does_not_grow_with_their_number(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Four times as many sessions take no more memory than some: each would take about 100 KB if it stayed."""
    monkeypatch.setattr(learning, "MOST_NAMED", 10)
    paths = shop(tmp_path, 80)
    learn(paths[0])
    peaks = []
    for n in (20, 80):
        tracemalloc.start()
        learn(*paths[:n])
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] - peaks[0] < 500_000
