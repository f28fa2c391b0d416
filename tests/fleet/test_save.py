"""Jobs into a data set: each in once, only what changed is written, whatever stops it leaves nothing wrong."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path
from typing import Any

import pytest

from metercap.errors import FileProblem
from metercap.fleet import save
from metercap.fleet.job import read_job
from metercap.fleet.part import writing
from tests.archive.shop import Shop, job
from tests.fleet.conftest import export, of_folder, of_set, parts


def stamps(dataset: Path) -> dict[str, tuple[int, int]]:
    """Return by which file each part stands: a part written again is another one."""
    return {path.name: (path.stat().st_ino, path.stat().st_mtime_ns) for path in parts(dataset)}


def test_one_part_a_job(jobs: Path, tmp_path: Path) -> None:
    """By model and the month of the first session (UTC); nothing else is there."""
    saved = export(jobs, tmp_path / "set")
    assert (saved.jobs, saved.written, saved.same) == (6, 6, 0)
    found = parts(tmp_path / "set")
    assert {path.parent.relative_to(tmp_path / "set").as_posix() for path in found} == {"for_model=GC-8/month=2026-03"}
    assert len(found) == 6
    assert {path.suffix for path in found} == {".parquet"}


def test_the_folder_and_the_set_say_the_same(jobs: Path, tmp_path: Path) -> None:
    """To the last digit: every place with its values by meter, bench and date, trends, outliers, and the meters."""
    export(jobs, tmp_path / "set")
    found, told = of_set(tmp_path / "set")
    assert found == of_folder(jobs)
    assert (found.sessions, told.parts, told.unusable.n) == (18, 6, 0)


def test_rows_are_the_journals_verdicts(jobs: Path, tmp_path: Path) -> None:
    """Each verdict line of the files, as a JSON reader has it, with step, item, unit, and the time in UTC."""
    pd = pytest.importorskip("pandas")
    export(jobs / "job-3", tmp_path / "set")
    rows = pd.read_parquet(tmp_path / "set")
    lines = [
        json.loads(line)
        for path in sorted((jobs / "job-3").glob("*.jsonl"))
        for line in path.read_text("utf-8").splitlines()
    ]
    verdicts = [line for line in lines if line["kind"] == "verdict"]
    given = rows[rows.verdict != ""]
    assert sorted(zip(given.step, given.item, given.value, given.unit, strict=True)) == sorted(
        (line["step"], line["item"], line["value"], line["unit"]) for line in verdicts
    )
    found = rows[rows.aspect == "as found"]
    assert sorted(found.measured) == sorted(line["value"] for line in lines if line["kind"] == "found")
    assert not found.stands.any()
    starts = {line["id"]: pd.Timestamp(line["start_utc"]) for line in lines if line["kind"] == "session"}
    for row in rows.itertuples():
        assert row.time == starts[row.session] + pd.Timedelta(seconds=row.t_s)
    # A is measured twice, B once: what a later sitting measured again stands no more.
    assert given[given.item == "K1"].groupby("tag").stands.agg(["count", "sum"]).to_dict() == {
        "count": {"A": 2, "B": 1},
        "sum": {"A": 1, "B": 1},
    }
    texts = rows.select_dtypes(exclude=["number", "bool", "datetimetz"])
    assert len(texts.columns) > 15
    assert not texts.isna().any().any()  # what a record does not have is empty in text
    assert set(rows.job) == {"job 3"}
    assert set(rows.day) == {"2026-03-05"}


def test_what_is_in_is_not_written_again(jobs: Path, tmp_path: Path) -> None:
    """The same files stand; only a job with one more journal has its part anew."""
    export(jobs, tmp_path / "set")
    before = stamps(tmp_path / "set")
    saved = export(jobs, tmp_path / "set")
    assert (saved.written, saved.same) == (0, 6)
    assert stamps(tmp_path / "set") == before
    Shop(seed=5).session(jobs / "job-2" / "004-B.jsonl", 29)
    saved = export(jobs, tmp_path / "set")
    assert (saved.written, saved.same) == (1, 5)
    after = stamps(tmp_path / "set")
    assert len([name for name in before if after[name] != before[name]]) == 1
    assert list(after) == list(before)
    assert of_set(tmp_path / "set")[0] == of_folder(jobs)


def test_a_journal_of_the_same_size_is_told_apart_by_its_bytes(tmp_path: Path) -> None:
    """Size and time of change are as they were: the hash is not."""
    job(tmp_path / "jobs" / "one", Shop(seed=1), 1)
    export(tmp_path / "jobs", tmp_path / "set")
    path = tmp_path / "jobs" / "one" / "001-A.jsonl"
    old = path.stat()
    data = path.read_bytes()
    path.write_bytes(data[:-10] + b"#" + data[-9:])
    os.utime(path, ns=(old.st_atime_ns, old.st_mtime_ns))
    assert export(tmp_path / "jobs", tmp_path / "set").written == 1


def test_a_bench_by_name(jobs: Path, tmp_path: Path) -> None:
    """Each argument is a bench, as in a history; a name that is said goes first; another one is written anew."""
    export([jobs / "job-1", jobs / "job-2"], tmp_path / "set")
    assert of_set(tmp_path / "set")[0].benches == {str(jobs / "job-1"): 3, str(jobs / "job-2"): 3}
    assert export([jobs / "job-1", jobs / "job-2"], tmp_path / "set", "north").written == 2
    assert of_set(tmp_path / "set")[0].benches == {"north": 6}


@pytest.mark.parametrize("copy_first", [True, False])
def test_of_copies_the_one_that_goes_farther_is_in(jobs: Path, tmp_path: Path, copy_first: bool) -> None:
    """A backup from before the last sitting: told, whichever comes first, and again the next time."""
    shutil.copytree(jobs / "job-0", tmp_path / "backup")
    (tmp_path / "backup" / "003-A.jsonl").unlink()
    both = [tmp_path / "backup", jobs / "job-0"]
    for again in (False, True):
        saved = export(both if copy_first else both[::-1], tmp_path / "set", "here")
        assert saved.copies.n == (0 if copy_first and not again else 1)
        found, _ = of_set(tmp_path / "set")
        assert found.sessions == 3
        assert len(parts(tmp_path / "set")) == 1


def test_a_job_that_moved_is_the_same_job(jobs: Path, tmp_path: Path) -> None:
    """No second part; and what is added there replaces the part."""
    export(jobs, tmp_path / "set", "north")
    jobs.rename(tmp_path / "moved")
    saved = export(tmp_path / "moved", tmp_path / "set", "north")
    assert (saved.same, saved.written) == (6, 0)
    Shop(seed=5).session(tmp_path / "moved" / "job-2" / "004-B.jsonl", 29)
    assert export(tmp_path / "moved", tmp_path / "set", "north").written == 1
    assert len(parts(tmp_path / "set")) == 6


def test_what_is_no_job_is_told(jobs: Path, tmp_path: Path) -> None:
    """Loose journals, a job without any, one whose file cannot be read, one of which no journal can."""
    Shop(seed=9).session(jobs / "loose.jsonl", 99)
    job(jobs / "empty", Shop(), 8, 0)
    job(jobs / "spoilt", Shop(), 9)
    (jobs / "spoilt" / "job.toml").write_text("title = ")
    job(jobs / "noise", Shop(), 7, 1)
    (jobs / "noise" / "001-A.jsonl").write_bytes(os.urandom(500))
    saved = export(jobs, tmp_path / "set")
    assert (saved.written, saved.loose) == (6, 1)
    assert [text.partition(": ")[0] for text in saved.left_out.named] == [str(jobs / "noise"), str(jobs / "spoilt")]


def test_damaged_and_torn_journals_are_in_as_far_as_they_go(jobs: Path, tmp_path: Path, shop: Shop) -> None:
    """Told each time they are written; the set says what the journals say, and tells it too."""
    damaged, torn = jobs / "job-1" / "002-B.jsonl", jobs / "job-4" / "003-A.jsonl"
    lines = damaged.read_bytes().splitlines(keepends=True)
    lines[9] = lines[9].replace(b"coils", b"c0ils")
    damaged.write_bytes(b"".join(lines))
    torn.write_bytes(torn.read_bytes()[:-300])
    saved = export(jobs, tmp_path / "set")
    assert saved.damaged.n == 2
    assert "job-1/002-B.jsonl" in saved.damaged.named[0]
    found, told = of_set(tmp_path / "set")
    assert found == of_folder(jobs)
    assert (told.damaged.n, told.unfinished) == (2, 2)
    n = {(place.item, place.aspect): place.n for place in found.places}
    assert (n["F1", ""], n["K8", ""], n["RV1", "as left"]) == (18, 17, 16)


def test_clocks_that_cannot_be_right(tmp_path: Path, shop: Shop) -> None:
    """A session of 1970, and one that begins before the one before it: in, without a day."""
    import datetime

    folder = job(tmp_path / "jobs" / "one", shop, 1, 3)
    shop.session(folder / "004-B.jsonl", 14, start=datetime.datetime(1970, 1, 1, tzinfo=datetime.UTC))
    shop.session(folder / "005-A.jsonl", 15, start=datetime.datetime(2026, 1, 1, tzinfo=datetime.UTC))
    saved = export(tmp_path / "jobs", tmp_path / "set")
    assert saved.undated.n == 2
    found, told = of_set(tmp_path / "set")
    assert told.undated.n == 2
    assert found == of_folder(tmp_path / "jobs")


def test_a_copied_sitting_in_one_job(tmp_path: Path, shop: Shop) -> None:
    """Of one session's copies the longest is in, whatever its number, as in a history of the folder."""
    folder = job(tmp_path / "jobs" / "one", shop, 1, 2)
    shutil.copy(folder / "001-A.jsonl", folder / "003-A.jsonl")
    cut = (folder / "001-A.jsonl").read_bytes().splitlines(keepends=True)
    (folder / "001-A.jsonl").write_bytes(b"".join(cut[:5]))
    export(tmp_path / "jobs", tmp_path / "set")
    found, _ = of_set(tmp_path / "set")
    assert found.sessions == 2
    assert found == of_folder(tmp_path / "jobs")


