"""From the state to the view: at each moment, which question the technician has and what answers it.

Where next? The item's name, or the instruction. Is it good? The verdict's mark, the live value. How far still? The
path's stones, or the way left to the band. The answer itself is in `heroes`; here are the lines around it and the
ground.
"""

from __future__ import annotations

from metercap.metrology import success_run
from metercap.quantity import Quantity, format_value
from metercap.records import CueKind, Do, VerdictKind
from metercap.screen.band import Field
from metercap.screen.ended import left_over
from metercap.screen.heroes import hero
from metercap.screen.lettering import capitals
from metercap.screen.model import MARKS, TONES, Done, Line, Path, Place, Span, Stone, Tone, View
from metercap.screen.moment import PLACE, TRIES, VALUE_MATTERS, Moment, counts, shown, spoken, untagged
from metercap.screen.plandata import ItemInfo, StepInfo
from metercap.screen.state import BenchState, rate_per_s
from metercap.screen.text import visible

WORD_S = 1.5
"""How long a word that was taken is shown."""
TURN_S = 6.0
"""How long a caution is shown before the next one, where not all fit."""
TOLD_S = 6.0
"""How long a remark that was spoken stays after another item was opened."""
JACKS = "leads in the volt/ohm jacks, never in the current jack"
_NO_CONTACT = {Quantity.VOLTAGE_DC, Quantity.VOLTAGE_AC, Quantity.CURRENT_DC, Quantity.CURRENT_AC}
"""Quantities that do not show contact: the live value is shown all the time."""


