"""Touch: one contact, one item. Expectations are rule 4's own words, not the table."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import pytest

from metercap.contact import Act, Conversions, Touch
from metercap.contact import touch as module
from metercap.contact.touch import TABLE, TouchInput, TouchState
from metercap.quantity import Quantity
from metercap.reading import Reading, State
from tests.steps.bench_play import Blend, conversions, meter

RECONTACT_S = 0.5
EARLY_S = 0.8
T_S = 0.5

CREDITED = (Act.CONTACT, Act.MORE)


def reading(t_s: float, value: float | None, *, resolution: float = 0.1, auto: bool = False) -> Reading:
    """Return a reading in ohms; None is over-range."""
    state = State.OVER if value is None else State.OK
    flags = ("auto",) if auto else ()
    return Reading(round(t_s, 6), Quantity.RESISTANCE, value, resolution, "ohm", state, flags, "")


class Tips:
    """A touch that is fed conversions one by one, T apart; T is known from an earlier session unless `fresh`."""

    def __init__(self, rate: float = 2.0, *, fresh: bool = False) -> None:
        self.touch = Touch()
        self.conversions = Conversions(meter(rate), None if fresh else {Quantity.RESISTANCE: 1.0 / rate})
        self.step_s = 1.0 / rate
        self.t_s = 0.0

    def feed(self, each: Reading) -> Act:
        new = self.conversions.begins(each)
        return self.touch.feed(each, self.conversions.pace, new, each.state is State.OVER)

    def on(self, n: int = 1, *, resolution: float = 0.1, auto: bool = False) -> list[Act]:
        """Feed `n` conversions in contact."""
        return [self._one(0.2, resolution=resolution, auto=auto) for _ in range(n)]

    def off(self, n: int = 1, *, auto: bool = False) -> list[Act]:
        """Feed `n` conversions without contact."""
        return [self._one(None, auto=auto) for _ in range(n)]

    def _one(self, value: float | None, *, resolution: float = 0.1, auto: bool = False) -> Act:
        self.t_s += self.step_s
        return self.feed(reading(self.t_s, value, resolution=resolution, auto=auto))

    def change(self) -> Tips:
        """The expected item changes now."""
        self.touch.change(self.t_s)
        return self


# --- the table


def test_table_is_total() -> None:
    """Every state has a row for every input, and no row is for anything else."""
    assert set(TABLE) == set(itertools.product(TouchState, TouchInput))


def test_every_state_can_be_reached_and_left() -> None:
    """From the first state every state can be reached, and from each a credited contact can still come."""

    def beyond(start: TouchState) -> set[TouchState]:
        seen, queue = {start}, [start]
        while queue:
            state = queue.pop()
            for given in TouchInput:
                after = TABLE[state, given][0]
                if after not in seen:
                    seen.add(after)
                    queue.append(after)
        return seen

    assert beyond(TouchState.UNKNOWN) == set(TouchState)
    for state in TouchState:
        assert TouchState.ON in beyond(state)


def test_only_a_free_or_broken_touch_is_credited() -> None:
    """Whatever is spent or unknown credits nothing, and an early contact is never credited."""
    begins = {cell for cell, (_, act) in TABLE.items() if act is Act.CONTACT}
    assert begins == {(TouchState.FREE, TouchInput.TOUCH), (TouchState.BROKEN, TouchInput.TOUCH)}
    goes_on = {state for (state, _), (_, act) in TABLE.items() if act is Act.MORE}
    assert goes_on == {TouchState.ON}


class Noted(dict[tuple[TouchState, TouchInput], tuple[TouchState, Act]]):
    """The table, and which of its cells were asked for."""

    def __init__(self) -> None:
        super().__init__(TABLE)
        self.asked: dict[tuple[TouchState, TouchInput], None] = {}

    def __getitem__(self, cell: tuple[TouchState, TouchInput]) -> tuple[TouchState, Act]:
        self.asked[cell] = None
        return super().__getitem__(cell)


NEVER = {
    (TouchState.UNKNOWN, TouchInput.CERTAIN): "its first open reading makes it free",
    (TouchState.FREE, TouchInput.OPEN): "needs no row: nothing is asked while the tips are off for certain",
    (TouchState.FREE, TouchInput.CERTAIN): "the same",
    (TouchState.ON, TouchInput.CERTAIN): "the first open reading spans no time",
    (TouchState.SPENT_ON, TouchInput.CERTAIN): "the same",
    (TouchState.ON, TouchInput.EARLY): "a change takes the credit away, so a credited contact is never early",
    (TouchState.BROKEN, TouchInput.EARLY): "the same",
}
"""Cells that no readings reach, and why; they are there so that the table is total."""


def symbols(length: int) -> Iterator[tuple[str, ...]]:
    """Yield every sequence of conversions off and on, changes and blocks."""
    return itertools.product("-+cb", repeat=length)


def test_every_other_row_is_reached_by_readings(monkeypatch: pytest.MonkeyPatch) -> None:
    """All rows are used by some sequence of readings, changes and blocks but those with a reason."""
    noted = Noted()
    monkeypatch.setattr(module, "TABLE", noted)
    for start_s, sequence in itertools.product((0.0, 5.0), symbols(6)):
        tips = Tips()
        tips.t_s = start_s
        for symbol in sequence:
            act(tips, symbol)
    assert set(TABLE) - set(noted.asked) == set(NEVER)


def act(tips: Tips, symbol: str) -> Act | None:
    """Do one symbol of a sequence; a change and a block take no time."""
    if symbol == "-":
        return tips.off()[0]
    if symbol == "+":
        return tips.on()[0]
    if symbol == "c":
        tips.change()
    else:
        tips.touch.block()
    return None


class Model:
    """Rule 4 in its own words, over the whole history; no states, no table.

    A contact counts when it begins at least 0.8 s after the last change, was not on at the change, and a certain lift
    lies between it and whatever spent the tips before: a contact that did not count, a change during a contact or
    before a broken one was made good, a block, or the session's very beginning in contact.
    """

    def __init__(self) -> None:
        self.t_s = 0.0
        self.changed_s = 0.0
        self.off_from_s: float | None = None
        self.owes_lift = False
        self.on = False
        self.counts = False
        self.broken = False
        self.seen = False

    def step(self, symbol: str) -> bool | None:
        """Return whether a conversion in contact counts; None for anything else."""
        if symbol == "c":
            self.changed_s = self.t_s
            self.owes_lift = self.owes_lift or self.on or self.broken
            self.counts = self.broken = False
            return None
        if symbol == "b":
            self.owes_lift, self.counts, self.broken, self.off_from_s = True, False, False, None
            self.seen = True
            return None
        self.t_s = round(self.t_s + T_S, 6)
        if symbol == "-":
            if not self.seen:
                self.seen = True
            self.broken = self.broken or self.counts
            self.on = self.counts = False
            if self.off_from_s is None:
                self.off_from_s = self.t_s
            # 0.5 s at T = 0.5 s: n = ⌈0.5/0.5⌉ + 2 = 3 open conversions, the third 1 s after the first.
            if self.t_s - self.off_from_s >= 1.0:
                self.owes_lift = self.broken = False
            return None
        if not self.on:
            early = self.t_s - self.changed_s < EARLY_S
            self.counts = self.seen and not early and not self.owes_lift
            self.owes_lift = self.owes_lift or not self.counts
            self.seen = True
        self.on = True
        self.off_from_s = None
        return self.counts


@pytest.mark.parametrize("first", "-+cb")
def test_enumerated_sequences(first: str) -> None:
    """Over all sequences of seven conversions, changes and blocks, exactly what rule 4 credits is credited."""
    for rest in symbols(6):
        tips, model = Tips(), Model()
        for place, symbol in enumerate((first, *rest)):
            counts = model.step(symbol)
            given = act(tips, symbol)
            if counts is not None:
                assert (given in CREDITED) == counts, ("".join((first, *rest)), place)


# --- certain lift


@pytest.mark.parametrize("blend", [Blend.OPEN, Blend.BETWEEN, Blend.TOUCH])
@pytest.mark.parametrize("frames", [1, 3, 5])
@pytest.mark.parametrize("rate", [2.0, 3.0, 5.0, 10.0])
@pytest.mark.parametrize("slip_s", [0.1, 0.3, 0.45, 0.499])
def test_slip_is_never_a_lift(rate: float, frames: int, slip_s: float, blend: str) -> None:
    """A hand that slips for less than recontact_s is never credited again, at any phase, rate, repeats and blend."""
    for step in range(20):
        phase_s = step / 20 / rate
        tips = Tips(rate)
        touches = [(1.5, 4.0, 0.2), (4.0 + slip_s, 8.0, 0.2)]
        ticked = False
        for each in conversions(touches, 8.0, rate=rate, frames=frames, phase_s=phase_s, blend=blend):
            given = tips.feed(each)
            if not ticked and each.t_s > 3.0:
                tips.touch.change(each.t_s)
                ticked = True
            elif ticked:
                assert given not in CREDITED, (phase_s, each.t_s)
                assert given is not Act.GO


@pytest.mark.parametrize("frames", [1, 3, 5])
@pytest.mark.parametrize("rate", [2.0, 3.0, 5.0, 10.0])
def test_long_lift_is_certain(rate: float, frames: int) -> None:
    """A lift of recontact_s + 2T is certain at any phase where open parts read over-range, and the next one counts."""
    for step in range(20):
        phase_s = step / 20 / rate
        lift_s = RECONTACT_S + 2.0 / rate
        tips = Tips(rate)
        acts = []
        ticked = False
        touches = [(1.5, 4.0, 0.2), (4.0 + lift_s, 9.0, 0.2)]
        for each in conversions(touches, 9.0, rate=rate, frames=frames, phase_s=phase_s):
            acts.append(tips.feed(each))
            if not ticked and each.t_s > 3.0:
                tips.touch.change(each.t_s)
                ticked = True
        assert acts.count(Act.GO) == 1
        assert acts.count(Act.CONTACT) == 2


@pytest.mark.parametrize(("rate", "conversions_off"), [(2.0, 3), (3.0, 4), (5.0, 5), (10.0, 7)])
def test_go_comes_with_the_conversion_that_makes_it_certain(rate: float, conversions_off: int) -> None:
    """n = ⌈0.5 s / T⌉ + 2 open conversions: not one less, not one more; one more while T is only the profile's word."""
    for fresh in (False, True):
        tips = Tips(rate, fresh=fresh)
        tips.off(9)
        tips.on(9)
        tips.change()
        n = conversions_off + fresh
        assert tips.off(n) == [Act.LIFT] + [Act.NONE] * (n - 2) + [Act.GO]


