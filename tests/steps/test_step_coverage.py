"""Coverage of U as a check records it, under slow noise: the whole way from conversions to verdicts.

Where accuracy is unknown U was one count: on the Mavro series it held 38 % of values where 95 % are claimed.
"""

from __future__ import annotations

import statistics
from collections.abc import Callable

import pytest

from tests.steps.series import COUNT, MAVRO, RESISTOR, Series, covered

LEVELS = RESISTOR._replace(drift_per_s=0.0)


def share(held: list[bool]) -> float:
    """Return how many of them are true."""
    return sum(held) / len(held)


def test_the_pooled_spread_covers_slow_noise() -> None:
    """Mavro's noise, a hundred and more values: those of the first four items and, touched once, the rest."""
    found = covered(MAVRO, 30, 1)
    assert share(found.first) >= 0.95
    assert share(found.rest) >= 0.90  # 120 values of 95 %: fewer would come in one of a hundred runs


@pytest.mark.slow
@pytest.mark.timeout(600)
@pytest.mark.parametrize("contacts", [1, 2])
@pytest.mark.parametrize(
    ("name", "series", "least"),
    [
        ("Mavro", MAVRO, 0.93),
        ("noise of half a count", COUNT._replace(sd=0.05), 0.95),
        ("noise of one count", COUNT, 0.95),
        ("noise of three counts", COUNT._replace(sd=0.3), 0.90),
        ("standard resistor, contacts 2.9 s apart", LEVELS, 0.85),
    ],
)
def test_coverage_in_full(name: str, series: Series, least: float, contacts: int, say: Callable[[str], None]) -> None:
    """The figures, each of 600 values and more. Noise slower than the pause between contacts is seen in part only."""
    found = covered(series, 150, contacts, seed=9)
    spans = statistics.median(found.spans)
    say(
        f"{name}, contacts = {contacts}: U holds {share(found.first):.3f} of the first four items, "
        f"{share(found.rest):.3f} of the rest; it is {spans:.2f} standard deviations"
    )
    assert min(share(found.first), share(found.rest)) >= least
