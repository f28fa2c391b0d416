"""The readings of one meter, live, without a session: for a script or a notebook that asks for one after the other."""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Iterator
from datetime import UTC, datetime
from types import TracebackType
from typing import Self

from metercap.clock import ScaledClock
from metercap.link import LinkWatch, Source
from metercap.link.tape import END_OF_TAPE
from metercap.live.inbox import Arrived, Changed, Failed, Inbox, Item, frame_ends
from metercap.meter import MeterProfile
from metercap.reading import Reading
from metercap.records import Link, LinkState, at
from metercap.wire import decoder

_LOG = logging.getLogger("metercap")
_LONGEST_WAIT_S = 1.0
"""The wait for bytes ends at least this often, so that Ctrl-C is heard on every system."""


class LiveReadings(Iterator[Reading]):
    """An iterator over a meter's readings that waits for each; a context manager that closes the port.

    `port` and `meter` say what was opened, `profile` how it is read, `identity` what the meter calls itself where it
    can be asked. `opened_utc` is when the readings' `t_s` was 0. `link` is the newest change of the link, None before
    the first; `garbage` counts bytes that fit no frame. A link that is lost is opened again by itself, and readings go
    on; what happens to it goes to the log "metercap" as well.
    """

    def __init__(self, source: Source, profile: MeterProfile, *, port: str, meter: str) -> None:
        self.port = port
        self.meter = meter
        self.profile = profile
        self.identity = source.identity
        self.link: Link | None = None
        self.garbage = 0
        self._source = source
        self._decoder = decoder(profile, midstream=True)
        self._watch = LinkWatch(profile)
        self._found: deque[Reading] = deque()
        self._over = False
        self._inbox = Inbox()
        self._inbox.ends = frame_ends(profile)
        self._clock = ScaledClock()
        self.opened_utc = datetime.now(UTC)
        source.start(self._inbox, self._clock)
        source.want(None, None)

    def __repr__(self) -> str:
        return f"<metercap readings of {self.meter} on {self.port}{', closed' if self._over else ''}>"

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def __iter__(self) -> Self:
        return self

    def __next__(self) -> Reading:
        """Return the next reading, however long it takes; ends when the port was closed, or a tape is at its end."""
        while (reading := self.read(_LONGEST_WAIT_S)) is None:
            if self._over:
                raise StopIteration
        return reading

    def read(self, timeout_s: float) -> Reading | None:
        """Return the next reading, or None when none came within `timeout_s` seconds or none will come any more.

        Raises what broke the link's thread: a defect, never a meter that is silent or gone.
        """
        until_s = self._clock.now_s() + timeout_s
        while not self._found and not self._over:
            self._told(self._watch.due(at(self._clock.now_s())))
            left_s = min(until_s - self._clock.now_s(), _LONGEST_WAIT_S)
            item = self._inbox.get(max(0.0, left_s))
            if item is not None:
                self._take(item)
            elif left_s <= 0.0:
                break
        return self._found.popleft() if self._found else None

    def close(self) -> None:
        """Close the port. Readings that have arrived and were not asked for are gone; twice is harmless."""
        self._over = True
        self._found.clear()
        self._inbox.close()
        self._source.stop()

    def _take(self, item: Item) -> None:
        if isinstance(item, Arrived):
            before = len(self._found)
            for one in self._decoder.feed(item.data, item.t_s):
                if isinstance(one, Reading):
                    self._found.append(one)
                    self._told(self._watch.frame(one.quantity, one.t_s))
                else:
                    self.garbage += one.bytes
            if len(self._found) == before:
                self._watch.noise(item.data, at(item.t_s))
        elif isinstance(item, Changed):
            if item.state is LinkState.LOST:
                self._decoder.flush(item.t_s)  # a frame that was cut is not completed by the next connection
                self._over = item.why == END_OF_TAPE
            self._told(self._watch.change(item.state, item.why, at(item.t_s)))
        elif isinstance(item, Failed):
            self.close()
            raise item.error

    def _told(self, changes: list[Link]) -> None:
        for change in changes:
            self.link = change
            loud = logging.INFO if change.state is LinkState.UP else logging.WARNING
            _LOG.log(loud, "%s: %s", self.port, change.why or f"the link is {change.state}")
