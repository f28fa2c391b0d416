"""The history of a data set: the folder's, however it is cut; what is not as it was written is told, never counted."""

from __future__ import annotations

import hashlib
import json
import random
import shutil
import statistics
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from metercap.errors import FileProblem
from metercap.fleet import count, gather, part
from metercap.session.inherit import FROM
from tests.archive.shop import Shop, job
from tests.fleet.conftest import GAINS, export, of_folder, of_set, parts
from tests.report.jobs import GOOD, GOOD_SCRIPT, ill, sitting

SESSIONS = Path(__file__).parents[2] / "fixtures/sessions"


@pytest.mark.parametrize(("batch", "rows"), [(1, 1), (2, 50_000), (512, 60)])
def test_however_it_is_cut(jobs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, batch: int, rows: int) -> None:
    """Part by part, two by two, by rows: the same to the last digit."""
    export(jobs, tmp_path / "set")
    monkeypatch.setattr(gather, "BATCH", batch)
    monkeypatch.setattr(count, "_ROWS", rows)
    assert of_set(tmp_path / "set")[0] == of_folder(jobs)


def test_every_kind_of_step_over_several_sittings(tmp_path: Path) -> None:
    """Words, counts, switches, trimmers, starts, and what a sitting took over: the folder's history."""
    folder = tmp_path / "jobs" / "vent-pair"
    folder.mkdir(parents=True)
    sitting(folder, GOOD, 1, GOOD_SCRIPT, reason="done")
    ill(folder)
    for number, path in enumerate(sorted(SESSIONS.glob("*.jsonl")), 5):
        shutil.copy(path, folder / f"{number:03d}-L.jsonl")
    (folder / "job.toml").write_text(
        'title = "vent pair"\nplan = "plan.toml"\n[[unit]]\ntag = "R"\n[[unit]]\ntag = "L"\n'
    )
    export(tmp_path / "jobs", tmp_path / "set")
    found, _ = of_set(tmp_path / "set")
    assert found == of_folder(tmp_path / "jobs")
    assert {place.aspect for place in found.places} == {"", "as found", "as left"}
    assert {place.step for place in found.places} >= {"fuses", "coils", "cover", "bridge", "starts"}
    assert found.sessions == 6  # one of the recorded ones is another, torn
    pq = pytest.importorskip("pyarrow.parquet")
    rows = pq.read_table(tmp_path / "set").to_pylist()
    assert not [row for row in rows if row["reason"].startswith(FROM)]  # it has its row where it was given
    lines = [
        json.loads(line) for path in folder.glob("*-L.jsonl") for line in path.read_text("utf-8").splitlines()[:-1]
    ]
    assert [line for line in lines if line["kind"] == "verdict" and line.get("reason", "").startswith(FROM)]


def test_pandas_and_pyarrow_alone_say_the_same(jobs: Path, tmp_path: Path) -> None:
    """The set as its documentation says, read without us: n, median and scaled MAD of every place.

    Source: pandas' and pyarrow's own readers of partitioned sets and groupby; ISO 13528:2022, Annex C (MAD).
    """
    pd = pytest.importorskip("pandas")
    dataset = pytest.importorskip("pyarrow.dataset")
    export(jobs, tmp_path / "set")
    rows = pd.read_parquet(tmp_path / "set")
    counted = rows[rows.counted & rows.measured.notna()]
    keys = ["model", "step", "item", "unit", "aspect", "how"]
    by_pandas = counted.groupby(keys).measured.agg(["count", "median"])
    table = dataset.dataset(tmp_path / "set", partitioning="hive").to_table(filter=dataset.field("counted"))
    by_arrow = table.group_by(keys).aggregate([("measured", "count")]).to_pandas().set_index(keys)
    found, _ = of_set(tmp_path / "set")
    for place in found.places:
        key = (place.model, place.step, place.item, place.unit, place.aspect, place.how)
        assert by_pandas.loc[key, "count"] == place.n == by_arrow.loc[key, "measured_count"]
        assert by_pandas.loc[key, "median"] == pytest.approx(place.median, rel=1e-15)
        values = counted.set_index(keys).loc[[key], "measured"]
        mad = 1.4826 * statistics.median(abs(values - statistics.median(values)))
        assert place.spread == pytest.approx(mad, rel=1e-5)
    assert len(by_pandas) == len(found.places) == 14
    assert set(rows.month) == {"2026-03"}


def test_what_the_files_are_made_of(jobs: Path, tmp_path: Path) -> None:
    """Of the format: checksums of pages, compression, UTC timestamps and what the footer says.

    Source: Apache Parquet format, "Checksumming", "Logical Types" (TIMESTAMP, isAdjustedToUTC), "Compression" (ZSTD).
    """
    pq = pytest.importorskip("pyarrow.parquet")
    export(jobs, tmp_path / "set")
    path = parts(tmp_path / "set")[0]
    with pq.ParquetFile(path) as found:
        columns = [found.schema.column(n) for n in range(len(found.schema))]
        time = json.loads({column.name: column for column in columns}["time"].logical_type.to_json())
        assert (time["Type"], time["isAdjustedToUTC"], time["timeUnit"]) == ("Timestamp", True, "microseconds")
        group = found.metadata.row_group(0)
        assert {group.column(n).compression for n in range(group.num_columns)} == {"ZSTD"}
        footer = json.loads(found.metadata.metadata[b"metercap.part"])
        assert footer["path"] == path.relative_to(tmp_path / "set").as_posix()
        journal = jobs / footer["folder"] / footer["sources"][0]["journal"]
        assert footer["sources"][0]["sha256"] == hashlib.sha256(journal.read_bytes()).hexdigest()
        last = group.column(0).dictionary_page_offset + group.column(0).total_compressed_size - 1
    data = bytearray(path.read_bytes())
    data[last] ^= 1
    path.write_bytes(data)
    with pytest.raises(OSError, match="CRC"), pq.ParquetFile(path, page_checksum_verification=True) as found:
        found.read()


