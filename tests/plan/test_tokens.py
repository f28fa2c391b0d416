"""Tokens: resistors whose values no step of the plan could meet."""

from typing import Any

import pytest

from metercap.plan.load import load_plan
from metercap.plan.rules import check_plan

ZERO = '[[step]]\nid = "leads"\nkind = "zero"\n'


def found(tokens: str, steps: str, reference: Any = None) -> Any:
    text = f'[plan]\ntitle = "GC-8"\nsupply = "none"\ntokens = {{ {tokens} }}\n{ZERO}{steps}'
    problems = check_plan(load_plan(text, "gc8.toml"), reference=reference)
    return [problem for problem in problems if problem.path[0] == "plan"]


def refused(tokens: str, steps: str, reference: Any = None) -> bool:
    return any(problem.severity == "error" for problem in found(tokens, steps, reference))


def sweep(lines: str) -> str:
    return f'[[step]]\nid = "s"\nkind = "sweep"\nitems = ["F1"]\n{lines}\n'


def tune(lines: str) -> str:
    return f'[[step]]\nid = "bridge"\nkind = "tune"\nitems = ["RV1"]\n{lines}\n'


@pytest.mark.parametrize(
    ("ohm", "steps", "clash"),
    [
        # A fuse of at most 2 Ω: 0 … 2 Ω are met, and 2 Ω more are too near; leads take 1 Ω + 2 Ω.
        ("143 ohm", sweep('max = "2 ohm"'), False),
        ("4.1 ohm", sweep('max = "2 ohm"'), False),
        ("3.9 ohm", sweep('max = "2 ohm"'), True),
        ("2.9 ohm", "", True),
        ("3.1 ohm", "", False),
        # 20 % counts where it is more than 2 Ω.
        ("119 ohm", sweep('max = "100 ohm"'), True),
        ("121 ohm", sweep('max = "100 ohm"'), False),
        ("3.5 ohm", sweep('min = "5 ohm"\nmax = "6 ohm"'), True),
        # Two limits: below the lower one a token is clear again.
        ("143 ohm", sweep('min = "120 ohm"\nmax = "130 ohm"'), True),
        ("157 ohm", sweep('min = "120 ohm"\nmax = "130 ohm"'), False),
        ("95 ohm", sweep('min = "120 ohm"\nmax = "130 ohm"'), False),
        ("97 ohm", sweep('min = "120 ohm"\nmax = "130 ohm"'), True),
        # A lower limit alone has no end.
        ("15 kohm", sweep('min = "1 kohm"'), True),
        ("799 ohm", sweep('min = "1 kohm"'), False),
        # Volts are no ohms.
        ("143 ohm", sweep('max = "143 V"'), False),
        # A trimmer: its band, widened to the hazardous sides.
        ("1.5 kohm", tune('target = "2.187 kohm"\ntolerance = "1 %"'), False),
        ("1.8 kohm", tune('target = "2.187 kohm"\ntolerance = "1 %"'), True),
        ("1.5 kohm", tune('target = "2.187 kohm"\ntolerance = "1 %"\nnever_below = "1.2 kohm"'), True),
        ("3 kohm", tune('target = "2.187 kohm"\ntolerance = "1 %"\nnever_above = "2.9 kohm"'), True),
        # Neither leads nor fingers.
        ("21 kohm", "", True),
        ("20 kohm", "", False),
    ],
)
def test_values_that_a_plan_could_meet(ohm: str, steps: Any, clash: bool) -> None:
    """A token is refused within 20 % or 2 Ω of what a step could read; worked by hand."""
    assert refused(f'open = "{ohm}"', steps) is clash


@pytest.mark.parametrize(
    ("other", "clash"), [("178 ohm", True), ("179 ohm", False), ("114 ohm", False), ("115 ohm", True)]
)
def test_tokens_apart_from_each_other(other: str, clash: bool) -> None:
    """Two tokens must be told apart as well: by 20 % of the higher one (35.8 and 28.6 Ω here)."""
    assert refused(f'open = "143 ohm", skip = "{other}"', "") is clash


def test_the_message_names_the_item() -> None:
    """The error says which item would be read as a word."""
    (problem,) = found('open = "3.9 ohm"', sweep('max = "2 ohm"'))
    assert str(problem) == (
        'plan.tokens.open: 3.9 Ω is a value that the plan could meet: F1, step "s"; '
        "take a resistor at least 20 % and 2 ohm away from it"
    )


@pytest.mark.parametrize("steps", [sweep(""), tune('target = "reference"\ntolerance = "1 %"')])
def test_items_that_may_read_anything(steps: Any) -> None:
    """Where nobody knows what an item reads, a token is a risk: a warning, until a reference is at hand."""
    (problem,) = found('open = "143 ohm"', steps)
    assert problem.severity == "warning"
    assert "may read anything" in problem.what
    name = "s/F1" if "sweep" in steps else "bridge/RV1"
    assert found('open = "143 ohm"', steps, {name: {"value": 2187.0}}) == []
    assert refused('open = "143 ohm"', steps, {name: {"value": 150.0}})


def test_no_tokens() -> None:
    """A plan without tokens has none to refuse."""
    assert found("", sweep("")) == []
