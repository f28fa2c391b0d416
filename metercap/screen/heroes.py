"""The hero: a table of situations, each with the one word or value that answers it. The first that applies wins."""

from __future__ import annotations

from collections.abc import Callable

from metercap.quantity import Quantity
from metercap.reading import Reading
from metercap.records import CueKind, Do, LinkState
from metercap.screen.model import MARKS, TONES, Hero, Place, Tone
from metercap.screen.moment import VALUE_MATTERS, Moment, counts, headline, shown, split
from metercap.screen.text import visible

_BY_KIND = {("tune", Do.STOP): "TOOL AWAY", ("wiggle", Do.KEEP): "FLEX IT", ("cell", Do.KEEP): "LOAD IT"}
"""What a prompt's kind of action means in one kind of step."""
_DIAL_SIGNS = (("to volts dc", "V DC"), ("to volts ac", "V AC"), ("to ohms", "Ω"), ("to continuity", "Ω"))
_VOLTS: dict[object, str] = {Quantity.VOLTAGE_DC: "V DC", Quantity.VOLTAGE_AC: "V AC"}
_ENDS = {"done": "DONE", "quit": "QUIT", "interrupted": "STOPPED", "fault": "FAULT"}


def hero(now: Moment) -> Hero:
    """Return what matters most at this moment."""
    return next(found for rule in _HEROES if (found := rule(now)) is not None)


def _ended(now: Moment) -> Hero | None:
    end = now.state.end
    if end is None:
        return None
    past = next(iter(now.state.standing), None)
    if past is not None:
        return Hero(f"{visible(past)} PAST LIMIT", tone=Tone.ALARM)
    found = counts(now.state.verdicts.values())
    worst = next((place for place in (Place.FAIL, Place.UNSURE) if found.get(place)), Place.PASS)
    tone = TONES[worst] if end.reason == "done" else Tone.UNSURE
    return Hero(_ENDS[end.reason], lead=MARKS[worst] if end.reason == "done" else "", lead_tone=tone, tone=tone)


def _hazard(now: Moment) -> Hero | None:
    if not now.state.hazard or now.do is Do.ANSWER:  # a question is asked on the same alarm
        return None
    way = now.field.to_go if now.field is not None else 0.0
    return Hero("TURN BACK", lead="→" if way > 0 else "←" if way < 0 else "", lead_tone=Tone.BAD, tone=Tone.ALARM)


def _stop(now: Moment) -> Hero | None:
    return Hero("STOP", tone=Tone.ALARM) if now.state.call is CueKind.STOP else None


def _link(now: Moment) -> Hero | None:
    link = now.state.link
    if link is None:
        return None
    words = {LinkState.LOST: "NO CABLE", LinkState.SILENT: "METER SILENT", LinkState.GARBAGE: "NO FRAMES"}
    return Hero(words.get(link.state, "METER?"), tone=Tone.BAD)


def _call(now: Moment) -> Hero | None:
    state = now.state
    if state.call is CueKind.LIFT:
        return Hero("STAY OFF", armed=False) if now.off else Hero("LIFT")
    return Hero("AGAIN", tone=Tone.UNSURE) if state.call is CueKind.AGAIN else None


def _before(now: Moment) -> Hero | None:
    first = now.state.aside
    if first is None:
        return None
    if first.do is Do.DIAL:
        return _dial(first.say)
    return Hero(headline(now, first.say))


def _turning(now: Moment) -> Hero | None:
    ground = now.field
    if ground is None or now.do is not Do.TURN or ground.now is None:
        return None
    if now.state.tune_cue is CueKind.STOP:
        return Hero("STOP", tone=Tone.UNSURE)
    if ground.inside:
        return Hero("HANDS OFF", lead="✓", lead_tone=Tone.GOOD, tone=Tone.GOOD)
    number, unit = split(abs(ground.to_go), ground.unit, ground.resolution)
    tone = Tone.BAD if now.state.tune_cue in (CueKind.WRONG_WAY, CueKind.PAST_IT) else Tone.PLAIN
    return Hero(number, unit=unit, lead="→" if ground.to_go > 0 else "←", lead_tone=tone)


def _touch_again(now: Moment) -> Hero | None:
    off = now.step.kind == "tune" and now.do in (Do.TURN, Do.STOP) and now.state.touch is None
    return Hero("TOUCH AGAIN") if off else None


def _waiting_time(now: Moment) -> Hero | None:
    if now.do is not Do.WAIT or now.state.prompt is None:
        return None
    until_s, wait_s = now.state.prompt.until_s, now.step.wait_s
    if isinstance(until_s, float):
        wait_s = max(wait_s, until_s - now.state.prompt.t_s)
    elif wait_s > 0:
        until_s = now.state.prompt.t_s + wait_s
    else:
        return Hero("WAIT")
    whole = max(0, int(until_s - now.now_s + 0.999))
    return Hero(f"{whole // 60}:{whole % 60:02d}") if wait_s >= 60 else Hero(str(whole), unit="s")


def _live(now: Moment) -> Hero | None:
    reading = now.state.reading
    asked = now.do in (Do.PROBE, Do.SHORT) and now.state.aside is None
    touched = now.touching and now.armed and asked and now.step.kind in VALUE_MATTERS
    if reading is None or not (touched or now.state.prompt is None):
        return None
    return _value_hero(reading, now.state.corrected(reading))


def _asked(now: Moment) -> Hero | None:
    if now.do in (Do.PROBE, None):
        return None
    prompt = now.state.prompt
    assert prompt is not None
    if now.do is Do.ANSWER and now.step.kind == "safe" and prompt.quantity in _VOLTS:
        # All of it as large as the place: what is answered here is whether the unit is dead.
        return Hero(f"{visible(now.item)} {_VOLTS[prompt.quantity]} SAY YES", armed=now.armed)
    if (now.step.kind, prompt.do) in _BY_KIND:
        return Hero(_BY_KIND[now.step.kind, prompt.do])
    if prompt.do is Do.DIAL:
        return _dial(prompt.say)
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
    return Hero(headline(now, prompt.say))


def _dial(say: str) -> Hero:
    """The dial, and where to, when the prompt names a quantity."""
    to = next((sign for words, sign in _DIAL_SIGNS if words in say), "")
    return Hero(f"DIAL {to}".rstrip(), tone=Tone.UNSURE)


def _probe(now: Moment) -> Hero | None:
    if now.state.prompt is None:
        return Hero("READY" if now.state.session is not None else "LISTENING", tone=Tone.QUIET)
    if now.item == now.state.step and now.own_item is None:  # nothing of the plan's: the prompt says what
        return Hero(headline(now, now.state.prompt.say.partition(": the meter")[0]), armed=now.armed)
    return Hero(visible(now.item), armed=now.armed)


def _value_hero(reading: Reading, value: float | None) -> Hero:
    number, _, unit = shown(reading, value).partition(" ")
    return Hero(number, unit=unit, tone=Tone.QUIET if value is None else Tone.PLAIN)


_HEROES: tuple[Callable[[Moment], Hero | None], ...] = (
    _ended, _hazard, _stop, _link, _call, _before, _touch_again, _turning, _waiting_time, _live, _asked, _probe,
)  # fmt: skip
