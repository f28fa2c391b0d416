"""turning: what a hand is told, and that it is told nothing by a conversion that cannot be believed."""

from __future__ import annotations

import itertools
from typing import Any

import pytest

from metercap.plankeys.tune import Band
from metercap.quantity import Quantity
from metercap.reading import Reading, State
from metercap.records import CueKind
from metercap.steps.tune.track import STRANGE_S
from metercap.steps.tune.turning import BLIND_S, FAR_BLIND_S, REPEAT_S, Turning

FAR, NEAR, SLOW, IN_BAND = CueKind.FAR, CueKind.NEAR, CueKind.SLOW, CueKind.IN_BAND
STOP, WRONG_WAY, PAST_IT, HAZARD = CueKind.STOP, CueKind.WRONG_WAY, CueKind.PAST_IT, CueKind.HAZARD


class Hand:
    """A trimmer found at 2000 ohm, to be turned to 1500 ± 15 ohm; one conversion after the other."""

    def __init__(self, rate: float = 5.0, *, found: float = 2000.0, **limits: Any) -> None:
        self.gap_s = 1.0 / rate
        self.t_s = 10.0
        band = Band(1500.0, 15.0, **limits)
        self.turning = Turning(band, 14.0, self.gap_s, found=found, began_s=self.t_s)
        self.turning.contact()
        self.heard: list[tuple[float, CueKind]] = []
        self(found)  # the first conversion of a contact may be a blend, and is not looked at

    def __call__(self, *values: float) -> list[CueKind]:
        """Show these values; return what was said."""
        said: list[CueKind] = []
        for value in values:
            self.t_s = round(self.t_s + self.gap_s, 6)
            reading = Reading(self.t_s, Quantity.RESISTANCE, value, 1.0, "ohm", State.OK, (), "")
            cues = self.turning.feed(reading, value)
            self.heard += [(self.t_s, cue) for cue in cues]
            said += cues
        return said

    def times(self, cue: CueKind) -> list[float]:
        """When this cue was given."""
        return [t_s for t_s, heard in self.heard if heard is cue]


def run(start: int, stop: int, step: int) -> list[float]:
    """Return values from `start` to before `stop`."""
    return [float(value) for value in range(start, stop, step)]


@pytest.mark.parametrize("blend", [2300.0, 4000.0, 9000.0])
def test_one_blend_on_the_way_says_nothing(blend: float) -> None:
    """The hand turns the right way; a conversion that saw the wiper lift is followed by the value again."""
    hand = Hand()
    assert hand(2000.0, *run(2000, 1800, -20)) == [FAR]
    assert hand(blend, *run(1780, 1700, -20)) == []


def test_a_blend_beside_lost_contact_says_nothing() -> None:
    """Over-range, then a blend, then the value: no way to turn is told in between."""
    hand = Hand()
    hand(2000.0, *run(2000, 1800, -20))
    hand.turning.lost(hand.t_s)
    hand.turning.contact()
    assert hand(5000.0, 4000.0) == []
    assert hand(1760.0, 1740.0) == [FAR]


def test_a_leap_that_the_next_conversion_confirms_steers() -> None:
    """The trimmer was clicked past the band."""
    hand = Hand()
    assert hand(2000.0) == [FAR]
    hand = Hand(found=1000.0)
    assert hand(1000.0, 2000.0) == [FAR]
    assert hand(2001.0) == [PAST_IT]


def test_the_wrong_way_from_rest_is_said_at_once() -> None:
    """A hand that begins the wrong way is told by its first conversion."""
    assert Hand()(2000.0, 2040.0) == [FAR, WRONG_WAY]


def test_a_hand_does_not_turn_round_by_itself() -> None:
    """After inward motion one outward step is no wrong way; a second one is."""
    hand = Hand()
    hand(2000.0, *run(2000, 1800, -20))
    assert hand(1850.0) == []
    assert hand(1900.0, 1950.0) == [WRONG_WAY]


