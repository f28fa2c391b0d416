"""Plays a session from a compact script of readings and words, and keeps every record.

A script is a line of tokens; time goes on by one conversion of the meter for each reading:

    0.2  1.50k  0.000M  -0.3      ohms as displayed: the written decimals give the resolution
    1.523V  0.02Vac  0.2c         volts dc, volts ac, continuity
    OL  --  OLV                   over-range, a display that shows nothing
    0.2*3                         three conversions
    0.2/5                         one conversion, sent in five frames
    0.2!hold+auto*2               with flags, which come before the numbers
    :skip  :at=F3  :note=a_word   words, at the time of the last reading ("_" stands for a space)
    +0.4                          0.4 s without a reading
    ^lost                         a link record

Every event's outcomes are checked for what holds always (see `Play.take`).
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Decimal
from typing import Any, TypeVar

from msgspec import UNSET

from metercap.meter import Accuracy, MeterProfile
from metercap.plan import Plan, to_builtins
from metercap.plankeys import CheckStep, ConfirmStep, Item, SafeStep, StepBase, SweepStep, ZeroStep
from metercap.quantity import Quantity
from metercap.reading import Reading, State
from metercap.records import (
    Clock,
    Contact,
    Cue,
    Event,
    Lift,
    Link,
    LinkState,
    Note,
    Operator,
    Outcome,
    Prompt,
    SessionRecord,
    Verdict,
    at,
)
from metercap.session import Driver, Session
from metercap.view import View, Viewer

_TOKEN = re.compile(
    r"(?P<value>OL|--|-?\d+(?:\.\d*)?)(?P<prefix>[mkM]?)(?P<unit>Vac|V|c|)"
    r"(?:!(?P<flags>[a-z_+]+))?(?:\*(?P<times>\d+))?(?:/(?P<frames>\d+))?"
)
_SCALE = {"m": Decimal("0.001"), "": Decimal(1), "k": Decimal(1000), "M": Decimal(1000000)}
_UNIT = {
    "": Quantity.RESISTANCE,
    "c": Quantity.CONTINUITY,
    "V": Quantity.VOLTAGE_DC,
    "Vac": Quantity.VOLTAGE_AC,
}

R = TypeVar("R")


def meter(rate: float = 2.0, accuracy: tuple[Accuracy, ...] = (), **more: Any) -> MeterProfile:
    """Return a profile that states `rate` conversions a second."""
    return MeterProfile(name="test", family="text", conversions_per_s=rate, accuracy=accuracy, **more)


def opening(
    steps: Iterable[StepBase], profile: MeterProfile, *, rule: str = "guarded", tag: str = "", **more: Any
) -> SessionRecord:
    """Return the first record of a session that runs `steps`: of loose parts, unless one of them proves a unit dead."""
    every = tuple(steps)
    supply = "unit" if any(isinstance(step, SafeStep) for step in every) else "none"
    plan = Plan(title="Climate controller, main board", steps=every, model="GC-8", rule=rule, supply=supply)  # type: ignore[arg-type]
    fields: dict[str, Any] = {
        "t_s": 0.0,
        "schema": 2,
        "id": "s1",
        "start_utc": "2026-03-01T09:00:00Z",
        "zone_offset_s": 0,
        "unit": "GC-8 number 2",
        "tag": tag,
        "operator": "",
        "known_good": False,
        "plan": to_builtins(plan),
        "meter": profile,
        "identity": "",
        "reference": {},
        "options": {},
        "inherited": {},
        "program": "test",
    }
    return SessionRecord(**(fields | more))


def parse(token: str, *, auto: bool = False) -> tuple[float | None, float, Quantity, State, tuple[str, ...], int, int]:
    """Return value, resolution, quantity, state, flags, times and frames of a reading's token."""
    found = _TOKEN.fullmatch(token)
    if found is None:
        raise ValueError(f"not a reading: {token!r}")
    quantity = _UNIT[found["unit"]]
    scale = _SCALE[found["prefix"]]
    text = found["value"]
    value: float | None = None
    resolution = 0.1
    state = State.OK
    if text in ("OL", "--"):
        state = State.OVER if text == "OL" else State.BLANK
        resolution = 0.0 if text == "--" else 0.1 if not found["prefix"] else float(scale)
    else:
        number = Decimal(text)
        value = float(number * scale)
        resolution = float(Decimal(1).scaleb(int(number.as_tuple().exponent)) * scale)
    flags = tuple(found["flags"].split("+")) if found["flags"] else ()
    if auto and "auto" not in flags:
        flags = ("auto", *flags)
    return value, resolution, quantity, state, flags, int(found["times"] or 1), int(found["frames"] or 1)


