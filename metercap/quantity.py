"""Quantities, units and values as people write them.

Text goes to numbers through `Decimal`, so a value is the float nearest to the decimal that was written, and its
resolution is the weight of the last digit written: "2.187 kΩ" is 2187 with resolution 1. Nothing is guessed:
what can be read in two ways is refused, with what to write instead.

Component markings follow IEC 60062: the multiplier letter stands where the decimal point would. R, K, M, G, T and
L (milliohm) mark resistance, p, n, µ and m capacitance. V and A as decimal mark ("3V3", "1A25") are common
practice, no source.
"""

from __future__ import annotations

import math
import re
from decimal import ROUND_HALF_EVEN, Context, Decimal
from enum import StrEnum
from typing import Any

import msgspec
from natsort import natsort_keygen

from metercap.errors import ValueText


class Quantity(StrEnum):
    """What a meter measures."""

    RESISTANCE = "resistance"
    CONTINUITY = "continuity"
    VOLTAGE_DC = "voltage_dc"
    VOLTAGE_AC = "voltage_ac"
    CURRENT_DC = "current_dc"
    CURRENT_AC = "current_ac"
    CAPACITANCE = "capacitance"
    FREQUENCY = "frequency"
    DUTY = "duty"
    DIODE = "diode"
    TEMPERATURE = "temperature"

    @property
    def unit(self) -> str:
        """The SI unit of this quantity's values, without prefix ("degC" for temperature, "%" for duty)."""
        return _UNIT_OF[self]


_UNIT_OF = {
    Quantity.RESISTANCE: "ohm",
    Quantity.CONTINUITY: "ohm",
    Quantity.VOLTAGE_DC: "V",
    Quantity.VOLTAGE_AC: "V",
    Quantity.CURRENT_DC: "A",
    Quantity.CURRENT_AC: "A",
    Quantity.CAPACITANCE: "F",
    Quantity.FREQUENCY: "Hz",
    Quantity.DUTY: "%",
    Quantity.DIODE: "V",
    Quantity.TEMPERATURE: "degC",
}

MAX_TEXT = 64
"""Longest text, in characters, that is looked at as one value or one item name."""
MAX_EXPONENT = 30
"""Largest power of ten, either way, of a written exponent and of the value it makes."""
MAX_ITEMS = 10_000
"""Most items one list may expand to."""

# Wide enough that no product or sum of 64-character numbers is ever rounded, whatever context the caller has set.
_EXACT = Context(prec=150, rounding=ROUND_HALF_EVEN)

_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)"
_DISPLAYED = re.compile(rf" *{_NUMBER}(?:[eE][+-]?[0-9]{{1,3}})? *")
_WRITTEN = re.compile(rf"(?P<number>{_NUMBER})(?:[eE](?P<exponent>[+-]?[0-9]+))? *(?P<suffix>[^0-9.,+\- ][^ ]*)?")
_MARKING = re.compile(
    r"(?P<sign>[+-]?)(?:(?P<whole>[0-9]+(?:\.[0-9]+)?)(?P<infix>[RrΩKkMGTLpnumVvA])(?P<part>[0-9]*)"
    r"|(?P<prefix>[RrKkMGTLpnum])(?P<fraction>[0-9]+)) *(?P<unit>[^0-9 ]+)?"
)
_MARKS = {
    **dict.fromkeys("RrΩ", (0, "ohm")),
    **dict.fromkeys("Kk", (3, "ohm")),
    **{"M": (6, "ohm"), "G": (9, "ohm"), "T": (12, "ohm"), "L": (-3, "ohm")},
    **{"p": (-12, "F"), "n": (-9, "F"), "u": (-6, "F"), "m": (-3, "F")},
    **dict.fromkeys("Vv", (0, "V")),
    "A": (0, "A"),
}

# One spelling of each sign: both micro signs, both ohm signs, the minus sign, spaces that do not break.
_ONE_SPELLING = str.maketrans(
    {
        "\u00b5": "u",
        "\u03bc": "u",
        "\u2126": "Ω",
        "\u2212": "-",
        "\u00a0": " ",
        "\u2009": " ",
        "\u202f": " ",
        "\u2103": "°C",
    }
)

