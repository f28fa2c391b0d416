"""What is foretold for the next unit of the demo's plan: its order by the plan alone, and after one repair. By hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from metercap.commands._shop import Nearby, foretold
from metercap.job import open_job
from metercap.order import Shop
from metercap.planfile import read_plan
from metercap.profiles import find_plan
from tests.archive.test_repairs import HUMS, PLUGS, RELAY, job

SYMPTOM = "the output relays do not pull"
WAITS = ", after symptom, earlier-work, disconnect, discharge, dead and leads: "


def test_one_repair_changes_the_order() -> None:
    """Fuses 0.35 in three minutes, 0.117 a minute, sensor cable 0.05 in two; after a unit whose sensor cable it was,
    with the plan's chances for five units, (5 · 0.05 + 1)/6 = 21 % in two, 0.104, and fuses 29 % in three, 0.097.
    """
    plan = read_plan(find_plan("greenhouse-controller"))
    alone = foretold(plan, SYMPTOM, Shop())
    assert alone.startswith(f"fuses first{WAITS}35 %, three minutes, nothing to open; then cover 15 %, ")
    shop = Shop({SYMPTOM: 1}, {SYMPTOM: {"sensor-cable": 1}}, "the plan and 1 repaired unit")
    now = foretold(plan, SYMPTOM, shop)
    assert now.startswith(f"sensor-cable first{WAITS}21 %, the fault of 1 of 1 unit, two minutes, nothing to open")
    assert "; then fuses 29 %, cover 12 %, " in now
    assert foretold(plan, "it smells", shop) == ""


def test_each_other_unit_teaches_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The other unit of this job and the one of the job beside; not the unit itself, and none of them twice."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    first = open_job(job(tmp_path, "first", A=RELAY, B=PLUGS))
    job(tmp_path, "second", A=RELAY)
    near = Nearby(first)
    shop = near.shop(first.plan(), "A")
    assert (shop.units, shop.faults) == ({HUMS: 2}, {HUMS: {"relay": 1, "plugs": 1}})
    assert shop.source == "the plan and 2 repaired units in 2 jobs beside this one"
    assert near.shop(first.plan(), "B").faults == {HUMS: {"relay": 2}}
    named = Nearby(first, [str(tmp_path)]).shop(first.plan(), "A")
    assert named.units == {HUMS: 2}
    assert Nearby(first, alone=True).shop(first.plan(), "A").faults == {HUMS: {"plugs": 1}}
