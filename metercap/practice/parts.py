"""What two probes can touch: each part is a source behind a resistance, as a function of time and of its
state.

Every part is seen as a Thévenin pair, an open-circuit voltage and a series resistance (infinite when open).
That one form gives all three readings: in ohms mode the meter drives its test current I and shows R + U/I, so
a voltage left in the circuit falsifies the reading; in volts mode its input resistance loads the source; in
air both vanish. A part whose picture changes while it is probed says so by `steady`, and the meter then
samples it every few milliseconds.
"""

from __future__ import annotations

import math
from random import Random
from typing import NamedTuple, Protocol

OPEN_OHM = math.inf


class Seen(NamedTuple):
    """What the tips find: series resistance in ohm (infinite: open), volts dc and volts ac rms behind it."""

    ohm: float
    volt: float = 0.0
    volt_ac: float = 0.0


class Part(Protocol):
    """Anything the probes can touch."""

    @property
    def steady(self) -> bool:
        """Whether `seen` gives the same at any moment until somebody changes the part's state."""
        ...

    def seen(self, t_s: float) -> Seen:
        """Return what the tips find at `t_s`."""
        ...

    def carry(self, current_a: float, t_s: float, dt_s: float) -> None:
        """Let the meter's current flow into the red tip's point for the `dt_s` that end at `t_s`."""
        ...

    def make_dead(self) -> None:
        """Disconnect and discharge it."""
        ...


class Passive:
    """What keeps no charge and is no source."""

    def carry(self, current_a: float, t_s: float, dt_s: float) -> None:
        """The meter's current leaves no trace."""

    def make_dead(self) -> None:
        """There is nothing to take off."""


class Path(Passive):
    """A plain path: a resistor, a fuse, the tips together, or open air. `ohm` may be changed by the scene."""

    steady = True

    def __init__(self, ohm: float, volt: float = 0.0) -> None:
        self.ohm = ohm
        self.volt = volt

    def seen(self, t_s: float) -> Seen:
        """Return the path's resistance and whatever small voltage lies along it."""
        return Seen(self.ohm, self.volt)

    def make_dead(self) -> None:
        """Whatever drove a voltage along it is disconnected."""
        self.volt = 0.0


class Supply(Passive):
    """A cell or a supply rail: volts behind an internal resistance, with an optional load across it.

    A `rail` follows the unit's supply. `alive` is false for a rail of an unpowered unit, which then looks
    like `dead_ohm` to ground. Under a load R_l the terminals show U·R_l/(R_l + R_i), and the tips see R_i
    parallel to R_l (Ohm's law).
    """

    steady = True

    def __init__(self, volt: float, ohm: float, *, volt_ac: float = 0.0, dead_ohm: float = OPEN_OHM) -> None:
        self.volt = volt
        self.ohm = ohm
        self.volt_ac = volt_ac
        self.dead_ohm = dead_ohm
        self.alive = True
        self.rail = False
        self.load_ohm: float | None = None

    def seen(self, t_s: float) -> Seen:
        """Return the terminal pair, loaded or not."""
        if not self.alive:
            return Seen(self.dead_ohm)
        if self.load_ohm is None:
            return Seen(self.ohm, self.volt, self.volt_ac)
        share = self.load_ohm / (self.load_ohm + self.ohm)
        return Seen(self.ohm * share, self.volt * share, self.volt_ac * share)

    def put_load(self, ohm: float | None) -> None:
        """Put a load across it, or take it off (None)."""
        self.load_ohm = ohm

    def make_dead(self) -> None:
        """The unit is switched off and disconnected."""
        self.alive = False


