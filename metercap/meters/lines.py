"""From displays to the patterns of free text lines: which number is the value, and which words say unit and quantity.

The value is the number that is the display's in every line. A word is the unit where it says prefix and unit of every
display ("OHM,2.187,kOhm" with 2.187 kohm: kOhm does, OHM does not). Every other word, and every number that did not
change while one display stood still, must stand in a line as it was seen; a line with any other is garbage.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TypeAlias

import msgspec

from metercap.meter import MeterProfile
from metercap.meters.lesson import Contradiction, Lesson
from metercap.meters.shown import EXPONENTS, Shown, unit_of
from metercap.reading import Reading
from metercap.wire import decode_frame
from metercap.wire.patterns import MOST_CHARACTERS, MOST_PATTERNS

LETTER = r"A-Za-z\u00b0\u00b5\u03bc\u03a9\u2126%"
VALUE = r"(?P<value>[+-]?(?:\d+\.?\d*|\.\d+))"
ANY_NUMBER = r"[+-]?[0-9.]+"
OVER_WORDS = (
    "ol",
    "o.l",
    "0l",
    "0.l",
    "over",
    "ovl",
    "ovld",
    "ovf",
    "overload",
    "overflow",
    "inf",
    "open",
    "ofl",
    "----",
)
LEAST_SAMPLES = 2
_TOKEN = re.compile(
    rf"(?P<number>(?<![{LETTER}0-9_.])[+-]?(?:\d+\.?\d*|\.\d+)(?![\d.]))|(?P<word>[{LETTER}][{LETTER}0-9]*)|(?P<blank>\s+)",
    re.ASCII,
)
_EXPONENT = re.compile(r"\d[eE][+-]?\d", re.ASCII)
MODE_OF = {
    "resistance": "",
    "continuity": "beep",
    "voltage_dc": "dc",
    "voltage_ac": "ac",
    "current_dc": "dc",
    "current_ac": "ac",
    "diode": "diode",
    "capacitance": "",
    "frequency": "",
    "duty": "",
    "temperature": "",
}
"""The word that stands for a quantity in the tables, where the meter has none of its own."""
SaidWith: TypeAlias = dict[tuple[str, str], dict[str, None]]
Meaning: TypeAlias = tuple[str, int, str]
"""Unit symbol, power of ten of the number as written, quantity."""


class Token(msgspec.Struct, frozen=True):
    """A piece of a line: a "number", a "word", a "blank", "over", or a "mark" that stands as it is."""

    kind: str
    text: str


class Line(msgspec.Struct, frozen=True):
    """A line in pieces, with the display that stood while it came."""

    text: str
    tokens: tuple[Token, ...]
    shown: Shown
    display: int

    @property
    def structure(self) -> tuple[str, ...]:
        """What lines of one kind have in common: the kinds of their pieces, and marks as they are."""
        return tuple(token.text if token.kind == "mark" else token.kind for token in self.tokens)


def learn(heard: Sequence[tuple[Sequence[str], Shown]], base: MeterProfile) -> Lesson:
    """Return what the lines heard with each display teach. Raises Contradiction when they cannot all be such lines."""
    lines = [
        Line(text, _tokens(text, shown), shown, n)
        for n, (texts, shown) in enumerate(heard)
        for text in dict.fromkeys(text.strip() for text in texts)
    ]
    groups: dict[tuple[str, ...], list[Line]] = {}
    for line in lines:
        groups.setdefault(line.structure, []).append(line)
    if len([one for _, one in heard if not one.over]) < LEAST_SAMPLES:
        return Lesson(ask="another number", why="too few displays")
    forms: list[_Form] = []
    for group in groups.values():
        form = _Form(group)
        if form.ask:
            return Lesson(ask=form.ask, why="several numbers of a line may be the value")
        if form.lines:
            forms.append(form)
    read = {line.display: None for form in forms for line in form.lines}
    for n, (_, shown) in enumerate(heard):
        if n not in read:
            raise Contradiction(f"no line with the display {shown.typed!r} holds its number")
    profile = _profile(forms, base)
    for form in forms:
        for line in form.lines:
            found = decode_frame(profile, line.text.encode() + b"\n", 0.0)
            if len(found) != 1 or not isinstance(found[0], Reading) or not line.shown.agrees(found[0]):
                raise Contradiction(f"no pattern reads {line.text!r} as {line.shown.typed!r}")
    return Lesson(profile=profile, untold=tuple(_untold(forms)))


def _tokens(text: str, shown: Shown) -> tuple[Token, ...]:
    if not text.isprintable() or len(text) > 200:
        raise Contradiction("a line is not printable, or longer than 200 characters")
    if _EXPONENT.search(text):
        raise Contradiction(f"{text!r}: a number with an exponent is not read")
    found: list[Token] = []
    at = 0
    if shown.over:
        spots = [match for match in re.finditer(r"[^\s=:,;|\t]+", text) if match[0].strip("+-").lower() in OVER_WORDS]
        if len(spots) == 1:
            start, stop = spots[0].span()
            return (*_pieces(text[:start]), Token("over", text[start:stop]), *_pieces(text[stop:]))
    found += _pieces(text[at:])
    return tuple(found)


def _pieces(text: str) -> list[Token]:
    found, at = [], 0
    for match in _TOKEN.finditer(text):
        found += [Token("mark", sign) for sign in text[at : match.start()]]
        found.append(Token(str(match.lastgroup), match[0]))
        at = match.end()
    return found + [Token("mark", sign) for sign in text[at:]]


class _Form:
    """The lines of one structure: which piece is the value, which the unit, which may be any number."""

    def __init__(self, lines: list[Line]) -> None:
        self.ask = ""
        self.value = -1
        self.unit = -1
        self.any: list[int] = []
        self.over = any(token.kind == "over" for token in lines[0].tokens)
        self.lines = lines if self.over else self._with_value(lines)
        if not self.lines or self.ask:
            return
        kinds = [token.kind for token in self.lines[0].tokens]
        self.any = [n for n, kind in enumerate(kinds) if kind == "number" and n != self.value and self._moves(n)]
        self.words = [
            n for n, kind in enumerate(kinds) if kind in ("word", "number") and n not in (self.value, *self.any)
        ]
        units = [n for n in self.words if all(self._is_unit(line, n) for line in self.lines)]
        if len(units) == 1 and not any(line.shown.quantity is None for line in self.lines):
            self.unit = units[0]

    def _with_value(self, lines: list[Line]) -> list[Line]:
        """Return the lines that show their display's number, and remember where it stands."""
        spots = [n for n, token in enumerate(lines[0].tokens) if token.kind == "number"]
        kept = [line for line in lines if not line.shown.over and any(_is_value(line, n) for n in spots)]
        if any(line.shown.over for line in lines) and kept:
            raise Contradiction(
                f"the display {next(line.shown.typed for line in lines if line.shown.over)!r} came as a number"
            )
        fits = [n for n in spots if kept and all(_is_value(line, n) for line in kept)]
        if len(fits) > 1:
            self.ask = "another number"
        elif kept and not fits:
            raise Contradiction(f"no one number of the lines is every display's: {kept[0].text!r}")
        self.value = fits[0] if fits else -1
        return kept

    def _moves(self, n: int) -> bool:
        """Return whether a number changed while one display stood still: a counter, a clock, another value."""
        seen: dict[int, dict[str, None]] = {}
        for line in self.lines:
            seen.setdefault(line.display, {})[line.tokens[n].text] = None
        return any(len(texts) > 2 for texts in seen.values())

    def _is_unit(self, line: Line, n: int) -> bool:
        found = unit_of(line.tokens[n].text)
        if found is None or found[1] != line.shown.unit:
            return False
        return self.over or EXPONENTS[found[0]] == self.power(line)

    def power(self, line: Line) -> int:
        """Return the power of ten of the number as it is written in the line."""
        if self.over:
            return 0
        return line.shown.weight + len(line.tokens[self.value].text.partition(".")[2])

    def context(self, line: Line) -> tuple[str, ...]:
        """Return the words that must stand there."""
        return tuple(line.tokens[n].text for n in self.words if n != self.unit)

    def meaning(self, line: Line, only: Shown | None) -> Meaning:
        """Return what a line says; an OL without unit is of the only quantity there is."""
        shown = line.shown if line.shown.quantity is not None or only is None else only
        if shown.quantity is None:
            raise Contradiction("an OL without its unit, among several quantities: type it, as in 'OL Mohm'")
        return shown.unit, self.power(line), shown.quantity.value


