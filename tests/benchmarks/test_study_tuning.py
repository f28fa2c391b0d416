"""The study of tuning: the same hands with the tool's cues and without them, by the meter's display alone.

    pytest -m slow tests/benchmarks/test_study_tuning.py -s

A 25-turn trimmer of 5 kohm is brought from a random value to a random target. The hands turn by the cues, one reaction
late, and add a little whenever they stop, and see no number; or they see only the number, look every 0.4 s, stop dead,
let it rest when it jumps, and hear no cue. Both take the tool away and hold still when asked. All of this is invented.

    into      seconds from the prompt to turn until the value is in its band for good, on the bench, not on the display
    verdict   until the verdict, the rest times among it
    crossed   how often a tuning ran through the whole band
    done      share of tunings with a pass within four minutes
"""

from __future__ import annotations

import itertools
import math
import statistics
from collections.abc import Callable, Iterator
from random import Random
from typing import Any, NamedTuple

import pytest

from metercap import wire
from metercap.commands._opening import session_record
from metercap.plan import Plan
from metercap.plankeys import Item, TuneStep
from metercap.practice.bench import PracticeBench
from metercap.practice.habits import Habits
from metercap.practice.meter import MeterSpec
from metercap.practice.scene import Scene, Trimmer
from metercap.practice.study import run
from metercap.profiles import find_meter
from metercap.reading import Reading
from metercap.records import Cue, Do, Prompt, Record, Verdict, VerdictKind
from metercap.session import Driver, Session

OHM = 5000.0
LIMIT_S = 240.0
SEED = 1
RATES = (2.0, 3.0, 5.0, 10.0)
FAMILIES = ("lcd14", "digits14", "text")
TRIMMERS: dict[str, dict[str, float]] = {
    "clean": {},
    "narrow band": {"tolerance": 0.003},
    "wide band": {"tolerance": 0.03},
    "backlash": {"backlash_turns": 0.15},
    "wiper noise": {"noise_ohm": 8.0},
    "dirty spot": {"spot": 0.2, "dirty_open": 0.03},
    "very dirty": {"spot": 0.2, "dirty_open": 0.1},
}
"""What is wrong with the trimmer. A `spot` is a share of the travel around the target; there the wiper lifts for that
share of the time while it moves."""


class Tuned(NamedTuple):
    """What one tuning came to."""

    into_s: float
    verdict_s: float
    crossed: int
    done: bool


def scene_of(seed: int, rate: float, kind: str, *, cues: bool) -> tuple[Scene, TuneStep]:
    """A trimmer, its start and its target; the same for the same seed, whatever the rest."""
    rng = Random(f"{seed} tuning")
    target = round(rng.uniform(1500.0, 3500.0))
    start = float(target)
    while abs(start - target) < 150.0:
        start = rng.uniform(500.0, 4500.0)
    keys: dict[str, Any] = dict(TRIMMERS[kind])
    tolerance, spot = keys.pop("tolerance", 0.01), keys.pop("spot", None)
    if spot is not None:
        keys |= {"dirty_from": target / OHM - spot / 2.0, "dirty_to": target / OHM + spot / 2.0}
    family = FAMILIES[seed % len(FAMILIES)]
    counts = 22_000 if family == "digits14" else 4_000
    scene = Scene(
        schema=2,
        title="a trimmer",
        unit="B",
        part=[Trimmer(names="RV1", ohm=OHM, position=start / OHM, **keys)],
        seed=seed,
        # Leads and touch add nothing here, so that what is shown is what is there.
        meter=MeterSpec(family=family, profile=family, counts=counts, per_s=rate, lead_ohm=0.0),
        hands=Habits(cues=cues, touch_ohm=0.0),
    )
    step = TuneStep(
        id="bridge",
        items=(Item("RV1"),),
        target=float(target),
        tolerance_share=tolerance,
        unit="ohm",
        rule="simple",
    )
    return scene, step


class Eye:
    """An observer that looks at the trimmer itself at every reading, once turning has begun."""

    def __init__(self, trimmer: Any, band: Any) -> None:
        self.began_s = self.inside_s = self.verdict_s = math.inf
        self.crossed = 0
        self.done = False
        self._trimmer = trimmer
        self._band = band
        self._side = 0

    def see(self, record: Record, line: bytes) -> None:
        """Take a record."""
        kind_of = type(record)
        if kind_of is Prompt and record.do is Do.TURN:
            self.began_s = min(self.began_s, record.t_s)
        elif kind_of is Reading and record.t_s >= self.began_s:
            ohm = self._trimmer.position * OHM
            now = (ohm > self._band.high) - (ohm < self._band.low)
            self.inside_s = math.inf if now else min(self.inside_s, record.t_s)
            self.crossed += now != 0 and now == -self._side
            self._side = now or self._side
        elif kind_of is Verdict:
            self.done, self.verdict_s = record.verdict is VerdictKind.PASS, record.t_s

    def urgent(self, cue: Cue) -> None:
        """Nothing here waits for it."""