@pytest.mark.parametrize("model", ["A/B=1 %ü", "..", "", "x" * 300, "gc\u202e8"])
def test_any_model_makes_a_folder(tmp_path: Path, model: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """And comes back as it is, in the column and where the folder's name can hold it."""
    pd = pytest.importorskip("pandas")
    import tests.archive.shop as shop_module

    monkeypatch.setattr(shop_module, "PLAN", shop_module.PLAN.replace('"GC-8"', json.dumps(model)))
    job(tmp_path / "jobs" / "one", Shop(), 1)
    assert export(tmp_path / "jobs", tmp_path / "set").written == 1
    rows = pd.read_parquet(tmp_path / "set")
    assert set(rows.model) == {model or "Climate controller, main board"}
    if len(model) < 99:
        assert set(rows.for_model) == {model or "Climate controller, main board"}
    assert [path.parent.parent.parent for path in parts(tmp_path / "set")] == [tmp_path / "set"]


def test_stopped_between_two_parts(jobs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of three changed jobs one was replaced when it ended: the two that stand are stale, told, and not counted."""
    export(jobs, tmp_path / "set")
    for number in (1, 2, 4):
        Shop(seed=5).session(jobs / f"job-{number}" / "004-B.jsonl", 10 * number + 9)
    read: list[str] = []

    def stop(folder: Any, now: Any) -> Any:
        read.append(folder.path.name)
        if len(read) == 2:
            raise KeyboardInterrupt
        return read_job(folder, now)

    monkeypatch.setattr(save, "read_job", stop)
    with pytest.raises(KeyboardInterrupt):
        export(jobs, tmp_path / "set")
    monkeypatch.undo()
    found, told = of_set(tmp_path / "set")
    assert told.unusable.n == 2
    assert all("is stale" in text for text in told.unusable.named)
    fresh = [path for path in sorted(jobs.iterdir()) if path.name in ("job-0", "job-3", "job-5", read[0])]
    assert found.sessions == 13
    assert [place.n for place in found.places] == [place.n for place in of_folder(*fresh).places]
    saved = export(jobs, tmp_path / "set")
    assert (saved.written, saved.same) == (2, 4)
    assert of_set(tmp_path / "set")[0] == of_folder(jobs)
    assert len(parts(tmp_path / "set")) == 6


def test_an_announcement_is_taken_back_where_the_part_is_right_after_all(jobs: Path, tmp_path: Path) -> None:
    """Somebody put the journal back as it was."""
    export(jobs, tmp_path / "set")
    path = next(iter(parts(tmp_path / "set")))
    path.with_name(f".{path.stem}.part").touch()
    assert of_set(tmp_path / "set")[1].unusable.n == 1
    saved = export(jobs, tmp_path / "set")
    assert (saved.written, saved.same) == (0, 6)
    assert of_set(tmp_path / "set")[0] == of_folder(jobs)


@pytest.mark.parametrize("left", [b"PAR1", b"PAR1" + bytes(200_000)])
def test_half_a_part_is_told(jobs: Path, tmp_path: Path, left: bytes) -> None:
    """A job whose part was never finished is not in, and that is said; the next export makes it."""
    export(jobs, tmp_path / "set")
    path = next(iter(parts(tmp_path / "set")))
    half = path.with_name(f".{path.stem}.part")
    path.rename(half)
    half.write_bytes(left)
    found, told = of_set(tmp_path / "set")
    assert found.sessions == 15
    assert "is half-written" in told.unusable.named[0]
    assert export(jobs, tmp_path / "set").written == 1
    assert of_set(tmp_path / "set")[0] == of_folder(jobs)
    assert not half.exists()


def test_a_full_disk_leaves_what_stands(jobs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What cannot be written is an error in words; a new part leaves nothing behind."""
    save._open_or_make(tmp_path / "set")

    def full(fd: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    saved = export(jobs, tmp_path / "set")
    monkeypatch.undo()
    assert (saved.written, saved.left_out.n) == (0, 6)
    assert "No space left on device" in saved.left_out.named[0]
    assert parts(tmp_path / "set") == []


def test_a_part_that_another_export_writes_is_left_to_it(jobs: Path, tmp_path: Path) -> None:
    """Told, and not waited for; the others are written."""
    export(jobs / "job-1", tmp_path / "set", "north")
    (path,) = parts(tmp_path / "set")
    Shop(seed=5).session(jobs / "job-1" / "004-B.jsonl", 29)
    with writing(path):
        saved = export(jobs, tmp_path / "set", "north")
    assert (saved.written, saved.left_out.n) == (5, 1)
    assert "another export is writing" in saved.left_out.named[0]
    assert export(jobs, tmp_path / "set", "north").written == 1


def test_folders_that_are_no_set_are_refused(jobs: Path, tmp_path: Path) -> None:
    """One with something in it, a set of another version, a mark that says nothing, a file."""
    with pytest.raises(FileProblem, match="no data set"):
        export(jobs, jobs)
    (tmp_path / "set").mkdir()
    for text, why in (
        ('{"metercap_set":2}', "of version 2"),
        ("{", "does not say"),
        ('{"metercap_set":1,"table":"x"}', "of version"),
    ):
        (tmp_path / "set" / "_dataset.json").write_text(text)
        with pytest.raises(FileProblem, match=why):
            export(jobs, tmp_path / "set")
        with pytest.raises(FileProblem, match=why):
            of_set(tmp_path / "set")
    (tmp_path / "file").touch()
    with pytest.raises(FileProblem, match="cannot be made"):
        export(jobs, tmp_path / "file")
