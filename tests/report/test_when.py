"""Session time on the wall: local time by the recorded offset, UTC beside it, and what is no time at all."""

from __future__ import annotations

import msgspec
import pytest

from metercap.report.when import When, elapsed, lasting
from tests.steps.bench_play import confirm, meter, opening

FIRST = opening([confirm()], meter(), start_utc="2031-03-04T22:50:07.250Z", zone_offset_s=5400)


def test_local_and_utc() -> None:
    """22:50:07 UTC is 00:20:07 of the next day an hour and a half east; where the date differs it is written."""
    when = When(FIRST)
    assert when.whole(0.0) == "2031-03-05 00:20:07 local time (UTC+01:30), 2031-03-04 22:50:07 UTC"
    assert when.whole(7200.0) == "2031-03-05 02:20:07 local time (UTC+01:30), 00:50:07 UTC"
    assert when.clock(60.0) == "00:21:07"


@pytest.mark.parametrize("text", ["", "yesterday", "2031-03-04T22:50:07", "9999-12-31T23:59:59Z"])
def test_what_is_no_time_is_shown_as_recorded(text: str) -> None:
    """A journal may say anything; a start without a zone is no moment either."""
    when = When(msgspec.structs.replace(FIRST, start_utc=text))
    assert when.whole(1e6) == text
    assert when.clock(1e6) == ""


def test_an_offset_beyond_a_day_is_no_zone() -> None:
    """Such an offset cannot be, so nothing is made of it."""
    when = When(msgspec.structs.replace(FIRST, zone_offset_s=200_000))
    assert when.whole(0.0) == FIRST.start_utc


@pytest.mark.parametrize(
    ("t_s", "text"), [(0.0, "0:00"), (59.4, "0:59"), (59.6, "1:00"), (3723.0, "1:02:03"), (-5.0, "0:00")]
)
def test_elapsed(t_s: float, text: str) -> None:
    """Minutes and seconds, hours where there are any."""
    assert elapsed(t_s) == text


def test_elapsed_with_tenths() -> None:
    """A tenth more where a picture is short."""
    assert elapsed(123.44, tenths=True) == "2:03.4"


@pytest.mark.parametrize(
    ("t_s", "text"), [(45.2, "45 s"), (808.0, "13 min 28 s"), (86_400.0, "24 h 0 min"), (1e308, "2777777 h 46 min")]
)
def test_lasting(t_s: float, text: str) -> None:
    """In words that say how long."""
    assert lasting(t_s) == text
