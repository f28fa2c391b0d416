"""An address as a code that a telephone scans (ISO/IEC 18004)."""

from __future__ import annotations

BORDER = 4
"""Light modules around a code (ISO/IEC 18004, quiet zone)."""


def code(text: str) -> tuple[str, ...]:
    """Return the rows of the code, a sign a module, "1" for dark, its quiet zone with it; () without the library.

    Level L: a screen is clean, and fewer modules are larger ones.
    """
    try:
        import segno
    except ImportError:
        return ()
    made = segno.make(text, error="l", micro=False, boost_error=False)
    return tuple("".join(str(int(dark)) for dark in row) for row in made.matrix_iter(border=BORDER))