def _is_value(line: Line, n: int) -> bool:
    text = line.tokens[n].text
    shown = line.shown
    digits = text.lstrip("+-").replace(".", "")
    same = int(digits) == int(shown.digits) and len(text.partition(".")[2]) + shown.weight in range(-12, 10)
    zero = int(digits) == 0
    return same and (zero or text.startswith("-") == shown.minus)


def _profile(forms: list[_Form], base: MeterProfile) -> MeterProfile:
    """Return the profile of all forms. Raises Contradiction where no word tells two meanings apart."""
    numbers = [line.shown for form in forms if not form.over for line in form.lines]
    only = numbers[0] if len(dict.fromkeys(shown.quantity for shown in numbers)) == 1 else None
    tables = _Tables(only, _said_with(forms, only))
    for form in sorted(forms, key=lambda form: form.over):
        tables.add(form)
    if len(tables.patterns) > MOST_PATTERNS or any(len(one) > MOST_CHARACTERS for one in tables.patterns):
        raise Contradiction(
            "too many different lines: hold each display longer, so that counters and clocks show as such"
        )
    return msgspec.structs.replace(
        base,
        family="text",
        title="a meter that sends text lines, taught",
        patterns=tuple(tables.patterns),
        tables={
            "units": tables.units,
            "quantities": tables.quantities,
        },
    )


