"""A simulated handheld meter: it integrates what its tips saw over each conversion, then shows a number.

The integrator runs in continuous time over the stretches between two moves of the hands; a part that changes
while it is probed is sampled every `STEP_S`. A conversion that saw contact for only part of its time
therefore blends the two states, as a real integrating converter does, and a conversion that saw mostly air
shows over-range.

In ohms mode a test current of `DRIVE_V / full scale` flows, so the converter sees I·R + U; its input
saturates at
`overload` times full scale, which is what air adds to a blend. Auto-ranging moves one range a conversion, or
as slowly as `dwell` says.
"""

from __future__ import annotations

from collections.abc import Iterable
from random import Random
from typing import Literal

import msgspec

from metercap.practice.board import TIPS_NAME, Place
from metercap.practice.dials import DIAL, Range, Shown, ladder
from metercap.quantity import Quantity
from metercap.reading import State

STEP_S = 0.02
"""Sampling step for parts that change while they are probed."""

DRIVE_V = 0.4
"""Volts that a full-scale resistance drops in any ohms range: the usual low-voltage ohms of a handheld;
invented."""

INPUT_OHM = 10e6
"""Input resistance in volts mode; common practice for handheld meters, no source."""

OHMS = (Quantity.RESISTANCE, Quantity.CONTINUITY)