def test_go_is_said_once() -> None:
    """However long the tips stay off, the lift becomes certain once."""
    tips = Tips()
    tips.off(4)
    tips.on(4)
    tips.change()
    assert tips.off(50).count(Act.GO) == 1


def test_lift_is_counted_anew_after_a_contact() -> None:
    """Two short lifts with a touch between them are no long one."""
    tips = Tips()
    tips.off(4)
    tips.on(4)
    tips.change()
    for _ in range(10):
        assert Act.GO not in tips.off(2)
        assert tips.on() == [Act.SLIP]


def test_blank_readings_prove_no_lift() -> None:
    """A display that shows nothing is neither contact nor lift; the span begins anew after it."""
    tips = Tips()
    tips.off(4)
    tips.on(4)
    tips.change()
    assert Act.GO not in tips.off(2)
    tips.touch.blank()
    tips.t_s += tips.step_s
    assert Act.GO not in tips.off(2)
    assert tips.off() == [Act.GO]


def test_gap_between_readings_proves_no_lift() -> None:
    """Open readings seconds apart do not show that the tips were off all the time between them."""
    tips = Tips()
    tips.off(4)
    tips.on(4)
    tips.change()
    assert tips.off(1) == [Act.LIFT]
    tips.t_s += 3.0
    assert Act.GO not in tips.off(2)
    assert tips.off() == [Act.GO]