def _said_with(forms: list[_Form], only: Shown | None) -> SaidWith:
    """Return with which quantities each word came beside each unit, in all forms; "" is beside any word."""
    said: SaidWith = {}
    for form in forms:
        for line in form.lines:
            symbol, _, quantity = form.meaning(line, only)
            for text in ("", *(line.tokens[n].text.lower() for n in form.words)):
                said.setdefault((symbol, text), {})[quantity] = None
    return said


class _Tables:
    """The tables and patterns as they grow, form by form."""

    def __init__(self, only: Shown | None, said_with: SaidWith) -> None:
        self.only = only
        self.said_with = said_with
        self.units: dict[str, str | float] = {}
        self.quantities: dict[str, str | float] = {}
        self.patterns: dict[str, None] = {}

    def add(self, form: _Form) -> None:
        """Add the patterns of one structure, and what its words mean."""
        spellings = _spellings(form)
        unit, word = _groups(form, self.only, self.said_with)
        for line in form.lines:
            symbol, power, quantity = form.meaning(line, self.only)
            mode = MODE_OF[quantity] if word < 0 else line.tokens[word].text.lower()
            text = line.tokens[unit].text if unit >= 0 else ""
            if form.unit >= 0:
                for prefix, spelled, of in spellings:
                    _put(self.units, prefix + spelled, _prefixed(EXPONENTS[prefix], of))
                mode = mode if word >= 0 else ""
            elif form.over and text in self.units:
                mode = mode if word >= 0 else str(self.units[text]).partition(" ")[2]
            else:
                named = _prefixed(power, symbol)
                _put(self.units, text, f"{named} {mode}" if word < 0 and mode else named)
            _put(self.quantities, f"{symbol} {mode}".strip(), quantity)
            beside = [one.shown.unit for one in form.lines if form.context(one) == form.context(line)]
            known = [spelling for spelling in spellings if spelling[2] in beside]
            self.patterns[_pattern(form, line, {unit: "unit", word: "quantity"}, known)] = None


