"""What items are called in running text."""

from __future__ import annotations

from metercap.report.names import listed, name_of


def test_a_step_that_is_its_own_item_is_called_once() -> None:
    """`clock clock` would be one word too many."""
    assert name_of(("clock", "clock")) == "clock"
    assert name_of(("fuses", "F7")) == "fuses F7"


def test_items_are_listed_by_step_with_runs_drawn_together() -> None:
    """A person reads four words, not forty."""
    keys = [("fuses", "F1"), ("fuses", "F2"), ("fuses", "F3"), ("clock", "clock"), ("fuses", "F7")]
    assert listed(keys) == "fuses F1..F3, F7; clock"
    assert listed([]) == ""


def test_what_is_too_much_is_counted() -> None:
    """Neither a thousand steps nor a thousand scattered items make a sentence."""
    assert listed([("s", f"X{n}a") for n in range(100)], most=3) == "s X0a, X1a, X2a, and 97 more"
    assert listed([(f"s{n}", f"s{n}") for n in range(100)], most=2) == "s0; s1; and 98 more"