class Play:
    """A session being played: `rate` is the meter's own, `profile_rate` its profile's (default: the same)."""

    def __init__(
        self,
        *steps: StepBase,
        rate: float = 2.0,
        profile_rate: float | None = None,
        frames: int = 1,
        auto: bool = False,
        profile: MeterProfile | None = None,
        **more: Any,
    ) -> None:
        self.record = opening(steps, profile or meter(profile_rate or rate), **more)
        self.session = Session(self.record)
        self.driver = Driver(self.session)
        self.t_s = 0.0
        self.rate = rate
        self.frames = frames
        self.auto = auto
        self.events: list[Event] = []
        self.out: list[Outcome] = []
        self.pairs: list[tuple[Event | None, list[Outcome]]] = []
        self.viewer = Viewer(self.session.facts)
        self.viewer.open(self.record)
        self.take(None, self.driver.start())

    # --- feeding

    def __call__(self, script: str) -> Play:
        """Play a script; return this play, so that calls and questions chain."""
        for token in script.split():
            if token[0] == ":":
                word, _, text = token[1:].partition("=")
                self.feed(Operator(at(self.t_s), word.replace("_", " "), text.replace("_", " ")))
            elif token[0] == "+":
                self.t_s += float(token[1:])
                for event, outcomes in self.driver.due(at(self.t_s)):
                    self.take(event, outcomes)
            elif token[0] == "^":
                self.feed(Link(at(self.t_s), LinkState(token[1:])))
            else:
                self._reading(token)
        return self

    def _reading(self, token: str) -> None:
        value, resolution, quantity, state, flags, times, frames = parse(token, auto=self.auto)
        frames = max(frames, self.frames)
        for _ in range(times):
            self.t_s += 1.0 / self.rate
            for frame in range(frames):
                t_s = at(self.t_s + frame / self.rate / frames)
                self.feed(Reading(t_s, quantity, value, resolution, quantity.unit, state, flags, ""))

    def feed(self, event: Event) -> None:
        """Feed one event through the driver."""
        for fed, outcomes in self.driver.feed(event):
            self.take(fed, outcomes)

    def take(self, event: Event | None, outcomes: list[Outcome]) -> None:
        """Keep a pair, and check what holds for every one.

        Outcomes carry the event's time; time never runs back; every verdict's own cue comes right after it (one that
        the operator accepts is no new one, and has none). After a verdict comes a prompt, unless a block keeps it back
        or the session is over; no deadline lies in the past.
        """
        now = 0.0 if event is None else event.t_s
        assert not self.pairs or self.pairs[-1][0] is None or self.pairs[-1][0].t_s <= now
        assert all(outcome.t_s == now for outcome in outcomes), (event, outcomes)
        prompted = True
        for place, outcome in enumerate(outcomes):
            if isinstance(outcome, Verdict) and outcome.accepted is not UNSET and event is not None:
                assert not isinstance(outcomes[place + 1], Cue), (event, outcomes)
            elif isinstance(outcome, Verdict) and event is not None:  # inherited ones are told again, not given
                cue = outcomes[place + 1]
                assert isinstance(cue, Cue), (event, outcomes)
                assert (cue.step, cue.item, cue.cue.value) == (outcome.step, outcome.item, outcome.verdict.value)
                prompted = False
            elif isinstance(outcome, Prompt):
                prompted = True
        assert prompted or self.session.finished or self.session.bench.blocked, (event, outcomes)
        due = self.session.deadline_s
        if isinstance(event, Clock):
            assert due is None or due > event.t_s, "a deadline that was fed still stands"
        if event is not None:
            self.events.append(event)
        self.pairs.append((event, outcomes))
        self.out += outcomes
        self.viewer.take(event, outcomes)

    # --- asking

    @property
    def view(self) -> View:
        """What any output shows now; it is made after every event, so that every test also shows that it can be."""
        return self.viewer.view

    @property
    def machine(self) -> Any:
        """The machine that runs now."""
        return self.session._machine

    def of(self, kind: type[R]) -> list[R]:
        """Return every outcome of one kind."""
        return [outcome for outcome in self.out if isinstance(outcome, kind)]

    @property
    def verdicts(self) -> dict[str, Verdict]:
        """The verdict that stands, by item."""
        return {verdict.item: verdict for verdict in self.of(Verdict)}

    @property
    def ticks(self) -> list[str]:
        """Every verdict in order, as "F1 pass"."""
        return [f"{verdict.item} {verdict.verdict}" for verdict in self.of(Verdict)]

    @property
    def cues(self) -> list[str]:
        """Every cue in order, as "go F2"."""
        return [f"{cue.cue} {cue.item}" for cue in self.of(Cue)]

    @property
    def prompts(self) -> list[str]:
        """Every prompt in order, as "probe F1"."""
        return [f"{prompt.do} {prompt.item}" for prompt in self.of(Prompt)]

    @property
    def said(self) -> str:
        """What the last prompt says."""
        return self.of(Prompt)[-1].say

    @property
    def notes(self) -> list[str]:
        """Every note's text."""
        return [note.text for note in self.of(Note)]

    def since(self, script: str) -> list[str]:
        """Play a script; return what it led to, in order and in short."""
        before = len(self.out)
        self(script)
        return [short(outcome) for outcome in self.out[before:]]


