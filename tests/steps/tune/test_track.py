"""track: which conversions are believed, and how fast the value runs."""

from __future__ import annotations

import math
import statistics

import pytest
from scipy.stats import linregress

from metercap.steps.tune.track import ROUGH_OVER_S, ROUGH_S, SURE, Track, slope


def fed(track: Track, *values: float, every_s: float = 0.2, resolution: float = 1.0) -> list[int]:
    """Feed conversions `every_s` apart, after the last one; return how many each one made believed."""
    began_s = track.t_s
    out = []
    for n, value in enumerate(values, 1):
        out.append(len(track.feed(round(began_s + n * every_s, 6), value, resolution)))
    return out


def still(**more: object) -> Track:
    """Return a track of ±15 ohm at 5 conversions/s that rests at 2000 ohm."""
    track = Track(15.0, 0.2, **more)  # type: ignore[arg-type]
    assert fed(track, 2000.0, 2000.0, 2001.0) == [1, 1, 1]
    return track


@pytest.mark.parametrize("n", [2, 3, 4, 7])
def test_slope_is_that_of_least_squares(n: int) -> None:
    """Against the standard library's linear regression."""
    points = [(0.1 * k, 100.0 - 7.0 * k + math.sin(k)) for k in range(n)]
    expected = statistics.linear_regression(*zip(*points, strict=True)).slope
    gradient, steady = slope(points)
    assert gradient == pytest.approx(expected, rel=1e-12) and not steady


@pytest.mark.parametrize("drift", [0.1, 0.5, 1.0, 2.0, 4.0])
def test_slope_drowns_below_two_standard_errors(drift: float) -> None:
    """Against scipy's standard error of the slope; from four points on."""
    scatter = (0.0, 3.0, -2.0, 4.0, -3.0, 1.0)
    points = [(0.1 * k, drift * k + off) for k, off in enumerate(scatter)]
    found = linregress(*zip(*points, strict=True))
    drowned = abs(found.slope) < SURE * found.stderr
    assert slope(points) == ((0.0, True) if drowned else (pytest.approx(found.slope), False))
    assert slope(points[:3])[1] is False


def test_slope_of_too_little_is_nothing() -> None:
    """No point, one point, two at one time."""
    assert slope([]) == slope([(1.0, 5.0)]) == slope([(1.0, 5.0), (1.0, 9.0)]) == (0.0, False)


def test_a_lone_outlier_is_not_believed() -> None:
    """A blend of the value and of open air reads high, once."""
    track = still()
    assert fed(track, 2900.0, 2000.0, 1990.0) == [0, 1, 1]
    assert track.value == 1990.0


def test_what_the_next_conversion_confirms_is_believed_with_it() -> None:
    """The value leapt and stays; or it leapt and goes on."""
    assert fed(still(), 2900.0, 2903.0) == [0, 2]
    assert fed(still(), 2300.0, 2580.0) == [0, 2]
    assert fed(still(), 2300.0, 2350.0) == [0, 0]


def test_lower_is_nearer_the_truth_in_ohms() -> None:
    """An open wiper only ever reads high; in volts it may read anything."""
    assert fed(still(), 1200.0) == [1]
    assert fed(still(opens_high=False), 1200.0) == [0]
    assert fed(still(opens_high=False), 1200.0, 1201.0) == [0, 2]


def test_two_leaps_down_are_a_speed_and_one_is_none() -> None:
    """One may be the way back from a blend."""
    track = still()
    fed(track, 1700.0)
    assert (track.followed, track.speed_per_s) == (False, 0.0)
    fed(track, 1400.0)
    assert track.speed_per_s == pytest.approx(-1500.0)


def test_a_hand_may_begin_stop_turn_round_and_turn_faster() -> None:
    """What one conversion can bring: a hand that runs at 200 ohm/s, then twice as fast, then back."""
    track = still()
    assert fed(track, 2020.0, 2060.0, 2100.0, 2180.0, 2260.0, 2260.0, 2180.0) == [1] * 7


def test_on_a_rough_track_like_blends_are_not_believed_before_they_last() -> None:
    """Wipers lift for like parts of several conversions: after one proven doubt agreement takes 1.5 s."""
    track = still()
    assert fed(track, 6100.0, 2000.0) == [0, 1]
    assert track.rough(track.t_s)
    needed = math.ceil(ROUGH_OVER_S / 0.2)
    assert fed(track, *[6100.0] * (needed + 1)) == [0] * needed + [2]


def test_roughness_is_forgotten() -> None:
    """After five seconds without a doubt two agreeing conversions are enough again."""
    track = still()
    fed(track, 6100.0, *[2000.0] * (int(ROUGH_S / 0.2) + 2))
    assert not track.rough(track.t_s)
    assert fed(track, 6100.0, 6101.0) == [0, 2]


def test_lost_contact_makes_the_track_rough() -> None:
    """A wiper that lifted once lifts again."""
    track = still()
    track.lost(track.t_s)
    track.part()
    assert fed(track, 6100.0, 6101.0) == [0, 0]


def test_scatter_is_no_speed() -> None:
    """Ten conversions a second of a noisy wiper at rest: the speed is 0.0; running, it is seen over a second."""
    noise = (2.0, -3.0, 1.0, 3.0, -2.0, -1.0, 2.0, -3.0, 3.0, 0.0, -2.0, 2.0)
    track = Track(15.0, 0.1)
    fed(track, *(2000.0 + off for off in noise), every_s=0.1)
    assert track.speed_per_s == 0.0
    fed(track, *(2000.0 - 2.0 * n + off for n, off in enumerate(noise)), every_s=0.1)
    assert track.speed_per_s == pytest.approx(-20.0, abs=6.0)


@pytest.mark.parametrize(("errors", "drowned"), [(1.5, True), (2.5, False)])
def test_a_slope_of_two_standard_errors_stands_out(errors: float, drowned: bool) -> None:
    """Against scipy's standard error, which a drift does not change: 1.5 of them are scatter, 2.5 are none."""
    scatter = (0.0, 3.0, -2.0, 4.0, -3.0, 1.0, -1.0, 2.0)
    points = [(0.1 * k, off) for k, off in enumerate(scatter)]
    level = linregress(*zip(*points, strict=True))
    drift = errors * level.stderr - level.slope
    assert slope([(t_s, value + drift * t_s) for t_s, value in points])[1] is drowned
