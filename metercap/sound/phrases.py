"""Records and values as words for a speech engine: item names letter by letter, units in full. Pure."""

from __future__ import annotations

import re

_UNITS = {
    "Ω": "ohm", "mΩ": "milliohm", "kΩ": "kilo ohm", "MΩ": "mega ohm", "GΩ": "giga ohm",
    "V": "volt", "mV": "millivolt", "µV": "microvolt", "kV": "kilovolt",
    "A": "ampere", "mA": "milliampere", "µA": "microampere",
    "F": "farad", "µF": "microfarad", "nF": "nanofarad", "pF": "picofarad", "mF": "millifarad",
    "Hz": "hertz", "kHz": "kilohertz", "MHz": "megahertz", "%": "percent", "°C": "degrees", "s": "seconds",
    "ms": "milliseconds", "min": "minutes",
}  # fmt: skip
_NAME = re.compile(r"\b([A-Za-z]{1,3})(\d{1,5})\b")
_VALUE = re.compile(r"(-?\d+(?:\.\d+)?) (\S+)")
MOST = 200
"""Longest utterance, in characters; nobody listens to more with probes in hand."""


def speakable(text: str) -> str:
    """`text` as it should be spoken: "F7 0.21 Ω" is "F 7 0.21 ohm". Only letters, digits and plain signs are left."""
    text = _VALUE.sub(lambda match: f"{match[1]} {_unit(match[2])}", text)
    text = _NAME.sub(lambda match: f"{' '.join(match[1].upper())} {match[2]}", text)
    text = text.replace("−", "minus ").replace("±", "plus minus ").replace("µ", "micro ").replace("Ω", "ohm")
    text = re.sub(r"(?<![\w.])-(?=\d)", "minus ", text)
    text = "".join(char if char.isalnum() or char in " .,:;?!'%-+" else " " for char in text)
    return re.sub(r"\s+", " ", text).strip()[:MOST]


def _unit(text: str) -> str:
    bare = text.rstrip(".,;:?!)")
    return _UNITS.get(bare, bare) + text[len(bare) :]