class MeterSpec(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A practice meter, as a scene describes it.

    `profile` names the meter profile a session should use with it; `family` is how its frames are drawn.
    `per_s` is the conversion rate (`per_s_by` where a quantity has its own), `repeats` how often each
    conversion is sent. `lead_ohm` is what both leads add. `gain` (0.001 reads 0.1 % high) and `offset_counts`
    are this meter's own errors, `noise_counts` the standard deviation of a conversion. `ceiling_ohm`:
    continuity shows over-range above it, and the beeper sounds below `beep_ohm`.
    `walk` is what the display shows while it changes range: "value" so far, "blank", "range" (over-range, with the
    range it stands in) or "hidden" (over-range, and never which range). `dwell`: conversions in each range of the
    walk. `jumps`: over-range sends it to its top range at once. `dial` is where it stands at the start.
    `smooth`: share of the number shown before that each new one keeps; over-range begins anew.
    `stated_per_s`: what a session is told instead of `per_s`; 0 is the truth.
    `hidden_hold`: HOLD and REL raise no flag on the wire.
    The way its frames take: each comes up to `jitter_s` late, `burst` of them come together, and `stalls_per_min` times
    a minute all of them wait for `stall_s`.
    """

    family: str = "lcd14"
    profile: str = ""
    counts: int = 4000
    per_s: float = 2.0
    per_s_by: dict[Quantity, float] = {}
    repeats: int = 1
    dial: Quantity = Quantity.RESISTANCE
    auto: bool = True
    lead_ohm: float = 0.15
    gain: float = 0.0
    offset_counts: float = 0.0
    noise_counts: float = 0.3
    air_counts: float = 1.0
    overload: float = 2.0
    ceiling_ohm: float = 400.0
    beep_ohm: float = 40.0
    walk: Literal["value", "blank", "range", "hidden"] = "value"
    dwell: int = 1
    jumps: bool = False
    smooth: float = 0.0
    stated_per_s: float = 0.0
    jitter_s: float = 0.0
    burst: int = 1
    stalls_per_min: float = 0.0
    stall_s: float = 0.8
    hidden_hold: bool = False
    low_battery: bool = False
    drift_counts_per_h: float = 0.0

    @property
    def told_per_s(self) -> float:
        """Conversions a second as a session is told."""
        return self.stated_per_s or self.per_s


class Meter:
    """The meter's state and its conversions. The bench tells it when and what; it keeps no clock."""

    def __init__(self, spec: MeterSpec, rng: Random) -> None:
        self.spec = spec
        self.hold = False
        self.rel = False
        self.low_battery = spec.low_battery
        self.shown: Shown | None = None
        self._rng = rng
        self._rel_counts = 0.0
        self._held: Shown | None = None
        self._before: tuple[int, float] | None = None
        self.turn_dial(spec.dial, auto=spec.auto)

    def turn_dial(self, quantity: Quantity, *, auto: bool = True, range_index: int | None = None) -> None:
        """Turn to a quantity; `range_index` fixes a range of its ladder (0 is the finest) instead of
        auto-ranging."""
        self.quantity = quantity if quantity in DIAL else Quantity.RESISTANCE
        self._ladder = ladder(self.quantity, self.spec.counts)
        self.auto = auto and range_index is None and len(self._ladder) > 1
        # In air an auto-ranging ohmmeter rests in its highest range, a voltmeter in its lowest.
        at_rest = len(self._ladder) - 1 if self.quantity in OHMS else 0
        self._index = range_index if range_index is not None else at_rest if self.auto else 0
        self.hold = self.rel = False
        self._held = self._before = None
        self._stayed = 0

    def press_hold(self) -> None:
        """Press HOLD: the display freezes, or runs again."""
        self.hold = not self.hold
        self._held = self.shown if self.hold else None

    def press_rel(self) -> None:
        """Press REL: the value now shown becomes zero, or REL goes off. It fixes the range."""
        self.rel = not self.rel
        value = self.shown.value if self.shown is not None else None
        self._rel_counts = (value or 0.0) / self.range.resolution if self.rel else 0.0

    @property
    def range(self) -> Range:
        """The range of the conversion now running."""
        return self._ladder[self._index]

    @property
    def conversion_s(self) -> float:
        """Time of one conversion in seconds."""
        return 1.0 / self.spec.per_s_by.get(self.quantity, self.spec.per_s)

    def beeps(self, place: Place, t_s: float) -> bool:
        """Whether the beeper's comparator sounds at this instant; it is faster than any conversion."""
        if self.quantity is not Quantity.CONTINUITY or not place.name:
            return False
        seen = place.part.seen(t_s)
        return seen.ohm + self.spec.lead_ohm + place.touch_ohm < self.spec.beep_ohm

    def convert(self, spans: Iterable[tuple[float, float, Place]], t_s: float) -> Shown:
        """Run one conversion over `spans` (from_s, to_s, place), which follow each other and end at `t_s`;
        show it."""
        at = self.range
        full = at.resolution * self.spec.counts
        total = 0.0
        length_s = 0.0
        in_air_s = 0.0
        for from_s, to_s, place in spans:
            total += self._integrate(from_s, to_s, place, full)
            length_s += to_s - from_s
            if not place.name:
                in_air_s += to_s - from_s
        counts = total / length_s / at.resolution * (1.0 + self.spec.gain)
        counts += self.spec.offset_counts + self.spec.drift_counts_per_h * t_s / 3600.0
        noise = self.spec.noise_counts
        if self._index and self.quantity in OHMS:
            # In a coarse range noise comes with the signal: next to nothing stays zero there.
            noise *= min(1.0, 10.0 * abs(counts) / self.spec.counts)
        if self.quantity not in OHMS:
            noise += self.spec.air_counts * in_air_s / length_s
        counts += self._rng.gauss(0.0, noise) if noise else 0.0
        fresh = self._show(self._smoothed(counts))
        if self.hold:
            held = self._held if self._held is not None else fresh
            self.shown = held._replace(flags=held.flags | self._flags())
        else:
            self.shown = fresh
        return self.shown

    def _smoothed(self, counts: float) -> float:
        """Keep a share of the number before; another range, or one that is over it, begins anew."""
        before, self._before = self._before, None
        if self.spec.smooth and abs(counts) < self.spec.counts:
            if before is not None and before[0] == self._index:
                counts += self.spec.smooth * (before[1] - counts)
            self._before = self._index, counts
        return counts

    def _integrate(self, from_s: float, to_s: float, place: Place, full: float) -> float:
        ohms = self.quantity in OHMS
        part = place.part
        total = 0.0
        a_s = from_s
        while a_s < to_s:
            b_s = to_s if part.steady else min(to_s, a_s + STEP_S)
            value, current_a = self._sees(place, a_s, full) if ohms else self._volts(place, a_s)
            if place.name and place.name != TIPS_NAME:
                part.carry(current_a, b_s, b_s - a_s)
            total += value * (b_s - a_s)
            a_s = b_s
        return total

    def _sees(self, place: Place, t_s: float, full: float) -> tuple[float, float]:
        """Return the resistance the converter sees, saturated, and the current that flows."""
        seen = place.part.seen(t_s)
        volt = -seen.volt if place.reversed else seen.volt
        drive_a = DRIVE_V / full
        limit = full * self.spec.overload
        ohm = seen.ohm + place.touch_ohm + self.spec.lead_ohm + volt / drive_a
        current_a = drive_a
        if ohm > limit:
            # The source has no more volts than `overload` full scales: what flows is what that leaves, and
            # never backwards.
            current_a = max(0.0, (DRIVE_V * self.spec.overload - volt) / max(seen.ohm, limit))
        return max(-limit, min(limit, ohm)), -current_a if place.reversed else current_a

    def _volts(self, place: Place, t_s: float) -> tuple[float, float]:
        """Return the voltage at the loaded tips (rms in ac) and the current drawn from the part."""
        seen = place.part.seen(t_s)
        share = INPUT_OHM / (INPUT_OHM + seen.ohm + place.touch_ohm) if seen.ohm != float("inf") else 0.0
        if self.quantity is Quantity.VOLTAGE_AC:
            return seen.volt_ac * share, 0.0
        volt = -seen.volt if place.reversed else seen.volt
        return volt * share, -seen.volt * share / INPUT_OHM

    def _show(self, counts: float) -> Shown:
        at = self.range
        number = round(counts - self._rel_counts)
        if self.quantity is Quantity.VOLTAGE_AC:
            number = abs(number)
        over = abs(counts) >= self.spec.counts
        if self.quantity is Quantity.CONTINUITY:
            over = over or counts * at.resolution > self.spec.ceiling_ohm
        if self._walk(counts, over=over) and self.spec.walk != "value":
            state = State.BLANK if self.spec.walk == "blank" else State.OVER
        else:
            state = State.OVER if over else State.OK
        if state is State.OVER and self.auto and self.spec.walk == "hidden":
            at = Range(self._ladder[-1].code, "", 0)
        digits = f"{abs(number):0{len(str(self.spec.counts - 1))}d}" if state is State.OK else ""
        return Shown(self.quantity, at, state, digits, number < 0 and state is State.OK, self._flags())

    def _walk(self, counts: float, *, over: bool) -> bool:
        """Move the auto-ranging for the next conversion, once it has dwelt; return whether it is on its way."""
        if not self.auto or self.rel:
            return False
        last, top = self._index, len(self._ladder) - 1
        wanted = last
        if over:
            wanted = top if self.spec.jumps else min(last + 1, top)
        elif last and abs(counts) * self.range.resolution < 0.9 * self.spec.counts * self._ladder[last - 1].resolution:
            wanted = last - 1
        if wanted == last:
            self._stayed = 0
            return False
        self._stayed += 1
        if self._stayed >= self.spec.dwell:
            self._index, self._stayed = wanted, 0
        return True

    def _flags(self) -> frozenset[str]:
        flags = []
        if self.auto:
            flags.append("auto")
        if self.hold and not self.spec.hidden_hold:
            flags.append("hold")
        if self.rel and not self.spec.hidden_hold:
            flags.append("rel")
        if self.low_battery:
            flags.append("low_battery")
        return frozenset(flags)
