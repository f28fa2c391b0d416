"""Steps chosen by `--steps`, of a plan that says what must be open before each."""

from __future__ import annotations

from metercap.commands._plans import fit_plan
from metercap.planfile import read_plan
from metercap.profiles import find_plan


def test_a_step_may_be_chosen_without_what_opens_the_way_to_it() -> None:
    """The rails want the power-up, the fuses an open lid: who asks for the rails alone has opened it already."""
    where = find_plan("greenhouse-controller")
    plan = read_plan(where)
    wanting = [step.id for step in plan.steps if step.teardown]
    assert "rails" in wanting
    for step in wanting:
        assert fit_plan(plan, str(where), None, no_safe=True, only=(step,), warn=False) == plan
