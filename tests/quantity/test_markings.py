"""Values and markings as written, against IEC 60062, the SI and reference libraries."""

import re
from fractions import Fraction

import eseries
import pytest
import rkm_codes
from hypothesis import given, settings
from hypothesis import strategies as st

from metercap.errors import ValueText
from metercap.quantity import Value, parse_value
from tests.effort import examples


@pytest.mark.parametrize(
    ("text", "value", "resolution"),
    # IEC 60062:2016, resistance marking; the values agree with the rkm-codes package, see below.
    [
        ("R47", 0.47, 0.01),
        ("4R7", 4.7, 0.1),
        ("470R", 470.0, 1.0),
        ("4K7", 4700.0, 100.0),
        ("4k7", 4700.0, 100.0),
        ("47K", 47000.0, 1000.0),
        ("47K3", 47300.0, 100.0),
        ("470K", 470000.0, 1000.0),
        ("4M7", 4.7e6, 1e5),
        ("1G5", 1.5e9, 1e8),
        # L is milliohm
        ("1L5", 0.0015, 0.0001),
        ("L47", 0.00047, 0.00001),
    ],
)
def test_resistance_markings(text: str, value: float, resolution: float) -> None:
    """IEC 60062 letters stand where the decimal point would; the last digit gives the resolution."""
    assert parse_value(text) == Value(value=value, unit="ohm", resolution=resolution)
    assert parse_value(text, unit="ohm").value == value


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("p47", 0.47e-12, "F"),  # IEC 60062:2016, capacitance marking
        ("2n2", 2.2e-9, "F"),
        ("4u7", 4.7e-6, "F"),
        ("4\u00b57", 4.7e-6, "F"),
        ("4\u03bc7", 4.7e-6, "F"),
        ("100n", 100e-9, "F"),
        ("4m7", 4.7e-3, "F"),
        ("3V3", 3.3, "V"),  # from here common practice, no source
        ("1V8", 1.8, "V"),
        ("-3V3", -3.3, "V"),
        ("3A15", 3.15, "A"),
        ("1.5k", 1500.0, "ohm"),
        ("4k7Ω", 4700.0, "ohm"),
        ("4k7 ohm", 4700.0, "ohm"),
    ],
)
def test_other_markings(text: str, value: float, unit: str) -> None:
    """Capacitance letters, decimal marks named for their unit, and markings with the unit after them."""
    found = parse_value(text)
    assert (found.value, found.unit) == (value, unit)


def test_markings_agree_with_the_reference_package() -> None:
    """Every E24 value in every decade reads as the `rkm-codes` package reads it, under its IEC 60062 letters.

    Its default letters are not the standard's: there "1L5" is 1.5 of something, not 1.5 milliohm.
    """
    rkm_codes.set_prefs(rkm_maps=rkm_codes.IEC60062_MAPS)
    try:
        checked = 0
        for letter in "LRKMGTpnum":
            for digits in (str(number) for number in eseries.series(eseries.E24)):
                for text in (f"{letter}{digits}", f"{digits[0]}{letter}{digits[1]}", f"{digits}{letter}"):
                    theirs = rkm_codes.from_rkm(text)
                    ours = parse_value(text)
                    assert ours.value == pytest.approx(float(theirs), rel=1e-15), text
                    assert ours.unit == {"Ω": "ohm", "F": "F"}[theirs.units], text
                    checked += 1
        assert checked == 10 * 24 * 3
    finally:
        rkm_codes.set_prefs(rkm_maps=None)


def test_the_trap_of_default_letters_is_real() -> None:
    """Outside IEC 60062 letters the reference package takes L for a unit, so the test above has to choose them."""
    rkm_codes.set_prefs(rkm_maps=None)
    assert float(rkm_codes.from_rkm("1L5")) == 1.5
    assert parse_value("1L5").value == 0.0015


# SI Brochure (BIPM, 9th edition), table 7: prefixes.
PREFIXES = {"p": -12, "n": -9, "u": -6, "µ": -6, "μ": -6, "m": -3, "": 0, "k": 3, "M": 6, "G": 9, "T": 12}
SPELLINGS = {"ohm": "ohm", "Ohm": "ohm", "\u03a9": "ohm", "\u2126": "ohm", "V": "V", "A": "A", "F": "F", "Hz": "Hz"}


