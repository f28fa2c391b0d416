"""Profiles whose tables do not make sense: all problems at once, each by its key."""

from __future__ import annotations

import msgspec
import pytest

from metercap.errors import ProfileError
from metercap.meter import MeterProfile
from metercap.profiles import find_meter, meter_names
from metercap.wire import decoder


def changed(name: str, table: str, **rows: str | float | None) -> MeterProfile:
    """Return a shipped profile with rows of one table replaced, or taken out by None; keys have dots for double
    underscores."""
    profile = find_meter(name)
    new = dict(profile.tables.get(table, {}))
    for key, value in rows.items():
        key = key.replace("__", ".")
        new.pop(key, None)
        if value is not None:
            new[key] = value
    return msgspec.structs.replace(profile, tables={**profile.tables, table: new})


def problems(profile: MeterProfile) -> str:
    """Return what the decoder says is wrong."""
    with pytest.raises(ProfileError) as caught:
        decoder(profile)
    return str(caught.value)


@pytest.mark.parametrize("name", meter_names())
def test_a_missing_table_is_named(name: str) -> None:
    """A profile without tables says which are missing, and for which profile."""
    text = problems(msgspec.structs.replace(find_meter(name), tables={}))
    assert f"profile {name}" in text
    assert "tables." in text
    assert "is missing" in text or "has no place" in text or "must" in text


@pytest.mark.parametrize("name", meter_names())
def test_an_unknown_table_is_named_with_the_nearest_spelling(name: str) -> None:
    """A misspelt table would be passed over in silence; it is refused instead."""
    profile = find_meter(name)
    first = next(iter(profile.tables))
    text = problems(msgspec.structs.replace(profile, tables={**profile.tables, f"{first}s": {"a": "b"}}))
    assert f"tables.{first}s: no such table" in text
    assert f'did you mean "{first}"' in text


def test_all_problems_come_at_once() -> None:
    """Two wrong keys are both named."""
    text = problems(changed("lcd14", "segments", **{"2__4": "e9", "15__1": "hold"}))
    assert "tables.segments.2.4: no symbol 'e9'" in text
    assert "tables.segments.15.1: must be a byte" in text
    assert "has no place for e1" in text


@pytest.mark.parametrize(
    ("name", "table", "rows", "why"),
    [
        ("lcd14", "segments", {"14__1": "hold"}, "'hold' stands at another bit too"),
        ("lcd14", "segments", {"1__8": "acc"}, 'did you mean "ac"'),
        ("lcd14", "segments", {"1__8": 8.0}, "8.0 must be text"),
        ("lcd14", "segments", {"2__8": None}, "has no place for minus"),
        ("lcd14", "segments", {"12__4": None}, "'ohm' has no bit"),
        ("lcd14", "quantities", {"beep": "continuity"}, "names no unit"),
        ("lcd14", "quantities", {"beep ohm": "resistance"}, "stands twice"),
        ("lcd14", "quantities", {"V": "resistance"}, "measured in ohm"),
        ("lcd14", "quantities", {"ohm": "resistence"}, 'did you mean "resistance"'),
        ("digits14", "frame", {"layout": "DDD"}, "one R, one F"),
        ("digits14", "frame", {"layout": 5.0}, "one R, one F"),
        ("digits14", "frame", {"layout": "RDDDDDFSSSSX"}, "one R, one F"),
        ("digits14", "bits", {"6__8": "hold"}, "must be the position of a status byte"),
        ("digits14", "bits", {"11__1": "hold"}, "stands at another bit too"),
        ("digits14", "bits", {"11__1": "hodl"}, 'did you mean "hold"'),
        ("digits14", "bits", {"7__1": None}, "has no place for over"),
        ("digits14", "bits", {"10__8": None}, "'dc' has no bit"),
        ("digits14", "quantities", {"33": "resistance"}, "one function code"),
        ("digits14", "quantities", {"; ac dc": "voltage_ac", "; dc ac": "voltage_ac"}, "stands twice"),
        ("digits14", "weights", {"30": 0.02}, "must be a power of ten"),
        ("digits14", "weights", {"30": "ten"}, "must be a power of ten"),
        ("digits14", "weights", {"30": -0.01}, "must be a power of ten"),
        ("digits14", "weights", {"3": 0.1}, "a function code and a range code"),
        ("digits14", "weights", {"Z0": 0.1}, "no function 'Z'"),
        ("digits14", "weights", {"22": 0.1}, "serves several units"),
        ("digits14", "weights", {"20 duti": 0.1}, 'did you mean "duty"'),
        ("polled-line", "quantities", {"OHM Ohm": "resistance"}, "mode of two characters"),
        ("polled-line", "quantities", {"OH GOhm": "resistance"}, "no unit 'GOhm'"),
        ("polled-line", "exponents", {"kOhm": 3.5}, "whole number"),
        ("polled-line", "exponents", {"kOhm": 31.0}, "whole number"),
        ("text", "units", {"ohm": "hom"}, "no unit symbol"),
        ("text", "flags", {"auto": "auot"}, 'did you mean "auto"'),
        ("text", "quantities", {"V": "resistance"}, "measured in ohm"),
        ("scpi", "queries", {"MEAS:RES": "resistance"}, "ending in ?"),
        ("scpi", "queries", {"MEAS RES?": "resistance"}, "without parameters"),
    ],
)
def test_each_problem_is_named(name: str, table: str, rows: dict[str, str | float | None], why: str) -> None:
    """A wrong row is named by table and key, with what would be right."""
    text = problems(changed(name, table, **rows))
    assert why in text
    assert f"tables.{table}" in text


def test_weights_may_be_numbers_or_text() -> None:
    """0.01, "0.01" and "1e-2" are one weight."""
    for weight in (0.01, "0.01", "1e-2"):
        decoder(changed("digits14", "weights", **{"30": weight}))


def test_duty_and_temperature_read_once_their_weights_are_known() -> None:
    """One row a range in a copy of the profile is all that a missing weight takes."""
    meter = decoder(changed("digits14", "weights", **{"20 duty": 0.1, "40": 0.1}))
    (duty,) = meter.feed(b"000499200000\r\n", 1.0)
    (temperature,) = meter.feed(b"000235400000\r\n", 2.0)
    assert (duty.quantity, duty.value) == ("duty", 49.9)
    assert (temperature.quantity, temperature.value) == ("temperature", 23.5)