@pytest.mark.parametrize(("rate", "after"), [(2.0, 2), (10.0, 7)])
def test_stalled_link_makes_no_lift(rate: float, after: int) -> None:
    """Frames lost in 0.8 s of silence are no open conversions: n = 3 at 2/s, of which one came before.

    At 10/s a contact could hide in it, so what came before is worth nothing: n = 7.
    """
    tips = Tips(rate)
    tips.off(9)
    tips.on(9)
    tips.change()
    assert tips.off(1) == [Act.LIFT]
    tips.t_s += 0.8
    assert tips.off(after) == [Act.NONE] * (after - 1) + [Act.GO]


def test_time_must_agree_with_the_frames_that_were_counted() -> None:
    """Ten frames a second, and a copy of each in the same moment: the seventh frame is no seventh conversion yet."""
    tips = Tips(10.0)
    tips.off(30)
    tips.on(9)
    tips.change()
    tips.step_s = 0.05
    # Seven open conversions span 0.6 s; a tenth less is allowed for jitter: 0.54 s, after eleven steps of 0.05 s.
    assert Act.GO not in tips.off(11)
    assert tips.off() == [Act.GO]


def test_frames_that_waited_count_for_what_they_were() -> None:
    """Ten a second, 0.35 s late, three at once then: each was a conversion of its own, and the seventh is certain."""
    tips = Tips(10.0)
    tips.off(30)
    tips.on(9)
    tips.change()
    assert tips.off(2) == [Act.LIFT, Act.NONE]
    tips.t_s += 0.35
    tips.step_s = 0.001
    assert Act.GO not in tips.off(3)
    tips.step_s = 0.1
    assert tips.off(2) == [Act.NONE, Act.GO]


