"""The whole cycle of a good fuse, lift to lift, over a pseudo-terminal in real time: the program as a process.

    pytest -m slow tests/benchmarks/test_pace.py -s

Meter and hands share no code with the practice bench. The hands need 1.3 s to move and 0.25 s to react, and obey `go`;
by ear, on a beep 0.1 s after contact, they would need 1.65 s a fuse. T is known: it lies in the settings, as an
earlier session measured it.
"""

from __future__ import annotations

import contextlib
import itertools
import json
import math
import random
import statistics
import sys
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from metercap.link.ports import announced
from tests.e2e.outside_meter import OPEN, Meter, Shown
from tests.e2e.program import plan_file, program, sweep

pytestmark = [
    pytest.mark.slow,
    pytest.mark.timeout(600),
    pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals"),
]

MOVE_S, REACT_S, BEEP_S = 1.3, 0.25, 0.1
BY_EAR_S = MOVE_S + REACT_S + BEEP_S
FRAME_S = 14 * 10 / 2400
"""Fourteen bytes of ten bits at 2400 baud."""
RANGES = (("", 1), ("k", 3), ("k", 2), ("k", 1), ("M", 3), ("M", 2))
FULL_OHM = (400.0, 4e3, 4e4, 4e5, 4e6, 4e7)
LEADS_OHM = 0.1
GOOD_OHM = 0.2
BLEND = 0.1
"""A conversion that was open for more than this share of its time reads over-range."""

SECONDS = {
    # Lift to lift, by the design; on auto range five ranges are walked, one conversion each, and so much more.
    "fixed": {2.0: 3.4, 3.0: 2.7, 5.0: 2.0, 10.0: 1.8},
    "shown": {2.0: 5 / 2 + 3.4, 3.0: 5 / 3 + 2.7},
    "ranged": {2.0: 5 / 2 + 4.8, 3.0: 5 / 3 + 3.3},
    "hidden": {2.0: 5 / 2 + 5.9, 3.0: 5 / 3 + 4.0},
}
RATES = (2.0, 3.0, 5.0, 10.0)


BUSY_S = 0.1
"""What a machine that does other things besides may add to a cycle; a sign so late may also miss one conversion."""


def floor_s(rate: float) -> float:
    """The least mean cycle in a fixed range, by hand: rule 4 in the air, two conversions on the fuse.

    A conversion has run for half its time as the tips move, on average, and reads over-range; every sign comes with a
    frame. In the air n conversions, n = ⌈0.5 s/T⌉ + 2, or the move where that takes longer: 3.12 s at 2/s,
    2.62 at 3/s, 2.11 at 5/s and 1.86 at 10/s, where the design leaves out the frame's own time.
    """
    t_s = 1.0 / rate
    go_s = (math.ceil(0.5 / t_s) + 2 - 0.5) * t_s + FRAME_S + REACT_S
    return max(MOVE_S, go_s) + 2.5 * t_s + FRAME_S + REACT_S


def over(index: int) -> Shown:
    """Over-range in a range: the point where that range has it."""
    prefix, decimals = RANGES[index]
    return Shown(f"{' 0L '[: 4 - decimals]}.{' 0L '[4 - decimals :]}", prefix)


class Walking(Meter):
    """A meter that converts what its tips touched, and on auto range walks one range a conversion, up and down.

    `walk`: "fixed", "shown" (values on the way down), "ranged" (over-range with its range) or "hidden" (over-range).
    """

    def __init__(self, folder: Path, rate: float, walk: str) -> None:
        self.walk = walk
        self.moves: list[tuple[float, float]] = [(0.0, OPEN)]
        """When the tips touched what, in monotonic seconds and ohms."""
        self._index = 0 if walk == "fixed" else 5
        self._noise = random.Random(f"{rate} {walk}")
        super().__init__(folder, "lcd14", rate, auto=walk != "fixed")

    def put(self, ohm: float) -> None:
        """The tips are on this from now on."""
        self.moves.append((time.monotonic(), ohm))

    def _convert(self, from_s: float, to_s: float) -> Shown:
        moves = [*self.moves[-20:], (to_s, OPEN)]
        open_s, last = 0.0, OPEN
        for (a_s, ohm), (b_s, _) in itertools.pairwise(moves):
            length_s = max(0.0, min(b_s, to_s) - max(a_s, from_s))
            open_s += length_s if ohm == OPEN else 0.0
            last = ohm if length_s and ohm != OPEN else last
        ohm = OPEN if open_s > BLEND * (to_s - from_s) else last + LEADS_OHM + self._noise.gauss(0.0, 0.03)
        index, auto = self._index, self._auto
        if ohm >= FULL_OHM[index]:
            self._index = min(index + 1, 5) if auto else index
            return over(5 if self.walk == "hidden" else index)._replace(auto=auto)
        if auto and index and ohm < 0.9 * FULL_OHM[index - 1]:
            self._index = index - 1
            if self.walk != "shown":
                return over(5 if self.walk == "hidden" else index)
        prefix, decimals = RANGES[index]
        scale = {"": 1.0, "k": 1e3, "M": 1e6}[prefix]
        return Shown(f"{max(ohm, 0.0) / scale:.{decimals}f}", prefix, auto=auto)

    def _run(self) -> None:
        due_s = time.monotonic()
        while not self._stop.is_set():
            due_s += self._period_s
            self._stop.wait(max(0.0, due_s + FRAME_S - time.monotonic()))
            self.send(self._draw(self._convert(due_s - self._period_s, due_s)))


