"""Burst: agreement, plateau, climbing and falling, within one contact."""

from __future__ import annotations

import pytest

from metercap.contact import Burst
from metercap.reading import Reading
from tests.steps.bench_play import parse


def burst(script: str, **more: bool) -> Burst:
    """Return a burst that was fed a script, one conversion each 0.5 s."""
    out = Burst(0.0, **more)
    for place, token in enumerate(script.split()):
        value, resolution, quantity, state, flags, _, _ = parse(token)
        out.feed(Reading(place * 0.5, quantity, value, resolution, quantity.unit, state, flags, ""))
    return out


def values(of: Burst) -> tuple[float | None, float | None] | None:
    """Return the pair's values."""
    pair = of.pair
    return None if pair is None else (pair[0].value, pair[1].value)


@pytest.mark.parametrize(
    ("script", "pair"),
    [
        ("", None),
        ("0.2", None),
        ("0.2 0.2", None),
        ("9.0 0.2 0.3", (0.2, 0.3)),
        ("9.0 0.2 0.3 0.4", (0.3, 0.4)),
        ("9.0 0.2 0.20", None),
        ("9.0 0.2 0.20 0.21", (0.20, 0.21)),
        ("9.0 0.2 0.20 0.2", None),
        ("9.0 0.2 0.2c", None),
        ("9.0c 0.2c 0.3c", (0.2, 0.3)),
    ],
)
def test_pair(script: str, pair: tuple[float, float] | None) -> None:
    """Agreement needs two whole conversions in one range and function; the first after contact may be a blend."""
    assert values(burst(script)) == pair


def test_first_may_be_whole() -> None:
    """Where contact does not show, nothing is dropped."""
    assert values(burst("0.2 0.3", first_is_whole=True)) == (0.2, 0.3)


@pytest.mark.parametrize(
    ("script", "n"),
    [
        ("9 0.2", None),
        ("9 0.2 0.2", 2),
        ("9 0.2 0.4", 2),
        ("9 0.2 0.5", None),
        ("9 0.5 0.2 0.2", 2),
        ("9 1000.0 1001.0", 2),
        ("9 1000.0 1001.1", None),
        ("9 0.2 0.3 0.4 0.3", 4),
        ("9 0.2 0.3 0.4 0.5", 3),
    ],
)
def test_plateau(script: str, n: int | None) -> None:
    """A plateau spans at most max(2 counts, 0.1 %) over two conversions or more; its last ones are taken."""
    found = burst(script).plateau()
    assert (None if found is None else found.n) == n


def test_plateau_says_what_it_holds() -> None:
    """A plateau tells its last value, span, ends and the time of its first conversion."""
    found = burst("9 7.0 0.2 0.4 0.3").plateau()
    assert found is not None
    assert (found.value, found.low, found.high, found.n, found.from_s, found.wide) == (0.3, 0.2, 0.4, 3, 1.0, False)
    assert found.span == pytest.approx(0.2)


def test_worn_contact_gets_a_wider_plateau_that_says_so() -> None:
    """A contact that never settles narrowly gets a wider, stated width; seven conversions are too soon for it."""
    rough = "9 5.0 5.5 5.1 5.6 5.0 5.4 5.1 5.5"
    found = burst(rough).plateau()
    assert found is not None
    assert found.wide
    assert found.n >= 4
    assert burst(rough.rsplit(" ", 1)[0]).plateau() is None


def test_three_conversions_within_the_wider_width_are_too_few() -> None:
    """Eight whole conversions, of which only the last three lie within ten counts: a fourth must agree."""
    rough = "9 1.0 9.0 1.0 9.0 1.0 5.0 5.4 5.1"
    assert burst(rough).plateau() is None
    found = burst(rough + " 5.5").plateau()
    assert found is not None
    assert (found.wide, found.n) == (True, 4)


def test_too_rough_is_no_plateau_at_all() -> None:
    """What jumps by more than the wider width never settles."""
    assert burst("9 " + "1.0 5.0 " * 10).plateau() is None


@pytest.mark.parametrize(
    ("script", "moves"),
    [
        ("9 1.0", 0),
        ("9 1.0 2.0", 1),
        ("9 1.0 2.0 3.0 4.0", 3),
        ("9 4.0 3.0 2.0 1.0", -3),
        ("9 1.0 2.0 3.0 3.1", 0),
        ("9 1.0 1.2 1.4 1.6", 0),
        ("9 1.0 1.3 1.6 1.9", 3),
        ("9 4.0 3.0 4.0", 1),
        ("9 1.0 2.0 3.00 4.00", 1),
    ],
)
def test_run(script: str, moves: int) -> None:
    """Moves one way by more than two counts each are counted, from the last conversion back, in one range."""
    assert burst(script).run() == moves


def test_long_contact_forgets_its_oldest() -> None:
    """Memory is bounded, and a pair and a plateau still stand."""
    long = burst("9 " + "0.2 " * 500)
    assert len(long.kept) <= 64
    assert values(long) == (0.2, 0.2)
