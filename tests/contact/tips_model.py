"""A meter, a link and a pair of hands for the rules of contact: a model of its own, apart from the practice bench.

Time goes on in events: a conversion ends, a frame arrives, the hands do something. What the meter shows of a
conversion follows from the share of it in which the tips touched; what the tips touched is kept, so that every credited
contact can be compared with what really was under them. The hands know rule 4 only by what they hear: tick and `go`.
"""

from __future__ import annotations

import heapq
import random
from collections.abc import Mapping
from typing import NamedTuple

from metercap.contact import Act, Conversions, Touch
from metercap.meter import MeterProfile
from metercap.quantity import Quantity
from metercap.reading import Reading, State

LADDER = (0.1, 1.0, 10.0, 100.0, 1000.0, 10_000.0)
"""Last digits of six ohm ranges: five are walked through on the way down to 0.2 Ω, one conversion each."""
REACT_S = 0.25
MOVE_S = 1.3
"""The hands of the design's figures."""


class Meter(NamedTuple):
    """A class of meters, and the link to it.

    `rate`: conversions a second; `stated`: what its profile says; `frames`: frames of a conversion; `own_frames`:
    frames a second on a clock of their own instead. `partly`: what a conversion shows that was only partly in contact:
    "open" over-range always, "mostly" the value when most of it was. `walk`: "" fixed range, "shown", "ranged" or
    "hidden"; `jumps`: over-range goes to the top range at once; `dwell`: conversions in each range; `says_top`: a
    hidden walk's over-range names the top range whatever the range is. `noisy`: share of conversions in which the last
    digit moves. `late_s`: arrival jitter, up to; `burst`: frames handed over together; `stalls`: stalls a second, each
    of `stall_s`, in which frames wait, or are lost where `loses`.
    """

    name: str
    rate: float = 2.0
    stated: float = 2.0
    frames: int = 1
    own_frames: float = 0.0
    partly: str = "open"
    walk: str = ""
    jumps: bool = False
    dwell: int = 1
    says_top: bool = False
    noisy: float = 0.3
    late_s: float = 0.0
    burst: int = 1
    stalls: float = 0.0
    stall_s: float = 0.8
    loses: bool = False


class On(NamedTuple):
    """The tips are on `item` from … to."""

    from_s: float
    to_s: float
    item: int


