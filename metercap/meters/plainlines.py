"""From sample lines of a home-made meter to a `text` profile. Pure.

A line that the shipped profile reads as it stands needs nothing of its own. Any other is taken apart into one number,
its unit, and what stands around them: the number becomes the group `value`, the unit `unit`, a word such as DC
`quantity`; other numbers may be any number, and the rest must stand there as in the sample. What a line does not tell
is a `Question` that names the option which answers it. Nothing is guessed.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Literal, TypeAlias

import msgspec

from metercap.errors import UsageError
from metercap.meter import MeterProfile
from metercap.meters.shown import UNIT_OF
from metercap.quantity import Quantity
from metercap.reading import Reading
from metercap.wire import decoder

MOST_LINES = 50
MOST_LINE = 200
OVER_WORDS = ("ol", "-ol", "+ol", "o.l", "o.l.", "0l", "0.l", "over", "ovl", "ovld", "overload", "inf", "open")
PREFIXES = "kKMmunp\u00b5\u03bc"
LETTER = r"A-Za-z\u00b0\u00b5\u03bc\u03a9\u2126%"
VALUE = r"(?P<value>[+-]?(?:\d+\.?\d*|\.\d+))"
ANY_NUMBER = r"[+-]?[0-9.]+"
UNIT = rf"(?P<unit>[{LETTER}]+)"
PREFIX = rf"(?P<unit>[{PREFIXES}]?)"
QUANTITY = "(?P<quantity>ac|dc|cont|diode)"

_NUMBER = re.compile(r"(?<![A-Za-z0-9_.])[+-]?(?:\d+\.?\d*|\.\d+)(?![\d.])", re.ASCII)
_WORD = re.compile(rf"[{LETTER}]+")

Mark = Literal["value", "unit", "prefix", "quantity", "over", "blank", "number"]
Span: TypeAlias = tuple[int, int, Mark]
Rows: TypeAlias = dict[str, dict[str, str | float]]


class Question(UsageError):
    """Something that `line` does not tell. `about` names the option that answers it."""

    def __init__(self, about: Literal["number", "quantity", "over"], line: str, what: str, hint: str) -> None:
        super().__init__(what, where=repr(line), hint=hint)
        self.about = about
        self.line = line


class Hints(msgspec.Struct, frozen=True):
    """What the person says about the lines.

    `number`: which of several numbers in a line is the value, from 1. `quantity`: what a number without a unit is (in
    SI), and what one in that quantity's unit is when the line does not say. `over`, `blank`: pieces of lines that mean
    over-range, or that nothing is shown.
    """

    number: int | None = None
    quantity: Quantity | None = None
    over: tuple[str, ...] = ()
    blank: tuple[str, ...] = ()


class Taught(msgspec.Struct, frozen=True):
    """A profile, and each sample line with what it gives under that profile."""

    profile: MeterProfile
    rows: tuple[tuple[str, Reading], ...]


def teach(lines: Sequence[str], base: MeterProfile, hints: Hints) -> Taught:
    """Return `base`, the shipped `text` profile with name and port set, fitted to the sample lines.

    Raises Question for what the lines do not tell, and UsageError for a line that this family cannot read.
    """
    samples = list(dict.fromkeys(line.strip() for line in lines if line.strip()))[:MOST_LINES]
    if not samples:
        raise UsageError("no sample line", hint='--line "2.187 kohm", or lines on stdin, or --port to listen')
    for line in samples:
        if not line.isprintable() or len(line) > MOST_LINE:
            raise UsageError(f"no line of text of at most {MOST_LINE} characters", where=ascii(line[:60]))
    tables = {name: dict(rows) for name, rows in base.tables.items()}
    patterns: dict[str, None] = {}
    for line in samples:
        if _plain(line, base, hints):
            continue
        spans = _parts(line, hints)
        patterns[_pattern(line, spans)] = None
        for start, stop, mark in spans:
            if mark == "unit":
                spelled, symbol = _unit(line[start:stop]) or ("", "")
                tables["units"][spelled] = symbol
        if not any(mark == "unit" for _, _, mark in spans) and any(mark == "value" for _, _, mark in spans):
            assert hints.quantity is not None
            tables["units"][""] = hints.quantity.unit
    if hints.quantity is not None:
        tables["quantities"][hints.quantity.unit] = hints.quantity.value
        tables["quantities"][""] = hints.quantity.value
    profile = msgspec.structs.replace(base, tables=tables, patterns=(*patterns, *base.patterns))
    readings = [(line, _read(profile, line)) for line in samples]
    seen = {reading.quantity: None for _, reading in readings if reading is not None and reading.value is not None}
    if len(seen) == 1:
        tables["quantities"][""] = next(iter(seen)).value
    _prefixes(tables, samples)
    profile = msgspec.structs.replace(profile, tables=tables)
    rows = []
    for line in samples:
        reading = _read(profile, line)
        if reading is None:
            raise UsageError("no pattern can be made for this line", where=repr(line), hint="--ignore a piece of it")
        rows.append((line, reading))
    return Taught(profile, tuple(rows))


def numbers(line: str) -> list[str]:
    """Return the free-standing numbers of a line, in order; digits that belong to a word are none."""
    return [match[0] for match in _NUMBER.finditer(line)]


def _read(profile: MeterProfile, line: str) -> Reading | None:
    found = decoder(profile).feed(line.encode("utf-8") + b"\r\n", 0.0)
    return found[0] if len(found) == 1 and isinstance(found[0], Reading) else None


def _plain(line: str, base: MeterProfile, hints: Hints) -> bool:
    """Return whether the shipped profile reads the line as the person means it."""
    marked = any(piece.lower() in line.lower() for piece in (*hints.over, *hints.blank))
    return not marked and not _comma(line) and _read(base, line) is not None


def _comma(line: str) -> bool:
    return re.search(r"\d,\d", line, re.ASCII) is not None


# --- taking a line apart


def _parts(line: str, hints: Hints) -> list[Span]:
    """Return the marked pieces of a line, in order."""
    for pieces, mark in ((hints.over, "over"), (hints.blank, "blank")):
        for piece in pieces:
            if (start := line.lower().find(piece.lower())) >= 0:
                return _with_words(line, (start, start + len(piece), "over" if mark == "over" else "blank"))
    for match in re.finditer(r"[^\s=:,;]+", line):
        if match[0].lower() in OVER_WORDS:
            return _with_words(line, (match.start(), match.end(), "over"))
        if len(match[0]) > 1 and not match[0].strip("-"):
            return _with_words(line, (match.start(), match.end(), "blank"))
    found = list(_NUMBER.finditer(line))
    if re.search(r"\d[eE][+-]?\d", line, re.ASCII):
        raise UsageError("a number with an exponent is not read", where=repr(line), hint="print plain decimals")
    if not found:
        raise Question(
            "over", line, "no number: over-range, or nothing to show?", "--over, --blank or --ignore, each TEXT"
        )
    _one_unit(line)
    chosen = _chosen(line, found, hints)
    spans = _with_words(line, (chosen.start(), chosen.end(), "value"))
    if not any(mark in ("unit", "prefix") for _, _, mark in spans) and hints.quantity is None:
        raise Question("quantity", line, f"{chosen[0]} of what?", "--quantity resistance, for a number in ohms")
    if any(mark == "prefix" for _, _, mark in spans) and hints.quantity is None:
        raise Question("quantity", line, "a prefix, but no unit", "--quantity resistance, for a number in ohms")
    return spans


def _one_unit(line: str) -> None:
    """Refuse a line with several words that could be the unit, such as "OHM,2.187,kOhm".

    Only its display tells which is.
    """
    words = [match[0] for match in _WORD.finditer(line) if _unit(match[0]) is not None and len(match[0]) > 1]
    if len(dict.fromkeys(words)) > 1:
        raise UsageError(
            f"several units ({', '.join(words)})",
            where=repr(line),
            hint=f'--pair "{line}" "2.187 kohm", what the meter shows',
        )


def _chosen(line: str, found: list[re.Match[str]], hints: Hints) -> re.Match[str]:
    """Return the number that is the value."""
    if len(found) == 1:
        return found[0]
    if hints.number is not None:
        if hints.number > len(found):
            raise UsageError(f"has only {len(found)} numbers", where=repr(line), hint="--number 1")
        return found[hints.number - 1]
    with_unit = [match for match in found if _unit_after(line, match.end()) is not None]
    if len(with_unit) == 1 and not _comma(line):
        return with_unit[0]
    what = f"{len(found)} numbers ({', '.join(match[0] for match in found)})"
    if _comma(line):
        what += "; a decimal comma is not read, only a point"
    raise Question("number", line, what, "--number 2, when the second is the value")


def _with_words(line: str, main: Span) -> list[Span]:
    """Return the main piece with its unit, the quantity word, and the other numbers."""
    _, stop, kind = main
    spans: list[Span] = [main]
    unit = _unit_after(line, stop)
    if unit is None and kind == "value" and re.match(rf"\s?[{PREFIXES}](?![{LETTER}])", line[stop:]):
        begin = stop + len(line[stop:]) - len(line[stop:].lstrip())
        spans.append((begin, begin + 1, "prefix"))
    elif unit is None:
        unit = next((m.span() for m in _WORD.finditer(line) if _names_unit(line, m)), None)
    if unit is not None:
        spans.append((*unit, "unit"))
    for match in _WORD.finditer(line):
        if match[0].lower() in ("ac", "dc", "cont", "diode") and not _overlaps(spans, *match.span()):
            spans.append((*match.span(), "quantity"))
            break
    for match in _NUMBER.finditer(line):
        if not _overlaps(spans, *match.span()):
            spans.append((*match.span(), "number"))
    return sorted(spans)


def _names_unit(line: str, match: re.Match[str]) -> bool:
    """Return whether a word that does not follow the number is a unit. A single letter may be any label."""
    apart = not line[match.end() : match.end() + 1].isalnum() and not line[: match.start()][-1:].isalnum()
    return apart and _unit(match[0]) is not None and (len(match[0]) > 1 or not match[0].isascii())


def _unit_after(line: str, stop: int) -> tuple[int, int] | None:
    """Return the place of the unit that follows directly, or None."""
    match = re.match(rf"\s*([{LETTER}]+)", line[stop:])
    if match is None or _unit(match[1]) is None:
        return None
    return stop + match.start(1), stop + match.end(1)


def _unit(word: str) -> tuple[str, str] | None:
    """Return how the unit of a word such as "kOhm" is written, and its symbol; None when it is none."""
    if word in UNIT_OF:
        return word, UNIT_OF[word]
    if word[:1] in PREFIXES and word[1:] in UNIT_OF and UNIT_OF[word[1:]] not in ("%", "degC"):
        return word[1:], UNIT_OF[word[1:]]
    return None


def _overlaps(spans: list[Span], start: int, stop: int) -> bool:
    return any(start < end and begin < stop for begin, end, _ in spans)


# --- putting a pattern together


def _pattern(line: str, spans: list[Span]) -> str:
    out, at = "", 0
    for start, stop, mark in spans:
        out += _literal(line[at:start])
        text = line[start:stop]
        if mark == "over" or mark == "blank":
            out += f"(?P<{mark}>{_literal(text)})"
        else:
            out += {"value": VALUE, "unit": UNIT, "prefix": PREFIX, "quantity": QUANTITY, "number": ANY_NUMBER}[mark]
        at = stop
    return out + _literal(line[at:])


def _literal(text: str) -> str:
    """Return a pattern of text that stands as it is; blanks may vary in number, since columns are padded with them."""
    pieces = re.split(r"(\s+)", text)
    return "".join(r"\s+" if piece.isspace() else re.escape(piece) for piece in pieces)


def _prefixes(tables: Rows, samples: list[str]) -> None:
    """A meter of bare numbers prints no prefixes either."""
    if "" in tables["units"] and not any(re.search(rf"\d\s?[{PREFIXES}]", line) for line in samples):
        tables.pop("prefixes", None)
