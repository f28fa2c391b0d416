"""The grammar of one written value: a number with its unit, or a component marking.

Component markings follow IEC 60062: the multiplier letter stands where the decimal point would. R, K, M, G, T and
L (milliohm) mark resistance, p, n, µ and m capacitance. V and A as decimal mark ("3V3", "1A25") and a point before
the letter ("1.5k") are common practice, no source.
"""

from __future__ import annotations

import re
from decimal import Decimal

from metercap.errors import ValueText
from metercap.quantity.numbers import EXACT, MAX_TEXT, NUMBER, shown

MAX_EXPONENT = 30
"""Largest power of ten, either way, of a written exponent and of the value it makes."""

_WRITTEN = re.compile(rf"(?P<number>{NUMBER})(?:[eE](?P<exponent>[+-]?[0-9]+))? *(?P<suffix>[^0-9.,+\- ][^ ]*)?")
_MARKING = re.compile(
    r"(?P<sign>[+-]?)(?:(?P<whole>[0-9]+(?:\.[0-9]+)?)(?P<infix>[RrΩKkMGTLpnumVvA])(?P<part>[0-9]*)"
    r"|(?P<prefix>[RrKkMGTLpnum])(?P<fraction>[0-9]+)) *(?P<unit>[^0-9 ]+)?"
)
MARKS = {
    **dict.fromkeys("RrΩ", (0, "ohm")),
    **dict.fromkeys("Kk", (3, "ohm")),
    "M": (6, "ohm"),
    "G": (9, "ohm"),
    "T": (12, "ohm"),
    "L": (-3, "ohm"),
    "p": (-12, "F"),
    "n": (-9, "F"),
    "u": (-6, "F"),
    "m": (-3, "F"),
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

PREFIXES = {"p": -12, "n": -9, "u": -6, "m": -3, "": 0, "k": 3, "K": 3, "M": 6, "G": 9, "T": 12}
SPELLINGS = {
    "ohm": ("ohm", "Ohm", "OHM", "ohms", "Ohms", "Ω"),
    "V": ("V",),
    "A": ("A",),
    "F": ("F",),
    "Hz": ("Hz",),
}
SUFFIXES: dict[str, tuple[Decimal, str]] = {
    **{
        prefix + spelling: (Decimal(1).scaleb(exponent), unit)
        for unit, spellings in SPELLINGS.items()
        for spelling in spellings
        for prefix, exponent in PREFIXES.items()
    },
    **{f"{prefix}s": (Decimal(1).scaleb(PREFIXES[prefix]), "s") for prefix in ("n", "u", "m", "")},
    "min": (Decimal(60), "s"),
    "h": (Decimal(3600), "s"),
    "%": (Decimal(1), "%"),
    "degC": (Decimal(1), "degC"),
    "°C": (Decimal(1), "degC"),
}
EXAMPLES = {
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


def read(text: str, wanted: str | None) -> tuple[Decimal, str, Decimal]:
    """The number in SI, its unit, and the weight of its last digit, all exact."""
    if len(text) > MAX_TEXT:
        raise ValueText(f"{shown(text)} is too long for a value", hint=f"write at most {MAX_TEXT} characters")
    plain = text.translate(_ONE_SPELLING).strip()
    number, found, weight = _written(plain) or _marking(plain) or _refuse(text, plain, wanted)
    if number and abs(number.adjusted()) > MAX_EXPONENT:
        raise ValueText(f"{shown(text)} lies beyond 10^±{MAX_EXPONENT}", hint="check the exponent and the prefix")
    if found == "" and wanted is not None:
        found = wanted
    if wanted is not None and found != wanted:
        raise wrong_unit(text, found, wanted)
    return number, found, weight


def _written(plain: str) -> tuple[Decimal, str, Decimal] | None:
    """A number with its unit after it, or with none."""
    match = _WRITTEN.fullmatch(plain)
    if match is None:
        return None
    suffix = match["suffix"]
    factor, unit = SUFFIXES.get(suffix, (None, "")) if suffix else (Decimal(1), "")
    exponent = int(match["exponent"] or 0)
    if factor is None or abs(exponent) > MAX_EXPONENT:
        return None
    number = Decimal(match["number"])
    weight = Decimal(1).scaleb(exponent - len(match["number"].partition(".")[2]), EXACT)
    return EXACT.multiply(number.scaleb(exponent, EXACT), factor), unit, EXACT.multiply(weight, factor)


def _marking(plain: str) -> tuple[Decimal, str, Decimal] | None:
    """A component marking, IEC 60062; also the bench's "1.5k". A unit written after it must agree with it."""
    match = _MARKING.fullmatch(plain)
    if match is None:
        return None
    whole, _, part = (match["whole"] or "0").partition(".")
    tail = match["part"] or match["fraction"] or ""
    if part and tail:  # "1.5k2"
        return None
    exponent, unit = MARKS[match["infix"] or match["prefix"]]
    if match["unit"] is not None and SUFFIXES.get(match["unit"]) != (Decimal(1), unit):
        return None
    number = Decimal(f"{match['sign']}{whole}.{part or tail}")
    weight = Decimal(1).scaleb(exponent - len(part or tail), EXACT)
    return number.scaleb(exponent, EXACT), unit, weight


def _refuse(text: str, plain: str, wanted: str | None) -> tuple[Decimal, str, Decimal]:
    """Raise the error that tells best what is wrong with a text that is no value."""
    example = f'write it as "{EXAMPLES.get(wanted or "ohm", "3")}"'
    if not plain:
        raise ValueText("there is no value", hint=example)
    if "," in plain:
        hint = f'write the decimal mark as a point and no thousands separator, as in "{EXAMPLES["ohm"]}"'
        raise ValueText(f"the comma in {shown(text)} can be read in two ways", hint=hint)
    match = _WRITTEN.fullmatch(plain)
    if match is None or match["suffix"] is None or match["suffix"] in SUFFIXES:
        if match is not None:
            raise ValueText(f"the exponent in {shown(text)} is beyond ±{MAX_EXPONENT}", hint=example)
        raise ValueText(f"{shown(text)} is not a value", hint=example)
    if _marking(plain.replace(" ", "")):
        hint = f'write it without the space, or with its unit, as in "{EXAMPLES["ohm"]}"'
        raise ValueText(f"{shown(text)} has no unit", hint=hint)
    near = _nearest(match["suffix"], wanted)
    hint = f"did you mean {' or '.join(near)}?" if near else example
    raise ValueText(f"{shown(match['suffix'])} in {shown(text)} is not a unit", hint=hint)


def _nearest(suffix: str, wanted: str | None) -> list[str]:
    """Unit spellings like `suffix`: those that differ in case alone (m and M differ too), else the closest."""
    import difflib  # only a mistake needs it

    known = [name for name, (_, unit) in SUFFIXES.items() if wanted in (None, "", unit)]
    same = [name for name in known if name.lower() == suffix.lower()]
    return same[:4] or difflib.get_close_matches(suffix, known, n=2)


def wrong_unit(text: str, found: str, wanted: str) -> ValueText:
    """The error for a value in the unit `found` where `wanted` belongs ("" is no unit)."""
    hint = f'write it as "{EXAMPLES.get(wanted, f"3 {wanted}")}"'
    if found == "F" and wanted == "ohm":
        hint += "; in a marking p, n, u and m are capacitance, and mega is a capital M"
    return ValueText(f"{shown(text)} is in {found}, but {wanted or 'no unit'} is expected", hint=hint)