def test_a_cue_that_is_not_obeyed_is_repeated_about_once_a_second() -> None:
    """The hand goes on the wrong way: told when it begins, and every second after."""
    hand = Hand()
    hand(*run(2000, 2400, 20))
    times = hand.times(WRONG_WAY)
    assert len(times) == 4
    assert all(REPEAT_S * 0.95 <= later - earlier <= 1.2 for earlier, later in itertools.pairwise(times))


def test_slow_meters_need_longer_to_show_that_a_cue_was_obeyed() -> None:
    """At 2/s a reaction and two conversions go by before the value turns round."""
    hand = Hand(2.0)
    hand(*run(2000, 2400, 20))
    times = hand.times(WRONG_WAY)
    assert all(later - earlier >= 1.3 for earlier, later in itertools.pairwise(times))
    assert len(times) > 3


def test_far_and_near_are_said_once() -> None:
    """They hold for long, and ask for no change."""
    hand = Hand()
    assert hand(*run(2000, 1520, -4)) == [FAR, NEAR]


def test_no_wrong_way_on_top_of_past_it() -> None:
    """The hand that ran through the band has not reacted yet."""
    hand = Hand()
    hand(*run(2000, 1560, -40))
    said = hand(1480.0, 1440.0, 1400.0, 1360.0)
    assert said == [PAST_IT]
    assert hand(1320.0, 1280.0, 1240.0, 1200.0)[0] is WRONG_WAY


def test_a_hand_that_was_slowed_is_not_sent_on_at_full_speed() -> None:
    """Out of reach at its lower speed it is near, not far."""
    hand = Hand()
    said = hand(*run(2000, 1640, -40), 1632.0, 1624.0, 1616.0, 1608.0)
    assert said == [FAR, SLOW, NEAR]


def test_a_slow_meter_says_near_where_full_speed_would_run_through() -> None:
    """At 2/s and 200 ohm/s a hand covers 260 ohm before it reacts: 75 ohm off it is told to go gently."""
    hand = Hand(2.0)
    hand(2000.0, 1900.0, 1800.0, 1700.0)
    assert hand.heard[-1][1] is STOP
    assert hand(1576.0, 1576.0) == [NEAR]
    assert Hand(2.0, found=1576.0)(1576.0) == [FAR]


def test_a_wide_band_is_not_approached_gently_from_far_off() -> None:
    """Five half bands of ±10 % are half of the target; near begins at a tenth, about zero at two half bands."""
    hand = Hand(found=1900.0)
    hand.turning.aim_at(Band(1500.0, 150.0))
    hand.turning.inner = 140.0
    assert hand(1900.0) == [FAR]
    hand.turning.aim_at(Band(1800.0, 90.0))
    hand.turning.inner = 80.0
    assert hand(1900.0) == [NEAR]
    for found, cue in ((40.0, FAR), (29.0, NEAR)):
        hand = Hand(found=found)
        hand.turning.aim_at(Band(0.0, 15.0))
        assert hand(found) == [cue]


def test_a_leap_as_long_as_the_way_to_the_band_stops_a_slow_hand_at_once() -> None:
    """At 2/s the next conversion would come too late, whether this one is a blend or not."""
    assert Hand(2.0, found=1300.0)(1300.0, 1430.0) == [FAR, STOP]
    assert Hand(5.0, found=1300.0)(1300.0, 1430.0) == [FAR]


def test_a_hand_that_cannot_be_followed_is_stopped() -> None:
    """Nothing to believe: near the band for a second, far from it for longer."""
    near = Hand(found=1560.0)
    near(1560.0)
    near(*(3000.0 + 500.0 * (n % 3) for n in range(12)))
    assert near.times(STOP)[0] == pytest.approx(10.4 + BLIND_S, abs=0.21)
    far = Hand()
    far(2000.0)
    far(*(6000.0 + 900.0 * (n % 3) for n in range(20)))
    assert far.times(STOP)[0] == pytest.approx(10.4 + FAR_BLIND_S, abs=0.21)
    assert {cue for _, cue in far.heard} == {FAR, STOP}


