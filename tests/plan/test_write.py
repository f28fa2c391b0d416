"""A plan written back: it must load to the same plan, for the shipped ones and for any other."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from metercap.plan import Plan
from metercap.plan.load import load_plan
from metercap.plan.write import plan_toml
from metercap.plankeys import CheckStep, ConfirmStep, Item, SweepStep, TuneStep

PLANS = sorted((Path(__file__).parents[2] / "profiles" / "plans").glob("*.toml"))


@pytest.mark.parametrize("path", PLANS, ids=lambda path: path.stem)
def test_the_shipped_plans_come_back_the_same(path: Path) -> None:
    """Loaded, written and loaded again: equal, and written again: the same text."""
    plan = load_plan(path.read_text(encoding="utf-8"), path.name)
    text = plan_toml(plan)
    again = load_plan(text, "written")
    assert again == plan
    assert plan_toml(again) == text


def test_values_stand_as_people_write_them() -> None:
    """By hand: 2.187 kohm, 0.5 %, a run of names drawn together, a table only where more is known."""
    plan = Plan(
        title='Fan "left"',
        steps=(
            SweepStep(id="fuses", items=tuple(Item(f"F{n}") for n in range(1, 13)), max=2.0, unit="ohm"),
            TuneStep(
                id="bridge", items=(Item("RV1", where="by J3"),), target=2187.0, tolerance_share=0.005, unit="ohm"
            ),
        ),
    )
    text = plan_toml(plan)
    for line in (
        'title = "Fan \\"left\\""',
        'items = ["F1..F12"]',
        'max = "2 ohm"',
        'target = "2.187 kohm"',
        'tolerance = "0.5 %"',
        '  { name = "RV1", where = "by J3" },',
    ):
        assert line in text.splitlines(), line
    assert load_plan(text, "written") == plan


ohms = st.floats(1e-6, 1e8).map(lambda value: float(f"{value:.12g}"))
words = st.text(min_size=1, max_size=12).filter(lambda text: text.isprintable() and text.strip() == text)


@given(title=words, high=ohms, wait=st.floats(0, 1e5), share=st.floats(1e-6, 0.9), say=words)
def test_any_value_comes_back_to_the_last_bit(title: str, high: float, wait: float, share: float, say: str) -> None:
    """Limits, times and shares are floats again, bit for bit, and texts their own."""
    plan = Plan(
        title=title,
        steps=(
            ConfirmStep(id="a", say=say, wait_s=wait),
            CheckStep(id="b", items=(Item("R1", max=high),), max=high, unit="ohm"),
            TuneStep(id="c", items=(Item("RV1"),), target=high, tolerance_share=share, unit="ohm"),
        ),
    )
    assert load_plan(plan_toml(plan), "written") == plan
