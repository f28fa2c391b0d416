"""The cable comes off again and again, in every kind of step, for two hours: nothing comes out wrong."""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path
from random import Random

import pytest

from metercap.clock import VirtualClock
from metercap.commands._bench import practice_record, profile_of
from metercap.commands._plans import checked_plan
from metercap.commands._reference import read_reference
from metercap.journal import Writer, verify
from metercap.live import Inbox, Live
from metercap.practice.audit import Audit
from metercap.practice.bench import PracticeBench
from metercap.practice.scene import load_scene
from metercap.practice.study import Virtual
from metercap.records import Cue, LinkState, Prompt, Record
from metercap.session import Driver, Session
from metercap.wire import decoder


class Cable(Virtual):
    """A bench whose cable comes off at random: what the meter sends meanwhile is lost."""

    def __init__(self, bench: PracticeBench, inbox: Inbox, clock: VirtualClock, rng: Random, every_s: float) -> None:
        super().__init__(bench, inbox, clock)
        self._rng, self._every_s, self._box = rng, every_s, inbox
        self._off_s, self._on_s = rng.expovariate(1 / every_s), float("inf")
        self.kind = ""
        self.pulled: Counter[str] = Counter()
        self._kinds: dict[str, str] = {}

    def know(self, kinds: dict[str, str]) -> None:
        """Say of which kind each step is."""
        self._kinds = kinds

    def next_s(self) -> float:
        """The bench's next moment, or the cable's."""
        return min(super().next_s(), self._off_s, self._on_s)

    def act(self, t_s: float) -> None:
        """Pull the cable, put it back, or let the bench do what is due."""
        if self._off_s <= t_s:
            self._box.put_link(LinkState.LOST, "the cable was pulled", t_s)
            self.pulled[self.kind] += 1
            self._off_s, self._on_s = float("inf"), t_s + self._rng.uniform(0.3, 6.0)
        elif self._on_s <= t_s:
            self._box.put_link(LinkState.UP, "back", t_s)
            self._off_s, self._on_s = t_s + self._rng.expovariate(1 / self._every_s), float("inf")
        else:
            off = self._on_s != float("inf")
            while (out := self.bench.step(t_s)) is not None:
                if hasattr(out, "word"):
                    self._box.put_word(out.word, out.text, out.t_s, "line")
                elif not off:
                    self._box.put_bytes(out.data, out.t_s)

    def see(self, record: Record, line: bytes) -> None:
        """Remember of which kind the step at hand is."""
        if isinstance(record, Prompt):
            self.kind = self._kinds.get(record.step, self.kind)
        super().see(record, line)

    def urgent(self, record: Cue) -> None:
        """Nothing more than its record."""


def play(seed: int, folder: Path, reference: Path, every_s: float) -> tuple[Counter[str], list[str], float]:
    """Play the whole plan on unit B; return pulls by kind of step, what is not as on the bench, and session time."""
    scene = load_scene("gc8-b-whole")
    profile = profile_of(scene)
    plan = checked_plan(scene.plan, profile, only=list(scene.truth), warn=False)
    rows = read_reference(reference, scene.unit, plan)
    steps = [step.id for step in plan.steps if step.id in scene.truth]
    record = practice_record("b", scene, plan, profile, seed=seed, speed=1.0, steps=steps, reference=rows)
    bench, clock, inbox = PracticeBench(scene, seed=seed), VirtualClock(), Inbox()
    cable = Cable(bench, inbox, clock, Random(f"{seed} cable"), every_s)
    cable.know({step.id: str(type(step).__struct_config__.tag) for step in plan.steps})
    audit = Audit(bench)
    path = folder / f"{seed}.jsonl"
    with Writer.create(path, record) as writer:
        live = Live(Driver(Session(record)), decoder(profile), writer, [cable, audit], inbox, clock, profile=profile)
        reason = live.run_virtual(clock, cable.next_s, cable.act, until_s=7200.0)
    assert reason == "done", (seed, cable.kind)
    assert verify(path).state == "closed"
    wrong = [
        f"{mark.verdict.step} {mark.verdict.item}: {mark.verdict.verdict}" for mark in audit.marked if not mark.agrees
    ]
    wrong += [f"{mark.verdict.item}: elsewhere" for mark in audit.wrong_ticks]
    return cable.pulled, wrong + [f"{step} {item}: none" for step, item in audit.missing], clock.now_s()


def reference(folder: Path) -> Path:
    """The known-good unit's journal."""
    from metercap.commands._bench import play_scene

    return play_scene("gc8-a-whole", folder, speed=1000.0, quiet=True).journal


@pytest.mark.parametrize("seed", [1])
def test_a_cable_that_comes_off_now_and_then(seed: int, tmp_path: Path) -> None:
    """One whole plan with a pull about each minute: every verdict is the bench's."""
    pulled, wrong, _ = play(seed, tmp_path, reference(tmp_path), 60.0)
    assert sum(pulled.values()) >= 5
    assert wrong == []


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_a_hundred_pulls_over_two_hours(tmp_path: Path) -> None:
    """At least a hundred pulls over at least two hours of session time, in every kind of step of the plan."""
    good = reference(tmp_path)
    pulls: Counter[str] = Counter()
    found: list[str] = []
    total_s, seed = 0.0, 100
    while total_s < 7200.0 or sum(pulls.values()) < 100:
        pulled, wrong, took_s = play(seed, tmp_path, good, 60.0)
        pulls, total_s, seed = pulls + pulled, total_s + took_s, seed + 1
        found += [f"seed {seed - 1}: {each}" for each in wrong]
    sys.stdout.write(
        f"{sum(pulls.values())} pulls in {total_s:.0f} s over {seed - 100} sessions: {dict(pulls)}; wrong: {found}\n"
    )
    assert found == []