_PREFIXES = {"p": -12, "n": -9, "u": -6, "m": -3, "": 0, "k": 3, "K": 3, "M": 6, "G": 9, "T": 12}
_SPELLINGS = {
    "ohm": ("ohm", "Ohm", "OHM", "ohms", "Ohms", "Ω"),
    "V": ("V",),
    "A": ("A",),
    "F": ("F",),
    "Hz": ("Hz",),
}
_SUFFIXES: dict[str, tuple[Decimal, str]] = {
    **{
        prefix + spelling: (Decimal(1).scaleb(exponent), unit)
        for unit, spellings in _SPELLINGS.items()
        for spelling in spellings
        for prefix, exponent in _PREFIXES.items()
    },
    **{f"{prefix}s": (Decimal(1).scaleb(_PREFIXES[prefix]), "s") for prefix in ("n", "u", "m", "")},
    "min": (Decimal(60), "s"),
    "h": (Decimal(3600), "s"),
    "%": (Decimal(1), "%"),
    "degC": (Decimal(1), "degC"),
    "°C": (Decimal(1), "degC"),
}
_EXAMPLES = {
    "ohm": "1.5 kohm",
    "V": "3.3 V",
    "A": "100 mA",
    "F": "10 uF",
    "Hz": "32.768 kHz",
    "%": "50 %",
    "degC": "85 degC",
    "s": "0.6 s",
    "": "3",
}


def decimal_si(text: str, exponent: int) -> float:
    """The float nearest to the decimal number `text` × 10^`exponent`: `float(Decimal(text).scaleb(exponent))`.

    Never counts × resolution, whose two roundings can differ from the number on the display in the last bit. `text`
    is an ASCII number, spaces around it allowed, with or without an exponent of its own. The sign of a negative
    zero stays, as the display shows it. Raises `ValueText` for anything else and for numbers beyond the floats.
    """
    if _DISPLAYED.fullmatch(text) is None or abs(exponent) > 999:
        raise ValueText(f"{_shown(text)} is not a decimal number")
    value = float(Decimal(text).scaleb(exponent, _EXACT))
    if math.isinf(value):
        raise ValueText(f"{_shown(text)} is too large a number")
    return value


class Value(msgspec.Struct, frozen=True):
    """A value as written.

    `value` in SI units without prefix; `unit` one of ohm, V, A, F, Hz, %, degC, s, or "" when none was written;
    `resolution` the weight of the last written digit, in the same unit.
    """

    value: float
    unit: str
    resolution: float


def parse_value(text: str, *, unit: str | None = None) -> Value:
    """Read a value: "2.187 kΩ", "4k7", "R47" (IEC 60062), "-5.47 V", "10 µF", "2 min", "85 °C", "50 %", "1500".

    `m` is milli and `M` is mega, always; `K` counts as kilo. `unit` is the unit without prefix that is wanted: a
    number without unit takes it, any other unit is refused. A negative zero loses its sign. Raises `ValueText`, and
    nothing else, for text that is no value, can be read in two ways (decimal comma), is longer than 64 characters,
    or lies beyond 10^±30.
    """
    number, found, weight = _read(text, unit)
    return Value(value=float(number) + 0.0, unit=found, resolution=float(weight))


class Tolerance(msgspec.Struct, frozen=True):
    """A tolerance, ± either `relative` to the target (0.005 for 0.5 %) or `absolute` in `unit`; the other is None.

    `unit` is "" for a relative one. Raises `ValueText` when both or neither are given, or for a negative or
    non-finite one.
    """

    relative: float | None
    absolute: float | None
    unit: str

    def __post_init__(self) -> None:
        given = [size for size in (self.relative, self.absolute) if size is not None]
        if len(given) != 1 or not 0.0 <= given[0] < math.inf:
            raise ValueText("a tolerance is one number from 0 up", hint='write "0.5 %" or "3 ohm"')

    def around(self, target: float) -> float:
        """Half-width of the band around `target`, in the target's unit: relative × |target|, or the absolute one."""
        if self.absolute is not None:
            return self.absolute
        assert self.relative is not None  # __post_init__ saw to it
        return self.relative * abs(target)


