"""Which profile do these bytes fit? Listens to nothing; scores a sample that somebody recorded.

A profile fits when the bytes become readings. The pieces of frames at a sample's two ends are nobody's fault and cost
little in a sample of several frames. Port settings are not looked at: a sample recorded at the wrong baud rate
fits nothing.
"""

from __future__ import annotations

from collections.abc import Iterable

import msgspec

from metercap.meter import MeterProfile
from metercap.quantity import Quantity
from metercap.reading import Reading
from metercap.wire.families import decoder

SEEN = 3


class Score(msgspec.Struct, frozen=True):
    """How well a sample fits one profile.

    `sample_bytes` and `read_bytes` count the sample and what of it became readings; `quantities` are those seen,
    in order; `most_counts` is the largest number shown `SEEN` times, without its point; `why` is what was wrong most
    often, or empty.
    """

    profile: str
    sample_bytes: int
    read_bytes: int
    readings: int
    quantities: tuple[Quantity, ...]
    why: str
    most_counts: int = 0

    @property
    def share(self) -> float:
        """The share of bytes that became readings, 0.0 … 1.0; 0.0 for an empty sample."""
        return self.read_bytes / self.sample_bytes if self.sample_bytes else 0.0


def score(profile: MeterProfile, sample: bytes) -> Score:
    """Return how well `sample` fits `profile`. Raises ProfileError when the profile's tables do not make sense."""
    fresh = decoder(profile)
    items = [*fresh.feed(sample, 0.0), *fresh.flush(0.0)]
    readings = [item for item in items if isinstance(item, Reading)]
    wrong: dict[str, int] = {}
    for item in items:
        if not isinstance(item, Reading):
            wrong[item.why] = wrong.get(item.why, 0) + len(item.raw) // 2
    return Score(
        profile=profile.name,
        sample_bytes=len(sample),
        read_bytes=sum(len(reading.raw) // 2 for reading in readings),
        readings=len(readings),
        quantities=tuple(dict.fromkeys(reading.quantity for reading in readings)),
        why=max(wrong, key=lambda why: wrong[why], default=""),
        most_counts=_most([_counts(reading) for reading in readings]),
    )


def _most(counts: list[int]) -> int:
    """Return the largest number that came at least `SEEN` times or was exceeded: one flipped bit is no display."""
    return sorted(counts)[-SEEN] if len(counts) >= SEEN else 0


def _counts(reading: Reading) -> int:
    if reading.value is None or not reading.resolution:
        return 0
    return round(abs(reading.value) / reading.resolution)


def rank(profiles: Iterable[MeterProfile], sample: bytes) -> list[Score]:
    """Return the scores of all profiles, best first; equal ones in the order given."""
    return sorted((score(profile, sample) for profile in profiles), key=lambda found: -found.read_bytes)
