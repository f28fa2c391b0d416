"""The view: one frozen value, complete in itself, so that a reader may drop any of them and read the newest."""

from __future__ import annotations

import msgspec
from msgspec import UNSET

from metercap.asks import Asks
from metercap.contact import Block
from metercap.order import Proposed
from metercap.plankeys import Item
from metercap.reading import Garbage
from metercap.records import CueKind, EndRecord, Link, Operator, Prompt, Verdict, VerdictKind
from metercap.session.facts import PastLimit, Shown, Tips
from metercap.session.route import LeftOpen
from metercap.steps.facts import Facts, InForce, TuneFacts
from metercap.view.board import Board, Spot


class Unit(msgspec.Struct, frozen=True):
    """The unit on the mat, the plan it is worked on by, and the meter; of a `job` also the tags of all its `units`."""

    name: str
    tag: str
    title: str = ""
    model: str = ""
    meter: str = ""
    known_good: bool = False
    cautions: tuple[str, ...] = ()
    job: str = ""
    units: tuple[str, ...] = ()


class Elsewhere(msgspec.Struct, frozen=True):
    """Another unit of the job: when its `waits` are over, by step, in this session's time; trimmers `past` limits."""

    tag: str
    waits: tuple[tuple[str, float], ...] = ()
    past: tuple[PastLimit, ...] = ()


class Stage(msgspec.Struct, frozen=True):
    """One step of the session's plan, and its items in the order in which they are probed."""

    id: str
    kind: str
    say: str = ""
    cautions: tuple[str, ...] = ()
    spots: tuple[Spot, ...] = ()

    def spot(self, item: str) -> Spot | None:
        """Return the item of that name, or None."""
        return next((spot for spot in self.spots if spot.name == item), None)

    @property
    def counts(self) -> dict[VerdictKind, int]:
        """How many of its items have each verdict; kinds that none has are left out."""
        found = [spot.verdict.verdict for spot in self.spots if spot.verdict is not None]
        return {kind: found.count(kind) for kind in VerdictKind if kind in found}


class Touch(msgspec.Struct, frozen=True):
    """Probes on an item since `t_s`; `same` when it is a slip back onto the one ticked before."""

    t_s: float
    item: str
    same: bool


class Told(msgspec.Struct, frozen=True):
    """A remark, and the item that was asked for meanwhile; `aloud`: it was spoken."""

    t_s: float
    text: str
    item: str = ""
    aloud: bool = False


class View(msgspec.Struct, frozen=True, kw_only=True):
    """One moment of a session.

    `asked` is the open prompt, whose fields say what answers it, and `prompts` the number of it, so that a word may say
    which prompt it answers; `aside` a dial to be turned meanwhile, which does not
    replace it. `own` is what the step in turn knows, `kind` its kind, `place` where its item is. `call` is what the
    hands should do first (lift, again, waiting, stop), given at `call_s`; `cue` the last word of a trimmer's steering.
    `last` is the verdict given last. `past` lists every trimmer that stands past a hazard limit, `left_open` what was
    left or passed over and comes back before the end, `proposed` the step that is proposed next where the symptom is
    known. `told` is the last remark that was spoken, `note` the last of any kind, `reply` the one that answered the
    last word: why it was refused, or what came of it.
    `board`: where the next point is on the plan's pictures, and how the step's other places stand; None without any.
    `elsewhere` is what other units of the job wait for or stand past, `arrived` true from the beginning of a
    job's session until the first touch or answer: which unit is on the mat must not be in doubt. `own`, `tips`
    and `place` are None in files of an older schema, whose outcomes are not derived again: there only what the records
    tell is known.
    """

    t_s: float = 0.0
    unit: Unit | None = None
    path: tuple[Stage, ...] = ()
    unplanned: tuple[Spot, ...] = ()
    step: str = ""
    kind: str = ""
    item: str = ""
    place: Item | None = None
    board: Board | None = None
    asked: Prompt | None = None
    prompts: int = 0
    aside: Prompt | None = None
    own: Facts | None = None
    reading: Shown | None = None
    tips: Tips | None = None
    touch: Touch | None = None
    armed: bool = True
    call: CueKind | None = None
    call_s: float = 0.0
    cue: CueKind | None = None
    cue_s: float = 0.0
    last: Verdict | None = None
    past: tuple[PastLimit, ...] = ()
    left_open: tuple[LeftOpen, ...] = ()
    proposed: Proposed | None = None
    elsewhere: tuple[Elsewhere, ...] = ()
    arrived: bool = False
    told: Told | None = None
    note: Told | None = None
    reply: Told | None = None
    word: Operator | None = None
    link: Link | None = None
    garbage: Garbage | None = None
    block: Block | None = None
    battery_low: bool = False
    arrivals: tuple[float, ...] = ()
    end: EndRecord | None = None
    broken: str = ""
    """What went wrong while a view was made: the session goes on, and this one shows how it was before."""

    @property
    def stage(self) -> Stage | None:
        """The step in turn, as the plan has it; None for what the plan does not have."""
        return next((stage for stage in self.path if stage.id == self.step), None)

    @property
    def number(self) -> int:
        """Which step of the path it is, from 1; 0 where it is none of the plan's."""
        return next((number for number, stage in enumerate(self.path, 1) if stage.id == self.step), 0)

    @property
    def limits(self) -> InForce | None:
        """The limits of the item in turn, by the rule in force."""
        return None if self.own is None else self.own.limits

    @property
    def trimmer(self) -> TuneFacts | None:
        """The trimmer in turn; None in other steps."""
        return self.own if isinstance(self.own, TuneFacts) else None

    @property
    def hazard(self) -> PastLimit | None:
        """A trimmer of this step that stands past a hazard limit: the one in turn, the one that the tips are on, or any
        while they are on none."""
        if self.kind != "tune":
            return None
        stage, held = self.stage, "" if self.touch is None else self.touch.item
        others = () if held or stage is None else tuple(spot.name for spot in stage.spots)
        return next((past for item in (self.item, held, *others) for past in self.past if past.item == item), None)

    @property
    def touching(self) -> bool:
        """Whether the probes are on the item, and it is no slip."""
        return self.touch is not None and not self.touch.same

    @property
    def asks(self) -> Asks | None:
        """What the open prompt asks, where it asks more than a deed."""
        return None if self.asked is None or self.asked.asks is UNSET else self.asked.asks

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        """Every verdict that stands, in the plan's order, unplanned items last."""
        spots = [spot for stage in self.path for spot in stage.spots]
        return tuple(spot.verdict for spot in (*spots, *self.unplanned) if spot.verdict is not None)

    @property
    def undone(self) -> tuple[tuple[str, str], ...]:
        """Step and item of all that the path has and nobody decided."""
        return tuple((stage.id, spot.name) for stage in self.path for spot in stage.spots if spot.verdict is None)

    @property
    def live(self) -> Shown | None:
        """The newest reading, as long as the meter is heard: what is shown for a live value."""
        return self.reading if self.link is None else None

    @property
    def rate_per_s(self) -> float | None:
        """Readings a second over the last ones; None for fewer than three, and while the meter is not heard."""
        if self.link is not None or len(self.arrivals) < 3 or self.arrivals[-1] <= self.arrivals[0]:
            return None
        return (len(self.arrivals) - 1) / (self.arrivals[-1] - self.arrivals[0])

    def kind_of(self, step: str) -> str:
        """Return the kind of a step; empty for one that the plan does not have."""
        return next((stage.kind for stage in self.path if stage.id == step), "")
