"""The simulated meter: what a conversion shows of what its tips saw."""

from __future__ import annotations

from random import Random

import pytest

from metercap.practice.board import AIR, TIPS_NAME, Board, Place
from metercap.practice.dials import Range, Shown
from metercap.practice.meter import DRIVE_V, INPUT_OHM, Meter, MeterSpec
from metercap.practice.parts import Capacitor, Path, Supply
from metercap.quantity import Quantity
from metercap.reading import State

QUIET = MeterSpec(noise_counts=0.0, lead_ohm=0.0, air_counts=0.0)


def meter(spec: MeterSpec = QUIET, quantity: Quantity | None = None, range_index: int | None = 0) -> Meter:
    made = Meter(spec, Random(1))
    made.turn_dial(quantity or Quantity.RESISTANCE, range_index=range_index)
    return made


def path(ohm: float) -> Place:
    return Place("R1", Path(ohm))


def whole(made: Meter, place: Place, n: int = 1, start_s: float = 0.0) -> list[Shown]:
    """Run n conversions that saw nothing but `place`."""
    t_s = made.conversion_s
    return [
        made.convert([(start_s + k * t_s, start_s + (k + 1) * t_s, place)], start_s + (k + 1) * t_s) for k in range(n)
    ]


def test_a_plain_resistor_is_shown_to_the_digit() -> None:
    """218.7 Ω in the 400 Ω range is 218.7."""
    assert whole(meter(), path(218.7))[0].value == 218.7


def test_leads_gain_and_offset_add_up() -> None:
    """Leads add, a gain error multiplies, an offset counts in digits: 100.2 Ω × 1.01 + 3 × 0.1 = 101.5."""
    spec = MeterSpec(noise_counts=0.0, lead_ohm=0.2, gain=0.01, offset_counts=3.0)
    assert whole(meter(spec), path(100.0))[0].value == 101.5


def test_a_conversion_blends_two_states_in_proportion() -> None:
    """A quarter of the time on 100 Ω and the rest on 200 Ω shows 175 Ω."""
    made = meter()
    blend = made.convert([(0.0, 0.125, path(100.0)), (0.125, 0.5, path(200.0))], 0.5)
    assert blend.value == 175.0


def test_contact_for_part_of_a_conversion_blends_with_air() -> None:
    """Air adds twice full scale: 5 % of it to 95 % of 10 Ω is 9.5 + 40 = 49.5 Ω, and half of it is
    over-range."""
    made = meter()
    assert made.convert([(0.0, 0.475, path(10.0)), (0.475, 0.5, AIR)], 0.5).value == 49.5
    assert made.convert([(0.0, 0.25, path(10.0)), (0.25, 0.5, AIR)], 0.5).state is State.OVER


def test_auto_ranging_walks_one_range_a_conversion() -> None:
    """From air to 0.3 Ω the display walks 40 M, 4 M, 400 k, 40 k, 4 k, 400, and shows zeros on the way."""
    made = meter(range_index=None)
    assert whole(made, AIR)[0].range.prefix == "M"
    walk = whole(made, path(0.3), 7, 0.5)
    assert [(s.range.prefix, s.range.decimals) for s in walk] == [
        ("M", 2),
        ("M", 3),
        ("k", 1),
        ("k", 2),
        ("k", 3),
        ("", 1),
        ("", 1),
    ]
    assert [s.value for s in walk] == [0.0] * 5 + [0.3, 0.3]
    back = whole(made, AIR, 7, 4.0)
    assert {s.state for s in back} == {State.OVER}
    assert [s.range.decimals for s in back] == [1, 3, 2, 1, 3, 2, 2]


def test_some_meters_show_nothing_while_they_walk() -> None:
    """With walk = "blank" only the settled range shows a number."""
    made = meter(MeterSpec(noise_counts=0.0, lead_ohm=0.0, walk="blank"), range_index=None)
    assert [s.state for s in whole(made, path(0.3), 6)] == [State.BLANK] * 5 + [State.OK]


