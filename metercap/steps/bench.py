"""Bench: what every step shares during a session, and the only way a step says anything.

It holds the touch, the judge with its lead nulls, the blocks, and the list of outcomes of the event being worked on.
Time is the event's; nothing here reads a clock.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Unpack

import msgspec
from msgspec import UNSET

from metercap.asks import Asks, PromptFacts
from metercap.contact import Block, Blocks, Burst, Conversions, Tokens, Touch
from metercap.judging.good import Goods
from metercap.judging.judge import Held, Judge, Judgement, Limits
from metercap.judging.rests import rests_of
from metercap.meter import MeterProfile
from metercap.plankeys.base import Rule, StepBase
from metercap.quantity import Quantity
from metercap.reading import Reading
from metercap.records import (
    GOOD_NOTE,
    PART_NOTE,
    Contact,
    Cue,
    CueKind,
    Do,
    Excursion,
    Lift,
    Note,
    Outcome,
    Prompt,
    Verdict,
    VerdictKind,
)
from metercap.rests import Found
from metercap.steps.advice import WORTH_S, fixed_range_text, saved_s
from metercap.steps.counts import count_of
from metercap.steps.hazard import Standing
from metercap.steps.rounds import Uncounted

BATTERY = "meter battery low"


class Bench:
    """The shared state of a session's steps.

    `tag` names the unit in prompts; `ticked` is the (step, item) that a slip still belongs to; `verdicts` holds the
    verdict that stands by (step, item), `judged` what its value rests on, `as_found` each trimmer's value before
    anything was turned, `unread` why a trimmer has no such value and never will, `standing` the trimmers that stand
    past a hazard limit, by item, until they are seen inside it; `before` what an earlier session of the same unit
    counted (k of n) by (step, item), `uncounted` what each step's open count check is about.
    `moved` whether a trimmer was seen elsewhere than as found since.
    `volts_s` is when a voltage was met last where ohms are measured.
    `prompted_s` is when something new was asked last; what stands beside an open prompt (a range) is no new question.
    """

    def __init__(self, profile: MeterProfile, tag: str, rule: Rule) -> None:
        self.profile = profile
        self.tag = tag
        self.rule = rule
        self.t_s = 0.0
        self.step = ""
        self.touch = Touch()
        self.conversions = Conversions(profile)
        self.blocks = Blocks()
        self.tokens = Tokens()
        self.judge = Judge(profile)
        self.ticked: tuple[str, str] | None = None
        self._on: tuple[str, str] | None = None
        self.moved: dict[tuple[str, str], bool] = {}
        self.verdicts: dict[tuple[str, str], Verdict] = {}
        self.failed: dict[tuple[str, str], None] = {}
        """Items that failed, whatever they did since."""
        self.news = 0
        """Grows with each change of what is decided."""
        self.judged: dict[tuple[str, str], Judgement] = {}
        self.last: Reading | None = None
        self.block: Block | None = None
        self.range_asked = False
        self.prompted_s = float("-inf")
        self._prompted: tuple[str, Do, str | None, str] | None = None
        self.hiding_asked = False
        self.steps: tuple[StepBase, ...] = ()
        self.as_found: dict[tuple[str, str], Judgement] = {}
        self.found_by: dict[tuple[str, str], Reading] = {}
        """The reading that a trimmer was found by: the range in which it is turned."""
        self.unread: dict[tuple[str, str], str] = {}
        self.targets: dict[tuple[str, str], float] = {}
        """What the operator has said to turn a trimmer to, where no reference is known."""
        self.beside: dict[tuple[str, str], float] = {}
        """The good unit's value that a trimmer's as found was told beside."""
        self.parts: dict[tuple[str, str], str] = {}
        """What is new at an item, in the operator's words."""
        self.outdated: dict[tuple[str, str], None] = {}
        """Items whose verdict is of a part that is out: they are asked for again, in a later session too."""
        self.good_for: dict[str, None] = {}
        """Steps for which this unit is good, by the operator's word."""
        self.excursions: dict[tuple[str, str], int] = {}
        """How often each trimmer was past a hazard limit in this session."""
        self.standing: dict[str, Standing] = {}
        self.kept: frozenset[tuple[str, str]] = frozenset()
        self.before: dict[tuple[str, str], dict[str, Any]] = {}
        self.waits: dict[str, float] = {}
        """When the waits end or ended, by step, that run on while other steps are at hand."""
        self.calls: dict[str, float] = {}
        """Those of them that are to be told when they are over."""
        self.uncounted: dict[str, Uncounted] = {}
        self.volts_s = float("-inf")
        self.reference: dict[str, dict[str, Any]] = {}
        self.goods: Goods | None = None
        self.known_good = False
        self.symptom = ""
        """What the unit does, as the operator said it."""
        self._out: list[Outcome] = []

    def take(self) -> list[Outcome]:
        """Return the outcomes since the last call."""
        out, self._out = self._out, []
        return out

    @property
    def has_told(self) -> bool:
        """Whether anything that is said to the operator came since the last call of `take`."""
        return any(isinstance(each, Note | Prompt | Verdict | Cue) for each in self._out)

    def ask_fixed_range(self, reading: Reading, *, continuity: bool = False) -> None:
        """Ask for a fixed range where auto range makes items slow, beside whatever is prompted; it may be done late.

        Once, and once more when it turned out that the meter hides its walk. `continuity` says that this would do too.
        """
        ranging = self.touch.ranging
        if self.blocks.past:  # nothing is measured here, and nothing may stand before the refusal
            return
        if self.range_asked and (self.hiding_asked or not ranging.was_seen):
            return
        if "auto" not in reading.flags or reading.quantity is not Quantity.RESISTANCE:
            return
        gain_s = saved_s(ranging, self.conversions.pace_of(reading.quantity), self.touch.recontact_s)
        self.range_asked, self.hiding_asked = True, ranging.was_seen
        if gain_s >= WORTH_S or ranging.was_seen:
            dial = (Quantity.CONTINUITY, Quantity.RESISTANCE) if continuity else (Quantity.RESISTANCE,)
            text = fixed_range_text(gain_s, hides=ranging.was_seen, continuity=continuity)
            self.urge(Do.DIAL, None, text, quantity=dial[0], dial=dial, range="low")

    def ask_wider_range(self, high: float | None) -> None:
        """Ask for auto range again where a value may lie above the range that was fixed; `high` None: any value."""
        last = self.last
        if not self.range_asked or last is None or "auto" in last.flags or last.quantity is not Quantity.RESISTANCE:
            return
        counts = self.profile.counts
        if high is not None and counts is not None and last.resolution and high <= counts * last.resolution:
            return
        self.range_asked = False
        text = "values here may lie above a fixed low range: back to auto range on the ohms dial"
        self.urge(Do.DIAL, None, text, quantity=Quantity.RESISTANCE, dial=(Quantity.RESISTANCE,), range="auto")

    @property
    def asked_item(self) -> str:
        """The item that was asked for last; empty before any was."""
        return "" if self._prompted is None else self._prompted[2] or ""

    def steps_after(self, step: str) -> tuple[StepBase, ...]:
        """Return the steps of this session that come after `step`."""
        ids = [each.id for each in self.steps]
        return self.steps[ids.index(step) + 1 :] if step in ids else ()

    def is_kept(self, step: str, item: str) -> bool:
        """Return whether this item is decided: by the session that goes on (not as unsure), or in a step that was
        left or has ended."""
        return (step, item) in self.kept

    def keep(self, step: StepBase, items: Iterable[str]) -> None:
        """Remember which items of a step are decided: they are not asked for again when it is opened."""
        every = frozenset((step.id, item) for item in step.item_names)
        self.news += 1
        self.kept = (self.kept - every) | frozenset((step.id, item) for item in items)

    def is_over(self, step: StepBase) -> bool:
        """Return whether this step has ended, here or in the session that goes on: nothing of it is asked again."""
        return step.id not in self.uncounted and all(self.is_kept(step.id, item) for item in step.item_names)

    def inherit(self, verdict: Verdict) -> None:
        """Take over a verdict of the session that is continued, so that this journal stands alone."""
        self._out.append(verdict)
        self.verdicts[verdict.step, verdict.item] = verdict
        self._decided(verdict)

    def _decided(self, verdict: Verdict) -> None:
        self.news += 1
        if verdict.verdict is VerdictKind.FAIL:
            self.failed[verdict.step, verdict.item] = None

    @property
    def blocked(self) -> bool:
        """True while something stops the ticking."""
        return self.block is not None

    def want(self, quantities: tuple[Quantity, ...], item: str) -> None:
        """Say which quantities will be judged from now on; what the meter shows already may be the wrong one."""
        self.blocks.wanted = quantities
        self.refresh(item)

    def refresh(self, item: str) -> bool:
        """Look whether a block began or changed, and prompt what mends it; return True when one has just ended."""
        block = self.blocks.standing()
        if block == self.block:
            return False
        self.block = block
        if block is None:
            return True
        self.touch.block()
        self.urge(block.do, item, block.say, **block.facts)
        return False

    def prompt(self, do: Do, item: str | None, say: str, **facts: Unpack[PromptFacts]) -> None:
        """Ask the hands for something; held back while a block stands or is due, whose end prompts again.

        `facts` are what the sentence says, as data.
        """
        if not self.blocked and not self.blocks.unproved:
            self.urge(do, item, say, **facts)

    def urge(self, do: Do, item: str | None, say: str, **facts: Unpack[PromptFacts]) -> None:
        """Prompt even while a block stands: what a block itself says."""
        tagged = f"{self.tag}: {say}" if self.tag and item is not None else say
        prompted = (self.step, do, item, say)
        if item is not None and prompted != self._prompted:
            self.prompted_s, self._prompted = self.t_s, prompted
        self._out.append(Prompt(self.t_s, self.step, item, do, tagged, **facts))

    def cue(self, kind: CueKind, item: str) -> None:
        """Give a short signal."""
        self._signal(self.step, item, kind)

    def _signal(self, step: str, item: str, kind: CueKind) -> None:
        past = self.standing.get(item)
        self._out.append(Cue(self.t_s, step, item, kind, UNSET if past is None else past.side))

    def say_standing(self, *items: str) -> None:
        """Say which of these trimmers, of all where none is named, stand past a hazard limit: before they are left."""
        for item, past in self.standing.items():
            if past.believed and (not items or item in items):
                self.cue(CueKind.HAZARD, item)
                self.note(past.said(item), aloud=True)

    def stop_for_volts(self, item: str) -> None:
        """There is voltage where ohms are measured: say so, and want a certain lift before anything is judged again."""
        self.cue(CueKind.STOP, item)
        self.volts_s = self.t_s
        self.touch.block()
        text = "voltage in the circuit: lift, measure volts here, disconnect and discharge before going on"
        self.prompt(Do.STOP, item, f"{item}: {text}", asks=Asks.VOLTS)

    def note(self, text: str, *, aloud: bool = False) -> None:
        """Put a remark into the journal and before the operator; `aloud`: it is spoken, and shown until a new one."""
        self._out.append(Note(self.t_s, text, aloud or UNSET))

    def replaced(self, item: str, part: str, step: str = "", *, measured: bool = True) -> None:
        """Enter a new part into the list of parts, which is made of these notes; every later verdict on it says so.

        What was `measured` of the part that is out does not stand for the new one.
        """
        step = step or self.step
        self.news += 1
        self.parts[step, item] = part
        if measured:
            self.outdated[step, item] = None
        named = "" if part == item else f": {part}"
        told = (step, item) if measured else UNSET
        self._out.append(Note(self.t_s, f"{PART_NOTE}{item} ({step}){named}", outdated=told))

    def stands(self, item: str) -> bool:
        """Return whether an item of the step at hand has a verdict, of the part that is in now."""
        key = (self.step, item)
        return key in self.verdicts and key not in self.outdated

    def be_good(self, step: StepBase) -> None:
        """This unit is good for this step: its values serve as reference."""
        self.good_for[step.id] = None
        self.note(f"{GOOD_NOTE}{step.id}: its values serve as reference", aloud=True)

    def contact(self, item: str, *, same: bool) -> None:
        """Record that the tips made contact; a slip (`same`) still belongs to what was ticked last."""
        self._on = step, item = self.ticked if same and self.ticked else (self.step, item)
        self._out.append(Contact(self.t_s, step, item, same))

    def lift(self, item: str, *, same: bool) -> None:
        """Record that the tips broke contact, of the item that the contact was on."""
        (step, item), self._on = self._on or (self.step, item), None
        self._out.append(Lift(self.t_s, step, item, same))

    def found(self, step: str, item: str, unit: str, judged: Judgement, reading: Reading, **how: Any) -> None:
        """A trimmer's value as found has settled, by `reading`; `how`: n, from_s, contacts. It is never overwritten."""
        self.as_found[step, item], self.found_by[step, item] = judged, reading
        value, expanded, resolution = judged.value, judged.expanded, judged.resolution
        self._out.append(Found(self.t_s, step, item, value, unit, expanded, resolution, budget=rests_of(judged), **how))

    def counted(self, item: str, kept: dict[str, Any]) -> None:
        """Keep what was counted of an item by now, and record it where it says something new."""
        before = self.before.get((self.step, item), {})
        if kept == before:
            return
        self.before[self.step, item] = kept
        said = count_of(kept, self.step, item)
        if said != count_of(before, self.step, item):
            self._out.append(msgspec.structs.replace(said, t_s=self.t_s))

    def excursion(self, record: Excursion) -> None:
        """Record a trimmer's way past its hazard limit."""
        self._out.append(record)

    def changed(self) -> None:
        """The expected item changes now: what touches now belongs to the last one."""
        self.touch.change(self.t_s)

    def burst(self) -> Burst:
        """Return a new burst that begins now, for a quantity whose first conversion may be a blend."""
        return Burst(self.t_s)

    def give(
        self,
        item: str,
        verdict: VerdictKind,
        *,
        judged: Judgement | None = None,
        limits: Limits | None = None,
        reason: str = "",
        n: int = 0,
        from_s: float | None = None,
        settled: bool = False,
        step: str | None = None,
        **more: Any,
    ) -> Verdict:
        """Decide: write the verdict of `item` (of another `step` where named), then its cue.

        A low battery flags every verdict given after it. `more` holds what only some steps give.
        """
        reasons = [reason] if reason else []
        new = self.parts.get((self.step if step is None else step, item))
        if new is not None:
            reasons.append(f"replaced, {new}")
        if judged is not None and judged.reason and judged.reason not in reasons:
            reasons.append(judged.reason)
        if self.blocks.battery_low:
            reasons.append(BATTERY)
        held = Held() if limits is None else limits.held if judged is None else judged.held(limits)
        record = Verdict(
            self.t_s,
            self.step if step is None else step,
            item,
            verdict,
            value=None if judged is None else judged.value,
            unit="" if limits is None else limits.unit,
            expanded=None if judged is None else judged.expanded,
            rule=held.rule,
            n=n,
            reason="; ".join(reasons),
            min=held.low,
            max=held.high,
            resolution=None if judged is None else judged.resolution,
            settled=settled,
            from_s=from_s,
            budget=rests_of(judged),
            **more,
        )
        self.outdated.pop((record.step, item), None)
        self._out.append(record)
        self.verdicts[record.step, item] = record
        self._decided(record)
        self.judged.pop((record.step, item), None)
        if judged is not None:
            self.judged[record.step, item] = judged
        self._signal(record.step, item, CueKind(verdict.value))
        return record

    def accept(self, step: str, item: str, why: str) -> None:
        """The operator leaves a verdict as it is; nothing new was measured, so no cue tells the hands of it."""
        record = msgspec.structs.replace(self.verdicts[step, item], t_s=self.t_s, accepted=why)
        self._out.append(record)
        self.verdicts[step, item] = record
        self.news += 1
        self.note(f"{item} ({step}) is {record.verdict}, accepted as it is: {why}", aloud=True)

    def replace(self, step: str, item: str, verdict: VerdictKind, reason: str) -> None:
        """Give an earlier item another verdict, keeping its numbers; the earlier one stays in the file, and what the
        operator accepted was that one."""
        before = self.verdicts[step, item]
        both = "; ".join(part for part in (reason, before.reason) if part)
        record = msgspec.structs.replace(before, t_s=self.t_s, verdict=verdict, reason=both, accepted=UNSET)
        self._out.append(record)
        self.verdicts[step, item] = record
        self.news += 1
        self._signal(step, item, CueKind(verdict.value))
