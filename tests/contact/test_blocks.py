"""Blocks: what stops the ticking and never fails an item. Rule 7."""

from __future__ import annotations

import pytest

from metercap.contact import Block, Blocks
from metercap.quantity import Quantity
from metercap.reading import Reading
from metercap.records import Do, Link, LinkState
from tests.steps.bench_play import parse

OHMS = (Quantity.RESISTANCE, Quantity.CONTINUITY)


def reading(token: str, t_s: float = 1.0) -> Reading:
    """Return a reading from a script's token."""
    value, resolution, quantity, state, flags, _, _ = parse(token)
    return Reading(t_s, quantity, value, resolution, quantity.unit, state, flags, "")


def blocks(*wanted: Quantity) -> Blocks:
    """Return blocks that want these quantities."""
    out = Blocks()
    out.wanted = wanted
    return out


def key(block: Block | None) -> str | None:
    """Return a block's key, or None."""
    return None if block is None else block.key


@pytest.mark.parametrize("token", ["0.2", "OL", "0.2c", "0.2!auto", "0.2!beep", "--"])
def test_fit_readings_are_not_blocked(token: str) -> None:
    """A wanted quantity without a flag that makes it stale blocks nothing."""
    assert blocks(*OHMS).feed(reading(token)) is None


@pytest.mark.parametrize(
    ("token", "word"),
    [
        ("0.2!hold", "HOLD"),
        ("0.2!rel", "REL off, the tool nulls"),
        ("0.2!min", "MIN"),
        ("0.2!max", "MAX"),
        ("0.2!peak_max", "PEAK"),
        ("0.2!peak_min", "PEAK"),
        ("OL!hold", "HOLD"),
        ("0.2!auto+hold", "HOLD"),
        ("0.2V", "ohms"),
    ],
)
def test_stale_or_wrong_readings_say_what_to_do(token: str, word: str) -> None:
    """HOLD, REL, MIN/MAX, PEAK and a wrong quantity ask for the dial, and say what to do there."""
    block = blocks(*OHMS).feed(reading(token))
    assert block is not None
    assert block.do is Do.DIAL
    assert word in block.say


def test_dial_prompt_names_every_wanted_quantity_and_the_jacks() -> None:
    """The dial prompt names what is wanted, and says which jacks, since the current jack is a short."""
    block = blocks(*OHMS).feed(reading("1.5V"))
    assert block is not None
    assert "ohms or continuity" in block.say
    assert "never the current jack" in block.say


def test_any_quantity_will_do_where_none_is_wanted() -> None:
    """A step of words only takes any quantity."""
    assert blocks().feed(reading("1.5V")) is None


def test_block_ends_with_its_cause() -> None:
    """A block stands as long as its cause is shown."""
    of = blocks(*OHMS)
    assert key(of.feed(reading("0.2!hold"))) == "hold"
    assert key(of.feed(reading("0.2V"))) == "quantity"
    assert of.feed(reading("0.2")) is None


def test_low_battery_asks_once() -> None:
    """A low battery asks; yes goes on; it is remembered and never asked again."""
    of = blocks(*OHMS)
    block = of.feed(reading("0.2!low_battery"))
    assert block is not None
    assert block.do is Do.ANSWER
    assert of.battery_low
    of.battery_accepted()
    assert of.standing() is None
    assert of.feed(reading("0.2!low_battery")) is None
    assert of.battery_low


def test_low_battery_comes_after_what_makes_a_reading_wrong() -> None:
    """One block at a time, the most basic first."""
    of = blocks(*OHMS)
    assert key(of.feed(reading("0.2!hold+low_battery"))) == "hold"
    assert key(of.feed(reading("0.2!low_battery"))) == "battery"


@pytest.mark.parametrize("state", [LinkState.SILENT, LinkState.GARBAGE, LinkState.LOST])
def test_dead_link_waits_until_a_reading(state: LinkState) -> None:
    """A dead link asks to wait; it is trusted again from its first reading, not from the record that it is up."""
    of = blocks(*OHMS)
    of.feed(reading("0.2"))
    of.link(Link(2.0, state, "unplugged"))
    block = of.standing()
    assert block is not None
    assert block.do is Do.WAIT
    assert "unplugged" in block.say
    of.link(Link(3.0, LinkState.UP))
    assert of.standing() == block
    assert of.feed(reading("0.2", 4.0)) is None


def test_frozen_display() -> None:
    """A display that does not change for 5 s after a lift cue may be on HOLD without a flag."""
    of = blocks(*OHMS)
    of.feed(reading("0.2"))
    assert of.deadline_s is None
    of.lift_cued(reading("0.2", 10.0))
    assert of.deadline_s == 15.0
    assert of.feed(reading("0.2", 14.0)) is None
    of.deadline_passed(15.0)
    block = of.standing()
    assert block is not None
    assert block.do is Do.DIAL
    assert "HOLD" in block.say
    assert of.deadline_s is None
    assert of.feed(reading("0.2", 16.0)) == block
    assert of.feed(reading("OL", 17.0)) is None


@pytest.mark.parametrize("change", ["OL", "0.3", "0.20", "--"])
def test_a_display_that_changes_is_not_frozen(change: str) -> None:
    """Any change of value, range or state within the 5 s shows that the display lives."""
    of = blocks(*OHMS)
    of.lift_cued(reading("0.2", 10.0))
    of.feed(reading(change, 12.0))
    assert of.deadline_s is None
    of.deadline_passed(15.0)
    assert of.standing() is None


def test_dead_link_is_not_a_frozen_display() -> None:
    """When the link dies after the lift cue, nothing can change: it is the link that is named."""
    of = blocks(*OHMS)
    of.lift_cued(reading("0.2", 10.0))
    of.link(Link(12.0, LinkState.SILENT))
    assert of.deadline_s is None
    assert key(of.standing()) == "link silent"
