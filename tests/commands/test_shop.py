"""What is foretold for the next unit of the demo's plan: its order by the plan alone, and after one repair. By hand."""

from __future__ import annotations

from metercap.commands._shop import foretold
from metercap.order import Shop
from metercap.planfile import read_plan
from metercap.profiles import find_plan

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
