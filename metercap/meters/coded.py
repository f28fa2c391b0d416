"""From displays to the codes of a fixed ASCII line: where the number stands, what says its sign, and what each code
means.

All that is not the number is one code: function, range, status, unit, mode together. Each code means what was typed
with it, and a code that nobody has shown means nothing. Two things are made general: the sign, where one place alone
goes with it, and a status bit that was seen on and off with nothing else changed.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from metercap.meter import MeterProfile
from metercap.meters.lesson import Contradiction, Lesson, Sample, wrong
from metercap.meters.shown import Shown
from metercap.wire.coded import ENDS, HIGH, MOST_BYTES, NUMBER

LEAST_SAMPLES = 3
LEAST_DIGITS = 3


def learn(samples: Sequence[Sample], base: MeterProfile, end: bytes) -> Lesson:
    """Return what the samples, lines of one length with their end, teach. Raises Contradiction when they cannot."""
    bodies = [sample.frame[: -len(end)].decode("ascii", "replace") for sample in samples]
    shown = [sample.shown for sample in samples]
    if (
        len(dict.fromkeys(map(len, bodies))) != 1
        or len(bodies[0]) > MOST_BYTES
        or not all(map(str.isprintable, bodies))
    ):
        raise Contradiction("the lines are not of one length and printable")
    for one in shown:
        if one.quantity is None:
            raise Contradiction(f"the display {one.typed!r} has no unit: type it too, as in 'OL Mohm'")
    numbers = [n for n, one in enumerate(shown) if not one.over]
    values = dict.fromkeys(shown[n].digits for n in numbers)
    most = max((len(shown[n].digits.lstrip("0")) for n in numbers), default=0)
    if len(values) < LEAST_SAMPLES or most < LEAST_DIGITS:
        return Lesson(ask="a number whose first digit is not 0", why="too few different displays")
    spans = _spans([bodies[n] for n in numbers], [shown[n] for n in numbers])
    if not spans:
        raise Contradiction("no part of the lines is the number of every display")
    if len(spans) > 1:
        return Lesson(ask="another number", why="the number may stand in several places of the line")
    start, stop = spans[0]
    keys = [n for n in range(len(bodies[0])) if not start <= n < stop]
    sign = _sign(bodies, shown, keys)
    if sign is None:
        return Lesson(
            ask="the same range with and without a minus, the tips exchanged", why="several places go with the sign"
        )
    line = _Line(bodies, shown, keys, start, stop, sign)
    profile = line.profile(base, next(name for name, text in ENDS.items() if text == end))
    if faults := wrong(profile, list(samples)):
        raise Contradiction(f"no table of codes gives {faults[0]}")
    return Lesson(profile=profile, untold=tuple(line.untold()))


def _spans(bodies: list[str], shown: list[Shown]) -> list[tuple[int, int]]:
    """Return where the number of every display stands; of places that contain each other the shortest."""
    length = len(bodies[0])
    found = [
        (start, stop)
        for start in range(length)
        for stop in range(start + LEAST_DIGITS, length + 1)
        if all(_is_number(body[start:stop], one) for body, one in zip(bodies, shown, strict=True))
    ]
    return [
        (start, stop)
        for start, stop in found
        if not any((a, b) != (start, stop) and start <= a and b <= stop for a, b in found)
    ]


def _is_number(field: str, shown: Shown) -> bool:
    """Return whether a field holds the digits of a display; a point in it only where the display's digits allow one."""
    written = field.strip(" ")
    return NUMBER.fullmatch(written) is not None and int(written.replace(".", "")) == int(shown.digits)


def _sign(
    bodies: list[str], shown: list[Shown], keys: list[int]
) -> tuple[int, str, str] | tuple[int, int] | tuple[()] | None:
    """Return what alone goes with the sign: (place, plus, minus) or (place, bit); () without a minus.

    None for several.
    """
    numbers = [n for n, one in enumerate(shown) if not one.over]
    minus = [n for n in numbers if shown[n].minus]
    plus = [n for n in numbers if not shown[n].minus]
    if not minus or not plus:
        return ()
    found: list[tuple[int, str, str] | tuple[int, int]] = []
    for at in keys:
        with_minus = list(dict.fromkeys(bodies[n][at] for n in minus))
        without = list(dict.fromkeys(bodies[n][at] for n in plus))
        if not any(sign in without for sign in with_minus):
            bits = [bit for bit in (8, 4, 2, 1) if _bit_tells(with_minus, without, bit)]
            if bits:
                found += [(at, bit) for bit in bits]
            elif len(with_minus) == len(without) == 1:
                found.append((at, without[0], with_minus[0]))
            else:
                return None
    return found[0] if len(found) == 1 else None if found else ()


