"""What many sessions measured: counted place by place, and what that says. Pure.

`model`: places and what was seen there. `counts`: any number of sessions in bounded memory, added up exactly.
"""

from metercap.history.counts import Cell, History, together
from metercap.history.model import Mark, Place, Sight

__all__ = ["Cell", "History", "Mark", "Place", "Sight", "together"]