@pytest.mark.attack
def test_no_changed_byte_counts(tmp_path: Path, attack: Callable[[str], Any]) -> None:
    """A bit turned, or the end cut off, anywhere in a part: told and not counted, or the history is what it was."""
    job(tmp_path / "jobs" / "one", Shop(gains=GAINS), 1)
    job(tmp_path / "jobs" / "two", Shop(seed=2), 2)
    export(tmp_path / "jobs", tmp_path / "set")
    whole, _ = of_set(tmp_path / "set")
    path = parts(tmp_path / "set")[0]
    data = path.read_bytes()
    rng = random.Random(7)
    turned = attack("a part of a data set: a bit turned or cut off")
    for n in range(60):
        with turned.trial():
            at = rng.randrange(len(data))
            spoilt = (
                data[:at] if n % 4 == 0 else data[:at] + bytes([data[at] ^ (1 << rng.randrange(8))]) + data[at + 1 :]
            )
            path.write_bytes(spoilt)
            found, told = of_set(tmp_path / "set")
            assert (found.sessions, told.unusable.n) == (2, 1) or (found, told.unusable.n) == (whole, 0), at


def test_parts_that_are_not_what_they_should_be(jobs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A copy, one that was moved, somebody else's Parquet file, one by other rules: told with the reason."""
    pa, pq = pytest.importorskip("pyarrow"), pytest.importorskip("pyarrow.parquet")
    export(jobs, tmp_path / "set")
    first, second, third, *_ = parts(tmp_path / "set")
    shutil.copy(first, first.with_name("again.parquet"))
    (first.parent.parent / "month=2026-04").mkdir()
    second.rename(first.parent.parent / "month=2026-04" / second.name)
    pq.write_table(pa.table({"a": [1]}), first.with_name("other.parquet"))
    found, told = of_set(tmp_path / "set")
    reasons = sorted(text.split(" ", 1)[1] for text in told.unusable.named)
    assert [text.split(" for_model")[0] for text in reasons] == [
        "is a copy of",
        "is a copy of",
        "is no part of this set: metercap export did not write it",
    ]
    assert found.sessions == 15
    monkeypatch.setattr(part, "VERSION", 99)
    found, told = of_set(tmp_path / "set")
    assert found.sessions == 0
    assert sum("another version" in text for text in told.unusable.named) >= 4
    assert third.exists()


def test_a_session_in_two_jobs_counts_where_it_goes_farthest(tmp_path: Path, shop: Shop) -> None:
    """A journal that was copied into another job, and is shorter there: told."""
    one, two = (job(tmp_path / "jobs" / f"job-{n}", shop, n, 2) for n in (1, 2))
    lines = (one / "001-A.jsonl").read_bytes().splitlines(keepends=True)
    (two / "003-A.jsonl").write_bytes(b"".join(lines[:6]))
    export(tmp_path / "jobs", tmp_path / "set")
    found, told = of_set(tmp_path / "set")
    assert found == of_folder(tmp_path / "jobs")
    assert found.sessions == 4
    assert told.copies.named == ["job-2/003-A.jsonl: the session of job-1/001-A.jsonl"]


@pytest.mark.parametrize("batch", [1, 512])
def test_many_stale_parts_are_counted_and_five_named(
    tmp_path: Path, shop: Shop, monkeypatch: pytest.MonkeyPatch, batch: int
) -> None:
    """However they are cut into batches."""
    for number in range(7):
        job(tmp_path / "jobs" / f"job-{number}", shop, number, 1)
    export(tmp_path / "jobs", tmp_path / "set")
    for path in parts(tmp_path / "set"):
        path.with_name(f".{path.stem}.part").touch()
    monkeypatch.setattr(gather, "BATCH", batch)
    found, told = of_set(tmp_path / "set")
    assert (found.sessions, told.parts, told.unusable.n, len(told.unusable.named)) == (0, 7, 7, 5)


def test_a_machine_that_does_not_see_the_set_says_so(tmp_path: Path) -> None:
    """In either pass: a worker may get work of the second one alone."""
    for work in (
        lambda: count.sessions_of(tmp_path, ["a.parquet"]),
        lambda: count.count_parts(tmp_path, ["a.parquet"], {}),
    ):
        with pytest.raises(FileProblem, match="there is no data set here"):
            work()


def test_an_empty_set(tmp_path: Path) -> None:
    """Nothing at all, without an error."""
    (tmp_path / "jobs").mkdir()
    export(tmp_path / "jobs", tmp_path / "set")
    found, told = of_set(tmp_path / "set")
    assert (found.sessions, found.places, told.parts) == (0, (), 0)
