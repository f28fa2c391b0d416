"""How often a meter converts, measured while the tips are touched a few times: for `identify`, once it knows the meter.

The rules are those of every session (`contact.pace`): what is shown changes only between conversions, so changes that
come often enough tell how long one takes.
"""

from __future__ import annotations

import queue
from typing import NamedTuple

from metercap.clock import ScaledClock
from metercap.contact import Conversions
from metercap.finding.listen import WAKE_S
from metercap.link import open_link
from metercap.meter import MeterProfile
from metercap.quantity import Quantity
from metercap.reading import Reading
from metercap.records import LinkState
from metercap.wire import decoder

SETTLED_S = 4.0
"""So long nothing new was learned, and all that was seen is measured: it will not get better."""


class Touches(NamedTuple):
    """What was seen in how many seconds: T in seconds by quantity, and the quantities that did not tell theirs."""

    times_s: dict[Quantity, float]
    untold: tuple[Quantity, ...]
    seconds: float
    lost: str = ""


class _Arrivals:
    """A sink that keeps what came, with its times."""

    def __init__(self) -> None:
        self.came: queue.Queue[tuple[bytes, float] | str | BaseException] = queue.Queue()

    def put_bytes(self, data: bytes, t_s: float) -> None:
        self.came.put((data, t_s))

    def put_link(self, state: LinkState, why: str, t_s: float) -> None:
        if state is LinkState.LOST:
            self.came.put(why)

    def put_fault(self, error: BaseException) -> None:
        self.came.put(error)


def measure(port: str, profile: MeterProfile, seconds: float) -> Touches:
    """Watch the meter for `seconds`, or until nothing new is learned, or until Ctrl-C.

    LinkError when the port cannot be opened.
    """
    source, clock, arrivals = open_link(port, profile), ScaledClock(), _Arrivals()
    reads, conversions = decoder(profile, midstream=True), Conversions(profile)
    seen: dict[Quantity, None] = {}
    known: dict[Quantity, float] = {}
    lost, learned_s, now_s = "", 0.0, 0.0
    source.start(arrivals, clock)
    try:
        while (now_s := clock.now_s()) < seconds:
            try:
                came = arrivals.came.get(timeout=WAKE_S)
            except queue.Empty:
                came = b"", now_s
            if isinstance(came, BaseException):
                raise came
            if isinstance(came, str):
                lost = came
                break
            for one in reads.feed(*came):
                if isinstance(one, Reading):
                    conversions.begins(one)
                    seen[one.quantity] = None
            measured = {quantity: round(t_s, 6) for quantity, t_s in conversions.measured_s.items()}
            if measured != known or len(measured) < len(seen):
                known, learned_s = measured, now_s
            if known and now_s - learned_s > SETTLED_S:
                break
    except KeyboardInterrupt:
        pass  # that is how a person ends it
    finally:
        source.stop()
    return Touches(known, tuple(quantity for quantity in seen if quantity not in known), now_s, lost)


def touches_text(found: Touches, profile: MeterProfile) -> list[str]:
    """Return in words what came of it, a line a quantity."""
    lines = []
    for quantity, conversion_s in found.times_s.items():
        stated = 1.0 / profile.conversion_s(quantity)
        name = quantity.value.replace("_", " ")
        rate = f"{1.0 / conversion_s:.2g} a second; the profile says {stated:g}"
        lines.append(f"  {name}: a new value every {conversion_s:.2g} s ({rate})")
    for quantity in found.untold:
        name = quantity.value.replace("_", " ")
        hint = "hold both tips on a pencil line on paper, nothing connected, or touch more often"
        lines.append(f"  {name}: not measured, too little changed\n    try: {hint}")
    if not lines:
        lines.append(f"  no reading came{': ' + found.lost if found.lost else ''}")
    return lines
