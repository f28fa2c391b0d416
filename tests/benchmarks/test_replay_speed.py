"""How quick a recorded session is replayed, by kind of step: wire, contact and steps again, every outcome compared.

The time is the processor's, not the clock's, since others may be at work on the machine; the best of a few rounds.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable

import pytest

from metercap.session import check
from tests.benchmarks.replayed import Kind, kinds, recorded

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]

READINGS = 12_000
REACH = 60_000
"""Readings a second on one core."""
ROUNDS = 5

KINDS = kinds(random.Random(7))


@pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)
def test_replay_speed(kind: Kind, request: pytest.FixtureRequest, told: Callable[[str], None]) -> None:
    """≥ 60 000 readings/s in every kind of step."""
    records = recorded(kind, READINGS)
    best = 0.0
    for _ in range(ROUNDS):
        start = time.process_time()
        found = check(records)
        best = max(best, found.readings / (time.process_time() - start))
    assert (found.difference, found.readings) == ("", READINGS)
    told(f"{request.node.callspec.id}: {best:,.0f} readings/s, best of {ROUNDS}; {found.verdicts} verdicts")
    assert best >= REACH
