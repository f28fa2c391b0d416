"""The nearest right spelling of a word that was mistyped, and the question about it."""

from __future__ import annotations

from collections.abc import Iterable

_LONGEST = 40
"""Characters of a word that are compared; no key is longer, and matching takes time that grows with the square."""


def nearest(word: str, known: Iterable[str]) -> str:
    """Return the known spelling nearest to `word`, case aside, or one that it begins, or nothing."""
    import difflib  # only a mistake needs it

    same = {str(name).casefold(): str(name) for name in known}
    wanted = word[:_LONGEST].casefold()
    match = difflib.get_close_matches(wanted, same, n=1) or [
        name for name in same if wanted and name.startswith(wanted)
    ]
    return same[match[0]] if match else ""


def did_you_mean(name: str) -> str:
    """Return the question for a spelling that `nearest` found; nothing for nothing."""
    return f'did you mean "{name}"?' if name else ""


def near(word: str, known: Iterable[str]) -> str:
    """Return `did you mean "…"?` with the nearest known spelling, or nothing."""
    return did_you_mean(nearest(word, known))


def aside(word: str, known: Iterable[str]) -> str:
    """Return `, did you mean "…"?`, to stand behind what is wrong, or nothing."""
    found = near(word, known)
    return f", {found}" if found else ""
