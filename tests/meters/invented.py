"""Meters that nobody makes, each with displays of its own, drawn from a seed. Shares nothing with the package.

The seven segments of a digit are common practice (no source); where they lie in a frame, codes and lengths are
invented here.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from typing import Any

BARS = {
    "0": "abcdef", "1": "bc", "2": "abged", "3": "abgcd", "4": "fgbc", "5": "afgcd", "6": "afgedc", "7": "abc",
    "8": "abcdefg", "9": "abcdfg", "L": "def", " ": "",
}  # fmt: skip
POWER = {"": 0, "k": 3, "M": 6, "m": -3, "u": -6, "n": -9}
FUNCTIONS = {
    "resistance": ("ohm", "", ("", "k", "M")),
    "continuity": ("ohm", "beep", ("",)),
    "voltage_dc": ("V", "dc", ("m", "")),
    "voltage_ac": ("V", "ac", ("m", "")),
    "diode": ("V", "diode", ("",)),
    "current_dc": ("A", "dc", ("u", "m", "")),
    "current_ac": ("A", "ac", ("u", "m", "")),
    "capacitance": ("F", "", ("n", "u")),
    "frequency": ("Hz", "", ("", "k", "M")),
    "temperature": ("degC", "", ("",)),
}


@dataclass
class Display:
    """What the invented meter shows; `typed` is what a person would type."""

    quantity: str
    digits: str
    point: int
    minus: bool
    prefix: str
    over: bool = False
    icons: tuple[str, ...] = ()

    @property
    def unit(self) -> str:
        return FUNCTIONS[self.quantity][0]

    @property
    def number(self) -> str:
        return (
            f"{self.digits[: self.point]}.{self.digits[self.point :]}" if self.point < len(self.digits) else self.digits
        )

    @property
    def typed(self) -> str:
        word = FUNCTIONS[self.quantity][1]
        text = "OL" if self.over else self.number
        return f"{'-' if self.minus else ''}{text} {self.prefix}{self.unit} {word}".strip()

    @property
    def counts_and_power(self) -> tuple[int, int]:
        """The number without its point, signed, and the power of ten of its last digit in SI."""
        power = POWER[self.prefix] - (len(self.digits) - self.point)
        return (-1 if self.minus else 1) * int(self.digits), power


@dataclass
class Invented:
    """A meter: draws displays, and frames of them."""

    random: random.Random
    places: int
    functions: list[str]
    ranges: list[tuple[str, str, int]] = field(default_factory=list)

    def display(self, wanted: str = "", quantity: str | None = None) -> Display:
        """Return a display; `wanted` gives digits from the left, "_" for any."""
        r = self.random
        ranges = [one for one in self.ranges if quantity in (None, one[0])]
        name, prefix, point = r.choice(ranges)
        over = name in ("resistance", "continuity", "diode") and not wanted.strip("_") and r.random() < 0.15
        digits = "".join(r.choice("0123456789") for _ in range(self.places))
        digits = "".join(
            want if want in "0123456789" else have
            for want, have in zip(wanted.ljust(self.places, "_"), digits, strict=False)
        )
        minus = not over and name.endswith("_dc") and r.random() < 0.4
        icons = tuple(icon for icon in ("auto", "hold", "battery") if r.random() < {"auto": 0.7}.get(icon, 0.05))
        return Display(name, digits, point, minus, prefix, over, icons)

    def frame(self, display: Display) -> bytes:
        raise NotImplementedError

    def heard(self, display: Display, frames: int = 8) -> bytes:
        """Return some frames of a display that stands still.

        Begun and ended anywhere, with junk, losses, a flipped bit.
        """
        r = self.random
        frame = self.frame(display)
        out = bytearray(frame[r.randrange(len(frame)) :])
        for n in range(frames):
            one = bytearray(frame)
            if n in (2, 5):
                damage = r.random()
                if damage < 0.3:
                    del one[(cut := r.randrange(len(one) - 1)) : cut + r.randint(1, 3)]
                elif damage < 0.5:
                    one[r.randrange(len(one))] ^= 1 << r.randrange(7)
                elif damage < 0.7:
                    one[0:0] = bytes(r.randrange(256) for _ in range(r.randint(1, 5)))
            out += one
        return bytes(out + frame[: r.randrange(len(frame))])

    def _draw_ranges(self, most_points: int) -> None:
        for name in self.functions:
            for prefix in FUNCTIONS[name][2]:
                points = self.random.sample(range(1, self.places), min(most_points, self.places - 1))
                self.ranges += [(name, prefix, point) for point in points]


class Segmented(Invented):
    """Sends its LCD: each byte counts itself in the high nibble, four segments in the low one, anywhere."""

    def __init__(self, seed: int) -> None:
        r = random.Random(seed)
        others = [name for name in FUNCTIONS if name != "resistance"]
        super().__init__(r, r.choice((3, 4, 4, 5)), ["resistance", *r.sample(others, r.randint(2, 5))])
        self.half = r.random() < 0.4  # the first digit shows only 0 to 3, or nothing
        signs = ["minus", "auto", "hold", "battery"]
        for name in self.functions:
            unit, word, prefixes = FUNCTIONS[name]
            signs += [unit, *([word] if word and (word != "dc" or seed % 3) else []), *(p for p in prefixes if p)]
        names = [f"{bar}{place}" for place in range(self.places) for bar in "abcdefg"]
        names += [f"point{n}" for n in range(1, self.places)] + list(dict.fromkeys(signs))
        self.bytes = max(r.choice((12, 13, 14, 15)), -(-len(names) // 4))
        assert self.bytes <= 15, (self.bytes, len(names))
        spots = [(n, bit) for n in range(self.bytes) for bit in (1, 2, 4, 8)]
        self.spot = dict(zip(names, r.sample(spots, len(names)), strict=True))
        self._draw_ranges(2)

    def display(self, wanted: str = "", quantity: str | None = None) -> Display:
        shown = super().display(wanted, quantity)
        if self.half and shown.digits[0] > "3":
            shown.digits = self.random.choice("123") + shown.digits[1:]
        return shown

    def frame(self, display: Display) -> bytes:
        unit, word, _ = FUNCTIONS[display.quantity]
        cells = display.digits
        lit = [unit, word, display.prefix, *display.icons, *(["minus"] if display.minus else [])]
        if display.over:
            cells = "0L".rjust(self.places - 1).ljust(self.places) if self.places > 2 else "0L"
        else:
            lit += [f"point{display.point}"] if display.point < self.places else []
        lit += [f"{bar}{place}" for place, sign in enumerate(cells) for bar in BARS[sign]]
        low = [0] * self.bytes
        for name in lit:
            if name in self.spot:
                low[self.spot[name][0]] |= self.spot[name][1]
        return bytes((n + 1) << 4 | bits for n, bits in enumerate(low))


class Coded(Invented):
    """Sends fixed ASCII lines. Odd seeds: digits among codes and status bits; even ones: mode, sign, number, unit."""

    def __init__(self, seed: int) -> None:
        r = random.Random(1000 + seed)
        others = [name for name in FUNCTIONS if name != "resistance"]
        super().__init__(r, r.choice((4, 5)), ["resistance", *r.sample(others, r.randint(2, 4))])
        self._draw_ranges(2)
        self.end = r.choice((b"\r\n", b"\r\n", b"\r", b"\n"))
        self.spelled = seed % 2 == 0
        signs = [chr(n) for n in range(0x30, 0x40)]
        self.range_code: dict[Any, Any] = {}
        for name in self.functions:
            own = [one for one in self.ranges if one[0] == name]
            self.range_code |= dict(zip(own, r.sample(signs, len(own)), strict=True))
        self.function_code = dict(zip(self.functions, r.sample(signs, len(self.functions)), strict=True))
        fields = ["range", "number", "function", *["status"] * r.randint(2, 5)]
        r.shuffle(fields)
        self.fields = fields
        status = [n for n, one in enumerate(fields) if one == "status"]
        spots = r.sample([(n, bit) for n in status for bit in (1, 2, 4, 8)], 6)
        self.spot = dict(zip(("minus", "over", "auto", "battery", "hold", "dc"), spots, strict=True))
        letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
        self.mode = {name: "".join(r.sample(letters, 2)) for name in self.functions}
        self.unit_code = {
            (name, prefix): "".join(r.sample(letters + letters.lower(), r.randint(2, 4)))
            for name in self.functions
            for prefix in FUNCTIONS[name][2]
        }
        self.order = r.sample(["mode", "number", "unit"], 3)
        self.over_text = r.choice(("O.L", "OL", "OVER"))

    def frame(self, display: Display) -> bytes:
        if self.spelled:
            number = self.over_text if display.over else display.number
            sign = "-" if display.minus else " "
            part = {
                "mode": self.mode[display.quantity],
                "number": sign + number.rjust(self.places + 2),
                "unit": self.unit_code[display.quantity, display.prefix].ljust(4),
            }
            return "".join(part[name] for name in self.order).encode() + self.end
        lit = [*display.icons, *(["minus"] if display.minus else []), *(["over"] if display.over else [])]
        lit += ["dc"] if display.quantity.endswith("_dc") else []
        out = b""
        for n, name in enumerate(self.fields):
            if name == "number":
                out += display.digits.encode()
            elif name == "range":
                out += self.range_code[display.quantity, display.prefix, display.point].encode()
            elif name == "function":
                out += self.function_code[display.quantity].encode()
            else:
                out += bytes(
                    [0x30 + sum(bit for icon in lit if self.spot[icon][0] == n for bit in [self.spot[icon][1]])]
                )
        return out + self.end


class Spoken(Invented):
    """Sends text lines of several quantities in one of many forms, with counters, clocks, labels and other channels."""

    def __init__(self, seed: int) -> None:
        r = random.Random(2000 + seed)
        others = [name for name in FUNCTIONS if name != "resistance"]
        super().__init__(r, r.choice((4, 5)), ["resistance", "voltage_dc", *r.sample(others[2:], r.randint(0, 3))])
        self._draw_ranges(2)
        self.form = seed % 10
        self.end = r.choice((b"\r\n", b"\n"))
        self.spelled = r.choice(({"ohm": "Ohm"}, {"ohm": "ohm", "degC": "C"}, {"ohm": "OHM"}, {"ohm": "\u03a9"}))
        self.mode = {
            name: r.choice((name[:3].upper(), name.replace("_", " ").title(), f"F{n}"))
            for n, name in enumerate(self.functions)
        }
        if len(set(self.mode.values())) < len(self.mode):
            self.mode = {name: f"F{n}" for n, name in enumerate(self.functions)}
        self.count = r.randrange(1000)
        self.over_text = r.choice(("OL", "O.L", "OVER", "OVLD"))

    def line(self, display: Display) -> str:
        r = self.random
        self.count += 1
        unit, word, _ = FUNCTIONS[display.quantity]
        spelled = display.prefix + self.spelled.get(unit, unit)
        number = self.over_text if display.over else f"{'-' if display.minus else ''}{display.number}"
        mode, dc = self.mode[display.quantity], word.upper()
        clock = f"{self.count // 3600:02d}:{self.count // 60 % 60:02d}:{self.count % 60:02d}"
        bare_name = {"ohm": "OHM", "V": "VOLT", "A": "AMP", "F": "FARAD", "Hz": "HERTZ", "degC": "TEMP"}[unit]
        return [
            f"{number} {spelled} {dc}",
            f"{bare_name},{number},{spelled},{dc}",
            f"{mode}: {number} {spelled}",
            f"#{self.count} {mode} = {number}{spelled}",
            f"{clock};{mode};{number};{spelled};{dc}",
            f"{mode},{display.prefix}{bare_name},{number},1",
            f"{number},{spelled},{dc or '-'},T={r.randint(200, 260) / 10:.1f}",
            f"mode={mode} unit={spelled} value={number} n={self.count}",
            f"[{mode}] {number} {display.prefix}{unit[:1]}{dc.lower()}",
            f"CH1 {number} {spelled} {dc}  CH2 {r.randint(0, 9999) / 1000:.3f} V",
        ][self.form].strip()

    def frame(self, display: Display) -> bytes:
        return self.line(display).encode() + self.end

    def heard(self, display: Display, frames: int = 8) -> bytes:
        r = self.random
        first = self.frame(display)
        out = bytearray(first[r.randrange(1, len(first)) :])
        for n in range(frames):
            one = bytearray(self.frame(display))
            if n in (2, 5) and r.random() < 0.6:
                del one[(cut := r.randrange(len(one) - 1)) : cut + r.randint(1, 3)]
            out += one
        last = self.frame(display)
        return bytes(out + last[: r.randrange(len(last))])
