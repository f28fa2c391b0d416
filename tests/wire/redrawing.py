"""Every way in which a meter could have sent a reading, drawn from the formats' descriptions and not with the decoder.

A decoder that reads damage as a number is found by this: the bytes it took are among none of those ways.
"""

from __future__ import annotations

import itertools
import math
from decimal import Decimal

from metercap.reading import Reading, State
from tests.wire import wire_drawing as drawing

PREFIXES = {-9: "n", -6: "u", -3: "m", 0: "", 3: "k", 6: "M"}
LCD14_MODES = {
    "resistance": ["ohm"],
    "continuity": ["ohm beep"],
    "voltage_dc": ["V dc"],
    "voltage_ac": ["V ac"],
    "current_dc": ["A dc"],
    "current_ac": ["A ac"],
    "capacitance": ["F"],
    "frequency": ["Hz"],
    "duty": ["%"],
    "diode": ["V diode", "V dc diode"],
    "temperature": ["degC"],
}
"""Signs of every quantity as the profile of the family lists them."""
DIGITS14_BITS = {
    "minus": (7, 4),
    "low_battery": (7, 2),
    "max": (8, 8),
    "min": (8, 4),
    "rel": (8, 2),
    "extra_8_1": (8, 1),
    "under": (9, 8),
    "peak_max": (9, 4),
    "peak_min": (9, 2),
    "dc": (10, 8),
    "ac": (10, 4),
    "auto": (10, 2),
    "hold": (11, 2),
}


def exponent_of(resolution: float) -> int:
    """Return n of a resolution of 10^n."""
    return round(math.log10(resolution))


def counts_of(reading: Reading) -> int:
    """Return the number that the display shows without its point."""
    assert reading.value is not None
    return int((abs(Decimal(repr(reading.value))) / Decimal(repr(reading.resolution))).to_integral_exact())


def lcd14(reading: Reading) -> set[bytes]:
    """Return the frames: the point anywhere a prefix allows it, unused places as zeros or blanks, each mode's signs."""
    if reading.state is State.OK:
        number = f"{counts_of(reading)}"
        cells = [("0" * n + number).rjust(4) for n in range(5 - len(number))]
    elif reading.state is State.OVER:
        cells = [("0L".rjust(n)).ljust(4) for n in (2, 3, 4)]
    else:
        cells = ["    "]
    minus = math.copysign(1.0, reading.value) < 0 if reading.value is not None else "minus" in reading.flags
    signs = [flag for flag in reading.flags if flag != "minus"]
    found = set()
    bare = reading.state is State.BLANK and not reading.resolution
    weight = 0 if bare else exponent_of(reading.resolution)
    for text, decimals, mode in itertools.product(cells, range(4), LCD14_MODES[reading.quantity]):
        prefix = PREFIXES.get(weight + decimals)
        blank_after_point = reading.state is State.OK and " " in text[4 - decimals :]
        if prefix is None or blank_after_point or (bare and decimals):
            continue
        pointed = f"{text[: 4 - decimals]}.{text[4 - decimals :]}" if decimals else text
        symbols = [*mode.split(), *signs, *([prefix] if prefix else [])]
        found.add(drawing.frame(("-" if minus else "") + pointed, *symbols))
    return found


def digits14_shows(raw: bytes, reading: Reading) -> bool:
    """Whether the digits, the sign and the flags of a frame are the reading's; range and function are the table's."""
    lit = {name for name, (byte, bit) in DIGITS14_BITS.items() if raw[byte] & bit}
    over = bool(raw[7] & 1)
    if reading.state is not State.OK:
        state = State.OVER if over else State.BLANK
        return reading.value is None and state is reading.state and ("minus" in lit) == ("minus" in reading.flags)
    assert reading.value is not None
    number = Decimal(int(raw[1:6])) * Decimal(10) ** exponent_of(reading.resolution)
    said = lit - {"minus", "dc", "ac"}
    told = {flag for flag in reading.flags if flag in DIGITS14_BITS and flag not in ("dc", "ac")}
    minus = math.copysign(1.0, reading.value) < 0
    return not over and number == abs(Decimal(repr(reading.value))) and minus == ("minus" in lit) and said == told


def polled_line_shows(raw: bytes, reading: Reading) -> bool:
    """Whether sign, number and prefix of a line are the reading's."""
    line = raw.decode("ascii")
    minus, number, unit = line[2] == "-", line[3:9].strip(), line[9:13].strip()
    if reading.state is not State.OK:
        return reading.value is None and ("L" in number) == (reading.state is State.OVER)
    assert reading.value is not None
    power = {"n": -9, "u": -6, "m": -3, "k": 3, "M": 6}.get(unit[0], 0) if len(unit) > 1 else 0
    value = Decimal(number) * Decimal(10) ** power
    shown = Decimal(1).scaleb(power - len(number.partition(".")[2]))
    return (
        value == abs(Decimal(repr(reading.value)))
        and minus == (math.copysign(1.0, reading.value) < 0)
        and shown == Decimal(repr(reading.resolution))
    )