def test_continuity_shows_over_range_above_its_ceiling() -> None:
    """A blown fuse beside 1 kΩ looks open in continuity mode, and 39 Ω does not."""
    made = meter(quantity=Quantity.CONTINUITY)
    assert whole(made, path(1000.0))[0].state is State.OVER
    assert whole(made, path(39.0))[0].value == 39.0
    ceiling = meter(MeterSpec(ceiling_ohm=50.0, noise_counts=0.0), Quantity.CONTINUITY)
    assert whole(ceiling, path(60.0))[0].state is State.OVER


def test_the_beeper_is_faster_than_a_conversion_and_sounds_in_continuity_only() -> None:
    """The comparator decides at once by resistance."""
    made = meter(quantity=Quantity.CONTINUITY)
    assert made.beeps(path(1.0), 0.0)
    assert not made.beeps(path(100.0), 0.0)
    assert not made.beeps(AIR, 0.0)
    assert not meter().beeps(path(1.0), 0.0)


def test_a_voltage_in_the_circuit_falsifies_ohms() -> None:
    """The drive current of the 400 Ω range is 1 mA, so by Ohm's law 1 mV left in the circuit moves a reading
    by 1 Ω."""
    assert DRIVE_V / 400.0 == 1e-3
    assert whole(meter(), Place("R1", Path(2.0, 0.001)))[0].value == 3.0
    assert whole(meter(), Place("R1", Path(2.0, -0.010)))[0].value == -8.0
    assert whole(meter(), Place("R1", Path(2.0, 0.010), reversed=True))[0].value == -8.0


def test_a_capacitor_climbs_by_the_drive_current() -> None:
    """1 mA into 1000 µF raises U by I·t/C: 0.5 V in 0.5 s would be 500 Ω, so over one conversion the mean is
    250 Ω."""
    capacitor = Capacitor(1000e-6, 0.0, 0.0, None)
    made = meter()
    first = whole(made, Place("C1", capacitor))[0].value
    assert first == pytest.approx(250.0, rel=0.05)
    assert capacitor.seen(0.5).volt == pytest.approx(0.5, rel=1e-9)
    assert whole(made, Place("C1", capacitor), 1, 0.5)[0].state is State.OVER


def test_a_charged_capacitor_discharges_with_its_time_constant() -> None:
    """In volts, 10 V on 10 µF through 1 MΩ: after one time constant of 10 s, 10/e V are left; the meter's own
    10 MΩ speeds it up."""
    capacitor = Capacitor(10e-6, 10.0, 0.5, 1e6)
    assert capacitor.seen(10.0).volt == pytest.approx(10.0 * 0.36787944, rel=1e-6)
    assert INPUT_OHM == 10e6


def test_volts_of_a_cell_are_loaded_by_the_input_resistance() -> None:
    """A 3 V source behind 10 MΩ reads half (voltage divider); a 1.5 V cell reads itself; open tips read about
    zero."""
    made = meter(quantity=Quantity.VOLTAGE_DC)
    assert whole(made, Place("B1", Supply(3.0, INPUT_OHM)))[0].value == 1.5
    assert whole(made, Place("B1", Supply(1.5, 1.0)))[0].value == 1.5
    assert whole(made, Place("B1", Supply(1.5, 1.0), reversed=True))[0].value == -1.5
    assert whole(made, AIR)[0].value == 0.0


def test_tips_together_show_the_leads() -> None:
    """Tips together read the lead resistance and nothing else."""
    made = meter(MeterSpec(noise_counts=0.0, lead_ohm=0.2))
    tips = Board({}, Random(1)).place(TIPS_NAME)
    assert whole(made, tips)[0].value == 0.2


def test_hold_freezes_and_rel_subtracts() -> None:
    """HOLD repeats what was shown and says so; REL takes the shown value off; the hidden kind raises no
    flag."""
    made = meter()
    whole(made, path(100.0))
    made.press_hold()
    held = whole(made, path(5.0))[0]
    assert (held.value, held.flags) == (100.0, frozenset({"hold"}))
    made.press_hold()
    made.press_rel()
    assert made.rel
    relative = whole(made, path(105.0))[0]
    assert (relative.value, relative.flags) == (5.0, frozenset({"rel"}))
    hidden = meter(MeterSpec(noise_counts=0.0, lead_ohm=0.0, hidden_hold=True))
    whole(hidden, path(100.0))
    hidden.press_hold()
    assert whole(hidden, path(5.0))[0].flags == frozenset()


