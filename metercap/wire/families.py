"""From a profile to its decoder."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from metercap.errors import ProfileError
from metercap.meter import MeterProfile
from metercap.reading import Garbage, Reading
from metercap.spelling import aside
from metercap.wire.accounts import LATENCY_S
from metercap.wire.coded import Coded
from metercap.wire.digits14 import Digits14
from metercap.wire.fields import Codec
from metercap.wire.framing import CountedDecoder, FrameDecoder, LineDecoder
from metercap.wire.lcd14 import Lcd14
from metercap.wire.own import Build, Guarded, OwnDecoder
from metercap.wire.polled_line import PolledLine
from metercap.wire.scpi import Scpi
from metercap.wire.text import Text


class Decoder(Protocol):
    """Bytes in, readings and garbage out."""

    def feed(self, data: bytes, t_s: float) -> list[Reading | Garbage]:
        """Take bytes whose last one arrived at `t_s`; return what they completed."""
        ...

    def flush(self, t_s: float) -> list[Reading | Garbage]:
        """Return what is still held as garbage: the link ended or was lost."""
        ...


def decoder(profile: MeterProfile, *, latency_s: float = LATENCY_S, midstream: bool = False) -> FrameDecoder:
    """Return a fresh decoder for a meter. Raises ProfileError when the profile's tables do not make sense.

    `latency_s`: how late bytes may reach `feed` beyond their time on the wire, in session time: N times the
    default when session time runs N times as fast as real time. `midstream`: the stream may begin inside a line,
    as when a port is opened while the meter is sending; only free text lines need it, all others show by
    themselves that they are whole.
    """
    return _build(profile, _codec(profile), latency_s, midstream)


def decode_frame(profile: MeterProfile, raw: bytes, t_s: float) -> list[Reading | Garbage]:
    """Return what `raw` gives when it is all there is: for the raw bytes of a reading, that reading.

    Bytes that once were garbage for what stood around them (a frame that came too slowly) may give a reading here.
    Raises ProfileError like `decoder`.
    """
    known = _KNOWN.get(id(profile))
    if known is None or known[0] is not profile:
        codec = _codec(profile)
        known = (profile, _build(profile, codec, LATENCY_S, False))
        if len(_KNOWN) >= _KNOWN_MAX:
            _KNOWN.clear()
        _KNOWN[id(profile)] = known
    fields = known[1].one_good_frame(raw)
    if fields is not None:
        return [Reading(round(t_s, 6), *fields)]
    fresh = decoder(profile)
    return [*fresh.feed(raw, t_s), *fresh.flush(t_s)]


def frame_s(profile: MeterProfile) -> float:
    """Return the time of one frame on the wire in seconds; for free lines, of a usual one."""
    return _codec(profile).frame_bytes * profile.serial.byte_s


# Profiles hold dicts and cannot be hashed, so what is built from one is found by identity; the entry keeps the
# profile alive, so that its id stays its own. Results do not depend on what is remembered.
_KNOWN_MAX = 16
_KNOWN: dict[int, tuple[MeterProfile, FrameDecoder]] = {}
_CODECS: dict[int, tuple[MeterProfile, Codec]] = {}


def _codec(profile: MeterProfile) -> Codec:
    known = _CODECS.get(id(profile))
    if known is None or known[0] is not profile:
        if len(_CODECS) >= _KNOWN_MAX:
            _CODECS.clear()
        known = _CODECS[id(profile)] = (profile, _build_codec(profile))
    return known[1]


def look_up_families(finder: Callable[[str], Build | None]) -> None:
    """Name the function that finds decoders of families that are not ours; it does I/O, so it comes from above."""
    _FINDERS[:] = [finder]


def unknown_family(family: str) -> str:
    """Return what is wrong with a family's name; empty when there is a decoder for it."""
    if family in _FAMILIES or _other(family) is not None:
        return ""
    return f"family: no decoder for {family!r}{aside(family, _FAMILIES)}"


def _other(family: str) -> Build | None:
    return next((build for finder in _FINDERS if (build := finder(family)) is not None), None)


def _build_codec(profile: MeterProfile) -> Codec:
    own = _FAMILIES.get(profile.family)
    if own is not None:
        return own(profile)
    build = _other(profile.family)
    if build is not None:
        return Guarded(build, profile)
    hint = f"one of {', '.join(_FAMILIES)}, or install the package that brings it"
    raise ProfileError(unknown_family(profile.family), where=f"profile {profile.name}", hint=hint)


_FINDERS: list[Callable[[str], Build | None]] = []
_FAMILIES: dict[str, Callable[[MeterProfile], Codec]] = {
    "lcd14": Lcd14,
    "digits14": Digits14,
    "polled-line": PolledLine,
    "coded": Coded,
    "text": Text,
    "scpi": Scpi,
}


def _build(profile: MeterProfile, codec: Codec, latency_s: float, midstream: bool) -> FrameDecoder:
    byte_s = profile.serial.byte_s
    if isinstance(codec, Guarded):
        return OwnDecoder(codec, byte_s, latency_s)
    if isinstance(codec, Lcd14):
        return CountedDecoder(codec, byte_s, latency_s)
    if isinstance(codec, Digits14):
        size = codec.frame_bytes
        return LineDecoder(codec, byte_s, latency_s, end=b"\n", size=size, body=codec.body)
    if isinstance(codec, Coded):
        body = frozenset(range(0x20, 0x7F))  # any character may begin a line, so a longer one is none
        return LineDecoder(codec, byte_s, latency_s, end=codec.end[-1:], size=codec.frame_bytes, body=body)
    if isinstance(codec, PolledLine):
        # A mode stands nowhere but at a line's beginning, so the last bytes of a line that is too long need no
        # other proof.
        return LineDecoder(codec, byte_s, latency_s, end=b"\r", size=codec.frame_bytes)
    midstream = midstream and not isinstance(codec, Scpi)  # the link writes these lines, and whole
    return LineDecoder(codec, byte_s, latency_s, end=b"\n", size=None, midstream=midstream)
