"""Session: one run of a plan on one unit, as a pure function of events.

`Session.feed(event)` gives outcomes; `Driver` is the one loop that live and replay share.
"""

from metercap.session.driver import Driver
from metercap.session.machine import Session

__all__ = ["Driver", "Session"]
