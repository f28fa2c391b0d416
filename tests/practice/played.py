"""A session on the practice bench, played to its end and kept."""

from __future__ import annotations

from metercap.live.parts import Decoder, Driver
from metercap.meter import MeterProfile
from metercap.practice.bench import PracticeBench
from metercap.practice.study import run
from metercap.profiles import find_meter
from metercap.records import Cue, Record


class Keep:
    """An observer that keeps every record."""

    def __init__(self) -> None:
        self.records: list[Record] = []

    def see(self, record: Record, line: bytes) -> None:
        """Keep it."""
        self.records.append(record)

    def urgent(self, cue: Cue) -> None:
        """Kept with its record."""


def played(
    bench: PracticeBench,
    driver: Driver,
    decoder: Decoder,
    profile: MeterProfile | None = None,
    *,
    until_s: float = 900.0,
) -> list[Record]:
    """Run a session and return its records, in the journal's order."""
    keep = Keep()
    run(bench, driver, decoder, profile or find_meter("text"), [keep], until_s=until_s)
    return keep.records