def test_noise_has_the_stated_spread_and_the_seed_decides() -> None:
    """With 3 counts of noise the spread of 2000 conversions is 3 counts within 10 %, and equal seeds give
    equal readings."""
    spec = MeterSpec(noise_counts=3.0, lead_ohm=0.0)
    runs = []
    for _ in range(2):
        made = meter(spec)
        runs.append([made.convert([(0.0, 0.5, path(100.0))], 0.5).value or 0.0 for _ in range(2000)])
    assert runs[0] == runs[1]
    mean = sum(runs[0]) / 2000
    spread = (sum((v - mean) ** 2 for v in runs[0]) / 1999) ** 0.5
    assert mean == pytest.approx(100.0, abs=0.05)
    assert spread == pytest.approx(0.3, rel=0.1)


def walked(spec: MeterSpec, n: int = 9) -> list[tuple[State, float]]:
    """What an auto-ranging meter shows from the air down to 0.2 Ω: state and last digit, conversion by conversion."""
    made = Meter(spec, Random(1))
    assert made.auto
    whole(made, AIR, 8)
    return [(shown.state, shown.range.resolution) for shown in whole(made, path(0.2), n, start_s=8 * made.conversion_s)]


LADDER = [1e4, 1e3, 1e2, 1e1, 1.0]


def walking(**keys: object) -> MeterSpec:
    return MeterSpec(noise_counts=0.0, lead_ohm=0.0, **keys)  # type: ignore[arg-type]


def test_a_walk_that_shows_its_values() -> None:
    """Five ranges, one conversion each, a value in every one; then 0.1 Ω a digit."""
    assert walked(walking()) == [(State.OK, digit) for digit in [*LADDER, 0.1, 0.1, 0.1, 0.1]]


def test_a_walk_behind_over_range_that_shows_its_range() -> None:
    """The same ranges, but no value before the last."""
    assert walked(walking(walk="range")) == [(State.OVER, digit) for digit in LADDER] + [(State.OK, 0.1)] * 4


def test_a_walk_behind_over_range_that_shows_nothing() -> None:
    """Over-range looks the same in every range, in air as well."""
    spec = walking(walk="hidden")
    shown = walked(spec)
    assert [state for state, _ in shown] == [State.OVER] * 5 + [State.OK] * 4
    assert len({digit for state, digit in shown if state is State.OVER}) == 1
    made = Meter(spec, Random(1))
    assert {one.range for one in whole(made, AIR, 8)} == {Range(5, "", 0)}


def test_a_walk_dwells_in_each_range() -> None:
    """Two conversions a range, down and up."""
    spec = walking(dwell=2)
    assert [digit for _, digit in walked(spec, 11)] == [digit for digit in LADDER for _ in range(2)] + [0.1]
    made = Meter(spec, Random(1))
    whole(made, path(0.2), 12)
    assert [one.range.resolution for one in whole(made, AIR, 6)] == [0.1, 0.1, 1.0, 1.0, 10.0, 10.0]


def test_a_meter_that_jumps_up() -> None:
    """Over-range in its finest range, and the next conversion is in its top range."""
    made = Meter(walking(jumps=True), Random(1))
    whole(made, path(0.2), 8)
    assert [one.range.resolution for one in whole(made, AIR, 3)] == [0.1, 1e4, 1e4]


def test_a_smoothed_display_goes_half_way_each_time_and_begins_anew_after_air() -> None:
    """From 100 Ω to 20 Ω with half kept: 60, 40, 30; after over-range the first value is what is there."""
    made = meter(walking(smooth=0.5))
    assert [one.value for one in whole(made, path(100.0), 2)] == [100.0, 100.0]
    assert [one.value for one in whole(made, path(20.0), 3)] == [60.0, 40.0, 30.0]
    whole(made, AIR)
    assert whole(made, path(20.0))[0].value == 20.0
