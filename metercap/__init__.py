"""metercap: measurements of a repair, hands on the probes.

`open` reads a meter live, `load` opens journals for analysis; see `metercap.python`. Importing this package imports
nothing else, so that a script and the shell's completion start at once.
"""

from __future__ import annotations

import sys

TYPE_CHECKING = False  # type checkers take this name for true; importing it from typing would cost milliseconds
if TYPE_CHECKING:
    from types import ModuleType

    from metercap.python import check, compare, load, open, plot, rejudge  # noqa: A004 - as `metercap.open`
else:
    ModuleType = type(sys)  # without importing `types`, which would cost as much again

__all__ = ["__version__", "check", "compare", "load", "open", "plot", "rejudge"]

__version__: str


class _Front(ModuleType):
    """This package. Two of its functions are named like rooms, which must not take their places when they are loaded.

    `from metercap.compare import Side` finds the room all the same.
    """

    def __setattr__(self, name: str, value: object) -> None:
        if name not in __all__ or not isinstance(value, ModuleType):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Front


def __getattr__(name: str) -> object:
    if name == "__version__":
        from importlib.metadata import version

        return version("metercap")
    if name in __all__:
        from importlib import import_module

        return getattr(import_module("metercap.python"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
