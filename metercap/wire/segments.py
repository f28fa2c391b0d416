"""Seven-segment digits, by the segments' customary letters: a top, b and c right, d bottom, e and f left, g middle.

The letters are common practice, no source. A 6 has its top bar and a 9 its bottom bar; a
shape that is none of these is no digit.
"""

from __future__ import annotations

SEGMENTS_OF = {
    "0": "abcdef",
    "1": "bc",
    "2": "abdeg",
    "3": "abcdg",
    "4": "bcfg",
    "5": "acdfg",
    "6": "acdefg",
    "7": "abc",
    "8": "abcdefg",
    "9": "abcdfg",
    "L": "def",
    "_": "",
}
"""The lit segments of every glyph a display may show; "_" is a blank."""

_BIT = {letter: 1 << n for n, letter in enumerate("abcdefg")}


def mask(letters: str) -> int:
    """Return the segments as bits, a = 1 … g = 64."""
    bits = 0
    for letter in letters:
        bits |= _BIT[letter]
    return bits


GLYPH_OF = {mask(letters): glyph for glyph, letters in SEGMENTS_OF.items()}
"""Glyph by its segment bits."""