def tune(seed: int, rate: float, kind: str, *, cues: bool) -> Tuned:
    """Tune once."""
    scene, step = scene_of(seed, rate, kind, cues=cues)
    profile = find_meter(scene.meter.profile).at_rate(rate)
    bench = PracticeBench(scene)
    plan = Plan(title="a trimmer", supply="none", steps=(step,))
    driver = Driver(Session(session_record(plan, profile, unit="B", session_id=str(seed))))
    eye = Eye(bench.board.parts["RV1"], step.band(float(step.target)))
    run(bench, driver, wire.decoder(profile), profile, [eye], until_s=LIMIT_S)
    began_s, verdict_s, crossed, done, inside_s = eye.began_s, eye.verdict_s, eye.crossed, eye.done, eye.inside_s
    if not done:
        return Tuned(math.inf, math.inf, crossed, done)
    assert inside_s < math.inf  # whatever passes is in its band
    return Tuned(inside_s - began_s, verdict_s - began_s, crossed, done)


class Sample:
    """Many tunings of one kind."""

    def __init__(self, tunings: list[Tuned]) -> None:
        self.n = len(tunings)
        self.into_s = sorted(tuned.into_s for tuned in tunings)
        self.verdict_s = statistics.median(tuned.verdict_s for tuned in tunings)
        self.crossed = math.fsum(tuned.crossed for tuned in tunings) / self.n
        self.done = sum(tuned.done for tuned in tunings) / self.n

    def text(self) -> str:
        """Return the columns of a table."""
        half, most = self.into_s[self.n // 2], self.into_s[int(0.9 * self.n)]
        times = "".join(f"{value:7.1f}" if value < math.inf else "      -" for value in (half, most, self.verdict_s))
        return f"{times}{self.crossed:9.2f}{100.0 * self.done:6.0f} %"


class Row(NamedTuple):
    """One condition, tuned both ways."""

    kind: str
    rate: float
    told: Sample
    alone: Sample


def compared(kinds: tuple[str, ...], rates: tuple[float, ...], times: int) -> Iterator[Row]:
    """Tune every condition with cues and without, from the same seeds."""
    for kind, rate in itertools.product(kinds, rates):
        both = [
            Sample([tune(seed, rate, kind, cues=cues) for seed in range(SEED, SEED + times)]) for cues in (True, False)
        ]
        yield Row(kind, rate, *both)


def test_cues_bring_every_trimmer_into_its_band() -> None:
    """A few of each kind, on a slow meter and a faster one: all are done, and sooner than without cues."""
    rows = list(compared(tuple(TRIMMERS), (2.0, 5.0), 4))
    assert all(row.told.done == 1.0 for row in rows)
    assert statistics.mean(row.told.verdict_s for row in rows) < 30.0
    assert math.fsum(row.told.done for row in rows) >= math.fsum(row.alone.done for row in rows)


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_a_thousand_tunings(told: Callable[[str], None]) -> None:
    """In every condition cues bring the verdict no later than the display; over all, the band is crossed less often."""
    times = 36
    rows = list(compared(tuple(TRIMMERS), RATES, times))
    assert times * len(rows) >= 1000
    lines = [
        f"{times * len(rows)} tunings with cues, and the same without; seeds {SEED} to {SEED + times - 1} in each row",
        f"{'':18}{'with cues':>37}{'by the display alone':>39}",
        f"{'':18}" + f"{'into':>7}{'p90':>7}{'verdict':>8}{'crossed':>8}{'done':>7}  " * 2,
        *(f"{row.kind:12}{row.rate:4.0f}/s{row.told.text()}  {row.alone.text()}" for row in rows),
    ]
    told("\n".join(lines))
    for row in rows:
        assert row.told.done >= 0.97
        assert row.told.verdict_s <= 1.05 * row.alone.verdict_s
    assert math.fsum(row.told.crossed for row in rows) < math.fsum(row.alone.crossed for row in rows)
