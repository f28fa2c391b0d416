"""The hero: a table of situations, each with the one word or value that answers it. The first that applies wins."""

from __future__ import annotations

from collections.abc import Callable

import msgspec
from msgspec import UNSET

from metercap.asks import Asks
from metercap.quantity import Quantity
from metercap.records import CueKind, Do, Prompt, Reason, VerdictKind
from metercap.screen.model import MARKS, TONES, Hero, Place, Tone
from metercap.screen.moment import UNHEARD, VALUE_MATTERS, Moment, counts, headline, left, shown, split
from metercap.screen.text import visible
from metercap.session.facts import Shown
from metercap.steps.facts import SafeFacts, ZeroFacts

_BY_KIND = {("tune", Do.STOP): "TOOL AWAY", ("wiggle", Do.KEEP): "FLEX", ("cell", Do.KEEP): "LOAD"}
"""What a prompt's kind of action means in one kind of step; the time that is left stands behind it."""
_QUESTIONS = {
    Asks.BEGUN: "BEGUN?",
    Asks.POLARITY: "RED ON +?",
    Asks.REPLACED: "{item} REPLACED?",
    Asks.CLEANED: "CLEAN {item}?",
    Asks.MENDED: "MEND IT",
    Asks.STARTED: "PASS OR FAIL?",
    Asks.PRESSING: "PRESSING?",
    Asks.TARGET: "TAKE OR TARGET?",
}
"""What is asked in the words that two metres leave time for; of all else the prompt's own sentence is drawn."""
_VOLTS: dict[object, str] = {Quantity.VOLTAGE_DC: "V DC", Quantity.VOLTAGE_AC: "V AC"}
_DIAL_SIGNS = {**_VOLTS, Quantity.RESISTANCE: "Ω", Quantity.CONTINUITY: "Ω"}
MOST_NAMED = 5
"""How many of the items that failed are named in letters."""
_ENDS: dict[Reason, str] = {
    "done": "DONE",
    "quit": "QUIT",
    "parked": "PARKED",
    "interrupted": "STOPPED",
    "fault": "FAULT",
}


def hero(now: Moment) -> Hero:
    """Return what matters most at this moment."""
    return next(found for rule in _HEROES if (found := rule(now)) is not None)


def _ended(now: Moment) -> Hero | None:
    end = now.view.end
    if end is None:
        return None
    past = next(iter(now.view.past), None)
    if past is not None:
        return Hero(f"{visible(past.item)} PAST LIMIT", tone=Tone.ALARM)
    failed = [visible(verdict.item) for verdict in now.view.verdicts if verdict.verdict is VerdictKind.FAIL]
    if failed and end.reason == "done":
        more = f" +{len(failed) - MOST_NAMED}" if len(failed) > MOST_NAMED else ""
        return Hero(" ".join(failed[:MOST_NAMED]) + more, lead=MARKS[Place.FAIL], lead_tone=Tone.BAD, tone=Tone.BAD)
    found = counts(now.view.verdicts)
    worst = next((place for place in (Place.FAIL, Place.UNSURE) if found.get(place)), Place.PASS)
    tone = TONES[worst] if end.reason == "done" else Tone.UNSURE
    return Hero(_ENDS[end.reason], lead=MARKS[worst] if end.reason == "done" else "", lead_tone=tone, tone=tone)


def _hazard(now: Moment) -> Hero | None:
    asked = now.view.asked
    past = now.view.hazard
    if past is None:
        return None
    if now.do is Do.ANSWER and (now.view.block is not None or (asked is not None and asked.asks is Asks.UNDO)):
        return None  # a question of the alarm itself, or one without whose answer nothing is measured
    if past.item != now.view.item and now.view.touch is None:
        return Hero(f"{visible(past.item)} PAST LIMIT", tone=Tone.ALARM)
    way = (now.field.facts.to_go or 0.0) if now.field is not None and now.field.now is not None else 0.0
    return Hero("TURN BACK", lead="→" if way > 0 else "←" if way < 0 else "", lead_tone=Tone.BAD, tone=Tone.ALARM)


def _stop(now: Moment) -> Hero | None:
    return Hero("STOP", tone=Tone.ALARM) if now.view.call is CueKind.STOP else None


def _link(now: Moment) -> Hero | None:
    link = now.view.link
    if link is None:
        return None
    return Hero(UNHEARD.get(link.state, "METER?"), tone=Tone.BAD)


def _arriving(now: Moment) -> Hero | None:
    """Another unit is on the mat: which, before anything is asked of it."""
    unit = now.view.unit
    return Hero(visible(unit.tag or unit.name)) if unit is not None and now.view.arrived else None


def _call(now: Moment) -> Hero | None:
    if now.view.call is CueKind.LIFT:
        return Hero("STAY OFF", armed=False) if now.off else Hero("LIFT")
    return Hero("AGAIN", tone=Tone.UNSURE) if now.view.call is CueKind.AGAIN else None


def _before(now: Moment) -> Hero | None:
    first = now.view.aside
    if first is None:
        return None
    if first.do is Do.DIAL:
        return _dial(first)
    return Hero(headline(now, first.say))


