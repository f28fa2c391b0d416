"""What a running step knows at this moment, as data: each machine's `facts()` returns the struct of its kind.

Whatever shows a session draws these and works nothing out again: limits by the rule in force, leads off, a trimmer's
band and its proved inner part, counts. They are made only where somebody looks, and making them changes nothing.
All values in SI; `None` where a thing is not known yet.
"""

from __future__ import annotations

from typing import Literal, TypeAlias

import msgspec

from metercap.judging.judge import Limits
from metercap.quantity import Quantity

Side: TypeAlias = Literal["below", "above"]


class InForce(msgspec.Struct, frozen=True):
    """The limits of the item in turn and the rule they are judged by now; `good` is the good unit's value there."""

    low: float | None
    high: float | None
    unit: str
    rule: str
    good: float | None = None

    @classmethod
    def of(cls, limits: Limits) -> InForce:
        """Return the form to show."""
        good = None if limits.against is None or limits.against.apart else limits.against.good.value
        return cls(limits.low, limits.high, limits.unit, limits.rule, good)


class StepFacts(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag=""):
    """What every kind tells: `done` of its `of` items are decided; `until_s`: when what is waited out ends."""

    done: int = 0
    of: int = 1
    limits: InForce | None = None
    until_s: float | None = None


class ConfirmFacts(StepFacts, frozen=True, kw_only=True, tag="confirm"):
    """`wait_s`: how long the wait is, once it has begun."""

    wait_s: float = 0.0


class SafeFacts(StepFacts, frozen=True, kw_only=True, tag="safe"):
    """Where the proof stands: the source before, the lift off it, the points, the source after.

    `done` and `of` count points, in dc and in ac; `heard`: a yes was taken, two values more decide.
    """

    part: Literal["before", "lift", "point", "after"]
    source: str
    quantity: Quantity
    heard: bool = False
    live: bool = False


class ZeroFacts(StepFacts, frozen=True, kw_only=True, tag="zero"):
    """Leads above `warn_ohm` want cleaning, above `max_ohm` no null is taken: a value up there may be no lead's."""

    warn_ohm: float
    max_ohm: float


class WalkFacts(StepFacts, frozen=True, kw_only=True, tag="walk"):
    """A sweep or a check. `contacts`: the settled values of the item in turn, lowest last; of `needed` at least.

    `counting`: the count check is due or asked; `again`: the items that it made unsure, while that is asked about.
    """

    second: bool = False
    contacts: tuple[float, ...] = ()
    needed: int = 1
    counting: bool = False
    again: tuple[str, ...] = ()
    last_look: bool = False


class ExerciseFacts(StepFacts, frozen=True, kw_only=True, tag="exercise"):
    """Presses of the switch in turn: `closed` closures in `presses` of `asked`.

    `marks` are the presses of this round, oldest first: closed, not, or None while a silent one is undecided. `rounds`
    are (closures, presses) of those before cleaning, as found first.
    """

    form: Literal["no", "nc"]
    closed: int
    presses: int
    asked: int
    marks: tuple[bool | None, ...] = ()
    rounds: tuple[tuple[int, int], ...] = ()
    dropouts: int = 0
    silent: int = 0


class WiggleFacts(StepFacts, frozen=True, kw_only=True, tag="wiggle"):
    """A watch: `out` while the path is open, `watching` from the moment it had settled."""

    watching: bool
    out: bool
    dropouts: int
    longest_s: float
    watch_s: float


class CellFacts(StepFacts, frozen=True, kw_only=True, tag="cell"):
    """A cell: `volt` without load once it has settled, `loaded` while the load is seen to be on, `found` of the one
    that was replaced."""

    chemistry: str
    volt: float | None
    spent_volt: float
    load_ohm: float | None
    load_s: float
    loaded: bool
    found: float | None = None


class TrialsFacts(StepFacts, frozen=True, kw_only=True, tag="trials"):
    """Starts: `passed` of `runs`, before a fix or, where `fix` is told, after it; `marks` are theirs, oldest first.

    `asked`: runs before a fix, or passes in a row that `reliable` takes. `changed`: the passes are too many for chance;
    `more_to_change` and `more_to_reliable` how many are missing (None: no number will do). `attempt` counts from 1.
    `proved`: what it all says, in words.
    """

    passed: int
    runs: int
    asked: int
    marks: tuple[bool, ...]
    fix: str
    mending: bool
    changed: bool
    more_to_change: int | None
    more_to_reliable: int
    attempt: int
    reliability: float
    confidence: float
    proved: str


class TuneFacts(StepFacts, frozen=True, kw_only=True, tag="tune"):
    """A trimmer: what it is turned to, where it is, where it will stop.

    `low` … `high` is the band, `inner_low` … `inner_high` what this meter proves of it by the rule in force (equal ends
    where it can prove none). `found` is its value before anything was turned, `unread` why there is none; `good` the
    known-good unit's. `value` is the last one on its track, leads off; `error` is it less the target, `share` that in
    parts of the target, `to_go` the way to the nearest proved value, 0 there. `speed_per_s` runs, and a hand that stops
    now will find it at `stops_at`. `side`: the hazard limit it stands past. `rested_s` of `rest_s` it has rested.
    """

    phase: Literal["found", "turn", "stop", "left", "ask"]
    unit: str
    resolution: float
    target: float | None = None
    low: float | None = None
    high: float | None = None
    inner_low: float | None = None
    inner_high: float | None = None
    never_below: float | None = None
    never_above: float | None = None
    found: float | None = None
    unread: str = ""
    good: float | None = None
    value: float | None = None
    error: float | None = None
    share: float | None = None
    to_go: float | None = None
    speed_per_s: float = 0.0
    stops_at: float | None = None
    nudging: bool = False
    side: Side | None = None
    rest_s: float = 0.0
    rested_s: float = 0.0

    @property
    def inside(self) -> bool:
        """Whether the value is proved to be in the band."""
        return self.to_go == 0.0 and self.proves

    @property
    def proves(self) -> bool:
        """Whether this meter can prove any part of the band."""
        return self.inner_low is not None and self.inner_high is not None and self.inner_low < self.inner_high


class TokensFacts(StepFacts, frozen=True, kw_only=True, tag="tokens"):
    """Learning tokens: `ohm` is what the one in turn is marked with."""

    ohm: float | None = None


Facts: TypeAlias = (
    StepFacts
    | ConfirmFacts
    | SafeFacts
    | ZeroFacts
    | WalkFacts
    | ExerciseFacts
    | WiggleFacts
    | CellFacts
    | TrialsFacts
    | TuneFacts
    | TokensFacts
)
"""Of one kind of step; told apart by `kind` in JSON."""
