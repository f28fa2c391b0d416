"""Is the meter talking? Turns what is seen on the link into `Link` records, in session time.

Pure: time comes in with every call. The loop asks for `deadline_s`, wakes then, and calls `due`; a record carries the
deadline itself, not the moment somebody woke up, so the same bytes at the same times give the same records at any
speed.

States and what moves between them (`_MOVES`):

    shut ──open──▶ up ──quiet──▶ silent ──frame──▶ up          quiet: no frame for `quiet_s`, and hardly a byte
                   up ──noise──▶ garbage ──frame──▶ up         noise: no frame for `quiet_s`, but bytes
                   any ──lost──▶ lost ──open──▶ up
"""

from __future__ import annotations

from enum import Enum, auto

from metercap.gate import storable
from metercap.meter import MeterProfile
from metercap.quantity import Quantity
from metercap.records import Link, LinkState, at

MIN_QUIET_S = 2.0
"""Never call a meter silent sooner: a person turning the dial is no dead link."""
QUIET_CONVERSIONS = 4
NOISE_BYTES = 8
"""Fewer stray bytes than this in `quiet_s` are still silence: an optical head's echo, a plug's crackle."""
SAMPLE_BYTES = 16

NEVER_SENT = "port is open, meter is silent: turn on its send mode, seat the optical head, check DTR and RTS"
WENT_QUIET = "no reading for {quiet:g} s: HOLD or auto-off?"
NO_FRAME = "bytes arrive but fit no frame: try identify (got {sample})"
READINGS_ARRIVE = "readings arrive"
READINGS_AGAIN = "readings again"


class _Seen(Enum):
    OPEN = auto()
    LOST = auto()
    FRAME = auto()
    QUIET = auto()
    NOISE = auto()


_UP, _SILENT, _GARBAGE, _LOST = LinkState.UP, LinkState.SILENT, LinkState.GARBAGE, LinkState.LOST
_MOVES: dict[tuple[LinkState | None, _Seen], LinkState] = {
    (None, _Seen.OPEN): _UP,
    (None, _Seen.FRAME): _UP,
    (None, _Seen.LOST): _LOST,
    (_UP, _Seen.QUIET): _SILENT,
    (_UP, _Seen.NOISE): _GARBAGE,
    (_UP, _Seen.LOST): _LOST,
    (_SILENT, _Seen.FRAME): _UP,
    (_SILENT, _Seen.NOISE): _GARBAGE,
    (_SILENT, _Seen.OPEN): _UP,
    (_SILENT, _Seen.LOST): _LOST,
    (_GARBAGE, _Seen.FRAME): _UP,
    (_GARBAGE, _Seen.QUIET): _SILENT,
    (_GARBAGE, _Seen.OPEN): _UP,
    (_GARBAGE, _Seen.LOST): _LOST,
    (_LOST, _Seen.OPEN): _UP,
    (_LOST, _Seen.FRAME): _UP,
}
"""What is not listed changes nothing: state None is before the link was first open."""