def _bit_tells(minus: list[str], plus: list[str], bit: int) -> bool:
    high = all(ord(sign) & 0xF0 == HIGH for sign in (*minus, *plus))
    return high and all(ord(sign) & bit for sign in minus) and not any(ord(sign) & bit for sign in plus)


class _Line:
    """The places of a line, and its tables."""

    def __init__(
        self,
        bodies: list[str],
        shown: list[Shown],
        keys: list[int],
        start: int,
        stop: int,
        sign: tuple[int, str, str] | tuple[int, int] | tuple[()],
    ) -> None:
        self.bodies, self.shown = bodies, shown
        self.start, self.stop = start, stop
        self.sign = sign
        self.sign_at = sign[0] if len(sign) == 3 else -1
        self.keys = [n for n in keys if n != self.sign_at]
        self.bits: dict[str, tuple[int, int]] = {"minus": (sign[0], sign[1])} if len(sign) == 2 else {}
        for at, bit in self._flag_bits():
            self.bits[f"extra_{at}_{bit}"] = (at, bit)

    def code(self, n: int) -> str:
        """Return the code of a display: all that is no number, sign, or bit that is taken out."""
        out = ""
        for at in self.keys:
            sign = ord(self.bodies[n][at])
            for place, bit in self.bits.values():
                if place == at and sign & 0xF0 == HIGH:
                    sign &= ~bit
            out += chr(sign)
        return out

    def meaning(self, n: int) -> str:
        """Return what a display says of its code: quantity, and the power of ten of the number as it is written."""
        one = self.shown[n]
        assert one.quantity is not None
        field = self.bodies[n][self.start : self.stop].strip(" ")
        if one.over:
            return f"{one.quantity.value} {one.exponent}"
        return f"{one.quantity.value} {one.weight + len(field.partition('.')[2])}"

    def _flag_bits(self) -> list[tuple[int, int]]:
        """Return bits that were seen on and off while code, meaning, sign and state were the same else."""
        found: dict[tuple[int, int], None] = {}
        codes = [self.code(n) for n in range(len(self.bodies))]
        for i, one in enumerate(self.shown):
            for k in range(i):
                other = self.shown[k]
                differ = [p for p in range(len(self.keys)) if codes[i][p] != codes[k][p]]
                if len(differ) != 1 or one.over or other.over or self.meaning(i) != self.meaning(k):
                    continue
                a, b = ord(codes[i][differ[0]]), ord(codes[k][differ[0]])
                if a & 0xF0 == b & 0xF0 == HIGH and (a ^ b) in (1, 2, 4, 8):
                    found[self.keys[differ[0]], a ^ b] = None
        return list(found)

    def profile(self, base: MeterProfile, end: str) -> MeterProfile:
        """Return the profile. Raises Contradiction where one code would mean two things."""
        over: dict[str, str | float] = {}
        codes: dict[str, str] = {}
        for n, one in enumerate(self.shown):
            field = self.bodies[n][self.start : self.stop].strip(" ")
            if one.over and NUMBER.fullmatch(field) is None:
                over[field] = "over"
            elif not one.over and codes.setdefault(self.code(n), self.meaning(n)) != self.meaning(n):
                raise Contradiction(f"one code goes with {codes[self.code(n)]} and with {self.meaning(n)}")
        for n, one in enumerate(self.shown):
            field = self.bodies[n][self.start : self.stop].strip(" ")
            if one.over and (NUMBER.fullmatch(field) is not None or self.code(n) not in codes):
                meaning = f"{self.meaning(n)} over"
                if codes.setdefault(self.code(n), meaning) != meaning:
                    raise Contradiction(f"the line of {one.typed!r} looks like a number's")
        layout = ["K"] * len(self.bodies[0])
        layout[self.start : self.stop] = "N" * (self.stop - self.start)
        tables: dict[str, dict[str, str | float]] = {"frame": {"layout": "", "end": end}, "codes": dict(codes)}
        if len(self.sign) == 3:
            layout[self.sign_at] = "S"
            tables["signs"] = {str(self.sign[1]): "plus", str(self.sign[2]): "minus"}
        if self.bits:
            tables["bits"] = {f"{at}.{bit}": name for name, (at, bit) in self.bits.items()}
        if over:
            tables["over"] = over
        tables["frame"]["layout"] = "".join(layout)
        return msgspec.structs.replace(
            base, family="coded", title="a meter that sends fixed lines of codes, taught", patterns=(), tables=tables
        )

    def untold(self) -> list[str]:
        """Return what no display showed."""
        said = ["every function and range that no display showed"]
        if not self.sign:
            said.append("negative values")
        with_over = {one.quantity: None for one in self.shown if one.over}
        lacking = dict.fromkeys(
            one.quantity.value for one in self.shown if one.quantity is not None and one.quantity not in with_over
        )
        said += [f"OL of {name}" for name in lacking]
        said.append("signs that no display showed, such as hold or low battery")
        return said
