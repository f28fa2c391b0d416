"""How a simulated technician works: times, and the share of touches on which each human habit shows."""

from __future__ import annotations

from typing import Literal

import msgspec


class Habits(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Times in seconds of session time; shares from 0 to 1. All figures are invented for practice.

    Times
        `reaction_s` ± `reaction_sd_s` to a cue; `move_s` ± `move_sd_s` from one item to the next; `think_s`
        before a word.
        `patience_s` ± `patience_sd_s` on an item that stays silent. `go_s`: without a `go` cue they go on
        after this long.
    Contact
        `touch_ohm`: what a clean touch adds. A share `dirty_touch` of the touches adds up to `dirty_ohm`
        through flux.
    Habits, each a share of the touches
        `slips`: before the tick the tip lifts for up to `slip_s` and touches again, of these `slips_next` the
        next item.
        `early`: after the tick they touch the next item within `slip_s`, without the `go` cue.
        `doubles`: after the tick they lift and touch the same item once more.
        `slips_after`: after the tick the tip slides off for up to `slip_s` and is back on the same item.
        `drags`: after the tick they drag the tips on to the next item, with no air between.
        `neighbours`: they touch a neighbour first, for up to `neighbour_s`, and then the right one.
        `trembles`: contact breaks up for a moment, several times a second, while they hold.
        `partly`: the touch adds `partly_ohm_from` to `partly_ohm_to`, and stays like that.
        `on_beep`: they lift on the meter's own sign (beeper, or a number on its display) and go on without
        the tick.
        `leaves_open`: of the items that stay silent, those left without a word.
        `swaps`: the tips are swapped.
        `wanders`: they go to another item of the row than the one asked for, and notice on its tick.
        `notices`: of the second ticks on one item, those they notice, and answer the next count check by.
        `waits_for_go`: they wait for the `go` cue; otherwise they move when their hand is ready.
    `by_ear`: they heed the tool in nothing and sweep each row once by the meter's own beep: what the tool's pace is
    measured by.
    `discharges`: they can take a voltage off that was found, in `discharge_s`; otherwise they say `skip`.
    `fixes_range`: asked for a fixed range, they fix it. `continuity`: given the choice they take continuity.
    `follows`: "row" keeps the technician's own count along the row of items; "prompt" goes wherever the
    prompt says.
    Turning
        `far_turns_s` and `near_turns_s`: speed of the screw after those cues. `overshoot_turns`: what the
        hand adds when it stops.
        `cues`: they turn by the tool's cues; without, by the display alone.
        `knows_way`: share of the first turns that start the right way. `glance_s`: without cues, how often
        they look at the display.
    Pressing
        `depth` ± `depth_sd`: how far a press goes, as a share of the travel; `rest_sd`: how far above its top
        a released plunger may hang.
        `mends`: asked to clean or mend something they do it; otherwise they say no. `repair`: what they say they did
        about starts that failed.
    """

    reaction_s: float = 0.35
    reaction_sd_s: float = 0.08
    move_s: float = 1.0
    move_sd_s: float = 0.25
    think_s: float = 0.8
    patience_s: float = 5.0
    patience_sd_s: float = 1.0
    go_s: float = 8.0
    touch_ohm: float = 0.05
    dirty_touch: float = 0.0
    dirty_ohm: float = 50.0
    slips: float = 0.0
    slips_next: float = 0.25
    slip_s: float = 0.6
    early: float = 0.0
    doubles: float = 0.0
    slips_after: float = 0.0
    drags: float = 0.0
    neighbours: float = 0.0
    neighbour_s: float = 0.4
    trembles: float = 0.0
    partly: float = 0.0
    partly_ohm_from: float = 3.0
    partly_ohm_to: float = 30.0
    on_beep: float = 0.0
    leaves_open: float = 0.0
    swaps: float = 0.0
    wanders: float = 0.0
    notices: float = 1.0
    waits_for_go: float = 1.0
    by_ear: bool = False
    discharges: bool = True
    discharge_s: float = 8.0
    fixes_range: bool = True
    continuity: bool = False
    follows: Literal["row", "prompt"] = "row"
    far_turns_s: float = 1.0
    near_turns_s: float = 0.2
    overshoot_turns: float = 0.02
    cues: bool = True
    knows_way: float = 0.5
    glance_s: float = 0.4
    depth: float = 0.85
    depth_sd: float = 0.1
    rest_sd: float = 0.02
    mends: bool = True
    repair: str = "repaired"
