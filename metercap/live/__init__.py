"""The live loop: takes a byte source, word sources and observers, and knows no screen."""

from metercap.live.inbox import Inbox
from metercap.live.loop import DISK_WELL, Live
from metercap.live.parts import Observer, Reason
from metercap.live.signals import stop_signals
from metercap.live.trace import Trace

__all__ = ["DISK_WELL", "Inbox", "Live", "Observer", "Reason", "Trace", "stop_signals"]
