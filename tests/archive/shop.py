"""A shop's journals, made in process: a plan of fuses, coils and a trimmer, one verdict each, whole files."""

from __future__ import annotations

import datetime
import math
import random
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from msgspec import UNSET, structs

from metercap.commands._opening import session_record
from metercap.meter import MeterProfile
from metercap.metrology.domain import round6
from metercap.plan.load import load_plan
from metercap.profiles import find_meter
from metercap.records import InJob, SessionRecord, Verdict, VerdictKind
from metercap.rests import Found
from tests.report.papers import lines

PLAN = """[plan]
title = "Climate controller, main board"
model = "GC-8"
supply = "none"
[[step]]
id = "fuses"
kind = "sweep"
items = "F1..F4"
max = "2 ohm"
count_check = false
[[step]]
id = "coils"
kind = "check"
items = "K1..K8"
min = "1 ohm"
[[step]]
id = "bridge"
kind = "tune"
items = ["RV1"]
target = "2.2 kohm"
tolerance = "1 %"
"""
COILS_OHM = (150.0, 190.0, 320.0, 410.0, 560.0, 750.0, 910.0, 1120.0)
START = datetime.datetime(2026, 3, 2, 8, 0, tzinfo=datetime.UTC)


class Shop:
    """Writes journals: each unit's values come from `seed`; `gains` are those of the meters by identity."""

    def __init__(self, seed: int = 1, gains: dict[str, float] | None = None, drift_a_day: float = 0.0) -> None:
        self._rng = random.Random(seed)
        self._plan = load_plan(PLAN, "plan.toml")
        self._profile: MeterProfile = find_meter("lcd14")
        self._gains = gains or {"": 1.0}
        self._drift = drift_a_day
        self._first: dict[str, SessionRecord] = {}

    def session(
        self,
        path: Path,
        n: int,
        *,
        start: datetime.datetime | None = None,
        wild: Sequence[str] = (),
        end: bool = True,
        job: InJob | None = None,
        session_id: str = "",
        known_good: bool = False,
        unit: str = "",
    ) -> Path:
        """Write the journal of unit `n`; items in `wild` read twice as much. Without `end` it was never closed."""
        identity = sorted(self._gains)[n % len(self._gains)]
        start = start or START + datetime.timedelta(days=n % 180, minutes=n)
        first = self._of(identity)
        first = structs.replace(
            first,
            id=session_id or f"{n:016x}",
            unit=unit or f"controller {n}",
            tag="B",
            known_good=known_good,
            start_utc=start.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
            zone_offset_s=0,
            job=UNSET if job is None else job,
        )
        days = (start - START).total_seconds() / 86_400.0
        records = list(self._verdicts(self._gains[identity] * (1.0 + self._drift * days), wild))
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(lines([first, *records], closed=end))
        return path

    def _of(self, identity: str) -> SessionRecord:
        if identity not in self._first:
            self._first[identity] = session_record(self._plan, self._profile, unit="", identity=identity)
        return self._first[identity]

    def _verdicts(self, gain: float, wild: Sequence[str]) -> Any:
        t_s = 10.0
        for n in range(1, 5):
            value = round(0.2 + 0.1 * self._rng.randint(0, 2), 1)
            yield Verdict(t_s, "fuses", f"F{n}", VerdictKind.PASS, value, "ohm", 0.3, "guarded", 4, resolution=0.1,
                          settled=True, max=2.0)  # fmt: skip
            t_s += 3.0
        for n, ohm in enumerate(COILS_OHM, 1):
            value = ohm * gain * self._rng.gauss(1.0, 0.02) * (2.0 if f"K{n}" in wild else 1.0)
            value, resolution = shown(value)
            yield Verdict(t_s, "coils", f"K{n}", VerdictKind.PASS, value, "ohm", round6(0.01 * value), "guarded", 4,
                          resolution=resolution, settled=True, min=1.0)  # fmt: skip
            t_s += 3.0
        found, resolution = shown(2500.0 * gain * self._rng.gauss(1.0, 0.1))
        yield Found(t_s, "bridge", "RV1", found, "ohm", 25.0, resolution)
        yield Verdict(t_s + 20.0, "bridge", "RV1", VerdictKind.PASS, 2200.0, "ohm", 22.0, "guarded", 4, resolution=1.0,
                      settled=True, as_found=found, as_left=2200.0, target=2200.0, tolerance=22.0)  # fmt: skip


def job(folder: Path, shop: Shop, number: int, sittings: int = 2, **more: Any) -> Path:
    """Write a job of two units, A and B, which sat in turn; its sessions are numbered on from `number` times ten."""
    title = f"job {number}"
    for n in range(sittings):
        inside = InJob(title, n + 1, ("A", "B"))
        path = folder / f"{n + 1:03d}-{'AB'[n % 2]}.jsonl"
        shop.session(
            path, 10 * number + n, job=inside, start=START + datetime.timedelta(days=number % 180, hours=n), **more
        )
    text = f'title = "{title}"\nplan = "plan.toml"\n[[unit]]\ntag = "A"\n[[unit]]\ntag = "B"\n'
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return folder


def shown(value: float) -> tuple[float, float]:
    """Return a value as a display of four digits has it, and its last digit."""
    resolution = 10.0 ** (math.floor(math.log10(value)) - 3)
    return float(f"{value:.4g}"), resolution


def make(folder: Path, sessions: int, **more: Any) -> None:
    """Write so many journals, a thousand to a folder."""
    shop = Shop(**more)
    for n in range(sessions):
        shop.session(folder / f"{n // 1000:03d}" / f"{n:06d}.jsonl", n)