def parse_tolerance(text: str, *, unit: str | None = None) -> Tolerance:
    """Read a tolerance: "± 0.5 %", "+-0.5%", "+/- 3 ohm", "3 ohm".

    A percentage is always relative to the target, even where the target is itself a percentage. `unit` is the unit
    wanted of an absolute one. Raises `ValueText` as `parse_value` does, for a negative one, and for a number with
    neither "%" nor unit, which could mean either.
    """
    body = re.sub(r"\A\s*(?:±|\+/?[-\u2212])", "", text, count=1)
    number, found, _ = _read(body, None)
    if number < 0:
        raise ValueText(f"the tolerance {_shown(text)} is negative", hint="write its size alone, such as 0.5 %")
    if found == "%":
        return Tolerance(relative=float(number.scaleb(-2, _EXACT)), absolute=None, unit="")
    if found == "":
        raise ValueText(f"the tolerance {_shown(text)} has no unit", hint='write "0.5 %" or a number and its unit')
    if unit is not None and found != unit:
        raise _wrong_unit(text, found, unit)
    return Tolerance(relative=None, absolute=float(number) + 0.0, unit=found)


def parse_duration_s(text: str) -> float:
    """Read a length of time, in seconds: "0.6 s", "500 ms", "2 min", "1 h", "10" (seconds).

    Raises `ValueText` as `parse_value` does, and for a negative one.
    """
    duration = parse_value(text, unit="s")
    if duration.value < 0:
        raise ValueText(f"the time {_shown(text)} is negative", hint="write a time from 0 s up")
    return duration.value


def _read(text: str, wanted: str | None) -> tuple[Decimal, str, Decimal]:
    """The number in SI, its unit, and the weight of its last digit, all exact."""
    if len(text) > MAX_TEXT:
        raise ValueText(f"{_shown(text)} is too long for a value", hint=f"write at most {MAX_TEXT} characters")
    plain = text.translate(_ONE_SPELLING).strip()
    number, found, weight = _written(plain) or _marking(plain) or _refuse(text, plain, wanted)
    if number and abs(number.adjusted()) > MAX_EXPONENT:
        raise ValueText(f"{_shown(text)} lies beyond 10^±{MAX_EXPONENT}", hint="check the exponent and the prefix")
    if found == "" and wanted is not None:
        found = wanted
    if wanted is not None and found != wanted:
        raise _wrong_unit(text, found, wanted)
    return number, found, weight


def _written(plain: str) -> tuple[Decimal, str, Decimal] | None:
    """A number with its unit after it, or with none."""
    match = _WRITTEN.fullmatch(plain)
    if match is None:
        return None
    suffix = match["suffix"]
    factor, unit = _SUFFIXES.get(suffix, (None, "")) if suffix else (Decimal(1), "")
    exponent = int(match["exponent"] or 0)
    if factor is None or abs(exponent) > MAX_EXPONENT:
        return None
    number = Decimal(match["number"])
    weight = Decimal(1).scaleb(exponent - len(match["number"].partition(".")[2]), _EXACT)
    return _EXACT.multiply(number.scaleb(exponent, _EXACT), factor), unit, _EXACT.multiply(weight, factor)


def _marking(plain: str) -> tuple[Decimal, str, Decimal] | None:
    """A component marking, IEC 60062; also the bench's "1.5k". A unit written after it must agree with it."""
    match = _MARKING.fullmatch(plain)
    if match is None:
        return None
    whole, _, part = (match["whole"] or "0").partition(".")
    tail = match["part"] or match["fraction"] or ""
    if part and tail:  # "1.5k2"
        return None
    exponent, unit = _MARKS[match["infix"] or match["prefix"]]
    if match["unit"] is not None and _SUFFIXES.get(match["unit"]) != (Decimal(1), unit):
        return None
    number = Decimal(f"{match['sign']}{whole}.{part or tail}")
    weight = Decimal(1).scaleb(exponent - len(part or tail), _EXACT)
    return number.scaleb(exponent, _EXACT), unit, weight


