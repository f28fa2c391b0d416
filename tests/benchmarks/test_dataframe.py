"""A journal of a million readings to a DataFrame, against `pandas.read_json(lines=True)` on the same bytes.

The DataFrame has step, item and absolute time. Two journals: readings alone, and those of a sweep with all that happens
between them.
"""

from __future__ import annotations

import itertools
import json
import random
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import metercap
from metercap.journal import Chain
from metercap.meter import MeterProfile
from metercap.quantity import Quantity
from metercap.reading import Reading, State
from metercap.records import Contact, Cue, CueKind, Do, Lift, Prompt, Record, SessionRecord, Verdict, VerdictKind

pd = pytest.importorskip("pandas")

pytestmark = [pytest.mark.slow, pytest.mark.timeout(600)]

READINGS = 1_000_000
REACH = 0.15
"""The share of `read_json`'s time to reach."""

SESSION = SessionRecord(
    t_s=0.0,
    schema=2,
    id="bench",
    start_utc="2031-03-04T05:06:07Z",
    zone_offset_s=0,
    unit="controller B",
    tag="B",
    operator="",
    known_good=False,
    plan={},
    meter=MeterProfile(name="lcd14", family="lcd14"),
    identity="",
    reference={},
    options={},
    inherited={},
    program="metercap",
)


def between(t_s: float, index: int) -> list[Record]:
    """What a sweep has behind a reading: a fuse touched, ticked and lifted every fourteen."""
    at, item = index % 14, f"F{index // 14 % 12 + 1}"
    if at == 0:
        return [Contact(t_s, "fuses", item), Cue(t_s, "fuses", item, CueKind.CONTACT)]
    if at == 1:
        limits: dict[str, Any] = {"unit": "ohm", "max": 2.0, "rule": "guarded", "expanded": 0.29, "resolution": 0.1}
        verdict = Verdict(
            t_s, "fuses", item, VerdictKind.PASS, value=0.2, n=2, from_s=t_s - 0.1, settled=True, **limits
        )
        after = f"F{(index // 14 + 1) % 12 + 1}"
        return [
            verdict,
            Cue(t_s, "fuses", item, CueKind.PASS),
            Prompt(t_s, "fuses", after, Do.PROBE, f"{after}: both tips on it"),
        ]
    if at == 4:
        return [Lift(t_s, "fuses", item)]
    return [Cue(t_s, "fuses", item, CueKind.GO)] if at == 11 else []


@pytest.fixture(scope="module", params=["readings alone", "a sweep"])
def paths(tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest) -> tuple[Path, Path]:
    """The journal, and the same file without its session record, whose tables would only slow `read_json` down."""
    folder = tmp_path_factory.mktemp("dataframe")
    journal, bare = folder / "journal.jsonl", folder / "bare.jsonl"
    rng = random.Random(1)
    chain = Chain()
    with journal.open("wb") as whole, bare.open("wb") as rows:
        whole.write(chain.line(SESSION))
        for index in range(READINGS):
            over = rng.random() < 0.2
            reading = Reading(
                t_s=round(index / 10 + rng.random() * 0.01, 6),
                quantity=Quantity.RESISTANCE,
                value=None if over else round(rng.random() * 2000, 1),
                resolution=0.1,
                unit="ohm",
                state=State.OVER if over else State.OK,
                flags=("auto",) if index % 3 else ("auto", "rel"),
                raw=rng.randbytes(14).hex(),
            )
            line = chain.line(reading)
            whole.write(line)
            rows.write(line)
            for record in between(reading.t_s, index) if request.param == "a sweep" else ():
                line = chain.line(record)
                whole.write(line)
                rows.write(line)
    return journal, bare


def fastest_s(run: Callable[[], Any], times: int = 3) -> tuple[float, Any]:
    """The shortest of some runs, in seconds, and what the last one gave: what else the machine does only adds time."""
    best = float("inf")
    for _ in range(times):
        start = time.perf_counter()
        got = run()
        best = min(best, time.perf_counter() - start)
    return best, got


def test_dataframe(paths: tuple[Path, Path], capsys: pytest.CaptureFixture[str]) -> None:
    """Loading takes at most 0.15 of `read_json`'s time, all checksums verified; the values are right."""
    journal, bare = paths
    baseline_s, expected = fastest_s(lambda: pd.read_json(bare, lines=True), times=2)
    runs = {
        "verified": lambda: metercap.load(journal).readings(),
        "not verified": lambda: metercap.load(journal, verified=False).readings(),
        "verified, with raw": lambda: metercap.load(journal).readings(raw=True),
    }
    shares = {}
    kinds = expected["kind"].unique()
    with capsys.disabled():
        print(f"\n{READINGS} readings, {journal.stat().st_size / 1e6:.0f} MB; read_json {baseline_s:.2f} s")  # noqa: T201
        for name, run in runs.items():
            took_s, frame = fastest_s(run)
            shares[name] = took_s / baseline_s
            print(f"{name}: {took_s:.2f} s, {shares[name]:.3f} of read_json")  # noqa: T201
    assert len(frame) == READINGS
    expected = expected[expected["kind"] == "reading"].reset_index(drop=True)
    for name in ("t_s", "value", "resolution"):  # read_json's own floats may be off by the last bits
        assert (frame[name].isna() == expected[name].isna()).all()
        assert ((frame[name] - expected[name]).abs() > 1e-12 * expected[name].abs()).sum() == 0
    with bare.open("rb") as lines:
        readings = (line for line in lines if line.startswith(b'{"kind":"reading"'))
        for index, line in enumerate(itertools.islice(readings, 100_000)):
            exact = json.loads(line)
            assert frame.at[index, "t_s"] == exact["t_s"]
            assert exact["value"] is None or frame.at[index, "value"] == exact["value"]
    for name in ("quantity", "unit", "state", "raw"):
        assert (frame[name].astype(object) == expected[name].astype(object)).all()
    assert (frame["time"][READINGS - 1] - frame["time"][0]).total_seconds() == pytest.approx(READINGS / 10, abs=1.0)
    assert set(frame["item"]) == ({""} if "contact" not in set(kinds) else {"", *(f"F{n}" for n in range(1, 13))})
    assert shares["verified"] <= REACH