def view(state: BenchState, *, now_s: float | None = None, problem: str = "") -> View:
    """What to show of `state` at session time `now_s` (the last record's when None).

    `problem` is what the journal cannot do at the moment, or empty. Pure.
    """
    now = Moment(state, state.t_s if now_s is None else max(now_s, state.t_s))
    return View(
        tag=visible(state.session.tag or state.session.unit) if state.session is not None else "",
        title=_title(now),
        progress=_progress(now),
        hero=hero(now),
        next=_next(now),
        aside=_aside(now),
        done=_done(now),
        detail=_detail(now),
        ground=_ground(now),
        words=_words(now),
        cautions=_cautions(now),
        turn=int(now.now_s // TURN_S),
        status=_status(now, problem),
        alarm=state.hazard or state.call is CueKind.STOP or (state.end is not None and bool(state.standing)),
    )


def _title(now: Moment) -> str:
    state = now.state
    if state.session is None:
        return ""
    unit = state.session.unit if state.session.unit != state.session.tag else now.state.plan.model
    return f"{visible(unit)}  {visible(state.step)}".strip()


def _progress(now: Moment) -> str:
    steps = len(now.state.plan.steps)
    number = now.state.plan.number(now.state.step)
    return f"step {number} of {steps}" if number else ""


def _aside(now: Moment) -> Line | None:
    state, reading = now.state, now.state.reading
    if state.end is not None:
        found = counts(state.verdicts.values())
        return Line("  ".join(f"{MARKS[place]} {number}" for place, number in found.items()))
    if now.field is not None and now.field.now is not None:
        tone = Tone.ALARM if state.hazard else Tone.GOOD if now.field.inside else Tone.PLAIN
        return Line(format_value(now.field.now, now.field.unit, now.field.resolution), tone)
    if now.step.kind == "wiggle" and state.tries:
        return Line(f"{len(state.tries)} DROPOUT{'S' if len(state.tries) > 1 else ''}", Tone.BAD)
    if now.step.kind in TRIES and state.tries:
        good = sum(mark is VerdictKind.PASS for mark in state.tries)
        if now.step.kind == "exercise":  # how far it is, and beside it what was found: "4 of 10" would read as either
            done = f"{len(state.tries)}/{now.step.count} DONE" if now.step.count else f"{len(state.tries)} DONE"
            return Line(f"{done}  {good} CLOSED", Tone.PLAIN if good == len(state.tries) else Tone.BAD)
        return Line(f"{good} OF {len(state.tries)}", Tone.PLAIN if good == len(state.tries) else Tone.BAD)
    if state.call is CueKind.AGAIN:
        return Line(capitals(visible(now.item)))
    if state.call is CueKind.LIFT and now.fresh is not None:
        place = PLACE[now.fresh.verdict]
        return Line(f"{MARKS[place]} {capitals(visible(now.fresh.item))}", TONES[place])
    if now.touching and reading is not None and now.do not in (Do.ANSWER, Do.DIAL) and state.aside is None:
        if now.step.kind in VALUE_MATTERS and now.do in (Do.PROBE, Do.SHORT):
            return Line(capitals(visible(now.item)))
        return Line(shown(reading, state.corrected(reading)))
    watched = now.do in (Do.PROBE, Do.ANSWER) and now.fresh is None
    if watched and reading is not None and reading.quantity in _NO_CONTACT:
        return Line(shown(reading, reading.value))
    return None


def _done(now: Moment) -> Done | None:
    verdict = now.fresh
    if verdict is None or now.state.hazard or now.state.call is not None:
        return None
    place = PLACE[verdict.verdict]
    value = "" if verdict.value is None else format_value(verdict.value, verdict.unit, verdict.resolution)
    return Done(MARKS[place], f"{capitals(visible(verdict.item))} {value}".strip(), TONES[place])


def _detail(now: Moment) -> str:
    state = now.state
    if state.end is not None:
        return left_over(state.plan, state.verdicts)
    if now.fresh is not None and now.fresh.reason and now.fresh.verdict is not VerdictKind.PASS:
        return f"{visible(now.fresh.item)}: {visible(now.fresh.reason)}"
    told = state.told
    said = told is not None and (state.told_of == now.item or now.now_s - told.t_s < TOLD_S)
    if now.field is not None:
        words = _band_words(now.field)
        return f"{visible(told.text)}   {words}" if told is not None and said else words
    if told is not None and said:
        return visible(told.text)
    parts = [now.own_item.where if now.own_item is not None else "", limits_text(now.step, now.own_item)]
    return "   ".join(part for part in parts if part)


def limits_text(step: StepInfo, item: ItemInfo | None) -> str:
    """A step's or an item's own limits as people write them; empty when there are none."""
    low, high = step.min, step.max
    if item is not None and (item.min is not None or item.max is not None):
        low, high = item.min, item.max
    unit = step.unit or "ohm"
    if low is not None and high is not None:
        return f"{format_value(low, unit)} to {format_value(high, unit)}"
    if high is not None:
        return f"at most {format_value(high, unit)}"
    return f"at least {format_value(low, unit)}" if low is not None else ""


def _band_words(ground: Field) -> str:
    words = f"band {format_value(ground.low, ground.unit)} to {format_value(ground.high, ground.unit)}"
    if ground.found is not None:
        words += f"   found {format_value(ground.found, ground.unit, ground.resolution or None)}"
    return words


def _next(now: Moment) -> Line:
    state = now.state
    if state.end is not None:
        return Line("the session is closed; quit leaves", Tone.QUIET)
    if state.hazard and now.do is not Do.ANSWER:
        first = "touch it again and " if state.touch is None else ""
        return Line(f"past the hazard limit: {first}turn the trimmer back now", Tone.ALARM)
    if state.call is CueKind.STOP:
        told = state.prompt is not None and state.prompt.do is Do.STOP
        words = untagged(now, state.prompt.say) if told and state.prompt is not None else "stop: measure volts here"
        return Line(words, Tone.ALARM)
    if state.link is not None:
        return Line(visible(state.link.why) or "the meter does not answer", Tone.BAD)
    if state.call is CueKind.LIFT and now.off:
        return Line(f"off; {_stay_off(now)} until this lift is certain, then it goes on", Tone.UNSURE)
    if state.call is CueKind.LIFT:
        return Line("lift both tips well off the board; nothing counts until then", Tone.UNSURE)
    if state.call is CueKind.AGAIN:
        return Line(f"lift, then touch {visible(now.item)} again, on clean metal, and hold", Tone.UNSURE)
    if now.step.kind == "tune" and now.do in (Do.TURN, Do.STOP) and state.touch is None:
        return Line(f"touch {visible(now.item)} again with both tips", Tone.UNSURE)
    if state.prompt is not None and state.prompt.do is Do.TURN and state.tune_cue is CueKind.STOP:
        return Line("hands still: wait for the meter to catch up", Tone.UNSURE)
    if now.field is not None and now.field.inside and state.prompt is not None and state.prompt.do is Do.TURN:
        return Line("in band: hands off the trimmer, keep both tips on and wait", Tone.GOOD)
    if state.call is CueKind.WAITING:
        return Line(f"waiting at {visible(now.item)}: touch it, or say why not", Tone.UNSURE)
    prompt = state.aside or state.prompt
    if prompt is None:
        return Line("any reading is shown as it comes" if state.session is None else "", Tone.QUIET)
    if not now.armed and state.aside is None:
        first = "lift" if state.touch is not None else _stay_off(now) if state.stay is not None else "wait for go"
        return Line(f"{first}, then {untagged(now, prompt.say)}")
    return Line(untagged(now, prompt.say))


def _stay_off(now: Moment) -> str:
    """How long the tips have still to stay off: a mark for each conversion that is left, fewer with every one."""
    stay = now.state.stay
    if stay is None:
        return "stay off"
    left = "▪" * stay.conversions + "▫" * (stay.of - stay.conversions)
    return f"stay off {left} {stay.left_s:.1f} s"


def _words(now: Moment) -> tuple[str, ...]:
    state = now.state
    if state.end is not None:
        return ("quit",)
    if state.session is None:
        return ("say", "note", "quit")
    prompt = state.aside or state.prompt
    do = prompt.do if prompt is not None else None
    if now.step.kind == "trials":
        first = {Do.ANSWER: ("pass", "fail", "back"), Do.CONFIRM: ("fixed", "no", "back")}
        return tuple(dict.fromkeys((*first.get(do or Do.WAIT, ("back",)), "note", "say", "quit")))
    if do is Do.WAIT:
        return ("no", "skip", "again", "note", "say", "quit")
    if do is Do.DIAL:
        return ("skip", "absent", "note", "say", "quit")
    if do is Do.STOP and now.step.kind != "tune":
        return ("yes", "skip", "absent", "note", "say", "quit")
    if do is Do.ANSWER and now.step.kind == "cell" and "replaced" in (prompt.say if prompt is not None else ""):
        return ("replaced", "no", "note", "say", "quit")
    if do in (Do.CONFIRM, Do.ANSWER):
        return ("yes", "no", "note", "say", "quit")
    if do in (Do.PRESS, Do.RELEASE):
        return ("fail", "missed", "again", "skip", "absent", "say", "quit")
    if do in (Do.TURN, Do.STOP):
        return ("undo", "skip", "say", "quit")
    if now.step.kind in ("safe", "cell") or (now.step.kind == "check" and now.step.unit == "V"):
        return ("yes", "no", "skip", "absent", "back", "say", "quit")
    return ("open", "skip", "absent", "back", "again", "say", "quit")


def _cautions(now: Moment) -> tuple[str, ...]:
    if now.state.end is not None:
        return ()
    prompt = now.state.aside or now.state.prompt
    lines = list(now.step.cautions)
    if prompt is not None and prompt.do is Do.DIAL and "jack" not in prompt.say:
        lines.insert(0, JACKS)
    if now.step.kind in ("confirm", "safe") or now.state.step == "":
        lines += now.state.plan.cautions
    return tuple(dict.fromkeys(lines))


def _status(now: Moment, problem: str) -> tuple[Line, ...]:
    state = now.state
    lines = [Line(f"{visible(item)} PAST ITS LIMIT", Tone.ALARM) for item in state.standing]
    if state.word is not None and now.now_s - state.word.t_s < WORD_S and state.end is None:
        lines.append(Line(f"heard: {spoken(state.word)}", Tone.GOOD))
    if problem:
        lines.append(Line(f"JOURNAL NOT ON DISK: {visible(problem)}", Tone.BAD))
    reading = state.reading
    if reading is not None:
        mode = " ".join(flag for flag in reading.flags if flag in ("auto", "rel", "min", "max"))
        lines.append(Line(" ".join(filter(None, (shown(reading, reading.value), mode)))))
        if "hold" in reading.flags:
            lines.append(Line("HOLD", Tone.BAD))
        if "low_battery" in reading.flags:
            lines.append(Line("battery low", Tone.BAD))
    rate = rate_per_s(state.readings)
    if rate is not None:
        lines.append(Line(f"{rate:.1f}/s", Tone.QUIET))
    if state.session is not None:
        lines.append(Line(visible(state.session.meter.name), Tone.QUIET))
    lines.append(Line("cable ok", Tone.QUIET) if state.link is None else Line(f"cable {state.link.state}", Tone.BAD))
    if state.garbage is not None:
        lines.append(Line("bytes that fit no frame", Tone.BAD))
    if state.session is not None and not problem:
        lines.append(Line("journal ok", Tone.QUIET))
    lines.append(Line(f"{int(now.now_s) // 60}:{int(now.now_s) % 60:02d}", Tone.QUIET))
    return tuple(lines)


# --- the ground it stands on


def _ground(now: Moment) -> Path | Field | Span | None:
    state = now.state
    if now.field is not None and state.end is None:
        return now.field
    if now.do is Do.WAIT and now.step.wait_s > 0 and state.prompt is not None and state.end is None:
        until_s = state.prompt.until_s
        began_s = until_s - now.step.wait_s if isinstance(until_s, float) else state.prompt.t_s
        return Span(min(1.0, max(0.0, (now.now_s - began_s) / now.step.wait_s)))
    if now.step.kind in TRIES and (now.step.count or state.tries):
        done = [Stone("", PLACE[mark]) for mark in state.tries]
        count = now.step.count
        if state.fixed and 0 < now.step.reliability < 1 and 0 < now.step.confidence < 1:
            count = success_run(now.step.reliability, now.step.confidence)
        left = max(count - len(done), 0)
        stones = [*done, *(Stone("", Place.HERE if not index else Place.AHEAD) for index in range(left))]
        return Path(tuple(stones), len(done) if left else None)
    if len(now.step.items) > 1 and state.end is None:
        names = [item.name for item in now.step.items]
        return _path([(name, _place(now, state.step, name)) for name in names], now.item)
    steps = state.plan.steps
    return _path([(step.id, _step_place(now, step)) for step in steps], state.step if state.end is None else "")


def _path(places: list[tuple[str, Place]], here: str) -> Path | None:
    if not places:
        return None
    index = next((at for at, (name, _) in enumerate(places) if name == here), None)
    stones = [Stone(visible(name), place) for name, place in places]
    if index is not None:
        stones[index] = Stone(visible(here), Place.HERE)
    return Path(tuple(stones), index)


def _place(now: Moment, step: str, item: str) -> Place:
    verdict = now.state.verdicts.get((step, item))
    if verdict is not None:
        return PLACE[verdict.verdict]
    return Place.SKIPPED if (step, item) in now.state.skipped else Place.AHEAD


def _step_place(now: Moment, step: StepInfo) -> Place:
    places = [_place(now, step.id, item.name) for item in step.items] or [_place(now, step.id, step.id)]
    own = now.state.verdicts.get((step.id, step.id))
    if own is not None:
        places = [PLACE[own.verdict]]
    worst = (Place.AHEAD, Place.SKIPPED, Place.FAIL, Place.UNSURE)
    return next((place for place in worst if place in places), Place.PASS)