@pytest.mark.parametrize(("frames_per_s", "n"), [(1.0, 4), (2.0, 4), (3.0, 5), (5.0, 6)])
def test_lift_becomes_certain_when_frames_are_rarer_than_conversions(frames_per_s: float, n: int) -> None:
    """A stated rate of 10 a second and fewer frames: what is not sent is not seen, so T is the gap between frames.

    n = ⌈0.5 s · frames a second⌉ + 2, and one more where T is not measured; the gap alone does not measure it.
    """
    tips = Tips(10.0, fresh=True)
    tips.step_s = 1.0 / frames_per_s
    tips.off(20)
    tips.on(9)
    tips.change()
    assert tips.off(n - 1).count(Act.GO) == 0
    assert tips.off(2).count(Act.GO) == 1


def test_recontact_is_the_steps_own() -> None:
    """A step with a longer recontact_s asks for a longer lift."""
    tips = Tips()
    tips.touch.recontact_s = 1.6
    tips.off(4)
    tips.on(4)
    tips.change()
    assert Act.GO not in tips.off(5)  # n = ⌈1.6/0.5⌉ + 2 = 6
    assert tips.off() == [Act.GO]


LADDER = (10_000.0, 1000.0, 100.0, 10.0, 1.0)
"""Last digits on the way down to 0.1 Ω: five ranges walked."""


def touched_once(air: float, *walk: tuple[float | None, float]) -> Tips:
    """Tips at 2/s that came from the air, whose walk looked like that, and whose item was ticked: a lift is owed."""
    tips = Tips()
    for _ in range(4):
        tips.t_s += T_S
        tips.feed(reading(tips.t_s, None, resolution=air, auto=True))
    for value, resolution in walk:
        tips.t_s += T_S
        tips.feed(reading(tips.t_s, value, resolution=resolution, auto=True))
    assert tips.on(3, auto=True)[-1] is Act.MORE
    tips.change()
    return tips


def go_after(tips: Tips, *ranges: float) -> int:
    """Return how many open conversions it takes until `go`; their ranges are these, then the last one for ever."""
    for n in itertools.count(1):
        tips.t_s += T_S
        resolution = ranges[min(n, len(ranges)) - 1]
        if tips.feed(reading(tips.t_s, None, resolution=resolution, auto=True)) is Act.GO:
            return n
    raise AssertionError


UP = (0.1, *reversed(LADDER))


@pytest.mark.parametrize("air", [0.0, LADDER[0]], ids=["over-range without a range", "with its range"])
def test_nothing_is_added_where_the_walk_is_shown(air: float) -> None:
    """A first finite reading in the top range: n = 3 at 2/s, as in a fixed range."""
    tips = touched_once(air, *((0.0, resolution) for resolution in LADDER))
    assert go_after(tips, *(UP if air else (0.0,))) == 3


def test_nothing_is_added_where_blanks_come_first() -> None:
    """A display that is blank while it walks hides no contact behind over-range."""
    tips = Tips()
    tips.off(4, auto=True)
    tips.touch.blank()
    tips.on(4, auto=True)
    tips.change()
    assert go_after(tips, 0.1) == 3


