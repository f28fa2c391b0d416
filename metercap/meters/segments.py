"""From displays to the bits of an LCD: which bit of which byte is which segment, point, sign, prefix and unit.

Every bit that came has a pattern: lit with the first display, not with the second, … Every segment of every digit has
one too, since the displays were typed. A bit can be a segment only where the patterns are the same; the right one
always is, so when one bit alone is left it is the right one. Where several are left nothing is chosen, unless every
choice reads the same.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from typing import TypeAlias

import msgspec

from metercap.meter import MeterProfile
from metercap.meters.lesson import Contradiction, Lesson, Sample, wrong
from metercap.meters.shown import Shown
from metercap.wire.lcd14 import MODES, PREFIXES, UNITS
from metercap.wire.segments import SEGMENTS_OF

Bit: TypeAlias = tuple[int, int]
Evidence: TypeAlias = list[bool | None]
LETTERS = "abcdefg"
DIGITS = "0123456789"
LEAST_DIGITS = 3
LEAST_SAMPLES = 4
MOST_CHOICES = 3000
MOST_PLACES = 7


def learn(samples: Sequence[Sample], base: MeterProfile) -> Lesson:
    """Return what the samples teach about a meter that sends its LCD.

    Raises Contradiction when they cannot all be true.
    """
    numbers = [sample for sample in samples if not sample.shown.over]
    places = max((len(sample.shown.digits) for sample in numbers), default=0)
    if places > MOST_PLACES:
        raise Contradiction(f"a display has {places} digits, more than {MOST_PLACES}")
    if places < LEAST_DIGITS or len(numbers) < LEAST_SAMPLES:
        return Lesson(ask="a number that fills all digits", digits="4718263"[: max(places, 4)], why="too few displays")
    try:
        return _Table(samples, places, blank=True).lesson(base)
    except Contradiction:
        # Perhaps zeros stand in front that were not typed: leave open what is lit there.
        return _Table(samples, places, blank=False).lesson(base)


class _Table:
    """The patterns of bits and of symbols, and what they come to."""

    def __init__(self, samples: Sequence[Sample], places: int, *, blank: bool) -> None:
        self.samples = list(samples)
        self.shown = [sample.shown for sample in samples]
        self.places = places
        self.blank = blank
        self.lit = {
            (byte, bit): [bool(sample.frame[byte] & bit) for sample in samples]
            for byte in range(len(samples[0].frame))
            for bit in (8, 4, 2, 1)
        }
        self.bit_of: dict[str, Bit] = {}
        self.free = list(self.lit)
        self.readable: dict[int, str] = {}

    def fitting(self, evidence: Evidence) -> list[Bit]:
        """Return the bits that are free and lit as the evidence says."""
        return [
            bit
            for bit in self.free
            if all(want is None or want == have for want, have in zip(evidence, self.lit[bit], strict=True))
        ]

    def take(self, symbol: str, bit: Bit) -> None:
        """A bit is this symbol, and no other."""
        self.bit_of[symbol] = bit
        self.free.remove(bit)

    # --- what a display says

    def segment(self, place: int, letter: str) -> Evidence:
        """Return whether a segment is lit in each display; place from 0, the leftmost."""
        found: Evidence = []
        for shown in self.shown:
            at = place - (self.places - len(shown.digits))
            if shown.over:
                found.append(None)
            elif at < 0:
                found.append(False if self.blank else None)
            else:
                found.append(letter in SEGMENTS_OF[shown.digits[at]])
        return found

    def sign(self, name: str) -> Evidence:
        """Return whether a point, the minus, a prefix, unit, mode or flag is lit in each display."""
        return [_sign(name, shown, self.places) for shown in self.shown]

    # --- what follows

    def lesson(self, base: MeterProfile) -> Lesson:
        """Return the profile, or what to show next."""
        open_digits = self._settle_digits()
        asks = []
        if open_digits.strip("_"):
            asks.append(f"digits {' '.join(open_digits)} (any where _ stands)")
        unsettled = [*self._settle_signs(), *self._settle_words()]
        asks += unsettled
        if asks:
            return Lesson(ask="; ".join(asks), digits=open_digits, why="not every segment can be told yet")
        profile = self._profile(base)
        faults = wrong(profile, self.samples)
        if faults and not wrong(profile, [sample for sample in self.samples if not sample.shown.over]):
            # OL lights what no number has yet: a point, or segments of the first digit.
            return Lesson(ask="other numbers, the point in other places", why=f"it does not read {faults[0]}")
        if faults:
            raise Contradiction(f"no map of segments gives {faults[0]}")
        return Lesson(profile=profile, untold=tuple(self._untold()))

    def _settle_digits(self) -> str:
        """Settle segments; return which digits would tell most where they are open, "_" for places that are settled."""
        evidence = {(p, s): self.segment(p, s) for p in range(self.places) for s in LETTERS}
        wanted = {key: line for key, line in evidence.items() if True in line}
        for place, letter in wanted:
            if not self.fitting(wanted[place, letter]):
                raise Contradiction(f"no bit is lit as segment {letter} of digit {place + 1} should be")
        settled = True
        while settled:
            settled = False
            for (place, letter), line in wanted.items():
                name = f"{letter}{place + 1}"
                if name in self.bit_of or False not in line:
                    continue
                fits = self.fitting(line)
                if not fits:
                    raise Contradiction(f"no bit is left for segment {letter} of digit {place + 1}")
                if len(fits) == 1:
                    self.take(name, fits[0])
                    settled = True
        lacking = []
        for place in range(self.places):
            self.readable[place] = self._settle_place(place, wanted)
            needed = sorted(dict.fromkeys(self._seen(place))) if place == 0 else list(DIGITS)
            lacking += [place] if any(digit not in self.readable[place] for digit in needed) else []
        return self._telling(lacking)

    def _seen(self, place: int) -> list[str]:
        """Return the digits that were typed at a place."""
        return [one.digits[place - self.places + len(one.digits)] for one in self.shown if self._typed(one, place)]

    def _typed(self, shown: Shown, place: int) -> bool:
        return not shown.over and place >= self.places - len(shown.digits)

    def _settle_place(self, place: int, wanted: dict[tuple[int, str], Evidence]) -> str:
        """Choose among the bits left for one digit, where every choice reads alike; return the digits that are read."""
        names = {letter: f"{letter}{place + 1}" for letter in LETTERS}
        open_letters = [s for s in LETTERS if (place, s) in wanted and names[s] not in self.bit_of]
        choices = _choices([self.fitting(wanted[place, letter]) for letter in open_letters])
        if choices is None or (open_letters and not choices):
            return ""
        known = {self.bit_of[names[s]]: s for s in LETTERS if names[s] in self.bit_of}
        maps = [known | dict(zip(choice, open_letters, strict=True)) for choice in choices or [()]]
        chosen = maps[0]
        if any(sorted(other) != sorted(chosen) for other in maps):
            return ""  # a bit that is left over would be taken for a sign
        readable = ""
        for glyph, segments in SEGMENTS_OF.items():
            results = [_read(other, chosen, segments) for other in maps]
            if any(result not in (glyph, None) for result in results):
                return ""
            readable += glyph if all(result == glyph for result in results) else ""
        for bit, letter in chosen.items():
            if names[letter] not in self.bit_of:
                self.take(names[letter], bit)
        return readable

    def _telling(self, open_places: list[int]) -> str:
        """Return the digits that tell apart the most pairs of segments which no display has told apart, "_" for.

        Settled places.
        """
        chosen = ""
        lit: list[tuple[tuple[bool | None, ...], bool]] = []
        for place in range(self.places):
            if place not in open_places:
                chosen += "_"
                continue
            lines = [tuple(self.segment(place, letter)) for letter in LETTERS]
            seen = self._seen(place)
            best, most = "", (-1, 0)
            for digit in dict.fromkeys((*seen, *"123")) if place == 0 else DIGITS:
                own = [(line, letter in SEGMENTS_OF[digit]) for line, letter in zip(lines, LETTERS, strict=True)]
                pairs = [(one, other) for n, one in enumerate(own) for other in (*own[:n], *lit)]
                told = sum(1 for one, other in pairs if one[0] == other[0] and one[1] != other[1])
                if (told, -seen.count(digit)) > most:
                    best, most = digit, (told, -seen.count(digit))
            chosen += best or "1"
            lit += [(line, letter in SEGMENTS_OF[chosen[-1]]) for line, letter in zip(lines, LETTERS, strict=True)]
        return chosen

    def _settle_signs(self) -> list[str]:
        """Settle points and minus; return what to show where they are open."""
        asks = []
        for name in ("minus", *(f"point{n}" for n in range(1, self.places))):
            line = self.sign(name)
            if True not in line:
                continue
            fits = self.fitting(line)
            if not fits:
                raise Contradiction(f"no bit is lit as the {name} should be")
            if len(fits) > 1 or False not in line:
                asks.append("another with and one without a minus" if name == "minus" else "the point in other places")
            else:
                self.take(name, fits[0])
        return list(dict.fromkeys(asks))

    def _settle_words(self) -> list[str]:
        """Settle prefixes, units and modes; return what to show where they are open."""
        groups: dict[tuple[bool | None, ...], list[str]] = {}
        for name in (*UNITS, *PREFIXES, *MODES):
            line = self.sign(name)
            if True in line:
                groups.setdefault(tuple(line), []).append(name)
        asks = []
        for pattern, names in groups.items():
            fits = self.fitting(list(pattern))
            needed = [name for name in names if name not in MODES]
            if len(fits) < len(needed):
                raise Contradiction(f"no bit is lit as {' and '.join(needed)} should be")
            if len(fits) > len(names) or (False not in pattern and needed):
                asks.append(f"another display without {' or '.join(names)}, and one with")
                continue
            for name, bit in zip(names, fits, strict=False):  # a mode may have no sign of its own
                self.take(name, bit)
        for name in dict.fromkeys(flag for shown in self.shown for flag in shown.flags):
            fits = self.fitting(self.sign(name))
            if len(fits) == 1:
                self.take(name, fits[0])
        return asks

    # --- the profile

    def _extras(self) -> dict[str, Bit]:
        """Return what else is lit beside numbers. What is lit beside OL alone may be a segment, and is left out."""
        told = [
            n
            for n, shown in enumerate(self.shown)
            if not shown.over and (self.blank or len(shown.digits) == self.places)
        ]
        extras = {}
        for byte, bit in self.free:
            lit = [self.lit[byte, bit][n] for n in told]
            if any(lit):
                extras[f"{'always' if all(lit) else 'extra'}_{byte + 1}_{bit}"] = (byte, bit)
        return extras

    def _profile(self, base: MeterProfile) -> MeterProfile:
        place = {**self.bit_of, **self._extras()}
        table = {f"{byte + 1}.{bit}": symbol for symbol, (byte, bit) in sorted(place.items(), key=_order)}
        quantities: dict[str, str | float] = {}
        for shown in self.shown:
            if shown.quantity is not None:
                words = [word for word in (shown.unit, shown.mode) if word in self.bit_of]
                if quantities.setdefault(" ".join(words), shown.quantity.value) != shown.quantity.value:
                    raise Contradiction(f"nothing tells {quantities[' '.join(words)]} from {shown.quantity.value}")
        return msgspec.structs.replace(
            base,
            family="lcd14",
            title="a meter that sends its LCD's segments, taught",
            patterns=(),
            tables={
                "frame": {"bytes": len(self.samples[0].frame), "digits": self.places},
                "segments": dict(table),
                "quantities": quantities,
                "layout": self._untaught(),
            },
        )

    def _needed(self) -> list[str]:
        segments = [f"{letter}{place + 1}" for place in range(self.places) for letter in LETTERS]
        return [*segments, *(f"point{n}" for n in range(1, self.places)), "minus"]

    def _untaught(self) -> dict[str, str]:
        missing = [name for name in self._needed() if name not in self.bit_of]
        return {"untaught": " ".join(missing)} if missing else {}

    def _untold(self) -> Iterable[str]:
        lacking = [digit for digit in DIGITS if digit not in self.readable[0]]
        if lacking:
            yield f"first digit {', '.join(lacking)}"
        yield from (f"point after digit {n}" for n in range(1, self.places) if f"point{n}" not in self.bit_of)
        if "minus" not in self.bit_of:
            yield "minus"
        if not any(shown.over for shown in self.shown):
            yield "OL (it is read by its glyphs; see one before you rely on it)"
        units = [name for name in UNITS if name not in self.bit_of]
        yield from (f"unit {name}" for name in units)
        yield from (f"prefix {name}" for name in PREFIXES if name not in self.bit_of)
        yield "signs that no display showed, such as hold or low battery"


def _sign(name: str, shown: Shown, places: int) -> bool | None:
    if name.startswith("point"):
        return None if shown.over else shown.decimals > 0 and places - shown.decimals == int(name[5:])
    if name == "minus":
        return (True if shown.minus else None) if shown.over else shown.minus
    if name in PREFIXES or name in UNITS or name in MODES:
        return None if shown.quantity is None else name in (shown.prefix, shown.unit, shown.mode)
    return name in shown.flags


def _choices(fits: list[list[Bit]]) -> list[tuple[Bit, ...]] | None:
    """Return every way to give each its own bit; None when there are too many to look at."""
    ways = 1
    for bits in fits:
        ways *= max(len(bits), 1)
        if ways > MOST_CHOICES:
            return None
    return [choice for choice in itertools.product(*fits) if len(dict.fromkeys(choice)) == len(choice)]


def _read(true: dict[Bit, str], chosen: dict[Bit, str], segments: str) -> str | None:
    """Return the glyph that `chosen` reads when the bits really are `true`; None when it reads none."""
    bit_of = {letter: bit for bit, letter in true.items()}
    if any(letter not in bit_of or bit_of[letter] not in chosen for letter in segments):
        return None  # a bit that the table lacks: garbage
    lit = sorted(chosen[bit_of[letter]] for letter in segments)
    return next((glyph for glyph, letters in SEGMENTS_OF.items() if sorted(letters) == lit), None)


def _order(item: tuple[str, Bit]) -> tuple[int, int]:
    byte, bit = item[1]
    return byte, -bit