class Paced:
    """Hands that touch what is asked when they have moved and `go` was heard, and lift on the tick."""

    def __init__(self, meter: Walking) -> None:
        self.program: Any = None
        self.lifts: list[float] = []
        """When the tips left a fuse that was ticked."""
        self.air: list[float] = []
        self.odd: list[str] = []
        """Cues that no good fuse should bring."""
        self._meter = meter
        self._rng = random.Random(f"{meter.walk} {meter._period_s}")
        self._ready_s = 0.0
        self._ohm = GOOD_OHM
        self._go = True
        self._asked = False
        self._wake = threading.Condition()
        self._todo: list[tuple[float, Callable[[], None]]] = []
        self._thread = threading.Thread(target=self._act, name="paced hands", daemon=True)
        self._thread.start()

    def see(self, record: dict[str, Any]) -> None:
        """Take one record of the program."""
        now_s = time.monotonic()
        kind, cue = record["kind"], record.get("cue")
        if kind == "prompt" and record["do"] in ("probe", "short"):
            self._ohm = GOOD_OHM if record["do"] == "probe" else 0.0
            if not self._asked:
                self._ready_s = now_s + MOVE_S
            self._asked = True
            if self._go:
                self._plan(max(self._ready_s, now_s + REACT_S), self._touch)
        elif kind == "prompt" and record["do"] == "answer":
            self._plan(now_s + 1.0, lambda: self.program.say("yes"))
        elif cue == "go":
            self._go = True
            self._plan(max(self._ready_s, now_s + REACT_S), self._touch)
        elif cue == "pass":
            self._go = False
            self._plan(now_s + REACT_S, self._lift)
        elif cue in ("again", "lift", "fail", "unsure"):
            self.odd.append(cue)
            self._plan(now_s + REACT_S, self._off)

    def _touch(self) -> None:
        if self._asked:
            self._meter.put(self._ohm)
            if self.lifts:
                self.air.append(time.monotonic() - self.lifts[-1])

    def _lift(self) -> None:
        self._off()
        self.lifts.append(time.monotonic())

    def _off(self) -> None:
        self._meter.put(OPEN)
        self._go = False
        self._ready_s = time.monotonic() + MOVE_S * self._rng.uniform(0.9, 1.1)

    def _plan(self, at_s: float, what: Callable[[], None]) -> None:
        with self._wake:
            self._todo = [(at_s, what)]
            self._wake.notify()

    def _act(self) -> None:
        while True:
            with self._wake:
                if not self._todo:
                    self._wake.wait(1.0)
                    continue
                at_s, what = self._todo[0]
                left_s = at_s - time.monotonic()
                if left_s > 0:
                    self._wake.wait(left_s)
                    continue
                self._todo.clear()
            with contextlib.suppress(OSError):
                what()


