"""Checks the patterns of a `text` profile before they ever meet a line.

A pattern is a regular expression from a file, so it must not be able to hang the program. Repetition inside
repetition, as in `(\\d+)+x`, takes time exponential in the line's length: it is refused. What is left is at worst
a power of the length, and lines are at most 256 bytes.
"""

from __future__ import annotations

import re

GROUPS = ("value", "unit", "quantity", "flags", "over", "blank")
"""The named groups a pattern may have; it needs `value`, `over` or `blank`."""


def check(pattern: str) -> str:
    """Return what is wrong with a pattern, or an empty text."""
    if len(pattern) > 1000:
        return "is longer than 1000 characters"
    try:
        compiled = re.compile(pattern)
    except (re.error, OverflowError, RecursionError) as error:
        return f"is no regular expression: {error}"
    strange = [name for name in compiled.groupindex if name not in GROUPS]
    if strange:
        return f"has a group {strange[0]!r}; known are {', '.join(GROUPS)}"
    if not any(name in compiled.groupindex for name in ("value", "over", "blank")):
        return "has no group named value, over or blank"
    if _nested(pattern):
        return "repeats a group that repeats or branches inside, which may take for ever"
    return ""


def _nested(pattern: str) -> bool:
    """Whether a group with a repetition or a branch inside is itself repeated. Errs on the side of yes."""
    plain = re.sub(r"\\.", "x", pattern, flags=re.DOTALL)
    plain = re.sub(r"\[\^?\]?[^\]]*\]", "x", plain)
    plain = plain.replace("(?", "(")
    inside = [False]
    for n, sign in enumerate(plain):
        if sign == "(":
            inside.append(False)
        elif sign == ")" and len(inside) > 1:
            busy = inside.pop()
            repeated = plain[n + 1 : n + 2] in ("*", "+", "{")
            if busy and repeated:
                return True
            inside[-1] = inside[-1] or busy
        elif sign in "*+{|":
            inside[-1] = True
    return False