class LinkWatch:
    """Follows one link. `state` is None until it is open; `why` is what the last change of it was told by.

    `slack_s` is added to every patience: what the system may hold a frame up, where session time runs faster than real.
    """

    def __init__(self, profile: MeterProfile, slack_s: float = 0.0) -> None:
        self._profile = profile
        self._slack_s = slack_s
        self._quantity: Quantity | None = None
        self.quiet_s = self._quiet_s()
        """How long without a frame is too long: max(2 s, 4 T), T of the quantity last seen or of the profile."""
        self.state: LinkState | None = None
        self.why = ""
        self._framed = False  # a frame came since the link was last opened
        self._since_s = 0.0  # the last frame, or the opening
        self._noise = 0  # bytes since then that made no frame
        self._noise_from_s = 0.0
        self._noise_last_s = 0.0
        self._sample = b""

    @property
    def deadline_s(self) -> float | None:
        """The session time at which the state may change unless a frame comes first; None when nothing is awaited."""
        if self.state is _GARBAGE:
            return at(self._noise_last_s + self.quiet_s)
        if self.state in (_UP, _SILENT) and self._noise >= NOISE_BYTES:
            return at(self._noise_from_s + self.quiet_s)  # bytes that began just now may yet make a frame
        if self.state is _UP:
            return at(self._since_s + self.quiet_s)
        return None

    def due(self, t_s: float) -> list[Link]:
        """Return the records of every change whose time came up to and including `t_s`."""
        records: list[Link] = []
        while (due_s := self.deadline_s) is not None and due_s <= t_s:
            lasted_s = self._noise_last_s - self._noise_from_s
            # One cut frame before a silence is no stream of garbage: it must go on for half the time.
            noisy = self.state is not _GARBAGE and self._noise >= NOISE_BYTES and lasted_s >= self.quiet_s / 2
            records += self._move(_Seen.NOISE if noisy else _Seen.QUIET, due_s)
            if not noisy:
                self._forget_noise()
        return records

    def change(self, state: LinkState, why: str, t_s: float) -> list[Link]:
        """Take what the source itself saw: opened, lost, or refused by the meter (with the source's own words).

        Of a link that is up already, `up` with other words is what the source has to say besides.
        """
        why = storable(why)  # it may name a port whose bytes are no text
        if state is _UP and self.state is _UP:
            return [] if why in ("", self.why) else self._enter(_UP, why, t_s)
        if state is _UP or state is _LOST:
            self._framed = False
            self._since_s = t_s
            self._forget_noise()
            return self._move(_Seen.OPEN if state is _UP else _Seen.LOST, t_s, why)
        if (state, why) == (self.state, self.why):
            return []
        return self._enter(state, why, t_s)

    def frame(self, quantity: Quantity, t_s: float) -> list[Link]:
        """Take note of a decoded reading; the record, if any, comes before it."""
        if quantity is not self._quantity:
            self._quantity = quantity
            self.quiet_s = self._quiet_s()
        self._framed = True
        self._since_s = t_s
        self._forget_noise()
        return self._move(_Seen.FRAME, t_s) if self.state is not _UP else []

    def noise(self, data: bytes, t_s: float) -> None:
        """Take note of bytes that have completed no frame yet; nothing is concluded before their time is up."""
        if not self._noise or t_s - self._noise_last_s > self.quiet_s:
            self._noise = 0
            self._noise_from_s = t_s
            self._sample = b""
        self._noise += len(data)
        self._noise_last_s = t_s
        if len(self._sample) < SAMPLE_BYTES:
            self._sample = (self._sample + data)[:SAMPLE_BYTES]

    def _quiet_s(self) -> float:
        profile, quantity = self._profile, self._quantity
        conversion_s = 1.0 / profile.conversions_per_s if quantity is None else profile.conversion_s(quantity)
        if profile.poll is not None:
            conversion_s = max(conversion_s, 1.0 / profile.poll.per_s)  # it sends no more often than it is asked
        return max(MIN_QUIET_S, QUIET_CONVERSIONS * conversion_s) + self._slack_s

    def _forget_noise(self) -> None:
        self._noise = 0
        self._sample = b""

    def _move(self, seen: _Seen, t_s: float, why: str = "") -> list[Link]:
        to = _MOVES.get((self.state, seen))
        if to is None:
            # Lost for another reason than before (say, no permission after replugging) is worth telling.
            if seen is _Seen.LOST and why != self.why:
                return self._enter(_LOST, why, t_s)
            return []
        if seen is _Seen.QUIET:
            why = WENT_QUIET.format(quiet=self.quiet_s) if self._framed else NEVER_SENT
        elif seen is _Seen.NOISE:
            why = NO_FRAME.format(sample=self._sample.hex(" "))
        elif seen is _Seen.FRAME:
            why = READINGS_ARRIVE if self.state is None else READINGS_AGAIN
        return self._enter(to, why, t_s)

    def _enter(self, state: LinkState, why: str, t_s: float) -> list[Link]:
        self.state = state
        self.why = why
        return [Link(t_s=at(t_s), state=state, why=why)]
