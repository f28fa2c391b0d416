"""Chances: the plan's, the shop's, what is left of them after a look, and which symptom a text means."""

from __future__ import annotations

import pytest

from metercap.order import after, matched, sharpened


def test_what_remains_gains() -> None:
    """Bayes by hand: 0.4 gone, 0.2 of the remaining 0.6 is a third; what no step finds gains as well (0.1 to 1/6)."""
    left = after({"a": 0.4, "b": 0.2, "c": 0.3}, ["a"])
    assert left == {"b": pytest.approx(1 / 3, rel=1e-5), "c": 0.5}
    assert 1.0 - sum(left.values()) == pytest.approx(1 / 6, rel=1e-4)
    assert after({"a": 0.7, "b": 0.3}, ["a", "b"]) == {}
    assert after({"a": 0.7, "b": 0.3}, []) == {"a": 0.7, "b": 0.3}


def test_the_shop_sharpens_the_plan() -> None:
    """Mean of a Dirichlet by hand: weight 5, prior 0.2, 9 of 11 units: (5·0.2 + 9) / 16 = 0.625; the other steps and
    what no step finds share the rest."""
    chances = sharpened({"cover": 0.2, "fuses": 0.6}, {"cover": 9}, 11, weight=5.0)
    assert chances == {"cover": 0.625, "fuses": 0.1875}
    assert sharpened({"cover": 0.2}, {}, 0) == {"cover": 0.2}, "no unit, the plan alone"
    assert sharpened({}, {"coils": 3}, 3, weight=5.0) == {"coils": 0.375}, "a step that the plan did not think of"


def test_the_rule_of_succession() -> None:
    """A uniform prior over six faces (weight 6), 10 throws with 4 sixes: (1 + 4) / (6 + 10) (Laplace; from memory)."""
    faces = {str(n): 1 / 6 for n in range(1, 7)}
    assert sharpened(faces, {"6": 4, "1": 6}, 10, weight=6.0)["6"] == pytest.approx(5 / 16, rel=1e-5)


SYMPTOMS = ("the output relays do not pull", "the display stays dark", "the clock forgets the time")


@pytest.mark.parametrize(
    ("text", "same", "near"),
    [
        ("the output relays do not pull", SYMPTOMS[0], ""),
        ("  The  display stays DARK ", SYMPTOMS[1], ""),
        ("2", SYMPTOMS[1], ""),
        ("9", "", ""),
        ("0", "", ""),
        ("the display is dark", "", SYMPTOMS[1]),
        ("relays", "", SYMPTOMS[0]),
        ("clock forgets", "", SYMPTOMS[2]),
        ("", "", ""),
        ("zzz", "", ""),
    ],
)
def test_which_symptom_is_meant(text: str, same: str, near: str) -> None:
    """Case and spaces aside it is the same; else the nearest is asked about, never taken."""
    assert matched(text, SYMPTOMS) == (same, near)
