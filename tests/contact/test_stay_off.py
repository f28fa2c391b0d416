"""What the session tells beside verdicts: how long to stay off, what a fixed range saves, T as it began and ended."""

from __future__ import annotations

import pytest

from metercap.quantity import Quantity
from metercap.records import Do, Prompt
from metercap.session import check
from tests.steps.bench_play import Play, confirm, fuses, meter

KNOWN = {Quantity.RESISTANCE: 0.5}


def left(play: Play) -> tuple[int, int] | None:
    """Conversions left, of how many."""
    facts = play.session.facts()
    assert facts is not None
    stay = facts.tips.stay
    return None if stay is None else (stay.conversions, stay.of)


def test_the_time_to_stay_off_shrinks_until_go() -> None:
    """2/s, T known: n = 3 open conversions; none is owed before the first tick, nor after `go`."""
    play = Play(fuses(3), conversion_s=KNOWN)("OL*3")
    assert left(play) is None
    assert left(play("9 0.2*2")) == (3, 3)
    assert left(play("OL")) == (2, 3)
    assert left(play("OL")) == (1, 3)
    facts = play.session.facts()
    assert facts is not None and facts.tips.stay is not None
    assert facts.tips.stay.left_s == pytest.approx(0.5)
    assert left(play("OL")) is None
    assert play.cues[-1] == "go F2"


def test_contact_in_between_begins_it_anew() -> None:
    """A slip spends what was counted."""
    play = Play(fuses(3), conversion_s=KNOWN)("OL*3 9 0.2*2 OL*2 0.2")
    assert left(play) == (3, 3)


def test_no_stay_is_told_while_the_ticking_is_stopped() -> None:
    """Under HOLD something else comes first."""
    assert left(Play(fuses(3), conversion_s=KNOWN)("OL*3 9 0.2*2 OL!hold")) is None


# --- the range advice


def advice(play: Play) -> list[str]:
    """The dial prompts that replace no open one."""
    return [prompt.say for prompt in play.of(Prompt) if prompt.do is Do.DIAL and prompt.item is None]


@pytest.mark.parametrize(("rate", "seconds"), [(2.0, 4), (10.0, 1)])
def test_the_advice_says_what_is_saved(rate: float, seconds: int) -> None:
    """Five ranges walked and n more (4 at 2/s, 8 at 10/s, T not measured) while the walk may hide: 4.5 s and 1.3 s."""
    play = Play(fuses(2), rate=rate, auto=True, profile=meter(rate))("0.1 OL")
    (said,) = advice(play)
    assert f"about {seconds} s an item less" in said
    assert "lowest ohm range" in said
    assert "longer lift" in said


def test_the_advice_is_given_with_the_first_reading_and_replaces_nothing() -> None:
    """It can be done late: the item's own prompt stands, and a tick on auto range still counts."""
    play = Play(fuses(2), auto=True)("OL")
    assert play.prompts == ["probe F1", "dial None"]
    assert play("OL*2 9.0 0.2*2").ticks == ["F1 pass"]


def test_where_nothing_is_slow_nothing_is_asked() -> None:
    """Fifty conversions a second and a walk that is shown: five ranges cost 0.1 s an item."""
    play = Play(fuses(2), rate=50.0, auto=True, conversion_s={Quantity.RESISTANCE: 0.02})
    play.session.bench.touch.ranging.walk = type(play.session.bench.touch.ranging.walk).SHOWN
    assert advice(play("OL*3")) == []


@pytest.mark.parametrize(("ceiling", "offered"), [(None, False), (1.0, False), (2.0, True), (400.0, True)])
def test_continuity_is_offered_where_the_limit_allows(ceiling: float | None, offered: bool) -> None:
    """Above its ceiling continuity shows over-range, so it serves limits up to that only."""
    play = Play(fuses(2), auto=True, profile=meter(2.0, continuity_ceiling_ohm=ceiling))("OL")
    assert ("continuity" in advice(play)[0]) is offered


def test_a_meter_that_hides_its_walk_is_sent_to_a_fixed_range_with_the_reason() -> None:
    """Once the first contact showed that nothing of the walk is seen."""
    play = Play(fuses(2), auto=True)("OLM*3 0.2*3")
    first, second = advice(play)
    assert "looks like" not in first
    assert "hides its ranging behind OL" in second
    assert len(advice(play("OLM*9 0.2*3 OLM*9"))) == 2


# --- T in the first record


@pytest.mark.parametrize(
    ("profile_rate", "known", "port", "offered"),
    [(2.0, {}, "/dev/x", True), (10.0, {}, "/dev/x", False), (2.0, KNOWN, "/dev/x", False), (2.0, {}, "", False)],
)
def test_a_pencil_line_is_offered_only_where_it_saves_time(
    profile_rate: float, known: dict[Quantity, float], port: str, offered: bool
) -> None:
    """Where T is the profile's slow word and a step without tips comes first; a remark, that waits for nobody."""
    options = {"port": port}
    play = Play(confirm(say="ready?"), fuses(1), rate=profile_rate, conversion_s=known, options=options)
    assert any("pencil" in note for note in play.notes) is offered
    assert play.prompts == ["confirm battery out"]


def test_no_pencil_line_is_offered_before_tips_count() -> None:
    """Where the first step is in ohms a pencil line would be taken for its first item."""
    assert Play(fuses(1), options={"port": "/dev/x"}).notes == []


def test_a_kept_t_is_the_sessions_and_replay_agrees() -> None:
    """The first record holds the T it began with; what is learned follows from the readings."""
    record = "OL*30 9.0 0.2*2 0.3 0.2 0.3 OL*12 9.0 0.2*2 0.3 0.2 OL*12 "
    play = Play(fuses(4), rate=10.0, profile_rate=2.0, conversion_s={Quantity.RESISTANCE: 0.1})(record * 2)
    assert play.session.measured_s == {Quantity.RESISTANCE: 0.1}
    slow = Play(fuses(4), rate=10.0, profile_rate=2.0)(record)
    assert slow.ticks != play.ticks
    records = [play.record, *play.pairs[0][1]]
    for event, outcomes in play.pairs[1:]:
        records += [event, *outcomes]  # type: ignore[list-item]
    assert check(records).difference == ""
    without = [slow.record, *records[1:]]
    assert check(without).difference != ""