def _refuse(text: str, plain: str, wanted: str | None) -> tuple[Decimal, str, Decimal]:
    """Raise the error that tells best what is wrong with a text that is no value."""
    example = f'write it as "{_EXAMPLES.get(wanted or "ohm", "3")}"'
    if not plain:
        raise ValueText("there is no value", hint=example)
    if "," in plain:
        hint = f'write the decimal mark as a point and no thousands separator, as in "{_EXAMPLES["ohm"]}"'
        raise ValueText(f"the comma in {_shown(text)} can be read in two ways", hint=hint)
    match = _WRITTEN.fullmatch(plain)
    if match is None or match["suffix"] is None or match["suffix"] in _SUFFIXES:
        if match is not None:
            raise ValueText(f"the exponent in {_shown(text)} is beyond ±{MAX_EXPONENT}", hint=example)
        raise ValueText(f"{_shown(text)} is not a value", hint=example)
    near = _nearest(match["suffix"], wanted)
    hint = f"did you mean {' or '.join(near)}?" if near else example
    raise ValueText(f"{_shown(match['suffix'])} in {_shown(text)} is not a unit", hint=hint)


def _nearest(suffix: str, wanted: str | None) -> list[str]:
    """Unit spellings like `suffix`: those that differ in case alone (m and M differ too), else the closest."""
    import difflib  # only a mistake needs it

    known = [name for name, (_, unit) in _SUFFIXES.items() if wanted in (None, "", unit)]
    same = [name for name in known if name.lower() == suffix.lower()]
    return same[:4] or difflib.get_close_matches(suffix, known, n=2)


def _wrong_unit(text: str, found: str, wanted: str) -> ValueText:
    hint = f'write it as "{_EXAMPLES.get(wanted, f"3 {wanted}")}"'
    if found == "F" and wanted == "ohm":
        hint += "; in a marking p, n, u and m are capacitance, and mega is a capital M"
    return ValueText(f"{_shown(text)} is in {found}, but {wanted or 'no unit'} is expected", hint=hint)


def _shown(text: str) -> str:
    """`text` quoted for a message: control and unprintable characters escaped, cut to a bearable length."""
    return repr(text if len(text) <= MAX_TEXT else f"{text[: MAX_TEXT - 1]}…")