def _groups(form: _Form, only: Shown | None, said_with: SaidWith) -> tuple[int, int]:
    """Return which piece tells the unit and which the quantity, -1 for none. Raises Contradiction when nothing does.

    Where several quantities share a unit, a word must tell even in a form that holds one of them alone.
    """

    def tells(n: int, *parts: int) -> bool:
        """Whether a piece's text settles these parts of what a line says."""
        told: dict[tuple[str, ...], tuple[str | int, ...]] = {}
        for line in form.lines:
            said = form.meaning(line, only)
            text = line.tokens[n].text if n >= 0 else ""
            key = (text.lower(), said[0]) if parts == (2,) else (text,)
            if told.setdefault(key, tuple(said[part] for part in parts)) != tuple(said[part] for part in parts):
                return False
        return True

    words = sorted(form.words, key=lambda n: (n < form.value, abs(n - form.value)))
    if form.unit >= 0:
        symbols = [(line, form.meaning(line, only)[0]) for line in form.lines]
        if all(len(said_with[symbol, ""]) == 1 for _, symbol in symbols):
            return form.unit, -1
        alone = [n for n in words if all(len(said_with[of, line.tokens[n].text.lower()]) == 1 for line, of in symbols)]
        word = next((n for n in (*alone, -1) if n != form.unit and tells(n, 2)), None)
        if word is not None:
            return form.unit, word
        raise Contradiction(f"no word of {form.lines[0].text!r} tells its quantity from another's")
    # A word that is everywhere the same tells nothing, but holds the unit's place.
    for unit in (*words, -1) if words else (-1,):
        if tells(unit, 0, 1, 2):
            return unit, -1
    for unit in (*words, -1):
        for word in words:
            if word != unit and tells(unit, 0, 1) and tells(word, 2):
                return unit, word
    raise Contradiction(f"no word of {form.lines[0].text!r} tells its unit and quantity from another's")


def _put(table: dict[str, str | float], key: str, value: str) -> None:
    if table.setdefault(key, value) != value:
        raise Contradiction(f"{key!r} would mean both {table[key]} and {value}")


def _prefixed(power: int, symbol: str) -> str:
    prefix = next((one for one, exponent in EXPONENTS.items() if exponent == power and one != "K"), None)
    if prefix is None:
        raise Contradiction(f"the number as written weighs 10^{power} {symbol}, which no prefix says")
    return prefix + symbol


def _spellings(form: _Form) -> list[tuple[str, str, str]]:
    """Return (prefix, unit as written, symbol) that may stand in the unit's place.

    Those seen, and every prefix once two were.
    """
    seen: dict[tuple[str, str, str], None] = {}
    for line in form.lines if form.unit >= 0 else ():
        text = line.tokens[form.unit].text
        found = unit_of(text)
        if found is not None:
            bare = text if not found[0] else text[1:]
            seen[text[: len(text) - len(bare)], bare, found[1]] = None
    for spelled, symbol in dict.fromkeys((spelled, symbol) for _, spelled, symbol in seen):
        if len([one for one in seen if one[1] == spelled]) > 1:
            seen |= {(prefix, spelled, symbol): None for prefix in EXPONENTS}
    return list(seen)


def _pattern(form: _Form, line: Line, groups: dict[int, str], spellings: list[tuple[str, str, str]]) -> str:
    """Return the pattern of a line.

    Its words as they stand, any blanks for blanks, any digits for value and counters.
    """
    out = ""
    for n, token in enumerate(line.tokens):
        group = groups.get(n)
        if n == form.value:
            out += VALUE
        elif token.kind == "over":
            out += f"(?P<over>{re.escape(token.text)})"
        elif n == form.unit:
            out += f"(?P<unit>{'|'.join(re.escape(prefix + spelled) for prefix, spelled, _ in spellings)})"
        elif group is not None:
            out += f"(?P<{group}>{re.escape(token.text)})"
        elif n in form.any:
            out += ANY_NUMBER
        elif token.kind == "blank":
            out += r"\s+"
        else:
            out += re.escape(token.text)
    return f"(?-i:{out})"


def _untold(forms: list[_Form]) -> list[str]:
    said = ["every line whose words no display showed"]
    if not any(form.over for form in forms):
        said.append("OL")
    units = dict.fromkeys(line.shown.unit for form in forms if not form.over for line in form.lines)
    for form in forms:
        if form.unit >= 0 and len(_spellings(form)) == 1:
            said.append(f"prefixes other than in {form.lines[0].tokens[form.unit].text!r}")
    return [*said, f"units other than {', '.join(units)}"]
