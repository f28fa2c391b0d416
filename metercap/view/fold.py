"""The fold: an event, what came of it, and what the session knows then, to the view of that moment. Pure.

What the session knows (`SessionFacts`) is taken as it is. The rest is what only the order of records tells: the open
prompt, the call to the hands, verdicts, remarks. Where a file of an older schema is shown nothing is derived again, so
there are no facts, and the view tells less.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

import msgspec
from msgspec import UNSET

from metercap.errors import MetercapError
from metercap.plan import from_builtins
from metercap.plankeys import ItemsStep, Picture, StepBase
from metercap.plankeys.picture import Where, placed
from metercap.plankeys.walk import WalkStep, walked
from metercap.reading import Garbage, Reading
from metercap.records import (
    NAME,
    Contact,
    Cue,
    CueKind,
    Do,
    EndRecord,
    Event,
    Lift,
    Link,
    LinkState,
    Note,
    Operator,
    Outcome,
    Prompt,
    Record,
    SessionRecord,
    Verdict,
    tag_of,
)
from metercap.session.facts import PastLimit, SessionFacts, Shown
from metercap.session.heard import CLAP
from metercap.session.inherit import Inherited
from metercap.steps.facts import TuneFacts
from metercap.steps.hazard import Standing
from metercap.view.board import Spot, blank, marked
from metercap.view.model import Elsewhere, Stage, Told, Touch, Unit, View

KEEP_ARRIVALS = 12
"""Latest arrivals of readings kept, for their rate."""
MOST_UNPLANNED = 1000
"""Unplanned items that are kept."""
STEERING = (CueKind.FAR, CueKind.NEAR, CueKind.SLOW, CueKind.IN_BAND, CueKind.WRONG_WAY, CueKind.PAST_IT)
"""What a trimmer's hand is told."""
_ANSWERS = ("yes", "no", "pass", "fail", "open", "absent")
"""Words that answer something about the unit on the mat: whoever says one has seen which it is."""
_BEGUN = (Do.LIFT, Do.PRESS, Do.RELEASE, Do.TURN, Do.STOP, Do.KEEP, Do.ANSWER)
"""What is asked only of hands that are at work on the unit already."""
_ECHOED = ("note", "say", CLAP)
"""Words whose remark is the operator's own, or is spoken: it answers nothing."""
_CALLS = (CueKind.LIFT, CueKind.AGAIN, CueKind.WAITING, CueKind.STOP)

_Change = dict[str, Any]


def begin(record: SessionRecord) -> View:
    """Return the view of a session that is about to start: its unit and its path, nothing asked."""
    steps: tuple[StepBase, ...] = ()
    title, cautions = str(record.plan.get("title", "")), ()
    pictures: tuple[Picture, ...] = ()
    try:
        plan = from_builtins(record.plan)
    except MetercapError:  # a plan of another version: what is asked is shown all the same
        model = ""
    else:
        only = record.options.get("steps")
        steps = tuple(step for step in plan.steps if not only or step.id in only)
        title, model, cautions = plan.title, plan.model, plan.cautions  # type: ignore[assignment]
        pictures = plan.pictures
    job, units = ("", ()) if record.job is UNSET else (record.job.title, record.job.units)
    unit = Unit(
        record.unit, record.tag, title, model, record.meter.name, record.known_good, tuple(cautions), job, units
    )
    where = placed(pictures, steps)
    path = tuple(_stage(step, where) for step in steps)
    return View(
        t_s=record.t_s,
        unit=unit,
        path=path,
        board=blank(pictures),
        elsewhere=_elsewhere(record),
        arrived=bool(units),
    )


def _elsewhere(record: SessionRecord) -> tuple[Elsewhere, ...]:
    try:
        others = Inherited.of(record.inherited).others
    except MetercapError:  # a journal of another version
        return ()
    return tuple(
        Elsewhere(
            tag,
            tuple(away.waits.items()),
            tuple(PastLimit(item, stands) for item, stands in away.standing.items()),
        )
        for tag, away in others.items()
    )


def _stage(step: StepBase, where: Mapping[tuple[str, str], tuple[Where, ...]]) -> Stage:
    items = getattr(step, "items", ())
    order = walked(items, step.order) if isinstance(step, WalkStep) else items
    spots = tuple(Spot(item.name, item.where, at=where.get((step.id, item.name), ())) for item in order)
    if not isinstance(step, ItemsStep) and not spots:
        spots = tuple(Spot(name, at=where.get((step.id, name), ())) for name in step.item_names)
    return Stage(step.id, str(type(step).__struct_config__.tag), step.say, step.cautions, spots)


