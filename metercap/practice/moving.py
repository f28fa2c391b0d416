"""Parts that move under the hand: switches that miss closures, connectors that drop out when flexed."""

from __future__ import annotations

from random import Random

from metercap.practice.parts import OPEN_OHM, Passive, Seen

TRAVEL_S = 0.06
"""Time a plunger takes for its whole travel, in seconds; invented."""


LITTLE = 0.9
"""What is left of a film that was cleaned in haste; invented."""


class Switch(Passive):
    """A switch with a plunger; normally open (`no`) or normally closed (`nc`).

    A press pushes the plunger to a depth of its own, a share of the travel. The contact changes over beyond
    `act_at`, but over the worn part of the travel, `gap_from` … `gap_to`, its film insulates: a press that
    ends there misses its closure. Each press wears the film a little (`wear` of the gap's width goes), and
    cleaning leaves `after_clean` of it, once it was done `cleanings` times; before that it helps little. For
    `nc` the same holds for the released plunger: the gap lies near the top of the travel.
    """

    def __init__(
        self,
        form: str,
        ohm: float,
        rng: Random,
        *,
        act_at: float = 0.4,
        gap_from: float = 0.0,
        gap_to: float = 0.0,
        wear: float = 0.0,
        after_clean: float = 0.1,
        cleanings: int = 1,
        bounce_s: float = 0.003,
    ) -> None:
        self.form = form
        self.ohm = ohm
        self.act_at = act_at
        self.gap_from = gap_from
        self.gap_to = gap_to
        self.wear = wear
        self.after_clean = after_clean
        self.cleanings = cleanings
        self.bounce_s = bounce_s
        self.presses: list[bool] = []
        """Of every press so far, whether the contact changed over as it should."""
        self._rng = rng
        self._from = 0.0
        self._to = 0.0
        self._moved_s = float("-inf")
        self._now_s = 0.0

    @property
    def steady(self) -> bool:
        """A plunger in motion is sampled; at rest it is a plain path."""
        return self._now_s - self._moved_s > TRAVEL_S + self.bounce_s

    def press(self, t_s: float, depth: float) -> None:
        """Push the plunger to `depth` (0 … 1) from `t_s` on."""
        self._start(t_s, depth)
        acted = depth >= self.act_at and self.closes_at(depth) == (self.form == "no")
        self.presses.append(acted)
        self._narrow(1.0 - self.wear)

    def release(self, t_s: float, rest: float = 0.0) -> None:
        """Let the plunger up to `rest` (0 is the top; dirt may hold it a little below)."""
        self._start(t_s, rest)

    def clean(self) -> None:
        """Clean the contact: what is left of the bad part of the travel is `after_clean`, after the last cleaning."""
        self.cleanings -= 1
        self._narrow(LITTLE if self.cleanings > 0 else self.after_clean)

    def closes_at(self, depth: float) -> bool:
        """Whether the contact conducts with the plunger at rest at `depth`."""
        acted = depth >= self.act_at
        closed = acted if self.form == "no" else not acted
        return closed and not (self.gap_from <= depth < self.gap_to)

    def seen(self, t_s: float) -> Seen:
        """Return the contact's resistance, or open; while it bounces, either."""
        self._now_s = t_s
        since_s = t_s - self._moved_s
        depth = self._to if since_s >= TRAVEL_S else self._from + (self._to - self._from) * since_s / TRAVEL_S
        closed = self.closes_at(depth)
        if closed and TRAVEL_S <= since_s < TRAVEL_S + self.bounce_s:
            closed = self._rng.random() < 0.5
        return Seen(self.ohm if closed else OPEN_OHM)

    def _start(self, t_s: float, depth: float) -> None:
        self._from, self._to = self._to, depth
        self._moved_s = self._now_s = t_s

    def _narrow(self, share: float) -> None:
        # The film goes from its deep end: the pressed-hardest part is wiped first.
        self.gap_to = self.gap_from + (self.gap_to - self.gap_from) * share


class Connector(Passive):
    """A closed path that drops out while its cable is flexed: `drops_per_s` dropouts of about `drop_s` each.

    Lengths and distances are exponential (a Poisson process); at rest the path is sound.
    """

    def __init__(self, ohm: float, rng: Random, *, drops_per_s: float = 0.0, drop_s: float = 0.05) -> None:
        self.ohm = ohm
        self.drops_per_s = drops_per_s
        self.drop_s = drop_s
        self.dropped: list[tuple[float, float]] = []
        self._rng = rng
        self._flexed = False
        self._from_s = float("inf")
        self._to_s = float("inf")

    @property
    def steady(self) -> bool:
        """At rest it is a plain path."""
        return not self._flexed

    def flex(self, t_s: float, *, on: bool) -> None:
        """Start or stop flexing."""
        self._flexed = on
        if on:
            self._next(t_s)

    def seen(self, t_s: float) -> Seen:
        """Return the path, or open inside a dropout. `dropped` lists the dropouts so far as (from_s,
        to_s)."""
        if not self._flexed:
            return Seen(self.ohm)
        while t_s >= self._to_s:
            self._next(self._to_s)
        return Seen(OPEN_OHM if t_s >= self._from_s else self.ohm)

    def _next(self, t_s: float) -> None:
        if self.drops_per_s <= 0:
            self._from_s = self._to_s = float("inf")
            return
        self._from_s = t_s + self._rng.expovariate(self.drops_per_s)
        self._to_s = self._from_s + self._rng.expovariate(1.0 / self.drop_s)
        self.dropped.append((self._from_s, self._to_s))