def test_a_walk_that_shows_only_its_range_costs_one_conversion() -> None:
    """Over-range that names its range hides the first conversion of a contact, no more: n + 1 = 4."""
    tips = touched_once(LADDER[0], *((None, resolution) for resolution in LADDER[1:]))
    assert go_after(tips, *UP) == 4


def test_the_longest_stay_in_a_range_is_what_it_costs() -> None:
    """Two conversions in each range: the first two of a contact may hide, so n + 2 = 5."""
    walk = [(None, resolution) for resolution in LADDER[1:] for _ in range(2)]
    tips = touched_once(LADDER[0], *walk)
    assert go_after(tips, *(each for each in UP for _ in range(2))) == 5


def test_a_range_that_falls_under_over_range_is_contact() -> None:
    """Over-range in a lower range than before: the meter found something, and the count begins anew."""
    tips = touched_once(LADDER[0], *((None, resolution) for resolution in LADDER[1:]))
    ranges = (0.1, 1.0, 10.0, 1.0, 10.0, 100.0, 1000.0)
    assert go_after(tips, *ranges) == 7  # the fourth is the first of n + 1 = 4 anew


def test_a_walk_that_shows_nothing_costs_as_much_again() -> None:
    """Over-range without a range, the first finite value in the lowest: 2n − 1 as reckoned, one more for long stays.

    n = 3 at 2/s: up to two conversions open, a step up in each, as many steps down under over-range; where the meter
    stays twice in each range one more may hide.
    """
    tips = touched_once(0.0, *((None, 0.0) for _ in LADDER))
    assert go_after(tips, 0.0) == 6


def test_over_range_that_always_names_the_top_range_shows_nothing() -> None:
    """The range never falls under over-range, and still the first value is in another one."""
    tips = touched_once(LADDER[0], *((None, LADDER[0]) for _ in LADDER))
    assert go_after(tips, LADDER[0]) == 6


def test_two_ranges_seen_prove_nothing() -> None:
    """A walk that ends under over-range one range too early is a hidden one all the same."""
    tips = touched_once(0.0, *((None, 0.0) for _ in LADDER[:-1]), (0.0, 1.0))
    assert go_after(tips, 0.0) == 6


def test_a_walk_begun_half_way_up_does_not_hide() -> None:
    """At 2/s `go` comes before the meter is back in its top range: what it shows from there on is the whole walk."""
    tips = touched_once(LADDER[0], *((0.0, resolution) for resolution in LADDER))
    assert go_after(tips, *UP) == 3
    for resolution in (100.0, 10.0, 1.0, 0.1, 0.1, 0.1):
        tips.t_s += T_S
        assert tips.feed(reading(tips.t_s, 0.0, resolution=resolution, auto=True)) in CREDITED
    tips.change()
    assert go_after(tips, *UP) == 3


def test_continuity_is_fixed_range_whatever_its_flags_say() -> None:
    """Rule 9: no range is walked in continuity, so nothing is added."""
    tips = Tips()
    tips.conversions = Conversions(meter(2.0), {Quantity.CONTINUITY: T_S})

    def heard(value: float | None) -> Act:
        tips.t_s += T_S
        state = State.OVER if value is None else State.OK
        return tips.feed(Reading(tips.t_s, Quantity.CONTINUITY, value, 0.1, "ohm", state, ("auto",), ""))

    for value in (None, None, None, 0.2, 0.2, 0.2):
        heard(value)
    tips.change()
    assert [heard(None) for _ in range(3)] == [Act.LIFT, Act.NONE, Act.GO]


def test_fixed_range_does_not_make_the_lift_longer() -> None:
    """Without auto range nothing is added, whatever ranges were seen."""
    tips = Tips()
    tips.off(4)
    tips.on(2, resolution=1.0)
    tips.on(2, resolution=0.1)
    tips.change()
    assert Act.GO in tips.off(3)


# --- early, and the reminder to lift


@pytest.mark.parametrize(
    ("after_s", "credited"), [(0.1, False), (0.5, False), (0.79, False), (0.81, True), (1.5, True)]
)
def test_contact_soon_after_a_change_is_not_credited(after_s: float, credited: bool) -> None:
    """A contact that begins within 0.8 s of a change of the expected item never counts, however long it lasts."""
    tips = Tips()
    tips.off(6)
    tips.change()
    first = tips.feed(reading(tips.t_s + after_s, 0.2))
    assert first is (Act.CONTACT if credited else Act.SLIP)
    for n in range(1, 20):
        later = tips.feed(reading(tips.t_s + after_s + n * 0.5, 0.2))
        assert later is (Act.MORE if credited else Act.HELD)


