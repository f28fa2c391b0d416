"""The one gate for text that leaves the program: what a file, a meter or an argument holds cannot drive what shows it.

Control characters (C0, DEL and C1 of ECMA-48), format characters (bidirectional controls and others that hide or move
text, Unicode general category Cf), separators of lines and paragraphs, surrogates, private and unassigned characters
become visible escapes. Above ASCII these are the escapes of JSON (RFC 8259, 7), so that JSON text stays the same text
when it passes. Pure.
"""

from __future__ import annotations

import re
import unicodedata
from typing import Any

_HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})

OWN = re.compile("(\x1b\\[(?:0|1|3[1-6])m|\r\x1b\\[K|\a)")
"""The only controls of our own on a terminal: colour, bold, back to the line's beginning and erase, the bell."""

_UNDECODED = re.compile("[\udc80-\udcff]")

_IN_JSON = re.compile(
    "[\x7f-\x9f\xad\u061c\u180e\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb\U000e0000-\U000e007f]"
)
"""What JSON may hold raw though it drives or hides. A fixed set: no file depends on a Python's Unicode tables."""


def visible(text: str) -> str:
    """Return `text` on one line, every character that does not show as itself written as an escape."""
    if text.isprintable():
        return text
    text = decoded(text)
    return "".join(char if char.isprintable() else _escape(char) for char in text)


def decoded(name: str) -> str:
    """Return a name that the system gave as bytes (PEP 383) as the UTF-8 that these are, or else unchanged."""
    if not _UNDECODED.search(name):
        return name
    try:
        return name.encode("utf-8", "surrogateescape").decode("utf-8")
    except UnicodeError:
        return name


def storable(value: Any) -> Any:
    """Return plain data as a file of ours can hold it: each text `decoded`, what is no text at all as its escape."""
    if isinstance(value, str):
        return decoded(value).encode("utf-8", "backslashreplace").decode("utf-8")
    if isinstance(value, dict):
        return {storable(key): storable(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [storable(inner) for inner in value]
    return value


def lines(text: str, *, own: bool = False) -> str:
    """Return `text` as `visible` does, but with its line feeds and tabs, and with `own` the controls of `OWN`.

    What was made of foreign text must have passed `visible` piece by piece before; this is the last door, not the only.
    """
    if all(part.isprintable() for part in text.split("\n")):
        return text
    if not own:
        return _lines(text)
    return "".join(part if n % 2 else _lines(part) for n, part in enumerate(OWN.split(text)))


def json_bytes(data: bytes) -> bytes:
    """Return a JSON text in which what drives or hides is escaped: the same value, harmless to look at raw.

    Control characters under 0x20 stand escaped in JSON anyhow, and outside its strings no other can stand.
    """
    if data.isascii() and b"\x7f" not in data:
        return data
    text = data.decode("utf-8")
    return _IN_JSON.sub(lambda found: _units(found[0]), text).encode("utf-8")


def _lines(text: str) -> str:
    return "".join(char if char.isprintable() or char in "\n\t" else _escape(char) for char in text)


def _escape(char: str) -> str:
    if unicodedata.category(char) not in _HIDDEN:
        return char  # a space of another width
    return char.encode("unicode_escape").decode("ascii") if char < "\x7f" else _units(char)


def _units(char: str) -> str:
    r"""Return `\uXXXX`, twice for a character outside the basic plane."""
    code = char.encode("utf-16-be", "surrogatepass").hex()
    return "".join(f"\\u{code[n : n + 4]}" for n in range(0, len(code), 4))
