"""From the view to the face of the screen: at each moment, which question the technician has and what answers it.

Where next? The item's name, or the instruction. Is it good? The verdict's mark, the live value. How far still? The
path's stones, or the way left to the band. The answer itself is in `heroes`; here are the lines around it and the
ground.
"""

from __future__ import annotations

from metercap.quantity import Quantity, format_value
from metercap.records import CueKind, Do, VerdictKind
from metercap.screen.ended import left_over
from metercap.screen.heroes import hero
from metercap.screen.lettering import capitals
from metercap.screen.model import MARKS, TONES, Done, Face, Field, Line, Path, Place, Span, Stone, Tone
from metercap.screen.moment import PLACE, UNHEARD, VALUE_MATTERS, Moment, counts, shown, spoken, untagged
from metercap.screen.text import visible
from metercap.steps.facts import (
    CellFacts,
    ConfirmFacts,
    ExerciseFacts,
    InForce,
    SafeFacts,
    TrialsFacts,
    WiggleFacts,
    ZeroFacts,
)
from metercap.view import Spot, Stage, View
from metercap.view.words import meaningful

WORD_S = 1.5
"""How long a word that was taken is shown."""
REPLY_S = 4.0
"""How long the answer to a word stands before what is next: a dozen words are read
in that time (common practice, no source)."""
TURN_S = 6.0
"""How long a caution is shown before the next one, where not all fit."""
TOLD_S = 6.0
"""How long a remark that was spoken stays after another item was opened."""
JACKS = "leads in the volt/ohm jacks, never in the current jack"
_NO_CONTACT = {Quantity.VOLTAGE_DC, Quantity.VOLTAGE_AC, Quantity.CURRENT_DC, Quantity.CURRENT_AC}
"""Quantities that do not show contact: the live value is shown all the time."""


