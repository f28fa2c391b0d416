"""Parts of the practice board, against Ohm's law and their own descriptions."""

from __future__ import annotations

import itertools
import math
from random import Random

import pytest

from metercap.practice.moving import TRAVEL_S, Connector, Switch
from metercap.practice.parts import Capacitor, Supply, Trimmer


def test_a_loaded_cell_sags_by_its_internal_resistance() -> None:
    """3.0 V behind 30 Ω under 470 Ω: U = 3·470/500 = 2.82 V, and the tips see 30 Ω parallel to 470 Ω (28.2
    Ω)."""
    cell = Supply(3.0, 30.0)
    cell.load_ohm = 470.0
    seen = cell.seen(0.0)
    assert seen.volt == pytest.approx(2.82)
    assert seen.ohm == pytest.approx(28.2)


def test_a_dead_rail_shows_its_circuit_and_no_voltage() -> None:
    """An unpowered rail is a resistance."""
    rail = Supply(5.0, 0.1, dead_ohm=820.0)
    rail.alive = False
    assert rail.seen(0.0) == (820.0, 0.0, 0.0)


def test_a_bled_capacitor_settles_at_ohms_law() -> None:
    """With R across it a test current I ends at I·R, whatever the step."""
    capacitor = Capacitor(1e-6, 0.0, 0.0, 1000.0)
    for n in range(1, 6):
        capacitor.carry(1e-4, n * 0.02, 0.02)
    assert capacitor.seen(0.1).volt == pytest.approx(0.1, rel=1e-6)


def test_backlash_swallows_the_first_part_of_a_change_of_direction() -> None:
    """With 0.1 turn of play, 1 turn up moves the wiper 0.9 turns, and 1 turn down then 0.9 turns back."""
    trimmer = Trimmer(10_000.0, 0.5, Random(1), turns=10.0, backlash_turns=0.1)
    trimmer.turn(0.0, 1.0)
    trimmer.turn(1.0, 0.0)
    assert trimmer.position == pytest.approx(0.59)
    trimmer.turn(2.0, -1.0)
    trimmer.turn(3.0, 0.0)
    assert trimmer.position == pytest.approx(0.5)
    trimmer.turn(4.0, -0.5)
    trimmer.turn(6.0, 0.0)
    assert trimmer.position == pytest.approx(0.4)


def test_the_wiper_stays_at_the_end_of_its_travel() -> None:
    """The screw slips at the end: the wiper reads the whole track and comes back when the screw turns
    back."""
    trimmer = Trimmer(10_000.0, 0.9, Random(1), turns=10.0, end_ohm=5.0)
    trimmer.turn(0.0, 1.0)
    assert trimmer.seen(3.0).ohm == pytest.approx(10_005.0)
    trimmer.turn(3.0, -1.0)
    assert trimmer.seen(4.0).ohm == pytest.approx(9_005.0)


def test_a_dirty_track_opens_only_while_the_wiper_moves_over_it() -> None:
    """At rest on the dirty spot the reading is high and steady, moving it opens at random, elsewhere
    neither."""
    trimmer = Trimmer(1000.0, 0.5, Random(1), turns=1.0, dirty_from=0.45, dirty_to=0.55, dirty_ohm=50.0, dirty_open=0.3)
    assert trimmer.steady
    assert {trimmer.seen(t / 10).ohm for t in range(10)} == {550.0}
    trimmer.turn(1.0, 0.001)
    seen = [trimmer.seen(1.0 + t / 100).ohm for t in range(1, 200)]
    assert 0.1 < seen.count(math.inf) / len(seen) < 0.5
    assert not trimmer.steady
    trimmer.turn(3.0, 10.0)
    trimmer.turn(3.03, 0.0)
    assert trimmer.seen(3.1).ohm == pytest.approx(1000.0 * trimmer.position)
    assert trimmer.position > 0.55


def test_wiper_noise_is_there_only_in_motion() -> None:
    """Noise comes with motion and goes with it."""
    trimmer = Trimmer(1000.0, 0.2, Random(1), turns=25.0, noise_ohm=5.0)
    still = trimmer.seen(1.0).ohm
    trimmer.turn(1.0, 1e-6)
    moving = [trimmer.seen(1.0 + n / 50).ohm - still for n in range(1, 100)]
    assert max(moving) > 3.0
    trimmer.turn(3.0, 0.0)
    assert trimmer.seen(3.5).ohm == pytest.approx(still, abs=0.01)


def test_a_switch_misses_where_its_travel_is_worn_and_improves_after_cleaning() -> None:
    """A press that ends inside the gap does not close; deeper or cleaned it does."""
    switch = Switch("no", 0.05, Random(1), act_at=0.4, gap_from=0.5, gap_to=0.9, after_clean=0.1)
    switch.press(0.0, 0.8)
    assert switch.seen(1.0).ohm == math.inf
    assert switch.steady
    switch.release(1.0)
    switch.press(2.0, 0.95)
    assert switch.seen(3.0).ohm == 0.05
    switch.clean()
    switch.press(4.0, 0.8)
    assert switch.seen(5.0).ohm == 0.05


def test_exercising_wears_the_film_away() -> None:
    """Each press takes its share of the gap's width."""
    switch = Switch("no", 0.05, Random(1), gap_from=0.5, gap_to=0.9, wear=0.5)
    switch.press(0.0, 0.2)
    assert switch.gap_to == pytest.approx(0.7)


def test_a_normally_closed_switch_opens_when_pressed() -> None:
    """nc: closed at rest, open when acted, and its gap lies on the released side."""
    switch = Switch("nc", 0.05, Random(1), act_at=0.4, gap_from=0.05, gap_to=0.2)
    assert switch.seen(0.0).ohm == 0.05
    switch.press(0.0, 0.9)
    assert switch.seen(1.0).ohm == math.inf
    switch.release(1.0, 0.1)
    assert switch.seen(2.0).ohm == math.inf
    switch.release(3.0, 0.0)
    assert switch.seen(4.0).ohm == 0.05


def test_contacts_bounce_for_milliseconds() -> None:
    """Right after the travel a closing contact is open or closed by turns; then it stands."""
    switch = Switch("no", 0.05, Random(1), bounce_s=0.003)
    switch.press(0.0, 0.9)
    bouncing = {switch.seen(TRAVEL_S + n * 1e-5).ohm for n in range(300)}
    assert bouncing == {0.05, math.inf}
    assert {switch.seen(TRAVEL_S + 0.0031 + n * 1e-5).ohm for n in range(300)} == {0.05}


def test_a_flexed_connector_drops_out_as_often_and_as_long_as_stated() -> None:
    """Two dropouts a second of 50 ms: over 500 s the counted rate and length are those of the process, at
    rest there are none."""
    connector = Connector(0.1, Random(2), drops_per_s=2.0, drop_s=0.05)
    assert connector.seen(0.0).ohm == 0.1
    connector.flex(0.0, on=True)
    seen = [connector.seen(n / 1000).ohm for n in range(500_000)]
    share = seen.count(math.inf) / len(seen)
    assert share == pytest.approx(0.05 / (0.5 + 0.05), rel=0.15)
    starts = sum(1 for a, b in itertools.pairwise(seen) if b == math.inf != a)
    assert starts == pytest.approx(500 / 0.55, rel=0.15)
    connector.flex(500.0, on=False)
    assert connector.steady
    assert connector.seen(501.0).ohm == 0.1