_PRINTED_PREFIXES = {-12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G", 12: "T"}
_PRINTED_UNITS = {"ohm": "Ω", "degC": "°C"}
_SIGNIFICANT = 4


def format_value(value: float, unit: str, resolution: float | None = None) -> str:
    """`value` (SI, in `unit`) as people write it, with an engineering prefix: "2.187 kΩ", "0.000 MΩ", "2 min".

    With `resolution` (SI; 0 counts as none) the last digit printed has the weight of its decade, no digit more or
    fewer: 2187 ohm at resolution 1000 is "2 kΩ". A zero takes the prefix above its resolution, so 0 ohm at
    resolution 1000 is "0.000 MΩ". Without, up to 4 significant digits and no trailing zeros. Percent, degrees and
    numbers without unit take no prefix, and seconds none above; there, tens that the resolution does not carry
    print as zeros. Times at a resolution of a minute or more, or of whole minutes without one, print in minutes. A
    zero has no sign. `parse_value` reads every result back, within half a resolution. Raises `ValueText` for a
    value or resolution that is not finite, or a negative resolution.
    """
    if not math.isfinite(value) or not 0.0 <= (resolution or 0.0) < math.inf:
        raise ValueText(f"{value!r} at resolution {resolution!r} cannot be written as a value")
    number, weight = Decimal(repr(float(value))), Decimal(repr(float(resolution or 0.0)))
    if unit == "s" and _in_minutes(number, weight):
        number, weight = _EXACT.divide(number, Decimal(60)), _EXACT.divide(weight, Decimal(60))
        unit = "min"
    if weight:
        last = weight.adjusted()
    else:
        last = number.adjusted() - _SIGNIFICANT + 1 if number else 0
    number = _round_to(number, last)
    prefix = _prefix(number, last, bool(weight), unit)
    places = max(prefix - last, 0)
    text = f"{abs(number).scaleb(-prefix, _EXACT):.{places}f}"
    if not weight and places:
        text = text.rstrip("0").rstrip(".")
    sign = "-" if number < 0 else ""
    glue = " " if unit else ""
    return f"{sign}{text}{glue}{_PRINTED_PREFIXES[prefix]}{_PRINTED_UNITS.get(unit, unit)}"


def _in_minutes(number: Decimal, weight: Decimal) -> bool:
    if weight:
        return weight >= 60
    return abs(number) >= 60 and (number % 60 == 0 or abs(number) >= 600)


def _round_to(number: Decimal, last: int) -> Decimal:
    """`number` rounded half to even at the digit of weight 10^`last`."""
    return number.scaleb(-last, _EXACT).to_integral_value(ROUND_HALF_EVEN).scaleb(last, _EXACT)


def _prefix(number: Decimal, last: int, carried: bool, unit: str) -> int:
    """The power of ten of the prefix: the number's own, but none that would print digits nobody measured."""
    if unit not in _SPELLINGS and unit != "s":
        return 0
    if number:
        own = number.adjusted() // 3 * 3
        prefix = max(own, -(-last // 3) * 3) if carried else own
    else:
        prefix = last // 3 * 3 + 3 if carried else 0
    return min(max(prefix, -9 if unit == "s" else -12), 0 if unit == "s" else 12)


_natural = natsort_keygen()


def natural_key(name: str) -> Any:
    """Sort key for natural order: F1, F2, F10. Names that natural order holds equal (F1, F01) sort by their text."""
    return (_natural(name), name)


def expand_items(text: str) -> list[str]:
    """Item names from a list as people write it: "F1..F12", "RV1", "F1..F3, F7"; in the order written.

    Zero padding is kept: "F01..F12". Raises `ValueText` for an empty name, one longer than 64 characters, ends of a
    range that differ in more than their number, a range that runs down, a name given twice, and more than 10 000
    names.
    """
    names: list[str] = []
    for part in text.replace("…", "..").split(","):
        names += _expand(part.strip(), room=MAX_ITEMS - len(names))
    if len(set(names)) != len(names):
        seen: set[str] = set()
        twice = next(name for name in names if name in seen or seen.add(name))  # type: ignore[func-returns-value]
        raise ValueText(f"the item {_shown(twice)} is given twice", hint="name each item once")
    return names


def _expand(part: str, room: int) -> list[str]:
    if room < 1:
        raise ValueText(f"more than {MAX_ITEMS} items", hint="split the list over several steps")
    ends = [end.strip() for end in part.split("..")]
    if not all(ends) or any(len(end) > MAX_TEXT for end in ends):
        what = f"{_shown(part)} names no item" if not all(ends) else f"the item name {_shown(part)} is too long"
        raise ValueText(what, hint='write names as "F1..F12" or "F1, F2, F7"')
    if len(ends) == 1:
        return ends
    first, *others = [re.fullmatch(r"(?s)(.*?)([0-9]{1,9})", end) for end in ends]
    last = others[0]
    if len(others) != 1 or first is None or last is None or first[1] != last[1]:
        raise ValueText(
            f"{_shown(part)} is no range of items", hint='both ends take the same name and a number, as in "F1..F12"'
        )
    low, high, width = int(first[2]), int(last[2]), len(first[2])
    if high < low:
        raise ValueText(f"the range {_shown(part)} runs down", hint=f'write "{ends[1]}..{ends[0]}"')
    if last[2] != str(high).zfill(width):
        raise ValueText(f"the ends of {_shown(part)} differ in zero padding", hint='write "F01..F12" or "F1..F12"')
    if high - low >= room:
        raise ValueText(f"{_shown(part)} makes more than {MAX_ITEMS} items", hint="split the list over several steps")
    return [f"{first[1]}{n:0{width}d}" for n in range(low, high + 1)]
