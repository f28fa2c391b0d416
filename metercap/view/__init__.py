"""View: all that any output shows at one moment, said once, as data.

`advance` folds an event, what came of it and what the session knows into a `View`. Screen, sound, lines and pages draw
views; none of them reads a plan or a sentence, takes leads off or applies a rule again.
"""

from metercap.view.board import Board, Mark, Sheet, Spot, State
from metercap.view.fold import advance, after, begin
from metercap.view.model import Stage, Told, Touch, Unit, View
from metercap.view.taps import Tap, tapped
from metercap.view.viewer import Viewer

__all__ = [
    "Board",
    "Mark",
    "Sheet",
    "Spot",
    "Stage",
    "State",
    "Tap",
    "Told",
    "Touch",
    "Unit",
    "View",
    "Viewer",
    "advance",
    "after",
    "begin",
    "tapped",
]