def advance(view: View, event: Event | None, outcomes: Iterable[Outcome], facts: SessionFacts | None = None) -> View:
    """Return the view after an event, what came of it, and what the session knows then."""
    now = view if event is None else _after(view, event)
    for outcome in outcomes:
        now = _after(now, outcome)
    return _boarded(view, now if facts is None else _known(now, facts))


def after(view: View, record: Record) -> View:
    """Return the view after one record, of which no more is known than it says."""
    return _boarded(view, _after(view, record))


def _boarded(before: View, now: View) -> View:
    """Put in how the board stands, where anything that it shows has changed."""
    if now.board is None:
        return now
    item = "" if now.end is not None else now.item
    if now.path is before.path and now.board.step == now.step and item == before.item and now.end is before.end:
        return now
    stage = now.stage
    return msgspec.structs.replace(now, board=marked(now.board, now.step, () if stage is None else stage.spots, item))


def _after(view: View, record: Record) -> View:
    work = _WORK.get(type(record))
    if work is None:
        return view
    return msgspec.structs.replace(view, t_s=max(view.t_s, record.t_s), **work(view, record))


def _known(view: View, facts: SessionFacts) -> View:
    """Put in what the session knows."""
    return msgspec.structs.replace(
        view,
        step=facts.step,
        kind=facts.kind,
        item=facts.item,
        place=facts.place,
        own=facts.own,
        reading=facts.reading or view.reading,
        tips=facts.tips,
        armed=facts.tips.armed,
        block=facts.block,
        battery_low=facts.battery_low,
        past=facts.past,
        left_open=facts.left_open,
        proposed=facts.proposed,
        **_steering(view, facts),
    )


def _steering(view: View, facts: SessionFacts) -> _Change:
    """A stop while a trimmer is turned steers the hand; it is no call to measure volts."""
    own = facts.own
    if view.call is CueKind.STOP and isinstance(own, TuneFacts) and own.phase in ("turn", "stop"):
        return {"call": None, "cue": CueKind.STOP, "cue_s": view.call_s}
    return {}


# --- one record


def _session(_: View, record: SessionRecord) -> _Change:
    fresh = begin(record)
    return {name: getattr(fresh, name) for name in ("unit", "path", "board", "arrived", "elsewhere")}


def _reading(view: View, record: Reading) -> _Change:
    shown = Shown(
        record.t_s, record.quantity, record.state, record.value, record.value, None, record.resolution, record.unit,
        record.flags,
    )  # fmt: skip
    change: _Change = {
        "reading": shown,
        "arrivals": (*view.arrivals[1 - KEEP_ARRIVALS :], record.t_s),
        "garbage": None,
    }
    if view.link is not None and view.link.state in (LinkState.SILENT, LinkState.GARBAGE):
        change["link"] = None
    return change


def _garbage(_: View, record: Garbage) -> _Change:
    return {"garbage": record}


def _link(_: View, record: Link) -> _Change:
    return {"link": None if record.state is LinkState.UP else record}


def _operator(view: View, record: Operator) -> _Change:
    change: _Change = {"word": record, "reply": None}
    name = record.text.strip()
    if view.unit is not None and record.word == NAME and name:
        tag = view.unit.tag if view.unit.job else tag_of(name)
        change["unit"] = msgspec.structs.replace(view.unit, name=name, tag=tag)
    if view.arrived and record.word in _ANSWERS:
        change["arrived"] = False
    return change


def _contact(view: View, record: Contact) -> _Change:
    change: _Change = {"touch": Touch(record.t_s, record.item, record.same), "call": None, "arrived": False}
    if not record.same:
        change["armed"] = True
        if view.aside is not None and view.aside.do is Do.DIAL:
            change["aside"] = None
    return change


def _lift(_: View, record: Lift) -> _Change:
    return {"touch": None}


