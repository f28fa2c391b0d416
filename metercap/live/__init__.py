"""The live loop: takes a byte source, word sources and observers, and knows no screen."""

from metercap.live.inbox import Inbox
from metercap.live.leaving import Leaving
from metercap.live.loop import DISK_WELL, Live
from metercap.live.parts import Following, Observer
from metercap.live.signals import stop_signals
from metercap.live.trace import Trace
from metercap.records import Reason

__all__ = ["DISK_WELL", "Following", "Inbox", "Leaving", "Live", "Observer", "Reason", "Trace", "stop_signals"]