def face(view: View, *, now_s: float | None = None, problem: str = "") -> Face:
    """What to show of `view` at session time `now_s` (that of the view when None).

    `problem` is what the journal cannot do at the moment, or empty. Pure.
    """
    now = Moment(view, view.t_s if now_s is None else max(now_s, view.t_s))
    return Face(
        tag=visible(view.unit.tag or view.unit.name) if view.unit is not None else "",
        title=_title(view),
        progress=f"step {view.number} of {len(view.path)}" if view.number else "",
        hero=hero(now),
        next=_next(now),
        aside=_aside(now),
        done=_done(now),
        detail=_detail(now),
        ground=_ground(now),
        words=meaningful(view),
        cautions=_cautions(now),
        turn=int(now.now_s // TURN_S),
        status=_status(now, problem),
        tag_stays=view.unit is not None and len(view.unit.units) > 1,
        alarm=rings(view),
    )


def rings(view: View) -> bool:
    """Whether an alarm stands: nothing is drawn over it."""
    return view.hazard is not None or view.call is CueKind.STOP or (view.end is not None and bool(view.past))


def _title(view: View) -> str:
    unit = view.unit
    if unit is None:
        return ""
    name = unit.name if unit.name != unit.tag else unit.model
    return f"{visible(name)}  {visible(view.step)}".strip()


def _aside(now: Moment) -> Line | None:
    view, reading, own = now.view, now.view.live, now.view.own
    if view.end is not None:
        failed = view.end.reason == "done" and any(verdict.verdict is VerdictKind.FAIL for verdict in view.verdicts)
        return Line("DONE" if failed else _counted(now))
    if view.link is not None and (view.hazard is not None or view.call is CueKind.STOP):
        return Line(UNHEARD.get(view.link.state, "METER?"), Tone.BAD)  # the alarm is the hero
    if now.field is not None and now.field.now is not None:
        return _way(now.field, hazard=view.hazard is not None)
    if isinstance(own, WiggleFacts) and own.watching:
        many = f"{own.dropouts} DROPOUT{'' if own.dropouts == 1 else 'S'}"
        return Line(many if own.dropouts else "NO DROPOUT", Tone.BAD if own.dropouts else Tone.PLAIN)
    if isinstance(own, ExerciseFacts) and own.presses:
        # How far it is, and beside it what was found: "4 of 10" would read as either.
        tone = Tone.PLAIN if own.closed == own.presses else Tone.BAD
        return Line(f"{own.presses}/{own.asked}  {MARKS[Place.PASS]}{own.closed}", tone)
    if isinstance(own, TrialsFacts) and own.runs:
        tone = Tone.PLAIN if own.passed == own.runs else Tone.BAD
        if not own.fix or own.passed < own.runs:
            return Line(f"{MARKS[Place.PASS]}{own.passed} OF {own.runs}", tone)
        rest = f"{own.more_to_reliable} MORE" if own.more_to_reliable else "PROVED"
        return Line(f"{own.passed}/{own.runs} {rest}", tone)
    if isinstance(own, ConfirmFacts) and now.do is Do.WAIT:
        return Line(capitals(visible(view.step)))
    if isinstance(own, CellFacts) and now.do is Do.KEEP and reading is not None and view.touching:
        return Line(f"{capitals(visible(now.item))} {shown(reading, reading.value)}")
    if view.call is CueKind.AGAIN:
        return Line(capitals(visible(now.item)))
    if view.call is CueKind.WAITING and now.do in (Do.PROBE, Do.SHORT):
        return Line("NO CONTACT YET", Tone.UNSURE)
    if isinstance(own, ZeroFacts) and view.touching and reading is not None and reading.displayed is not None:
        most = own.max_ohm if abs(reading.displayed) > own.max_ohm else own.warn_ohm
        if abs(reading.displayed) > most:
            return Line("NO LEAD" if most == own.max_ohm else "CLEAN LEADS", Tone.BAD)
    if view.call is CueKind.LIFT and now.fresh is not None:
        place = PLACE[now.fresh.verdict]
        return Line(f"{MARKS[place]} {capitals(visible(now.fresh.item))}", TONES[place])
    if view.touching and reading is not None and now.do not in (Do.ANSWER, Do.DIAL) and view.aside is None:
        if now.kind in VALUE_MATTERS and now.do in (Do.PROBE, Do.SHORT):
            return Line(capitals(visible(now.item)))
        return Line(shown(reading, reading.value))
    # Where a unit is proved dead a number says nothing while nobody knows where the tips are: only a yes tells that.
    dead = isinstance(own, SafeFacts) and not (own.heard or own.live or own.part in ("before", "after"))
    watched = now.do in (Do.PROBE, Do.ANSWER) and now.fresh is None and not dead
    if watched and reading is not None and reading.quantity in _NO_CONTACT:
        return Line(shown(reading, reading.value))
    return None


def _counted(now: Moment) -> str:
    return "  ".join(f"{MARKS[place]} {number}" for place, number in counts(now.view.verdicts).items())


def _way(ground: Field, *, hazard: bool) -> Line:
    """What the number of a trimmer is, and in percent of the target; in the band, or past a limit, the value itself."""
    facts = ground.facts
    if facts.share is None or facts.inside or hazard:
        tone = Tone.ALARM if hazard else Tone.GOOD
        return Line(format_value(ground.now or 0.0, facts.unit, facts.resolution), tone)
    return Line(f"TO GO {abs(100.0 * facts.share):.1f} %")


def _done(now: Moment) -> Done | None:
    verdict = now.fresh
    if now.view.arrived:
        return None
    if (
        verdict is None
        or now.do is Do.DIAL
        or now.view.aside is not None
        or now.view.hazard is not None
        or now.view.call is not None
    ):
        return None
    place = PLACE[verdict.verdict]
    value = "" if verdict.value is None else format_value(verdict.value, verdict.unit, verdict.resolution)
    return Done(MARKS[place], f"{capitals(visible(verdict.item))} {value}".strip(), TONES[place])


def _detail(now: Moment) -> str:
    view = now.view
    if view.end is not None:
        return f"{_counted(now)}   {left_over(view)}"
    if now.fresh is not None and now.fresh.reason and now.fresh.verdict is not VerdictKind.PASS:
        return f"{visible(now.fresh.item)}: {visible(now.fresh.reason)}"
    told = view.told
    said = told is not None and (told.item == now.item or now.now_s - told.t_s < TOLD_S)
    if now.field is not None:
        words = _band_words(now.field)
        return f"{visible(told.text)}   {words}" if told is not None and said else words
    if told is not None and said:
        return visible(told.text)
    place = view.place
    parts = [] if place is None else [place.where]
    parts += (
        []
        if place is None
        else [f"red {place.red}" if place.red else "", f"black {place.black}" if place.black else ""]
    )
    parts.append(limits_text(view.limits))
    return "   ".join(visible(part) for part in parts if part)


def limits_text(limits: InForce | None) -> str:
    """The limits in force as people write them; empty when there are none."""
    if limits is None:
        return ""
    low, high, unit = limits.low, limits.high, limits.unit
    if low is not None and high is not None:
        return f"{format_value(low, unit)} to {format_value(high, unit)}"
    if high is not None:
        return f"at most {format_value(high, unit)}"
    return f"at least {format_value(low, unit)}" if low is not None else ""


def _band_words(ground: Field) -> str:
    facts = ground.facts
    words = "" if ground.now is None else f"now {format_value(ground.now, facts.unit, facts.resolution)}   "
    words += f"band {format_value(ground.low, facts.unit)} to {format_value(ground.high, facts.unit)}"
    if facts.found is not None:
        words += f"   found {format_value(facts.found, facts.unit, facts.resolution or None)}"
    return words


def _next(now: Moment) -> Line:
    view, prompt = now.view, now.view.asked
    if view.end is not None:
        return Line("the session is closed; quit leaves", Tone.QUIET)
    if view.hazard is not None and view.hazard.item != view.item and view.touch is None and prompt is not None:
        name = visible(view.hazard.item)  # a touch now is one of the item that is asked for
        words = f"{name} stands past its limit: say at {name} and turn it back; or {untagged(now, prompt.say)}"
        return Line(words, Tone.ALARM)
    if view.hazard is not None and now.do is not Do.ANSWER:
        first = "touch it again and " if view.touch is None else ""
        return Line(f"past the hazard limit: {first}turn the trimmer back now", Tone.ALARM)
    if view.call is CueKind.STOP:
        told = prompt is not None and prompt.do is Do.STOP
        words = untagged(now, prompt.say) if told and prompt is not None else "stop: measure volts here"
        return Line(words, Tone.ALARM)
    if view.link is not None:
        return Line(visible(view.link.why) or "the meter does not answer", Tone.BAD)
    if view.reply is not None and now.now_s - view.reply.t_s < REPLY_S:
        return Line(visible(view.reply.text), Tone.UNSURE)
    if view.call is CueKind.LIFT and now.off:
        return Line(f"off; {_stay_off(now)} until this lift is certain, then it goes on", Tone.UNSURE)
    if view.call is CueKind.LIFT:
        return Line("lift both tips well off the board; nothing counts until then", Tone.UNSURE)
    if view.call is CueKind.AGAIN:
        return Line(f"lift, then touch {visible(now.item)} again, on clean metal, and hold", Tone.UNSURE)
    if now.kind == "tune" and now.do in (Do.TURN, Do.STOP) and view.touch is None:
        return Line(f"touch {visible(now.item)} again with both tips", Tone.UNSURE)
    if now.do is Do.TURN and view.cue is CueKind.STOP:
        return Line("hands still: wait for the meter to catch up", Tone.UNSURE)
    if now.do is Do.TURN and now.field is not None and now.field.now is not None and now.field.facts.inside:
        return Line("in band: hands off the trimmer, keep both tips on and wait", Tone.GOOD)
    if view.call is CueKind.WAITING:
        return Line(f"waiting at {visible(now.item)}: touch it, or say why not", Tone.UNSURE)
    prompt = view.aside or prompt
    if prompt is None:
        return Line("any reading is shown as it comes" if view.unit is None else "", Tone.QUIET)
    if not now.armed and view.aside is None:
        first = (
            "lift"
            if view.touch is not None
            else _stay_off(now)
            if view.tips is not None and view.tips.stay is not None
            else "wait for go"
        )
        return Line(f"{first}, then {untagged(now, prompt.say)}")
    return Line(untagged(now, prompt.say))


def _stay_off(now: Moment) -> str:
    """How long the tips have still to stay off: a mark for each conversion that is left, fewer with every one."""
    stay = None if now.view.tips is None else now.view.tips.stay
    if stay is None:
        return "stay off"
    left = "▪" * stay.conversions + "▫" * (stay.of - stay.conversions)
    return f"stay off {left} {stay.left_s:.1f} s"


def _cautions(now: Moment) -> tuple[str, ...]:
    view, stage = now.view, now.view.stage
    if view.end is not None:
        return ()
    prompt = view.aside or view.asked
    lines = [] if stage is None else list(stage.cautions)
    said = view.block is not None and bool(view.block.wanted)  # its prompt says it already
    if prompt is not None and prompt.do is Do.DIAL and not said:
        lines.insert(0, JACKS)
    if view.unit is not None and (now.kind in ("confirm", "safe") or view.step == ""):
        lines += view.unit.cautions
    return tuple(dict.fromkeys(visible(line) for line in lines))


def _status(now: Moment, problem: str) -> tuple[Line, ...]:
    view = now.view
    lines = [
        Line(f"{visible(other.tag)}: {visible(past.item)} PAST ITS LIMIT", Tone.ALARM)
        for other in view.elsewhere
        for past in other.past
        if past.stands is None or past.stands.believed
    ]
    for other in view.elsewhere:
        lines += [Line(_waits(other.tag, step, until_s, now.now_s)) for step, until_s in other.waits]
    lines += [Line(f"{visible(past.item)} PAST ITS LIMIT", Tone.ALARM) for past in view.past]
    if view.proposed is not None and view.proposed.step != view.step and view.end is None:
        lines.append(Line(f"proposed: {visible(view.proposed.taken_by)}", Tone.UNSURE))
    if view.word is not None and now.now_s - view.word.t_s < WORD_S and view.end is None:
        lines.append(Line(f"heard: {spoken(view.word)}", Tone.GOOD))
    if problem:
        lines.append(Line(f"JOURNAL NOT ON DISK: {visible(problem)}", Tone.BAD))
    reading = view.live if view.end is None else None
    if reading is not None:
        mode = " ".join(flag for flag in reading.flags if flag in ("auto", "rel", "min", "max"))
        lines.append(Line(" ".join(filter(None, (shown(reading, reading.displayed), mode)))))
        if "hold" in reading.flags:
            lines.append(Line("HOLD", Tone.BAD))
        if view.battery_low or "low_battery" in reading.flags:
            lines.append(Line("battery low", Tone.BAD))
    if view.rate_per_s is not None and view.end is None:
        lines.append(Line(f"{view.rate_per_s:.1f}/s", Tone.QUIET))
    if view.unit is not None:
        lines.append(Line(visible(view.unit.meter), Tone.QUIET))
    if view.end is None:  # after it nobody listens to the meter any more
        lines.append(Line("cable ok", Tone.QUIET) if view.link is None else Line(f"cable {view.link.state}", Tone.BAD))
    if view.garbage is not None:
        lines.append(Line("bytes that fit no frame", Tone.BAD))
    if view.unit is not None and not problem:
        lines.append(Line("journal ok", Tone.QUIET))
    lines.append(Line(f"{int(now.now_s) // 60}:{int(now.now_s) % 60:02d}", Tone.QUIET))
    return tuple(lines)


def _waits(tag: str, step: str, until_s: float, now_s: float) -> str:
    """A wait of a unit that is not on the mat: how long it still runs, or that it is over."""
    left_s = max(0, int(until_s - now_s + 0.999))
    rest = f"{left_s // 60}:{left_s % 60:02d}" if left_s else "over"
    return f"{visible(tag)} {visible(step)} {rest}"


# --- the ground it stands on


def _ground(now: Moment) -> Path | Field | Span | None:
    view, own, stage = now.view, now.view.own, now.view.stage
    if now.field is not None and view.end is None:
        return now.field
    if view.end is None and now.do is Do.WAIT and isinstance(own, ConfirmFacts) and own.until_s is not None:
        gone_s = now.now_s - (own.until_s - own.wait_s)
        return Span(min(1.0, max(0.0, gone_s / own.wait_s))) if own.wait_s > 0 else None
    if isinstance(own, ExerciseFacts | TrialsFacts):
        done = [Stone("", _MARK[mark]) for mark in own.marks]
        left = max(own.asked - len(done), 0)
        stones = [*done, *(Stone("", Place.HERE if not index else Place.AHEAD) for index in range(left))]
        return Path(tuple(stones), len(done) if left else None)
    if stage is not None and len(stage.spots) > 1 and view.end is None and stage.kind != "safe":
        return _path([(spot.name, _place(spot)) for spot in stage.spots], now.item)
    return _path([(each.id, _step_place(each)) for each in view.path], view.step if view.end is None else "")


_MARK = {True: Place.PASS, False: Place.FAIL, None: Place.UNSURE}
"""A press or a start: good, bad, or a silent press that nothing has decided."""


def _path(places: list[tuple[str, Place]], here: str) -> Path | None:
    if not places:
        return None
    index = next((at for at, (name, _) in enumerate(places) if name == here), None)
    stones = [Stone(visible(name), place) for name, place in places]
    if index is not None:
        stones[index] = Stone(visible(here), Place.HERE)
    return Path(tuple(stones), index)


def _place(spot: Spot) -> Place:
    if spot.verdict is not None:
        return PLACE[spot.verdict.verdict]
    return Place.SKIPPED if spot.skipped else Place.AHEAD


def _step_place(stage: Stage) -> Place:
    own = stage.spot(stage.id)
    places = [_place(spot) for spot in stage.spots]
    if own is not None and own.verdict is not None:
        places = [_place(own)]
    worst = (Place.AHEAD, Place.SKIPPED, Place.FAIL, Place.UNSURE)
    return next((place for place in worst if place in places), Place.PASS)