def _prompt(view: View, record: Prompt) -> _Change:
    # The stop cue and the prompt that explains it come together; any later prompt says that it is over.
    explains = record.do is Do.STOP and record.t_s == view.call_s
    change: _Change = {"call": None if view.call is CueKind.STOP and not explains else view.call}
    if view.arrived and record.do in _BEGUN:
        change["arrived"] = False
    change["prompts"] = view.prompts + 1
    if not any(_alike(record, before) for before in (view.asked, view.aside)):
        change["reply"] = None  # the word led on: what is asked now is its answer
    if record.do is Do.DIAL and record.step == view.step and view.asked is not None:
        return change | {"aside": record}
    if view.call is CueKind.WAITING:  # it waited for what the prompt before asked for
        change["call"] = None
    change |= {"asked": record, "aside": None, "step": record.step, "item": record.item or record.step}
    if record.step != view.step:
        change |= {"cue": None, "kind": view.kind_of(record.step), "own": None, "place": None}
    elif view.asked is not None and record.item != view.asked.item:
        change["cue"] = None
    return change


def _alike(prompt: Prompt, before: Prompt | None) -> bool:
    return before is not None and (prompt.item, prompt.do, prompt.say) == (before.item, before.do, before.say)


def _cue(view: View, record: Cue) -> _Change:
    past = _standing(view.past, record)
    change = _cued(view, record)
    return change if past == view.past else change | {"past": past}


def _standing(past: tuple[PastLimit, ...], cue: Cue) -> tuple[PastLimit, ...]:
    """Who stands past a limit by the cues alone: the first cue of one without a hazard says that it is over."""
    if cue.hazard is UNSET and cue.cue is not CueKind.HAZARD:
        return tuple(each for each in past if each.item != cue.item)
    if any(each.item == cue.item for each in past):
        return past
    stands = None if cue.hazard is UNSET else Standing(cue.hazard, 0.0, 0.0, 0.0, "")
    return (*past, PastLimit(cue.item, stands))


def _cued(view: View, record: Cue) -> _Change:
    cue = record.cue
    if cue is CueKind.GO:
        return {"armed": True, "touch": None, "call": None}
    if cue is CueKind.CONTACT:
        return {"call": None} if view.call is CueKind.WAITING else {}
    if cue is CueKind.HAZARD or cue in STEERING:
        return {"cue": cue, "cue_s": record.t_s}
    if cue in _CALLS:
        return {"call": cue, "call_s": record.t_s}
    if cue is CueKind.SKIP:
        return {"path": _changed(view.path, record.step, record.item, skipped=True)}
    if cue is CueKind.PASS and (view.last is None or view.last.t_s != record.t_s):
        return {"armed": view.touch is None}  # a value was taken without a verdict
    return {}


def _verdict(view: View, record: Verdict) -> _Change:
    change: _Change = {"last": record, "armed": view.touch is None, "call": None}
    if record.accepted is not UNSET:
        change = {}  # the verdict stays, and nothing was touched
    stage = next((stage for stage in view.path if stage.id == record.step), None)
    if stage is not None and (stage.spot(record.item) is not None or record.item == stage.id):
        return change | {"path": _changed(view.path, record.step, record.item, verdict=record, skipped=False)}
    others = tuple(spot for spot in view.unplanned if spot.name != record.item)
    return change | {"unplanned": (*others[1 - MOST_UNPLANNED :], Spot(record.item, verdict=record))}


def _changed(path: tuple[Stage, ...], step: str, item: str, **change: Any) -> tuple[Stage, ...]:
    """Return the path with one item changed; one that stands for the step itself is added."""
    return tuple(_spotted(stage, item, change) if stage.id == step else stage for stage in path)


def _spotted(stage: Stage, item: str, change: _Change) -> Stage:
    spots = stage.spots if stage.spot(item) is not None else (*stage.spots, Spot(item))
    new = tuple(msgspec.structs.replace(spot, **change) if spot.name == item else spot for spot in spots)
    return msgspec.structs.replace(stage, spots=new)


def _note(view: View, record: Note) -> _Change:
    told = Told(record.t_s, record.text, view.item, record.aloud is True)
    change: _Change = {"note": told, "told": told} if told.aloud else {"note": told}
    word = view.word
    if word is None or word.t_s != record.t_s or word.word in _ECHOED or view.reply is not None:
        return change
    led_on = any(prompt is not None and prompt.t_s == word.t_s for prompt in (view.asked, view.aside))
    return change if led_on else change | {"reply": told}


_WORK: dict[type, Callable[[View, Any], _Change]] = {
    SessionRecord: _session,
    Reading: _reading,
    Garbage: _garbage,
    Link: _link,
    Operator: _operator,
    Contact: _contact,
    Lift: _lift,
    Prompt: _prompt,
    Cue: _cue,
    Verdict: _verdict,
    Note: _note,
    EndRecord: lambda view, record: {"end": record, "aside": None, "call": None, "link": None, "block": None},
}