def _turning(now: Moment) -> Hero | None:
    ground = now.field
    if ground is None or now.do is not Do.TURN or ground.now is None or ground.facts.to_go is None:
        return None
    facts, to_go = ground.facts, ground.facts.to_go
    if now.view.cue is CueKind.STOP:
        return Hero("STOP", tone=Tone.UNSURE)
    if facts.inside:
        return Hero("HANDS OFF", lead="✓", lead_tone=Tone.GOOD, tone=Tone.GOOD)
    number, unit = split(abs(to_go if facts.error is None else facts.error), facts.unit, facts.resolution)
    tone = Tone.BAD if now.view.cue in (CueKind.WRONG_WAY, CueKind.PAST_IT) else Tone.PLAIN
    return Hero(number, unit=unit, lead="→" if to_go > 0 else "←", lead_tone=tone)


def _touch_again(now: Moment) -> Hero | None:
    off = now.kind == "tune" and now.do in (Do.TURN, Do.STOP) and now.view.touch is None
    return Hero("TOUCH AGAIN") if off else None


def _waiting_time(now: Moment) -> Hero | None:
    if now.do is not Do.WAIT or now.view.asked is None:
        return None
    until_s = now.view.asked.until_s
    if not isinstance(until_s, float):
        return Hero("WAIT")
    return Hero(f"COOL {left(now, until_s)}" if now.kind == "trials" else left(now, until_s))


def _live(now: Moment) -> Hero | None:
    reading, own = now.view.reading, now.view.own
    asked = now.do in (Do.PROBE, Do.SHORT) and now.view.aside is None
    touched = now.view.touching and now.armed and asked and now.kind in VALUE_MATTERS
    if reading is None or not (touched or now.view.asked is None):
        return None
    found = _value_hero(reading, reading.value)
    if isinstance(own, ZeroFacts) and reading.displayed is not None and abs(reading.displayed) > own.warn_ohm:
        # No lead reads so much: the tips are on something else, or the leads are worn.
        return msgspec.structs.replace(found, lead="✗", lead_tone=Tone.BAD, tone=Tone.BAD)
    return found


def _asked(now: Moment) -> Hero | None:
    prompt = now.view.asked
    if now.do in (Do.PROBE, None) or prompt is None:
        return None
    if now.do is Do.ANSWER and now.kind == "safe" and prompt.quantity in _VOLTS:
        # All of it as large as the place: what is answered here is whether the unit is dead.
        own = now.view.own
        if isinstance(own, SafeFacts) and own.live:
            return Hero(f"{visible(now.item)} IS LIVE", tone=Tone.ALARM)
        say = "HOLD ON" if isinstance(own, SafeFacts) and own.heard else "SAY YES"
        return Hero(f"{visible(now.item)} {_VOLTS[prompt.quantity]} {say}", armed=now.armed)
    if (now.kind, prompt.do) in _BY_KIND:
        until_s = now.view.own.until_s if now.view.own is not None else None
        deed = _BY_KIND[now.kind, prompt.do]
        return Hero(deed if until_s is None else f"{deed} {left(now, until_s)}")
    if prompt.do is Do.DIAL:
        return _dial(prompt)
    fixed = {
        Do.SHORT: "TIPS TOGETHER",
        Do.LIFT: "LIFT",
        Do.PRESS: "PRESS",
        Do.RELEASE: "RELEASE",
        Do.TURN: "TURN",
        Do.STOP: "STOP",
        Do.KEEP: "KEEP",
    }
    word = fixed.get(prompt.do)
    if word is not None:
        return Hero(word)
    question = None if now.view.asks is None else _QUESTIONS.get(now.view.asks)
    return Hero(headline(now, prompt.say) if question is None else question.format(item=visible(now.item)))


def _dial(prompt: Prompt) -> Hero:
    """The dial, and where to, when the prompt names a quantity."""
    to = "" if prompt.dial is UNSET else _DIAL_SIGNS.get(prompt.dial[0], "")
    return Hero(f"DIAL {to}".rstrip(), tone=Tone.UNSURE)


def _probe(now: Moment) -> Hero | None:
    prompt = now.view.asked
    if prompt is None:
        return Hero("READY" if now.view.unit is not None else "LISTENING", tone=Tone.QUIET)
    own = now.view.own
    if isinstance(own, SafeFacts) and own.part in ("before", "after"):
        return Hero(f"probe {visible(own.source)}", armed=now.armed)
    if now.item == now.view.step and now.view.place is None:  # nothing of the plan's: the prompt says what
        return Hero(headline(now, prompt.say), armed=now.armed)
    return Hero(visible(now.item), armed=now.armed)


def _value_hero(reading: Shown, value: float | None) -> Hero:
    number, _, unit = shown(reading, value).partition(" ")
    return Hero(number, unit=unit, tone=Tone.QUIET if value is None else Tone.PLAIN)


_HEROES: tuple[Callable[[Moment], Hero | None], ...] = (
    _ended, _hazard, _stop, _link, _arriving, _call, _before, _touch_again, _turning, _waiting_time, _live, _asked,
    _probe,
)  # fmt: skip
