"""Rest: what lies still, and how long that is remembered."""

from __future__ import annotations

from metercap.steps.tune.rest import KEEP_S, Rest


def test_a_long_rest_forgets_its_beginning() -> None:
    """One count off at first is within a plateau, and no part of the span any more once it is too long ago."""
    rest = Rest()
    rest.feed(0.0, 100.0, 1.0)
    for n in range(1, 40):
        rest.feed(n / 2.0, 101.0, 1.0)
        if n / 2.0 <= KEEP_S:
            assert (rest.n, rest.from_s, rest.span) == (n + 1, 0.0, 1.0)
    assert KEEP_S * 0.9 <= 19.5 - rest.from_s <= KEEP_S
    assert (rest.n, rest.span, set(rest.values)) == (round((19.5 - rest.from_s) * 2) + 1, 0.0, {101.0})


def test_rest_lasts_since_the_tool_was_taken_away() -> None:
    """From the first value at rest, or from when something touched it, whichever is later; none without a value."""
    rest = Rest()
    assert rest.rested_s(5.0) == 0.0
    for t_s in (1.0, 2.0, 3.0):
        rest.feed(t_s, 100.0, 1.0)
    assert (rest.rested_s(3.0), rest.rested_s(3.0, 2.5)) == (2.0, 0.5)
    rest.feed(4.0, 150.0, 1.0)
    assert (rest.n, rest.rested_s(4.0)) == (1, 0.0)
