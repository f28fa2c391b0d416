"""Listening to a port for a while, without a session: what came, and what the link said."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence

import msgspec

from metercap.clock import ScaledClock
from metercap.link import open_link
from metercap.meter import MeterProfile
from metercap.records import LinkState
from metercap.wire.identify import Score, score

MOST_BYTES = 65_536
ENOUGH = 5
"""Readings of which nearly all bytes fit are enough; listening longer would say the same."""
SURE_SHARE = 0.9
LIKELY_SHARE = 0.5
PATIENCE = 3
"""A slow meter whose first readings fit is heard out, this many times as long."""
WAKE_S = 0.05


class Heard(msgspec.Struct, frozen=True):
    """What was heard in `seconds` of listening: the bytes, who the meter says it is, and why the link ended early."""

    sample: bytes
    seconds: float
    identity: str = ""
    lost: str = ""

    @property
    def summary(self) -> str:
        """A few words for the progress line."""
        if self.identity:
            return f"it calls itself {self.identity!a}"
        if self.lost:
            return f"{len(self.sample)} bytes, then {self.lost}"
        return f"{len(self.sample)} bytes in {self.seconds:.1f} s" if self.sample else "silence"


class Ear:
    """A sink that keeps the bytes."""

    def __init__(self) -> None:
        self.sample = bytearray()
        self.lost = ""
        self.fault: BaseException | None = None
        self.over = threading.Event()

    def put_bytes(self, data: bytes, t_s: float) -> None:
        """Keep bytes."""
        if len(self.sample) < MOST_BYTES:
            self.sample += data
        else:
            self.over.set()

    def put_link(self, state: LinkState, why: str, t_s: float) -> None:
        """A link that is lost ends the listening."""
        if state is LinkState.LOST:
            self.lost = why
            self.over.set()

    def put_fault(self, error: BaseException) -> None:
        """Keep a defect of the link, for the listener to raise."""
        self.fault = error
        self.over.set()


def listen(port: str, group: Sequence[MeterProfile], seconds: float) -> Heard:
    """Listen at the settings of `group`, which share them, until one clearly fits or the time is up.

    Raises LinkError when the port cannot be opened, or no SCPI meter answers on it.
    """

    def long_enough(sample: bytes) -> float:
        fits = [score(profile, sample) for profile in group]
        if any(sure(fit) for fit in fits):
            return 0.0
        return PATIENCE * seconds if any(fit.readings and fit.share >= LIKELY_SHARE for fit in fits) else seconds

    return hear(port, group[0], seconds, long_enough)


def hear(
    port: str, profile: MeterProfile, seconds: float, long_enough: Callable[[bytes], float] | None = None
) -> Heard:
    """Listen at one profile's settings for `seconds`, or as long in all as `long_enough` says of what came so far.

    Raises LinkError when the port cannot be opened.
    """
    source = open_link(port, profile)
    if source.identity:
        source.stop()
        return Heard(b"", 0.0, identity=source.identity)
    ear, clock = Ear(), ScaledClock()
    source.start(ear, clock)
    try:
        until_s, known = seconds, 0
        while not ear.over.wait(WAKE_S) and clock.now_s() < until_s:
            if long_enough is not None and len(ear.sample) > known:
                known = len(ear.sample)
                until_s = long_enough(bytes(ear.sample))
        heard_s = clock.now_s()
    finally:
        source.stop()
    if ear.fault is not None:
        raise ear.fault
    return Heard(bytes(ear.sample), heard_s, lost=ear.lost)


def sure(fit: Score) -> bool:
    """Return whether a sample fits without doubt: `ENOUGH` readings, and hardly a byte left over."""
    return fit.readings >= ENOUGH and fit.share >= SURE_SHARE