@settings(derandomize=True, database=None, max_examples=examples(400))
@given(
    st.sampled_from("+-\u2212 ").map(str.strip),
    st.integers(0, 99_999),
    st.integers(0, 5),
    st.sampled_from(["", " ", "\u00a0", "\u202f", "  "]),
    st.sampled_from(list(PREFIXES)),
    st.sampled_from(list(SPELLINGS)),
)
def test_number_prefix_unit(sign: str, digits: int, places: int, gap: str, prefix: str, unit: str) -> None:
    """Any number with any SI prefix and unit is the nearest float to the exact rational; so is its resolution."""
    body = str(digits).zfill(places + 1)
    body = f"{body[:-places]}.{body[-places:]}" if places else body
    weight = Fraction(10) ** (PREFIXES[prefix] - places)
    exact = weight * digits * (-1 if sign in ("-", "\u2212") else 1)
    expected = Value(value=float(exact), unit=SPELLINGS[unit], resolution=float(weight))
    assert parse_value(f"{sign}{body}{gap}{prefix}{unit}") == expected


def test_milli_and_mega_differ_by_case() -> None:
    """The case of m carries nine decades (SI Brochure, table 7), in either spelling of the ohm."""
    assert parse_value("3 mohm").value == 0.003
    assert parse_value("3 Mohm").value == 3e6
    assert parse_value("3 Kohm") == parse_value("3 kohm")


@pytest.mark.parametrize(
    ("text", "what", "hint"),
    [
        ("1,5 kohm", "comma", "1.5 kohm"),
        ("1,500", "comma", "thousands"),
        ("3 mv", "not a unit", "mV or MV"),
        ("3 kohn", "not a unit", "kohm"),
        ("10 k", "no unit", "without the space"),
        ("", "no value", "write"),
        ("  ", "no value", "write"),
        ("NaN", "not a value", "write"),
        ("inf", "not a value", "write"),
        ("-inf", "not a value", "write"),
        ("OL", "not a value", "write"),
        ("1e31", "beyond", "write"),
        ("1e-31 V", "beyond", "write"),
        ("1e30 kV", "beyond", "exponent"),
        ("1e-30 mV", "beyond", "exponent"),
        ("1" * 65, "too long", "64"),
        ("F1", "not a value", "write"),
        ("V33", "not a value", "write"),
        ("4k7 F", "not a value", "write"),
        ("4k7 kohm", "not a value", "write"),
        ("1.5k2", "not a unit", "write"),
        ("1 500 ohm", "not a value", "write"),
        ("3 V V", "not a value", "write"),
        ("٣ V", "not a value", "write"),
        ("1_000", "not a unit", "write"),
        ("0x10", "not a unit", "write"),
        ("\x1b[2J", "not a value", "write"),
        ("\ud800", "not a value", "write"),
    ],
)
def test_refusals_say_what_and_what_to_try(text: str, what: str, hint: str) -> None:
    """What is no value, or could be two, is refused with the place and a way out, printable whatever came in."""
    with pytest.raises(ValueText) as caught:
        parse_value(text)
    assert what in caught.value.what
    assert hint in caught.value.hint
    assert str(caught.value).replace("\n", "").isprintable()
    str(caught.value).encode()


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("3 V", "ohm", "ohm"),
        ("4m7", "ohm", "capital M"),
        ("4k7", "Hz", "Hz"),
        ("50 %", "V", "V"),
        ("3 V", "", "no unit"),
    ],
)
def test_wrong_unit_names_the_one_expected(text: str, unit: str, expected: str) -> None:
    """A value in another unit is refused, and the message says which one belongs there."""
    with pytest.raises(ValueText, match=re.escape(expected)):
        parse_value(text, unit=unit)


@settings(derandomize=True, database=None, max_examples=examples(600))
@given(st.text(max_size=80), st.sampled_from([None, "ohm", "V", "s", "%", "", "parsec"]))
def test_no_text_raises_anything_but_value_text(text: str, unit: str | None) -> None:
    """Whatever the text, there is a finite value or a ValueText."""
    try:
        found = parse_value(text, unit=unit)
    except ValueText:
        return
    assert abs(found.value) < 1e31
    assert found.resolution > 0


@settings(derandomize=True, database=None, max_examples=examples(1500))
@given(st.text(alphabet="0159.,eE+-kKmMuµRLVAFhzs%Ω° ", max_size=12))
def test_no_near_miss_raises_anything_but_value_text(text: str) -> None:
    """The same for texts made from the grammar's own letters, where parsers break."""
    try:
        found = parse_value(text)
    except ValueText:
        return
    assert abs(found.value) < 1e31
    assert found.resolution > 0
