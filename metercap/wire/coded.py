"""Family `coded`: fixed ASCII lines whose number stands as digits among codes. What `teach` makes of such a meter.

    [tables.frame]   layout = "KNNNNNKSKKK"     what stands where before the end: K code, N number, S sign
                     end = "crlf"              or "cr", "lf"
    [tables.codes]   "06000" = "resistance 3"  the characters at all K places = quantity, and the power of ten of
                                               the number as it is written; "… over" for a code that says over-range
    [tables.signs]   "-" = "minus"             characters at the S place; " " = "plus"
    [tables.bits]    "7.4" = "minus"           place from 0 . bit, where a code is 0x30 + four bits: such a bit is
                                               taken out of the code first; "extra_…" and flags are carried along
    [tables.over]    "0.L" = "over"            what stands in the number's place over range

A code that is not in the table makes garbage with that reason: nothing is inferred from other codes. So a profile made
from a few displays reads those functions and ranges, and no other one wrongly.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from metercap.meter import MeterProfile
from metercap.quantity import Quantity, decimal_si
from metercap.reading import State
from metercap.spelling import aside
from metercap.wire import shapes
from metercap.wire.fields import FLAGS, Fields, ordered
from metercap.wire.tables import Tables

ENDS = {"crlf": b"\r\n", "cr": b"\r", "lf": b"\n"}
MOST_BYTES = 60
HIGH = 0x30
"""A status byte is this plus four bits."""
NUMBER = re.compile(r"[0-9]+\.?[0-9]*|\.[0-9]+", re.ASCII)


class Coded:
    """Codec of one profile of the family."""

    def __init__(self, profile: MeterProfile) -> None:
        tables = Tables(profile)
        tables.names(("frame", "codes", "signs", "bits", "over"))
        self._layout, self.end = _frame(tables)
        self.frame_bytes = len(self._layout) + len(self.end)
        self._keys = [n for n, sign in enumerate(self._layout) if sign == "K"]
        number = [n for n, sign in enumerate(self._layout) if sign == "N"]
        self._start, self._stop = number[0], number[-1] + 1
        self._sign_at = self._layout.find("S")
        self._signs = _signs(tables, self._sign_at >= 0)
        self._bits = _bits(tables, self._keys)
        self._over = tables.texts("over", required=False)
        self._codes = _codes(tables, len(self._keys))
        tables.done()
        self._mask = {n: 15 & ~_together(bit for at, bit in self._bits.values() if at == n) for n in self._keys}

    def decode(self, frame: bytes) -> Fields | str:
        """Return the fields of one line of this length, or why it is no reading."""
        if not frame.endswith(self.end):
            return "not the line's end"
        body = frame[: -len(self.end)]
        if not all(0x20 <= byte < 0x7F for byte in body):
            return "not all printable characters"
        code, flags = self._code(body)
        known = self._codes.get(code)
        if known is None:
            return f"code {code!r} is not in the profile's table"
        quantity, exponent, state = known
        minus = "minus" in flags
        flags = [flag for flag in flags if flag != "minus"]
        if self._sign_at >= 0:
            sign = self._signs.get(chr(body[self._sign_at]))
            if sign is None:
                return f"{chr(body[self._sign_at])!r} is no sign"
            minus = minus or sign == "minus"
        field = body[self._start : self._stop].decode("ascii")
        written = field.strip(" ")
        value, resolution = None, 0.0
        if state is State.OK and written in self._over:
            state = State.OVER
        if state is State.OVER and self._over and written not in self._over:
            return f"the value {field!r} with a code that was only seen over range"
        if state is State.OK:
            if NUMBER.fullmatch(written) is None or sum(1 for sign in written if sign.isdigit()) > shapes.MAX_DIGITS:
                return f"the value {field!r} is no number"
            value = decimal_si("-" + written if minus else written, exponent)
            resolution = decimal_si("1", exponent - shapes.decimals_of(written))
        elif minus:
            flags.append("minus")
        return quantity, value, resolution, quantity.unit, state, ordered(flags), frame.hex()

    def _code(self, body: bytes) -> tuple[str, list[str]]:
        """Return the code without its bits, and the flags that those say."""
        flags = [flag for flag, (n, bit) in self._bits.items() if body[n] & 0xF0 == HIGH and body[n] & bit]
        chars = (body[n] & (0xF0 | self._mask[n]) if body[n] & 0xF0 == HIGH else body[n] for n in self._keys)
        return "".join(map(chr, chars)), flags


def _together(bits: Iterable[int]) -> int:
    """Return the bits as one number."""
    out = 0
    for bit in bits:
        out |= bit
    return out


def _frame(tables: Tables) -> tuple[str, bytes]:
    text = tables.rows("frame").get("layout")
    end = ENDS[tables.choice("frame", "end", "crlf", ENDS)]
    if (
        not isinstance(text, str)
        or text.strip("KNS")
        or re.fullmatch(r"[KS]*N+[KS]*", text) is None
        or text.count("S") > 1
        or "K" not in text
        or len(text) > MOST_BYTES
    ):
        tables.problem("frame.layout", f"must be of K, N and S, the N together, at most {MOST_BYTES} in all")
        return "KN", end
    return text, end


def _signs(tables: Tables, required: bool) -> dict[str, str]:
    signs = tables.texts("signs", required=required)
    for sign, means in signs.items():
        if len(sign) != 1 or means not in ("plus", "minus"):
            tables.problem(f"signs.{sign}", "must be one character = plus or minus")
    return signs


def _bits(tables: Tables, keys: list[int]) -> dict[str, tuple[int, int]]:
    known = {f"{n}.{bit}": (n, bit) for n in keys for bit in (8, 4, 2, 1)}
    place: dict[str, tuple[int, int]] = {}
    for key, flag in tables.texts("bits", required=False).items():
        if key not in known:
            tables.problem(f"bits.{key}", "must be the place of a code, a point, and a bit 8, 4, 2 or 1")
        elif flag in place:
            tables.problem(f"bits.{key}", f"{flag!r} stands at another bit too")
        elif flag not in FLAGS and not flag.startswith("extra_"):
            tables.problem(f"bits.{key}", f"no flag {flag!r}{aside(flag, FLAGS)}")
        else:
            place[flag] = known[key]
    return place


def _codes(tables: Tables, places: int) -> dict[str, tuple[Quantity, int, State]]:
    codes: dict[str, tuple[Quantity, int, State]] = {}
    for code, text in tables.texts("codes").items():
        name, _, rest = text.partition(" ")
        power, _, state = rest.partition(" ")
        known = tuple(Quantity)
        if len(code) != places or not code.isascii() or not code.isprintable():
            tables.problem(f"codes.{code}", f"must be {places} characters, one for each K of the layout")
        elif name not in known:
            tables.problem(f"codes.{code}", f"{name!r} is no quantity{aside(name, known)}")
        elif (
            re.fullmatch(r"-?[0-9]{1,2}", power, re.ASCII) is None or abs(int(power)) > 30 or state not in ("", "over")
        ):
            tables.problem(f"codes.{code}", 'must be a quantity, a whole power of ten, and "over" or nothing')
        else:
            codes[code] = (Quantity(name), int(power), State.OVER if state else State.OK)
    return codes
