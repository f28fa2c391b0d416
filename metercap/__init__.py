"""metercap: measurements of a repair, hands on the probes.

`load` opens a journal for analysis in Python; everything else is the command line. Importing this package imports
nothing else, so that a script and the shell's completion start at once.
"""

from __future__ import annotations

TYPE_CHECKING = False  # type checkers take this name for true; importing it from typing would cost milliseconds
if TYPE_CHECKING:
    from pathlib import Path

    from metercap.export import Recording

__all__ = ["__version__", "load"]

__version__: str


def load(path: str | Path, *, verified: bool = True) -> Recording:
    """Open a journal for analysis: `load(path).readings()` and `.verdicts()` are pandas DataFrames.

    `verified` checks every line's checksum first and raises `metercap.errors.JournalError`, with line and byte, for a
    damaged file; a file that was cut off opens, and `.lost` says what it may lack. Without it a changed value would
    go unnoticed. Columns are described in `metercap.export.schema`.
    """
    from metercap.export import load as load_journal

    return load_journal(path, verified=verified)


def __getattr__(name: str) -> str:
    if name == "__version__":
        from importlib.metadata import version

        return version("metercap")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