def test_at_rest_further_away_than_before_is_the_wrong_way() -> None:
    """Between two rests nothing could be followed; the hand must still turn round."""
    hand = Hand(found=1560.0)
    hand(1560.0, 1560.0, 5000.0, 4100.0, 6000.0, 5200.0)
    assert hand(1600.0, 1600.0, 1600.0)[0] is WRONG_WAY


def test_scatter_steers_nobody() -> None:
    """Ten conversions a second from a noisy wiper at rest: one cue, not a stream of them."""
    hand = Hand(10.0, found=1560.0)
    noise = (2.0, -3.0, 1.0, 3.0, -2.0, -1.0, 2.0, -3.0, 3.0, 0.0, -2.0, 2.0)
    assert hand(*(1560.0 + off for off in noise)) == [NEAR]


def test_a_trimmer_at_its_end_is_steered_though_it_reads_next_to_nothing() -> None:
    """It is off the track, and a note; once it has steered for three conversions it is the track, and an excursion."""
    hand = Hand(never_below=1200.0)
    assert hand(2000.0, 1960.0, 1900.0) == [FAR]
    said = hand(*[0.0] * int(STRANGE_S / 0.2 + 4))
    assert said[0] is HAZARD
    assert said[-1] in (PAST_IT, WRONG_WAY)
    hand(1700.0, 1700.0)
    assert hand.turning.notes == ["probes or track"]
    (past,) = hand.turning.excursions
    assert (past.worst, past.duration_s) == pytest.approx((0.0, 2.8))


def test_the_hazard_alarm_waits_for_no_confirmation_and_an_excursion_does() -> None:
    """A blend past never_above sounds the alarm; only a value that stays there is an excursion."""
    hand = Hand(never_above=2500.0)
    assert hand(2000.0, 6000.0) == [FAR, HAZARD]
    hand(2000.0)
    assert hand.turning.excursions == []
    hand = Hand(never_above=2500.0)
    assert hand(2000.0, 6000.0, 2600.0, 2605.0)[:2] == [FAR, HAZARD]
    hand(2000.0, 2000.0)
    (past,) = hand.turning.excursions
    assert (past.side, past.worst) == ("above", 2605.0)
    assert past.duration_s == pytest.approx(0.4)


def test_a_new_hazard_after_a_blend_is_measured_from_its_own_values() -> None:
    """What could not be believed is neither the worst value nor the beginning."""
    hand = Hand(never_above=2100.0)
    hand(2000.0, 2050.0, 9000.0, 2140.0, 2150.0, 2145.0, 2000.0, 2000.0)
    (past,) = hand.turning.excursions
    assert (past.worst, past.duration_s) == pytest.approx((2150.0, 0.6))


@pytest.mark.parametrize("limits", [{}, {"never_below": 1800.0}])
def test_a_display_that_changes_by_a_count_or_two_is_no_way_to_turn(limits: dict[str, float]) -> None:
    """A meter known as 2/s that sends 3/s, and a last digit that dances: nobody touched it, past its limit or not."""
    hand = Hand(2.0, found=1700.0, **limits)
    hand.gap_s = 0.33
    heard = hand(*[1700.0, 1701.0, 1701.0, 1699.0, 1701.0, 1700.0, 1698.0, 1700.0, 1702.0, 1700.0] * 4)
    assert heard == ([HAZARD, FAR] if limits else [FAR])


def test_a_display_that_dances_in_the_band_asks_for_no_stop() -> None:
    """The same about the target: in band is said once."""
    hand = Hand(2.0, found=1500.0)
    hand.gap_s = 0.33
    assert hand(*[1500.0, 1501.0, 1499.0, 1501.0, 1500.0] * 6) == [IN_BAND]


def test_a_contact_that_begins_elsewhere_says_nothing_of_the_way_there() -> None:
    """Found at 1400, and touched again at 1200: somebody turned it in between, and nobody turns it now."""
    hand = Hand(found=1400.0)
    hand(1400.0, 1400.0)
    hand.turning.lost(hand.t_s)
    hand.turning.contact()
    assert WRONG_WAY not in hand(1200.0, 1200.0, 1199.0, 1200.0, 1200.0, 1199.0)
    assert hand(1170.0) == [WRONG_WAY]
