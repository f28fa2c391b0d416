"""The patterns of `text` profiles: checked before they ever meet a line, matched in time linear in it.

A pattern is a regular expression from a file, and files come by mail. The matcher is RE2's: it follows all
alternatives at once and never goes back, so no pattern takes longer than its own size times the line's length, and
patterns have at most 1000 characters, lines 256 bytes. What it cannot do that way (looking ahead or behind, referring
back to a group) is refused.
"""

from __future__ import annotations

import re
from typing import Any

GROUPS = ("value", "unit", "quantity", "flags", "over", "blank")
"""The named groups a pattern may have; it needs `value`, `over` or `blank`."""
MOST_PATTERNS = 64
MOST_CHARACTERS = 1000
MEMORY_BYTES = 1 << 17
"""What one compiled pattern may take; a larger one, such as nine hundred repetitions of a group, is refused."""
_UNICODE = re.compile(r"(?<!\\)((?:\\\\)*)\\u([0-9A-Fa-f]{4})")
_OPEN_COUNT = re.compile(r"(?<!\\)(?:\\\\)*\{,[0-9]+\}")


class Pattern:
    """One compiled pattern. Raises ValueError, saying why, for one that cannot be had."""

    def __init__(self, pattern: str) -> None:
        import re2  # takes 4 ms, which only text meters pay

        if len(pattern) > MOST_CHARACTERS:
            raise ValueError(f"is longer than {MOST_CHARACTERS} characters")
        if _OPEN_COUNT.search(pattern):
            raise ValueError("has a repetition without its least number: write {0,5}, not {,5}")
        options = re2.Options()
        options.case_sensitive = False
        options.log_errors = False
        options.max_mem = MEMORY_BYTES
        try:
            # Written by its number, a character spares the file from what it cannot show; RE2 writes that in braces.
            self._compiled: Any = re2.compile(_UNICODE.sub(r"\1\\x{\2}", pattern), options)
        except re2.error as error:
            raise ValueError(_why(error)) from None
        self.groups: tuple[str, ...] = tuple(self._compiled.groupindex)

    def whole(self, line: str, start: int, stop: int) -> dict[str, str | None] | None:
        """Return the groups that took part when the pattern takes all of `line` from `start` to `stop`, else None."""
        match = self._compiled.fullmatch(line, start, stop)
        return None if match is None else dict(match.groupdict())


def compiled(pattern: str) -> Pattern | str:
    """Return a pattern of a profile ready for lines, or what is wrong with it."""
    try:
        found = Pattern(pattern)
    except ValueError as error:
        return str(error)
    strange = [name for name in found.groups if name not in GROUPS]
    if strange:
        return f"has a group {strange[0]!r}; known are {', '.join(GROUPS)}"
    if not any(name in found.groups for name in ("value", "over", "blank")):
        return "has no group named value, over or blank"
    return found


def _why(error: Exception) -> str:
    what = error.args[0] if error.args else ""
    text = what.decode("utf-8", "replace") if isinstance(what, bytes) else str(what)
    if "invalid perl operator: (?=" in text or "invalid perl operator: (?!" in text or "(?<" in text:
        return "looks ahead or behind, which would take for ever on some lines: describe the whole line instead"
    if "invalid escape sequence: \\" in text and text[-1].isdigit():
        return "refers back to a group, which would take for ever on some lines: describe the whole line instead"
    if "invalid perl operator: (?P=" in text or "invalid perl operator: (?P" in text:
        return "refers back to a group, which would take for ever on some lines: describe the whole line instead"
    return f"is no regular expression: {text}"
