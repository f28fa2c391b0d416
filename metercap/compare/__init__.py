"""Files side by side: which items of a unit differ from good ones, and what became of a unit.

`sides` decides what is compared with what; `pairs` compares, `changes` tells before from after, `tables` takes
uncertainties apart; `text` says it in lines.
"""

from metercap.compare.model import SideBySide
from metercap.compare.sides import Side, compare_files

__all__ = ["Side", "SideBySide", "compare_files"]
