"""The technician's other hand: a screwdriver in a trimmer, a finger on a switch, a cable being flexed, a load
put on.

Turning obeys the cues: far and near set the speed, slow lowers it, stop and in band end it, wrong way and
past it turn it round. Everything comes one reaction late, and a hand that stops still adds a little
(`overshoot_turns`). After each stop short of the band, and each time past it, the hand goes about it more
gently, as people do.

With `cues` off the same hand works from the display alone, as without the tool: it looks every `glance_s`,
and what it sees is the meter's last number.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import ClassVar

from msgspec import UNSET

from metercap.practice.body import Body
from metercap.practice.parts import Trimmer
from metercap.records import Cue, CueKind, Prompt

FULL_TURNS = 25.0
"""The speeds among the habits are those for a trimmer of this many turns; fewer turns are turned slower."""

GENTLER = 0.6
"""How much slower the hand goes about it after each stop short of the band or past it; invented."""
LEAST_PACE = 0.1
WELL_INSIDE = 0.7
"""Share of the half band inside which a hand without cues is content; invented."""
DOUBTS = 3
"""So many looks at a value that runs the wrong way make a hand believe that it was wrong about the way;
invented."""
CREEP_S = 4.0
"""A hand at rest that hears nothing for this long nudges on; invented."""


class Fingers(Body):
    """What the second hand does. `at_work` is the trimmer in hand, or empty."""

    at_work = ""
    _way = 1.0
    _pace = 1.0
    _rate = 0.0
    _toward: tuple[float, float, float] | None = None
    _seen_value: float | None = None
    _last_moved = 0.0
    _against = 0
    _sense = 0.0
    """Whether turning one's way raises the value (1) or lowers it (−1); 0 until seen."""

    # --- turning

    def turn(self, prompt: Prompt, t_s: float) -> None:
        """The prompt `turn`: take the screwdriver to the trimmer."""
        item = prompt.item or self.here
        if item != self.at_work:
            self._way = self.rng.choice((-1.0, 1.0))
            self._pace = 1.0
            self._seen_value = None
            self._sense = 0.0
        self.at_work = item
        self._toward = _band(prompt)
        self.drop("patience")
        if self._toward is not None and self._pace == 1.0 and self.chance(self.habits.knows_way):
            value = self._display()
            self._way = 1.0 if value is not None and value < self._toward[0] else -1.0
        start_s = t_s + self.reaction_s() + self.move_s()
        if self.habits.cues:
            self.plan("turn", start_s, lambda at_s: self._set_rate(at_s, self.habits.near_turns_s * self._pace))
        else:
            self.plan("turn", start_s, self._glance)

    def hands_off(self, t_s: float) -> None:
        """Take the tool away after a reaction."""
        if self.at_work:
            self.plan("turn", t_s + self.reaction_s(), self._rest)

    def stop_turning(self, t_s: float) -> bool:
        """The cue stop or hazard while turning; return whether a trimmer was in hand."""
        if not self.at_work:
            return False
        if self.habits.cues:
            self._gentler()
            self._stop_soon(t_s)
        return True

    def back_off(self, t_s: float) -> bool:
        """The cue hazard while turning: stop, and turn the other way."""
        if not self.at_work:
            return False
        self._turn_round(t_s)
        return True

    def _far(self, cue: Cue, t_s: float) -> None:
        self._turn_soon(t_s, self.habits.far_turns_s * max(self._pace, 0.5))

    def _near(self, cue: Cue, t_s: float) -> None:
        self._turn_soon(t_s, self.habits.near_turns_s * self._pace)

    def _slow(self, cue: Cue, t_s: float) -> None:
        fine = self.habits.near_turns_s * self._pace
        if self._rate:
            self._turn_soon(t_s, fine if abs(self._rate) > 1.5 * fine else abs(self._rate) / 2.0)

    def _in_band(self, cue: Cue, t_s: float) -> None:
        self._stop_soon(t_s)

    def _wrong_way(self, cue: Cue, t_s: float) -> None:
        if not self.habits.cues:
            return
        speed = abs(self._rate) or self.habits.near_turns_s * self._pace
        self._other_way()
        self._turn_soon(t_s, speed)

    def _past_it(self, cue: Cue, t_s: float) -> None:
        if self.habits.cues:
            self._turn_round(t_s)

    def _turn_round(self, t_s: float) -> None:
        self._gentler()
        self._other_way()
        self._turn_soon(t_s, self.habits.near_turns_s * self._pace)

    def _other_way(self) -> None:
        """Mean to turn the other way than the screw turns now: told twice within one reaction, it is still
        once."""
        self._way = -math.copysign(1.0, self._rate) if self._rate else -self._way

    def _gentler(self) -> None:
        self._pace = max(LEAST_PACE, self._pace * GENTLER)

    def _turn_soon(self, t_s: float, speed: float) -> None:
        if self.at_work and self.habits.cues:
            self.plan("turn", t_s + self.reaction_s(), lambda at_s: self._set_rate(at_s, speed))

    def _stop_soon(self, t_s: float) -> None:
        if self.at_work and self.habits.cues:
            self.plan("turn", t_s + self.reaction_s(), self._stop_turning)

    def _set_rate(self, t_s: float, speed: float) -> None:
        trimmer = self._trimmer()
        if trimmer is not None and self.here == self.at_work:
            # Nobody turns a single-turn trimmer as fast as the screw of a 25-turn one.
            self._rate = self._way * speed * min(1.0, trimmer.turns / FULL_TURNS)
            trimmer.turn(t_s, self._rate)

    def _stop_turning(self, t_s: float) -> None:
        """The hand stops, but not at once: it still adds a part of `overshoot_turns`, less when it goes
        gently."""
        if not self._rate:
            return
        extra_turns = self.habits.overshoot_turns * self._pace * self.rng.random()
        self.plan("turn", t_s + extra_turns / abs(self._rate), self._rest)

    def _rest(self, t_s: float) -> None:
        trimmer = self._trimmer()
        if trimmer is not None:
            trimmer.turn(t_s, 0.0)
        self._rate = 0.0
        if self.at_work and self.habits.cues and not self._in_sight():
            self.plan("turn", t_s + CREEP_S, self._creep)

    def _creep(self, t_s: float) -> None:
        """Nothing was heard since the hand stopped short: a nudge on."""
        self._set_rate(t_s, self.habits.near_turns_s * self._pace)
        self.plan("turn", t_s + self.reaction_s(), self._rest)

    def _in_sight(self) -> bool:
        """Whether the display is inside the band that the prompt named."""
        value = self._display()
        return self._toward is not None and value is not None and self._toward[1] <= value <= self._toward[2]

    def put_down(self, t_s: float) -> None:
        """The tips leave the trimmer, or its work is done: nobody turns any more."""
        if self._rate:
            trimmer = self._trimmer()
            if trimmer is not None:
                trimmer.turn(t_s, 0.0)
        self._rate = 0.0
        self.at_work = ""
        self.drop("turn")

    def _trimmer(self) -> Trimmer | None:
        part = self.world.board.parts.get(self.at_work)
        return part if isinstance(part, Trimmer) else None

    def _display(self) -> float | None:
        shown = self.world.meter.shown
        return None if shown is None else shown.value

    # --- by the display alone

    def _glance(self, t_s: float) -> None:
        """Look at the display, and turn by what it shows."""
        if not self.at_work:
            return
        value, before = self._display(), self._seen_value
        self._seen_value = value
        if value is not None and before is not None and self._toward is not None:
            self._steer(t_s, value, value - before)
        elif not self._rate:
            self._set_rate(t_s, self.habits.near_turns_s)
        self.plan("turn", t_s + self.habits.glance_s + self.reaction_s(), self._glance)

    def _steer(self, t_s: float, value: float, moved: float) -> None:
        """Turn by the error: fast when far, gently when near, and more gently each time the target was
        crossed."""
        target, low, high = self._toward or (value, value, value)
        error = target - value
        if not self._sense and self._rate and abs(moved) > (high - low) / 10.0:
            self._sense = math.copysign(1.0, moved * self._rate)
        against = moved * self._rate * self._sense < 0.0
        self._against = self._against + 1 if against else 0
        if self._against >= DOUBTS:
            self._sense, self._against = -self._sense, 0
        jumps = self._sense != 0.0 and abs(moved) > 2.0 * (high - low) + abs(self._last_moved)
        self._last_moved = moved
        if jumps or abs(error) <= WELL_INSIDE * (high - low) / 2.0:
            self._set_rate(t_s, 0.0)  # a display that jumps is let come to rest first
            return
        if self._sense:
            way = math.copysign(1.0, error * self._sense)
            if way != self._way:
                self._gentler()
            self._way = way
        far = abs(error) > 5.0 * (high - low) / 2.0
        fast = self.habits.far_turns_s if far and self._sense else self.habits.near_turns_s
        self._set_rate(t_s, fast * self._pace)

    turn_cues: ClassVar[dict[CueKind, Callable[..., None]]] = {
        CueKind.FAR: _far,
        CueKind.NEAR: _near,
        CueKind.SLOW: _slow,
        CueKind.IN_BAND: _in_band,
        CueKind.WRONG_WAY: _wrong_way,
        CueKind.PAST_IT: _past_it,
    }


def _band(prompt: Prompt) -> tuple[float, float, float] | None:
    """Return target, low and high as a prompt tells them, in SI, or None."""
    if prompt.target is UNSET or prompt.low is UNSET or prompt.high is UNSET:
        return None
    return prompt.target, prompt.low, prompt.high