class Capacitor:
    """A capacitor with charge: a falling voltage, and in ohms mode a reading that climbs as the test current
    fills it.

    dU/dt = I/C − U/(R_bleed·C). The bleed is what the board has across it (infinite when None is given).
    """

    steady = False

    def __init__(self, farad: float, volt: float, esr_ohm: float, bleed_ohm: float | None) -> None:
        self.farad = farad
        self.esr_ohm = esr_ohm
        self.bleed_ohm = bleed_ohm
        self._volt = volt
        self._t_s = 0.0

    def seen(self, t_s: float) -> Seen:
        """Return its voltage behind its series resistance."""
        self._decay_to(t_s)
        return Seen(self.esr_ohm, self._volt)

    def carry(self, current_a: float, t_s: float, dt_s: float) -> None:
        """Charge or discharge it: U moves to I·R_bleed with time constant R_bleed·C, or by I·dt/C without a
        bleed."""
        self._t_s = max(self._t_s, t_s)
        if self.bleed_ohm is None:
            self._volt += current_a * dt_s / self.farad
            return
        end_volt = current_a * self.bleed_ohm
        self._volt = end_volt + (self._volt - end_volt) * math.exp(-dt_s / (self.bleed_ohm * self.farad))

    def make_dead(self) -> None:
        """Discharge it, through a resistor."""
        self._volt = 0.0

    def _decay_to(self, t_s: float) -> None:
        dt_s = t_s - self._t_s
        if dt_s <= 0:
            return
        self._t_s = t_s
        if self.bleed_ohm is not None:
            self._volt *= math.exp(-dt_s / (self.bleed_ohm * self.farad))


class Trimmer(Passive):
    """A trimmer between wiper and one end: travel, backlash, a dirty spot on the track, wiper noise while it
    moves.

    `turns` is the whole travel of the screw. The screw takes up `backlash_turns` before the wiper follows a
    change of direction. Between `dirty_from` and `dirty_to` (shares of the travel) the wiper lifts off at
    random moments while it moves, and adds `dirty_ohm` at rest. At both ends the screw slips and the wiper
    stays.
    """

    def __init__(
        self,
        ohm: float,
        position: float,
        rng: Random,
        *,
        turns: float = 25.0,
        backlash_turns: float = 0.0,
        noise_ohm: float = 0.0,
        dirty_from: float = 0.0,
        dirty_to: float = 0.0,
        dirty_ohm: float = 0.0,
        dirty_open: float = 0.0,
        end_ohm: float = 0.0,
    ) -> None:
        self.ohm = ohm
        self.turns = turns
        self.backlash_turns = backlash_turns
        self.noise_ohm = noise_ohm
        self.dirty_from = dirty_from
        self.dirty_to = dirty_to
        self.dirty_ohm = dirty_ohm
        self.dirty_open = dirty_open
        self.end_ohm = end_ohm
        self._rng = rng
        self._wiper_turns = position * turns
        self._play_turns = 0.0  # where the screw stands inside its backlash: 0 … backlash_turns
        self._rate = 0.0
        self._t_s = 0.0
        self._moving = False

    @property
    def steady(self) -> bool:
        """At rest it is a plain resistor."""
        return self._rate == 0.0

    @property
    def position(self) -> float:
        """Where the wiper stands, as a share of the travel."""
        return self._wiper_turns / self.turns

    def turn(self, t_s: float, turns_per_s: float) -> None:
        """From `t_s` on the screw turns at this rate; positive raises the resistance, 0.0 is rest."""
        self._move_to(t_s)
        self._rate = turns_per_s
        self._moving = self._moving and turns_per_s != 0.0

    def seen(self, t_s: float) -> Seen:
        """Return the resistance at the wiper; open for an instant where the track is dirty and the wiper
        moves."""
        self._move_to(t_s)
        ohm = self.end_ohm + self.ohm * self.position
        dirty = self.dirty_from < self.position < self.dirty_to
        if dirty:
            ohm += self.dirty_ohm
        if self._moving:
            if dirty and self._rng.random() < self.dirty_open:
                return Seen(OPEN_OHM)
            ohm += self._rng.gauss(0.0, self.noise_ohm)
        return Seen(ohm)

    def _move_to(self, t_s: float) -> None:
        dt_s = t_s - self._t_s
        if dt_s <= 0:
            return
        self._t_s = t_s
        screw = self._rate * dt_s
        # The screw runs free until it meets the other flank of its play.
        free = self.backlash_turns - self._play_turns if screw > 0 else self._play_turns
        play = math.copysign(min(abs(screw), free), screw)
        self._play_turns += play
        wanted = self._wiper_turns + screw - play
        self._moving = screw != play
        self._wiper_turns = min(self.turns, max(0.0, wanted))
