"""Order: which step to take first where the symptom is known, so that the fault is reached soonest on average. Pure.

One fault is looked for. A step finds it with a chance and takes minutes; some need others open first, which cost once.
The order with the least expected minutes to the fault follows from chance over cost: for looks without conditions the
ratio rule (Smith 1956, Naval Research Logistics Quarterly 3; for the search of one fault Gluss 1959 and Mitten 1960;
all from memory), with conditions dynamic programming over what is left.
"""

from metercap.order.chances import after, matched, prior, sharpened
from metercap.order.known import Shop, known
from metercap.order.looks import Look, minutes_to_fault
from metercap.order.propose import Proposed, Ranked, propose
from metercap.order.schedule import best_order

__all__ = [
    "Look",
    "Proposed",
    "Ranked",
    "Shop",
    "after",
    "best_order",
    "known",
    "matched",
    "minutes_to_fault",
    "prior",
    "propose",
    "sharpened",
]