def short(outcome: Outcome) -> str:
    """Return an outcome in a word or three."""
    if isinstance(outcome, Prompt):
        return f"prompt {outcome.do} {outcome.item}"
    if isinstance(outcome, Cue):
        return f"cue {outcome.cue} {outcome.item}"
    if isinstance(outcome, Verdict):
        return f"verdict {outcome.verdict} {outcome.item}"
    if isinstance(outcome, Contact):
        return f"{'slip' if outcome.same else 'contact'} {outcome.item}"
    if isinstance(outcome, Lift):
        return f"{'lift of a slip' if outcome.same else 'lift'} {outcome.item}"
    if isinstance(outcome, Note):
        return "note"
    return type(outcome).__name__


def fuses(last: int = 3, **more: Any) -> SweepStep:
    """Return a sweep of F1 to F<last>, each at most 2 Ω, without a count check unless asked for."""
    keys: dict[str, Any] = {"id": "fuses", "max": 2.0, "unit": "ohm", "count_check": False}
    items = tuple(Item(f"F{n}") for n in range(1, last + 1))
    return SweepStep(items=items, **(keys | more))


def check(*names: str, **more: Any) -> CheckStep:
    """Return a check of the named items, 90 to 110 Ω by default."""
    keys: dict[str, Any] = {"id": "check", "min": 90.0, "max": 110.0, "unit": "ohm"}
    return CheckStep(items=tuple(Item(name) for name in names or ("R1", "R2")), **(keys | more))


def volts(*names: str, **more: Any) -> CheckStep:
    """Return a check in volts dc, 2.9 to 3.6 V by default, one contact."""
    keys: dict[str, Any] = {
        "id": "rails",
        "min": 2.9,
        "max": 3.6,
        "unit": "V",
        "quantity": Quantity.VOLTAGE_DC,
        "contacts": 1,
    }
    return CheckStep(items=tuple(Item(name) for name in names or ("TP1", "TP2")), **(keys | more))


def safe(*points: str, **more: Any) -> SafeStep:
    """Return a safe step."""
    return SafeStep(id="dead", points=points or ("supply input", "C12"), **more)


def zero(**more: Any) -> ZeroStep:
    """Return a zero step."""
    return ZeroStep(**({"id": "leads"} | more))


def confirm(**more: Any) -> ConfirmStep:
    """Return a confirm step."""
    return ConfirmStep(**({"id": "battery out"} | more))


class Blend:
    """What a conversion shows whose time was only partly in contact: worst cases of the hands' edges."""

    OPEN = "open"
    TOUCH = "touch"
    BETWEEN = "between"


def conversions(
    touches: Iterable[tuple[float, float, float]],
    until_s: float,
    *,
    rate: float = 2.0,
    phase_s: float = 0.0,
    frames: int = 1,
    blend: str = Blend.OPEN,
    from_s: float = 0.0,
    resolution: float = 0.1,
) -> list[Reading]:
    """Return what a meter sends while tips touch (from, to, ohms): one value for each conversion, `frames` times each.

    A conversion lasts 1/rate and is sent when it is over. It shows contact only if the tips touched all the time,
    over-range only if they never did; otherwise `blend` decides: over-range, the part's value, or a higher one.
    """
    spans = list(touches)
    period_s = 1.0 / rate
    out: list[Any] = []
    n = 0
    while True:
        begin_s = from_s + phase_s + n * period_s
        end_s = begin_s + period_s
        if end_s > until_s:
            return out
        n += 1
        covered = [(max(on, begin_s), min(off, end_s), ohm) for on, off, ohm in spans if on < end_s and off > begin_s]
        value: float | None = None
        whole = len(covered) == 1 and covered[0][1] - covered[0][0] >= period_s - 1e-9
        if whole or (covered and blend == Blend.TOUCH):
            value = covered[-1][2]
        elif covered and blend == Blend.BETWEEN:
            share = sum(off - on for on, off, _ in covered) / period_s
            value = round(covered[-1][2] / max(share, 0.01) / resolution) * resolution
        state = State.OVER if value is None else State.OK
        for frame in range(frames):
            t_s = at(end_s + frame * period_s / frames)
            out.append(Reading(t_s, Quantity.RESISTANCE, value, resolution, "ohm", state, (), ""))
