"""Teaching, measured on meters that nobody makes: how many displays it takes, and that no profile reads anything
wrongly.

The truth is the generator's own (`invented`), which shares nothing with the package: value = digits × 10^power, as the
display shows it. METERCAP_FIGURES=1 prints the figures.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from decimal import Decimal

import pytest

from metercap.meter import MeterProfile
from metercap.meters.learn import Heard, learn
from metercap.meters.lesson import Contradiction, Lesson
from metercap.meters.shown import shown
from metercap.profiles import find_meter
from metercap.reading import Reading, State
from metercap.wire import decoder
from tests.meters.invented import Coded, Display, Invented, Segmented, Spoken

MOST = 60
FIRST = 6
MORE = 20
FRESH = 200
THOROUGH = 400
KINDS: tuple[tuple[type[Invented], int], ...] = ((Segmented, 50), (Coded, 20), (Spoken, 40))


class Pupil:
    """One invented meter and what was learned of it."""

    def __init__(self, meter: Invented) -> None:
        self.meter = meter
        self.base = find_meter("text")
        self.heard: list[Heard] = []
        self.needed = 0
        self.refused = ""
        self.profile: MeterProfile | None = None
        wanted = ""
        for n in range(1, MOST + 1):
            lesson = self.show(wanted)
            if n < FIRST:
                continue
            wanted = "" if lesson is None else lesson.digits
            if lesson is not None and lesson.profile is not None:
                self.needed, self.profile = n, lesson.profile
                return
        self.refused = self.refused or "not enough in 60 displays"

    def show(self, wanted: str = "") -> Lesson | None:
        """Show one more display, with its bytes; one that does not go together with the others is left out."""
        return self.take(self.meter.display(wanted))

    def take(self, display: Display) -> Lesson | None:
        """Show this display; see `show`."""
        self.heard.append(Heard(self.meter.heard(display), shown(display.typed)))
        try:
            lesson = learn(self.heard, self.base)
        except Contradiction as why:
            self.refused = str(why)
            self.heard.pop()
            return None
        if lesson.profile is not None:
            self.refused = ""
        return lesson

    def more(self) -> None:
        """Show more displays than were needed, as a person does who wants every range."""
        for _ in range(MORE):
            lesson = self.show()
            if lesson is not None and lesson.profile is not None:
                self.profile = lesson.profile

    def thorough(self) -> int:
        """Show every range once, below zero and over range too, and every icon; return how many displays that took.

        So does who goes through the dial with the manual in hand. They are learned together; one by one, leaving out
        what does not go together, only where that fails.
        """
        known: set[tuple[object, ...]] = set()
        more = []
        for _ in range(THOROUGH):
            display = self.meter.display()
            kind = (display.quantity, display.prefix, display.point, display.minus, display.over)
            new = {kind, *((display.quantity, icon) for icon in display.icons)} - known
            if new:
                known |= new
                more.append(display)
        heard = [Heard(self.meter.heard(display), shown(display.typed)) for display in more]
        try:
            self.profile = learn([*self.heard, *heard], self.base).profile or self.profile
        except Contradiction:
            for display in more:
                lesson = self.take(display)
                self.profile = self.profile if lesson is None or lesson.profile is None else lesson.profile
        return len(more)

    def judge(self) -> tuple[int, list[tuple[Display, object]], int]:
        """Return how many fresh displays are read right, those read wrongly, and how many are garbage."""
        assert self.profile is not None
        right, garbage, wrong = 0, 0, []
        for _ in range(FRESH):
            display = self.meter.display()
            items = decoder(self.profile).feed(self.meter.frame(display), 0.0)
            readings = [item for item in items if isinstance(item, Reading)]
            if not readings:
                garbage += 1
            elif len(readings) == 1 and agrees(readings[0], display):
                right += 1
            else:
                wrong.append((display, readings))
        return right, wrong, garbage  # type: ignore[return-value]


def agrees(reading: Reading, display: Display) -> bool:
    """Whether a reading is what the invented meter shows, by arithmetic on its digits."""
    if reading.quantity != display.quantity or (reading.state is State.OVER) != display.over:
        return False
    if display.over:
        return reading.value is None
    counts, power = display.counts_and_power
    exact = Decimal(counts).scaleb(power)
    return Decimal(repr(reading.value)) == exact and Decimal(repr(reading.resolution)) == Decimal(1).scaleb(power)


@pytest.mark.parametrize(("kind", "seeds"), [(Segmented, (0, 4, 11)), (Coded, (4, 6, 7)), (Spoken, (1, 5, 12, 30, 35))])
def test_an_invented_meter_is_learned_and_never_read_wrongly(kind: type[Invented], seeds: Sequence[int]) -> None:
    """A few of the meters below.

    Learned, some of a fresh stream read, none of it wrongly, and re-encoded to its bytes.
    """
    for seed in seeds:
        pupil = Pupil(kind(seed))  # type: ignore[arg-type, call-arg]
        assert pupil.profile is not None, (seed, pupil.refused)
        right, wrong, _ = pupil.judge()
        assert not wrong, (seed, wrong[:3])
        assert right > FRESH / 10


@pytest.mark.slow
@pytest.mark.parametrize(("kind", "count"), KINDS)
def test_figures_of_teaching(kind: type[Invented], count: int) -> None:
    """All of them, at the first profile and after more displays: no reading is wrong; at most one in ten is refused."""
    pupils = [Pupil(kind(seed)) for seed in range(count)]  # type: ignore[arg-type, call-arg]
    taught = [pupil for pupil in pupils if pupil.profile is not None]
    first = [pupil.judge() for pupil in taught]
    for pupil in taught:
        pupil.more()
    later = [pupil.judge() for pupil in taught]
    rounds = sorted(pupil.thorough() for pupil in taught)
    last = [pupil.judge() for pupil in taught]
    needed = sorted(pupil.needed for pupil in taught)
    if os.environ.get("METERCAP_FIGURES"):
        whole = sum(1 for one in later if not one[2])
        sys.stderr.write(
            f"\n{kind.__name__}: {len(taught)} of {count} taught, displays {needed[0]}-{needed[-1]}, median"
            f" {needed[len(needed) // 2]}; fresh at first: {sum(one[0] for one in first)} right,"
            f" {sum(len(one[1]) for one in first)} wrong, {sum(one[2] for one in first)} not read; after {MORE} more:"
            f" {sum(one[0] for one in later)} right, {sum(len(one[1]) for one in later)} wrong,"
            f" {sum(one[2] for one in later)} not read, {whole} meters whole; after every range with its signs (median"
            f" {rounds[len(rounds) // 2]} displays): {sum(one[0] for one in last)} right,"
            f" {sum(len(one[1]) for one in last)} wrong, {sum(one[2] for one in last)} not read,"
            f" {sum(1 for one in last if not one[2])} meters whole\n"
        )
    assert not [one[1] for one in (*first, *later, *last) if one[1]]
    assert 10 * len(taught) >= 9 * count