@pytest.mark.xfail(
    strict=True,
    reason="0.8 s are counted when the first reading arrives, up to two conversions after the tips touched",
)
@pytest.mark.parametrize("rate", [2.0, 3.0, 5.0, 10.0])
def test_tips_that_touch_soon_after_a_change_are_not_credited(rate: float) -> None:
    """Tips that touched 0.7 s after a word never count, whenever the meter showed it."""
    for step in range(20):
        tips = Tips(rate)
        changed = False
        for each in conversions([(5.7, 9.0, 0.2)], 9.0, rate=rate, phase_s=step / 20 / rate):
            if not changed and each.t_s >= 5.0:
                tips.touch.change(5.0)
                changed = True
            assert tips.feed(each) not in CREDITED, (step, each.t_s)


def test_contact_on_at_the_start_is_not_credited() -> None:
    """Tips that touch something when the first reading comes have not been put there for the first item."""
    tips = Tips()
    tips.t_s = 5.0
    assert tips.on(10) == [Act.SLIP] + [Act.HELD] * 9


def lifts(tips: Tips, acts: list[Act]) -> bool:
    """Return whether the reminder is due after these acts."""
    return acts[-1] in (Act.SLIP, Act.HELD) and tips.touch.lift_due(tips.t_s)


def test_slip_is_reminded_after_two_conversions() -> None:
    """A slip cues the lift with its second conversion, and once only."""
    tips = Tips()
    tips.off(4)
    tips.on(3)
    tips.change()
    tips.off(1)
    assert not lifts(tips, tips.on())
    assert lifts(tips, tips.on())
    assert not any(lifts(tips, tips.on()) for _ in range(20))


def test_every_slip_is_reminded() -> None:
    """A second slip is reminded again."""
    tips = Tips()
    tips.off(4)
    tips.on(3)
    tips.change()
    for _ in range(3):
        tips.off(1)
        tips.on(1)
        assert lifts(tips, tips.on())


@pytest.mark.parametrize(("rate", "conversions_held"), [(2.0, 2), (4.0, 4), (5.0, 5), (10.0, 10)])
def test_held_contact_is_reminded_after_two_conversions_and_a_second(rate: float, conversions_held: int) -> None:
    """A contact unbroken since its tick is reminded after two conversions and at least 1 s."""
    tips = Tips(rate)
    tips.off(9)
    tips.on(9)
    tips.change()
    due = [lifts(tips, tips.on()) for _ in range(conversions_held + 10)]
    assert due.index(True) == conversions_held - 1
    assert due.count(True) == 1


def test_repeats_remind_nobody() -> None:
    """Frames of one conversion are not two conversions of a slip."""
    tips = Tips()
    tips.off(4)
    tips.on(3)
    tips.change()
    tips.off(1)
    for frame in range(4):
        given = tips.feed(reading(tips.t_s + 0.1 * (frame + 1), 0.2))
        assert given in (Act.SLIP, Act.HELD)
        assert not tips.touch.lift_due(tips.t_s + 0.1 * (frame + 1))


def test_broken_contact_may_be_made_again() -> None:
    """A contact that broke before anything was decided may touch the same item again, without a certain lift."""
    tips = Tips()
    tips.off(6)
    assert tips.on() == [Act.CONTACT]
    assert tips.off() == [Act.ENDED]
    assert tips.on() == [Act.CONTACT]
    tips.off(8)
    assert tips.on() == [Act.CONTACT]


def test_block_asks_for_a_certain_lift() -> None:
    """After HOLD, REL, a wrong quantity or a lost link nothing counts before a certain lift, whatever came before."""
    for before in ("", "-", "-+", "-+-", "+", "-+c", "-+c-"):
        tips = Tips()
        for symbol in before:
            act(tips, symbol)
        tips.t_s += 10.0
        tips.touch.block()
        assert tips.on() in ([Act.SLIP], [Act.HELD]), before
        assert not set(tips.off(2) + tips.on() + tips.off(2)) & {Act.GO, *CREDITED}, before
        assert tips.off() == [Act.GO], before
        assert tips.on() == [Act.CONTACT], before
