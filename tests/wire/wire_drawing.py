"""Draws lcd14 frames for the tests from nothing but the format's description.

Not shared with the decoder: digits are drawn from the segments they light, by the customary letters (a top, then
clockwise b c d e f, g in the middle), so a wrong table on either side shows.
"""

from __future__ import annotations

LIT = {
    "0": "abcdef",
    "1": "bc",
    "2": "abged",
    "3": "abgcd",
    "4": "fgbc",
    "5": "afgcd",
    "6": "afgedc",
    "7": "abc",
    "8": "abcdefg",
    "9": "abcdfg",
    "L": "fed",
    " ": "",
}
# The lines of the format's description: byte number, then its bits 8 4 2 1.
LINES = """
1 ac dc auto link
2 minus e1 f1 a1
3 d1 c1 g1 b1
4 point1 e2 f2 a2
5 d2 c2 g2 b2
6 point2 e3 f3 a3
7 d3 c3 g3 b3
8 point3 e4 f4 a4
9 d4 c4 g4 b4
10 u n k diode
11 m % M beep
12 F ohm rel hold
13 A V Hz low_battery
14 extra_8 degC extra_2 extra_1
"""
PLACE = {
    name: (int(line.split()[0]), bit)
    for line in LINES.strip().splitlines()
    for name, bit in zip(line.split()[1:], (8, 4, 2, 1), strict=True)
}


def frame(text: str, *symbols: str) -> bytes:
    """Return the 14 bytes that show `text` ("-2.187", " 0L.", "    ": four cells) and the named symbols."""
    low = [0] * 15
    names = list(symbols)
    if text.startswith("-"):
        names.append("minus")
        text = text[1:]
    cell = 0
    for sign in text:
        if sign == ".":
            names.append(f"point{cell}")
            continue
        cell += 1
        names += [f"{segment}{cell}" for segment in LIT[sign]]
    assert cell == 4, text
    for name in names:
        byte, bit = PLACE[name]
        low[byte] |= bit
    return bytes(n << 4 | low[n] for n in range(1, 15))