class Bench:
    """One meter, one link, one pair of hands that goes from item to item for ever.

    The hand slips off a share `slips` of the ticked items for up to `slip_s`; `move_s` is how long it moves, `obeys`
    whether it waits for `go`; `whole` whole conversions make a tick (one where the first of a contact counts too).
    Kept: `cycles` and `air` in seconds from lift to lift and off the items, `wrong` contacts credited that were on a
    ticked item, `refused` contacts on the right item that were not credited, `slipped`. With `early_s` every item is
    touched too early first, so long after the lift, and left when told.
    """

    def __init__(
        self,
        meter: Meter,
        rng: random.Random,
        *,
        kept: Mapping[Quantity, float] | None = None,
        slip_s: float = 0.0,
        slips: float = 0.0,
        move_s: float = MOVE_S,
        obeys: bool = True,
        recontact_s: float = 0.5,
        whole: int = 2,
        unsteady: float = 0.2,
        early_s: float = 0.0,
    ) -> None:
        self.meter, self.rng = meter, rng
        self.profile = MeterProfile(name="model", family="text", conversions_per_s=meter.stated)
        self.conversions = Conversions(self.profile, kept)
        self.touch = Touch()
        self.touch.recontact_s = recontact_s
        self.slip_s, self.slip_share, self.move_s, self.obeys, self.whole = slip_s, slips, move_s, obeys, whole
        self.unsteady, self.early_s = unsteady, early_s
        self.cycles: list[float] = []
        self.air: list[float] = []
        self.wrong = self.refused = self.slipped = self.ticks = 0
        self.now_s = 0.0
        self._heap: list[tuple[float, int, str, object]] = []
        self._n = 0
        self._t = 1.0 / meter.rate
        self._stays: list[On] = []
        self._on: tuple[float, int] | None = None
        self._item = 0
        self._lift_s: float | None = None
        self._range = len(LADDER) - 1
        self._stayed = 0
        self._shown = (None, LADDER[-1])
        self._digit = 0.2
        self._link_s = 0.0
        self._held: list[tuple[float | None, float, tuple[On, ...]]] = []
        self._pair: list[tuple[float, tuple[On, ...]]] = []
        self._waits = False
        self._go_s: float | None = None
        self._under: tuple[On, ...] = ()
        self._leave: int | None = None
        self._plan(rng.uniform(0.0, self._t), "convert")
        if meter.own_frames:
            self._plan(rng.uniform(0.0, 1.0 / meter.own_frames), "frame")
        self._plan(6.0 + rng.random(), "touch")

    # --- time

    def _plan(self, t_s: float, what: str, more: object = None) -> None:
        self._n += 1
        heapq.heappush(self._heap, (t_s, self._n, what, more))

    def run(self, *, ticks: int = 0, until_s: float = 1e9) -> Bench:
        """Go on until so many items are ticked, or until a time."""
        while self._heap[0][0] <= until_s and (not ticks or self.ticks < ticks):
            self.now_s, _, what, more = heapq.heappop(self._heap)
            getattr(self, "_" + what)(more)
        return self

    # --- the meter

    def _convert(self, _: object) -> None:
        meter, end_s = self.meter, self.now_s
        self._plan(end_s + self._t, "convert")
        begin_s = end_s - self._t
        stays = [stay for stay in self._stays[-8:] if stay.to_s > begin_s]
        if self._on is not None:
            stays.append(On(self._on[0], end_s, self._on[1]))
        stays = [stay for stay in stays if stay.from_s < end_s]
        closed = sum(min(stay.to_s, end_s) - max(stay.from_s, begin_s) for stay in stays) / self._t
        touches = closed >= 1.0 - 1e-9 or (meter.partly == "mostly" and closed > 0.5)
        if self.rng.random() < meter.noisy:
            self._digit = self.rng.choice((0.1, 0.2, 0.3))
        self._under = tuple(stays)
        self._shown = self._ranged(touches, closed)  # type: ignore[assignment]
        if not meter.own_frames:
            for n in range(meter.frames):
                self._plan(end_s + n * self._t / meter.frames, "send", (*self._shown, self._under))

    def _ranged(self, touches: bool, closed: float) -> tuple[float | None, float]:
        """Return the value and the last digit that a conversion in the present range shows, and change range."""
        meter, last = self.meter, self._range
        ohm = self._digit / max(closed, 0.01) if touches else None
        if not meter.walk:
            return (None if ohm is None else round(ohm, 1)), LADDER[0]
        digit = LADDER[last]
        self._stayed += 1
        if touches:
            if last > 0 and self._stayed >= meter.dwell:
                self._range, self._stayed = last - 1, 0
            if last > 0 and meter.walk != "shown":
                return None, self._over(digit)
            return round((ohm or 0.0) / digit) * digit, digit
        if last < len(LADDER) - 1 and self._stayed >= meter.dwell:
            self._range, self._stayed = (len(LADDER) - 1 if meter.jumps else last + 1), 0
        return None, self._over(digit)

    def _over(self, digit: float) -> float:
        """What range over-range names."""
        if self.meter.walk != "hidden":
            return digit
        return LADDER[-1] if self.meter.says_top else 0.0

    def _frame(self, _: object) -> None:
        self._plan(self.now_s + 1.0 / self.meter.own_frames, "frame")
        self._send((*self._shown, self._under))

    # --- the link

    def _send(self, frame: object) -> None:
        meter, rng = self.meter, self.rng
        if self.now_s < self._link_s and meter.loses:
            return
        if (
            meter.stalls
            and self.now_s >= self._link_s
            and rng.random() < meter.stalls / (meter.own_frames or meter.rate * meter.frames)
        ):
            self._link_s = self.now_s + meter.stall_s
            if meter.loses:
                return
        self._held.append(frame)  # type: ignore[arg-type]
        if len(self._held) < meter.burst:
            return
        held, self._held = self._held, []
        arrives_s = max(self.now_s + rng.uniform(0.0, meter.late_s), self._link_s)
        self._link_s = max(self._link_s, arrives_s)
        for each in held:
            self._plan(arrives_s, "arrive", each)

    def _arrive(self, frame: tuple[float | None, float, tuple[On, ...]]) -> None:
        value, digit, under = frame
        state = State.OVER if value is None else State.OK
        flags = ("auto",) if self.meter.walk else ()
        reading = Reading(round(self.now_s, 6), Quantity.RESISTANCE, value, digit, "ohm", state, flags, "")
        new = self.conversions.begins(reading)
        if new and self.conversions.pace.news:
            self.conversions.take_news()
        act = self.touch.feed(reading, self.conversions.pace, new, value is None)
        self._heard(act, new, reading, under)

    # --- the hands

    def _touch(self, _: object) -> None:
        if self._on is None:
            self._on = (self.now_s, self._item)
            if self._lift_s is not None:
                self.air.append(self.now_s - self._lift_s)

    def _lift(self, then: object) -> None:
        if self._on is None:
            return
        self._stays.append(On(self._on[0], self.now_s, self._on[1]))
        del self._stays[:-12]
        self._on = None
        if then is not None:
            return
        if self._lift_s is not None:
            self.cycles.append(self.now_s - self._lift_s)
        self._lift_s = self.now_s
        self._waits = self.obeys
        if self.early_s and self._leave != self._item:
            self._plan(self.now_s + self.early_s, "touch")
        elif not self.obeys:
            self._plan(self.now_s + self.move_s, "touch")  # to the moment
        elif self._go_s is not None:
            self._waits = False
            self._plan(max(self._lift_s + self._about(self.move_s), self._go_s + self._about(REACT_S)), "touch")

    def _about(self, time_s: float) -> float:
        """Hands are not clockwork."""
        return time_s * self.rng.uniform(1.0 - self.unsteady, 1.0 + self.unsteady)

    def _again(self, item: object) -> None:
        self._on = (self.now_s, item)  # type: ignore[assignment]

    def _heard(self, act: Act, new: bool, reading: Reading, under: tuple[On, ...]) -> None:
        if act is Act.CONTACT:
            self._pair = []
            if under and under[-1].item < self._item:
                self.wrong += 1
        if act in (Act.CONTACT, Act.MORE) and new and reading.value is not None and reading.resolution == LADDER[0]:
            self._pair.append((reading.value, under))
            # The first conversion after contact may be a blend; with `whole` 1 it counts (under an upper limit).
            needed = 3 if act is Act.CONTACT or not self.meter.walk else 2
            if len(self._pair) >= min(needed, self.whole + (0 if self.meter.walk else 1)):
                self._tick()
        elif act is Act.SLIP and self._on is not None and self._on[1] == self._item and self._item != self._leave:
            self.refused += 1
            self._leave = self._item
            self._plan(self.now_s + 2.0 * self._t + REACT_S, "lift", None)  # told to lift
            self._go_s = None
        elif act is Act.GO:
            self._go_s = self.now_s
            if self._waits and self._lift_s is not None:
                self._waits = False
                self._plan(max(self._lift_s + self._about(self.move_s), self.now_s + self._about(REACT_S)), "touch")

    def _tick(self) -> None:
        self.ticks += 1
        self._pair = []
        self.touch.change(self.now_s)
        ticked = self._item
        self._item += 1
        self._go_s = None
        rng, t_s = self.rng, self.now_s + self._about(REACT_S)
        if rng.random() < self.slip_share:
            for _ in range(rng.choice((1, 1, 2))):
                self.slipped += 1
                self._plan(t_s, "lift", "slip")
                gap_s = self.slip_s * rng.choice((1.0, rng.random(), 1.0 - 0.1 * rng.random()))
                self._plan(t_s + gap_s, "again", ticked)
                # On again for so long that the meter can show it: what it cannot see is one long lift to it.
                seen = 2.0 + (len(LADDER) * self.meter.dwell if self.meter.walk in ("hidden", "ranged") else 0.0)
                t_s += gap_s + rng.uniform(0.2, 1.5) + seen * self._t
        self._plan(t_s, "lift", None)
