"""A display as a person reads it off the meter and types it.

"2.187 kohm", "OL Mohm", "-1.5 V dc", "0.3 ohm beep auto".
"""

from __future__ import annotations

import re
from decimal import Decimal

import msgspec

from metercap.errors import UsageError
from metercap.quantity import Quantity
from metercap.reading import Reading, State

SPELLINGS = {
    "ohm": ("ohm", "Ohm", "OHM", "ohms", "Ohms", "OHMS", "\u03a9", "\u2126"),
    "V": ("V", "v", "Volt", "volt", "Volts", "volts", "VOLT", "VOLTS"),
    "A": ("A", "Amp", "amp", "Amps", "amps", "AMP", "AMPS"),
    "F": ("F", "Farad", "farad"),
    "Hz": ("Hz", "HZ", "hz"),
    "%": ("%",),
    "degC": ("degC", "\u00b0C"),
}
"""Unit symbols, and how people and programs write them."""
EXPONENTS = {"": 0, "k": 3, "K": 3, "M": 6, "m": -3, "u": -6, "\u00b5": -6, "\u03bc": -6, "n": -9, "p": -12}
"""Prefixes as written, and their power of ten: M is mega and m is milli, always."""
UNIT_OF = {spelled: symbol for symbol, spellings in SPELLINGS.items() for spelled in spellings}
OVER_SIGNS = ("ol", "0l", "o.l", "0.l", ".ol", ".0l", "ol.", "0l.", "over")
WORDS = ("dc", "ac", "beep", "cont", "diode", "duty", "auto", "hold", "rel", "min", "max", "low_battery")
EXAMPLES = '"2.187 kohm", "OL Mohm", "-1.5 V dc", "0.3 ohm beep"'
_NUMBER = re.compile(r"\d+\.?\d*|\.\d+", re.ASCII)
_MODES = {
    ("ohm", ""): Quantity.RESISTANCE,
    ("ohm", "beep"): Quantity.CONTINUITY,
    ("V", "dc"): Quantity.VOLTAGE_DC,
    ("V", "ac"): Quantity.VOLTAGE_AC,
    ("V", "diode"): Quantity.DIODE,
    ("A", "dc"): Quantity.CURRENT_DC,
    ("A", "ac"): Quantity.CURRENT_AC,
    ("F", ""): Quantity.CAPACITANCE,
    ("Hz", ""): Quantity.FREQUENCY,
    ("%", ""): Quantity.DUTY,
    ("degC", ""): Quantity.TEMPERATURE,
}


class Shown(msgspec.Struct, frozen=True):
    """What one display shows. `number` is what stands there, point and all, without its sign; empty over range.

    `prefix` is one of "", n, u, m, k, M, p; `quantity` None for an OL whose unit was not typed; `flags` are other signs
    that were typed.
    """

    typed: str
    number: str
    minus: bool
    prefix: str
    unit: str
    quantity: Quantity | None
    mode: str
    flags: tuple[str, ...]

    @property
    def over(self) -> bool:
        """Whether the display shows over-range."""
        return not self.number

    @property
    def digits(self) -> str:
        """The digits alone, as they stand."""
        return self.number.replace(".", "")

    @property
    def decimals(self) -> int:
        """How many digits stand after the point."""
        return len(self.number.partition(".")[2])

    @property
    def exponent(self) -> int:
        """The power of ten of the prefix."""
        return EXPONENTS[self.prefix]

    @property
    def weight(self) -> int:
        """The power of ten that the last digit weighs, in SI."""
        return self.exponent - self.decimals

    @property
    def value(self) -> Decimal:
        """The value in SI units; only for a number."""
        return Decimal(f"{'-' if self.minus else ''}{self.number}").scaleb(self.exponent)

    def agrees(self, reading: Reading) -> bool:
        """Return whether a decoded reading is this display: quantity, state, value, weight of the last digit."""
        if self.quantity is not None and reading.quantity is not self.quantity:
            return False
        if self.over:
            return reading.state is State.OVER
        if reading.state is not State.OK or reading.value is None:
            return False
        same = Decimal(repr(reading.value)) == self.value
        return same and Decimal(repr(reading.resolution)) == Decimal(1).scaleb(self.weight)


def shown(typed: str) -> Shown:
    """Return what a person typed as a display. Raises UsageError that says what is missing or not understood."""
    text = typed.strip().replace("\u2212", "-")
    pieces = re.sub(r"(?<=[\d.])(?=[A-Za-z\u00b5\u03bc\u03a9\u2126\u00b0%])(?![Ll])", " ", text).split()
    if not pieces or len(text) > 60:
        raise _unclear(typed, "no display")
    first = pieces[0]
    minus = first.startswith("-")
    bare = first.lstrip("+-")
    if bare == "" and len(pieces) > 1:  # "- 1.5 V"
        pieces = pieces[1:]
        bare = pieces[0]
    over = bare.lower() in OVER_SIGNS
    if not over and _NUMBER.fullmatch(bare) is None:
        raise _unclear(typed, f"{bare!r} is neither a number nor OL")
    if not over and sum(1 for sign in bare if sign.isdigit()) > 15:
        raise _unclear(typed, "more digits than a meter has")
    prefix, unit, words = "", "", []
    rest = pieces[1:]
    if len(rest) > 1 and rest[0] in EXPONENTS and rest[1] in UNIT_OF:  # "2.187 k ohm"
        rest = [rest[0] + rest[1], *rest[2:]]
    for piece in rest:
        found = unit_of(piece)
        if found is not None and not unit:
            prefix, unit = found
        elif piece.lower() in WORDS:
            words.append("beep" if piece.lower() == "cont" else piece.lower())
        else:
            raise _unclear(typed, f"{piece!r} is not understood")
    if not unit and not over:
        raise _unclear(typed, "the unit is missing")
    modes = [word for word in words if word in ("dc", "ac", "beep", "diode")]
    if unit == "V" and "diode" in modes:
        modes = ["diode"]
    mode = modes[0] if len(modes) == 1 else ""
    quantity = _MODES.get((unit, mode)) if unit and len(modes) <= 1 else None
    if unit and quantity is None:
        wants = "say dc or ac" if unit in ("V", "A") else f"{' '.join(modes)} does not go with {unit}"
        raise _unclear(typed, wants)
    flags = tuple(word for word in words if word not in ("dc", "ac", "beep", "diode", "duty"))
    return Shown(typed.strip(), "" if over else bare, minus, prefix, unit, quantity, mode, flags)


def unit_of(word: str) -> tuple[str, str] | None:
    """Return prefix and unit symbol of a word such as "kOhm"; None when it is no unit."""
    if word in UNIT_OF:
        return "", UNIT_OF[word]
    symbol = UNIT_OF.get(word[1:])
    if word[:1] in EXPONENTS and symbol is not None and symbol not in ("%", "degC"):
        return {"K": "k", "\u00b5": "u", "\u03bc": "u"}.get(word[0], word[0]), symbol
    return None


def _unclear(typed: str, why: str) -> UsageError:
    return UsageError(f"the display {typed!r}: {why}", hint=f"type it as the meter shows it, unit and all: {EXAMPLES}")
