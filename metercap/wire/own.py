"""Decoders that no table can express: a codec from another package, held to the same books as ours.

Another package names a function in the entry point group `metercap.decoders` under the family's name. It takes the
profile and returns an object with

    longest: int                             the most bytes a frame can have, up to 256
    cut(held: bytes) -> tuple[int, int]      how many bytes in front belong to no frame, and the length of the frame
    that begins after them; 0 when that needs more bytes
    decode(frame: bytes) -> Fields | str     what a frame shows, or why it is no reading (see `fields`)

and may read `profile.tables` as it likes. Cutting, timing, junk and bounds stay here: every byte comes out once, in a
reading or in garbage, and an exception in the other package makes garbage with that reason, never a crash.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from metercap.errors import ProfileError
from metercap.meter import MeterProfile
from metercap.wire.accounts import LATENCY_S, Item
from metercap.wire.fields import Fields
from metercap.wire.framing import HELD_BYTES, FrameDecoder


class OwnCodec(Protocol):
    """What another package brings."""

    longest: int

    def cut(self, held: bytes) -> tuple[int, int]:
        """Return how many bytes in front are junk, and the length of the frame after them, 0 when not known yet."""
        ...

    def decode(self, frame: bytes) -> Fields | str:
        """Return the fields of one whole frame, or why it is none."""
        ...


Build = Callable[[MeterProfile], OwnCodec]


class Guarded:
    """Another package's codec, from which no exception comes but ProfileError."""

    def __init__(self, build: Build, profile: MeterProfile) -> None:
        where = f"profile {profile.name}"
        try:
            self._own = build(profile)
            longest = self._own.longest
        except ProfileError:
            raise
        except Exception as error:
            raise ProfileError(f"the decoder of family {profile.family!r} fails: {error!r}", where=where) from error
        if not isinstance(longest, int) or not 1 <= longest <= HELD_BYTES:
            raise ProfileError(
                f"the decoder of family {profile.family!r} must have longest, 1 to {HELD_BYTES}", where=where
            )
        self.frame_bytes = longest

    def cut(self, held: bytes) -> tuple[int, int]:
        """Return junk and length, within bounds; one byte of junk where the other package fails."""
        try:
            junk, length = self._own.cut(held)
        except Exception:
            return 1, 0
        return min(max(int(junk), 0), len(held)), int(length) if 0 <= length <= self.frame_bytes else 0

    def decode(self, frame: bytes) -> Fields | str:
        """Return fields, or why there are none."""
        try:
            return self._own.decode(frame)
        except Exception as error:
            return f"the decoder fails: {error!r}"[:200]


class OwnDecoder(FrameDecoder):
    """Cuts where the other package says."""

    def __init__(self, codec: Guarded, byte_s: float, latency_s: float = LATENCY_S) -> None:
        super().__init__(codec, byte_s, latency_s)
        self._cut = codec.cut
        self.longest = codec.frame_bytes

    def _one_good_frame(self, data: bytes) -> Fields | None:
        # Byte by byte as in the stream: a frame must not end before its last byte.
        if self._cut(data) != (0, len(data)) or any(self._cut(data[:n])[1] == n for n in range(1, len(data))):
            return None
        fields = self._decode(data)
        return None if isinstance(fields, str) else fields

    def _run(self, data: bytes, t_s: float, out: list[Item]) -> None:
        accounts = self._accounts
        for n in range(len(data)):
            accounts.hold(data[n : n + 1], t_s)
            while accounts.pending:
                junk, length = self._cut(bytes(accounts.pending))
                if junk:
                    accounts.junk_held(junk, "no beginning of a frame", t_s, out)
                    continue
                if length and length == len(accounts.pending):
                    self._frame(0, t_s, out)
                elif len(accounts.pending) >= self.longest:
                    accounts.junk_held(1, "no frame in its length", t_s, out)
                    continue
                break