def swept(folder: Path, rate: float, walk: str, n: int) -> tuple[list[float], list[float], list[str]]:
    """Sweep n fuses; return the cycles and times in the air of all but the first two, and what was odd."""
    folder.mkdir()
    plan = plan_file(folder, sweep(f'"F1..F{n}"'))
    settings = folder / "settings" / "metercap"
    settings.mkdir(parents=True)
    with Walking(folder, rate, walk) as meter:
        kept = {"conversion_s": {f"lcd14 {meter.path}": {"resistance": 1.0 / rate}}}
        (settings / "rates.json").write_text(json.dumps(kept))
        hands = Paced(meter)  # type: ignore[arg-type]
        args = ["--port", str(meter.path), "--meter", "lcd14", "--rate", f"{rate:g}", "--unit", "B"]
        out = folder / "out.jsonl"
        env = {"XDG_CONFIG_HOME": str(folder / "settings")}
        with program("run", str(plan), *args, "--out", str(out), see=hands.see, **env) as metercap:  # type: ignore[arg-type]
            hands.program = metercap
            ended = metercap.wait(400.0)
    assert ended.status == 0, ended.err
    first = json.loads(out.read_bytes().splitlines()[0])
    assert first["conversion_s"] == {"resistance": 1.0 / rate}, "T must be known"
    cycles = [b - a for a, b in itertools.pairwise(hands.lifts)]
    assert len(cycles) == n - 1
    return cycles[2:], hands.air[2:], hands.odd


@pytest.mark.parametrize("walk", SECONDS)
def test_the_whole_cycle_of_a_good_fuse(walk: str, tmp_path: Path, told: Callable[[str], None]) -> None:
    """The design's seconds at each rate, and none refused; all rates side by side."""
    n = 14 if walk == "fixed" else 10
    with ThreadPoolExecutor(len(RATES)) as pool:
        sweeps = pool.map(lambda rate: swept(tmp_path / f"{rate:g}", rate, walk, n), RATES)
        found = dict(zip(RATES, sweeps, strict=True))
    heads = f"{'cycle s: mean':>14}{'median':>8}{'most':>7}{'in air':>8}{'/ by ear':>9}{'design':>8}  odd"
    lines = [f"{walk:10}{heads}"]
    for rate, (cycles, air, odd) in sorted(found.items()):
        mean_s, limit_s = statistics.mean(cycles), SECONDS[walk].get(rate)
        seconds = f"{mean_s:14.2f}{statistics.median(cycles):8.2f}{max(cycles):7.2f}{statistics.mean(air):8.2f}"
        limit = "-" if limit_s is None else f"{limit_s:.2f}"
        lines.append(f"{rate:6.0f}/s  {seconds}{mean_s / BY_EAR_S:9.2f}{limit:>8}  {' '.join(odd) or '-'}")
    told("\n".join(lines))
    for rate, limit_s in SECONDS[walk].items():
        least_s = floor_s(rate) if walk == "fixed" else 0.0
        assert statistics.median(found[rate][0]) <= max(limit_s, least_s) + BUSY_S + 1.0 / rate
    assert [found[rate][2] for rate in RATES] == [[], [], [], []]


@pytest.mark.parametrize(("rate", "walk"), [(2.0, "shown"), (3.0, "shown"), (3.0, "hidden"), (10.0, "shown")])
def test_twelve_fuses_from_an_unknown_meter_on_a_port(
    rate: float, walk: str, tmp_path: Path, told: Callable[[str], None]
) -> None:
    """One command, typed once, nothing known before: seconds to the first tick and in all, the leads' null included."""
    settings = tmp_path / "settings"
    command = ["sweep", "F1..F12", "--max", "2 ohm", "--loose"]
    ticks: dict[str, float] = {}
    with Walking(tmp_path, rate, walk) as meter, pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CONFIG_HOME", str(settings))
        with announced(str(meter.path), "outside meter"):
            hands = Paced(meter)  # type: ignore[arg-type]
            began_s = time.monotonic()

            def see(record: dict[str, Any]) -> None:
                if record["kind"] == "verdict" and record["verdict"] == "pass":
                    ticks.setdefault(record["item"], time.monotonic() - began_s)
                hands.see(record)

            with program(*command, see=see, cwd=tmp_path, XDG_CONFIG_HOME=str(settings)) as metercap:
                hands.program = metercap
                ended = metercap.wait(400.0)
            in_all_s = time.monotonic() - began_s
    assert ended.status == 0, ended.err
    assert {f"F{n}" for n in range(1, 13)} <= set(ticks)
    told(
        f"unknown meter, {rate:g}/s, auto range, walk {walk}: 1 command typed, metercap {' '.join(command)}; "
        f"first tick after {ticks['F1']:.1f} s, F12 after {ticks['F12']:.1f} s, ended after {in_all_s:.1f} s "
        f"{' '.join(hands.odd)}"
    )
    assert ticks["F1"] < 60.0
