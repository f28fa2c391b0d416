"""Session: one run of a plan on one unit, as a pure function of events.

`Session.feed(event)` gives outcomes; `Driver` is the one loop that live and replay share.
"""

from metercap.session.driver import Driver
from metercap.session.machine import Session
from metercap.session.replay import Checked, check, feed_recorded, opening

__all__ = ["Checked", "Driver", "Session", "check", "feed_recorded", "opening"]
