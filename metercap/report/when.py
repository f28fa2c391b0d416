"""Session time as a clock on the wall shows it: local time by the offset that the session recorded, and UTC. Pure."""

from __future__ import annotations

import datetime

from metercap.records import SessionRecord

LONGEST_S = 1e10
"""No session lasts centuries; a file may say anything."""


class When:
    """The clock of one session."""

    def __init__(self, first: SessionRecord) -> None:
        self._said = first.start_utc
        self._start: datetime.datetime | None = None
        try:
            zone = datetime.timezone(datetime.timedelta(seconds=first.zone_offset_s))
            start = datetime.datetime.fromisoformat(first.start_utc)
            if start.tzinfo is not None:
                self._start = start.astimezone(zone)
        except (ValueError, OverflowError):
            pass

    def whole(self, t_s: float) -> str:
        """Return date and time to the second, local with its offset and in UTC; as recorded where it is no time."""
        at = self._at(t_s)
        if at is None:
            return self._said
        utc = at.astimezone(datetime.UTC)
        there = f"{utc:%H:%M:%S}" if utc.date() == at.date() else f"{utc:%Y-%m-%d %H:%M:%S}"
        return f"{at:%Y-%m-%d %H:%M:%S} local time ({at.tzinfo}), {there} UTC"

    def clock(self, t_s: float) -> str:
        """Return the local time of day to the second, or an empty text."""
        at = self._at(t_s)
        return "" if at is None else f"{at:%H:%M:%S}"

    def _at(self, t_s: float) -> datetime.datetime | None:
        if self._start is None:
            return None
        try:
            return self._start + datetime.timedelta(seconds=t_s)
        except (OverflowError, ValueError):
            return None


def elapsed(t_s: float, *, tenths: bool = False) -> str:
    """Return session time as "1:02:03" or "2:03"; with `tenths` "2:03.4"."""
    t_s = min(max(t_s, 0.0), LONGEST_S)
    ticks = round(t_s * 10) if tenths else round(t_s) * 10
    seconds, tenth = divmod(ticks, 10)
    minutes, second = divmod(seconds, 60)
    hours, minute = divmod(minutes, 60)
    text = f"{hours}:{minute:02}:{second:02}" if hours else f"{minute}:{second:02}"
    return f"{text}.{tenth}" if tenths else text


def lasting(t_s: float) -> str:
    """Return a duration in words: "45 s", "13 min 28 s", "24 h 0 min"."""
    seconds = round(min(max(t_s, 0.0), LONGEST_S))
    if seconds < 60:
        return f"{seconds} s"
    minutes, second = divmod(seconds, 60)
    if minutes < 60:
        return f"{minutes} min {second} s"
    hours, minute = divmod(minutes, 60)
    return f"{hours} h {minute} min"
