"""Virtual hands that a person moves: what they feel, what they offer, and whole sessions worked by them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from metercap.asks import Asks
from metercap.errors import UsageError
from metercap.plan import to_builtins
from metercap.planfile import read_plan
from metercap.practice.bench import PracticeBench
from metercap.practice.board import TIPS_NAME
from metercap.practice.by_hand import ByHand
from metercap.practice.moving import Connector, Switch
from metercap.practice.parts import Supply, Trimmer
from metercap.practice.scene import parse_scene
from metercap.profiles import find_meter
from metercap.quantity import Quantity
from metercap.records import Cue, CueKind, Do, EndRecord, Operator, Prompt, Record, SessionRecord, Verdict, VerdictKind
from metercap.session import Driver, Session
from metercap.steps.facts import TuneFacts
from metercap.wire import decoder

TEXT = """
schema = 1
title = "a bit of everything"
unit = "B"
seed = 5
starts = 0.5
[meter]
family = "lcd14"
lead_ohm = 0.2
[[part]]
names = "F1..F3"
kind = "fuse"
ohm = 0.1
[[part]]
names = "F4"
kind = "fuse"
blown = true
[[part]]
names = "fresh cell"
kind = "source"
volt = 1.58
[[part]]
names = "supply input"
kind = "source"
volt = 24.0
[[part]]
names = "S1"
kind = "switch"
gap_from = 0.3
gap_to = 0.99
after_clean = 0.0
[[part]]
names = "J3"
kind = "connector"
drops_per_s = 2.0
[[part]]
names = "BT1"
kind = "source"
volt = 3.0
ohm = 30.0
[[part]]
names = "TP1"
kind = "source"
volt = 5.0
rail = true
powered = false
[[part]]
names = "RV1"
kind = "trimmer"
ohm = 5000.0
position = 0.5
backlash_turns = 0.03
[alias]
dead = "fresh cell"
[answers]
clock = "no"
[rows]
fuses = "F1..F4"
"""


class Desk:
    """A bench with a person's hands, and no session."""

    def __init__(self, seed: int | None = None) -> None:
        self.bench = PracticeBench(parse_scene(TEXT), seed=seed, hands=ByHand)
        hands = self.bench.hands
        assert isinstance(hands, ByHand)
        self.hands = hands
        self.now_s = 0.0

    def move(self, line: str) -> str:
        return self.hands.move(line, self.now_s)

    def prompt(self, item: str | None, do: Do, say: str = "", step: str = "step", **facts: Any) -> None:
        self.bench.see(Prompt(self.now_s, step, item, do, say, **facts), self.now_s)

    def wait(self, seconds: float) -> None:
        self.now_s += seconds
        while self.bench.step(self.now_s) is not None:
            pass

    @property
    def reads(self) -> float | None:
        """What the display shows after two whole conversions more, and the walk through the ranges."""
        self.wait(4.0)
        assert self.bench.meter.shown is not None
        return self.bench.meter.shown.value

    @property
    def offered(self) -> list[str]:
        return [offer.move for offer in self.hands.offers]


@pytest.fixture
def desk() -> Desk:
    return Desk()


# --- the tips


def test_touch_lift_and_short(desk: Desk) -> None:
    """The meter reads what the tips are on: a fuse with its leads, air, the leads alone."""
    assert desk.reads is None
    desk.move("F1")
    assert desk.reads == pytest.approx(0.35, abs=0.15)
    assert desk.hands.status == "tips on F1"
    desk.move("")
    assert desk.reads is None and desk.hands.status == "tips in the air"
    desk.move("short")
    assert desk.reads == pytest.approx(0.2, abs=0.15)
    assert desk.hands.status == TIPS_NAME


def test_touch_means_what_the_prompt_asks_for(desk: Desk) -> None:
    """`touch` alone goes to the open prompt's item, and together for the leads; with no prompt it says so."""
    with pytest.raises(UsageError, match="nothing to touch"):
        desk.move("touch")
    desk.prompt("F2", Do.PROBE)
    desk.move("touch")
    assert desk.hands.here == "F2"
    assert "already" in desk.move("touch")
    desk.move("lift")
    desk.prompt("leads", Do.SHORT)
    desk.move("touch")
    assert desk.hands.here == TIPS_NAME


def test_a_slip_leaves_the_board_for_a_moment_only(desk: Desk) -> None:
    """`next` goes over to the row's next item with 0.3 s in the air between; the last one has none."""
    desk.move("F2")
    desk.wait(1.0)
    desk.move("next")
    assert desk.hands.status == "tips on their way to F3"
    desk.wait(0.4)
    assert desk.hands.here == "F3"
    assert [round(touch.t_s, 3) for touch in desk.bench.touches] == [0.0, 0.0, 1.0, 1.3]
    desk.move("lift")
    desk.move("F4")
    with pytest.raises(UsageError, match="last one"):
        desk.move("next")


def test_a_changed_mind_in_the_air_lands_once(desk: Desk) -> None:
    """Going to a third point before the second was reached lands there, at the time of the first slip; a lift drops
    it."""
    desk.move("F1")
    desk.move("F2")
    desk.wait(0.1)
    desk.move("F3")
    desk.wait(0.3)
    assert desk.hands.here == "F3" and len(desk.bench.touches) == 4
    desk.move("F1")
    desk.move("")
    desk.wait(1.0)
    assert desk.hands.here == ""


def test_a_point_that_the_board_lacks_is_named_with_those_it_has(desk: Desk) -> None:
    """Nothing moves, nothing raises but a UsageError."""
    with pytest.raises(UsageError) as caught:
        desk.move("touch K7")
    assert "K7" in caught.value.what and "F1, F2, F3" in caught.value.hint
    desk.prompt("K7", Do.PROBE)
    with pytest.raises(UsageError, match="K7"):
        desk.move("touch")


def test_taps_on_a_picture(desk: Desk) -> None:
    """A tap touches that item, as its name does; one more on it, by either of its names, or one beside all, lifts."""
    desk.hands.tap("F1", desk.now_s)
    assert desk.hands.here == "F1" and desk.reads == pytest.approx(0.35, abs=0.15)
    desk.hands.tap("F2", desk.now_s)
    assert desk.hands.here == "" and desk.hands.status == "tips on their way to F2"
    desk.wait(0.4)
    assert desk.hands.here == "F2"
    desk.hands.tap("F2", desk.now_s)
    assert desk.hands.here == "" and desk.hands.status == "tips in the air"
    desk.move("touch fresh cell")
    desk.hands.tap("dead", desk.now_s)
    assert desk.hands.status == "tips in the air", "the step stands for that point"
    desk.hands.tap("F3", desk.now_s)
    desk.hands.tap("", desk.now_s)
    assert desk.hands.status == "tips in the air"
    with pytest.raises(UsageError, match="K7"):
        desk.hands.tap("K7", desk.now_s)
    assert desk.hands.status == "tips in the air"


def test_swapped_tips_show_the_other_sign(desk: Desk) -> None:
    """Red for black on a cell reads negative, stays so, and the eyes see it when asked."""
    desk.move("dial volts dc")
    desk.move("BT1")
    assert desk.reads == pytest.approx(3.0, abs=0.01)
    desk.move("swap")
    assert desk.reads == pytest.approx(-3.0, abs=0.01)
    desk.prompt("BT1", Do.ANSWER, "BT1 reads -3.000 V: is red on +? yes or no", asks=Asks.POLARITY)
    assert desk.hands.status == "tips on BT1, red and black swapped, you look: no"
    assert desk.offered == []


def test_the_other_polarity_of_a_point(desk: Desk) -> None:
    """An item whose other polarity is asked for is touched the other way round."""
    desk.move("dial volts dc")
    desk.move("BT1 reversed")
    assert desk.reads == pytest.approx(-3.0, abs=0.01)


# --- the screwdriver


def wiper(desk: Desk) -> Trimmer:
    part = desk.bench.board.parts["RV1"]
    assert isinstance(part, Trimmer)
    return part


def test_turns_are_exact_and_take_their_time(desk: Desk) -> None:
    """Half a turn of 25 at one turn a second: 0.02 of the travel less the backlash, after half a second."""
    desk.move("RV1")
    desk.move("turn +0.5")
    desk.wait(0.25)
    wiper(desk).seen(desk.now_s)
    assert wiper(desk).position == pytest.approx(0.5 + (0.25 - 0.03) / 25)
    desk.wait(1.0)
    assert wiper(desk).position == pytest.approx(0.5 + (0.5 - 0.03) / 25)
    assert wiper(desk).steady
    desk.move("turn -0.5")
    desk.move("turn -0.5")
    desk.wait(2.0)
    assert wiper(desk).position == pytest.approx(0.5 + (0.5 - 0.03 - 1.0 + 0.03) / 25)


def test_a_key_held_down_turns_until_it_is_let_go(desk: Desk) -> None:
    """Thirty repeats a second for two seconds turn for two seconds at the hand's own speed, no further."""
    desk.move("RV1")
    for _ in range(60):
        desk.move("turn up")
        desk.wait(1 / 30)
    desk.wait(1.0)
    assert wiper(desk).position == pytest.approx(0.5 + (0.2 * (59 / 30 + 0.1) - 0.03) / 25, abs=1e-6)


def test_turning_round_at_once(desk: Desk) -> None:
    """The other key takes over in the middle of a turn."""
    desk.move("RV1")
    desk.move("turn up far")
    desk.wait(0.1)
    desk.move("turn down far")
    desk.wait(1.0)
    assert wiper(desk).position == pytest.approx(0.5 + (0.1 - 0.03 - 0.25 + 0.03) / 25)


def test_no_trimmer_no_turn(desk: Desk) -> None:
    """Turning needs a trimmer under the tips, or one that is asked for."""
    desk.move("F1")
    with pytest.raises(UsageError, match="no trimmer"):
        desk.move("turn up")
    desk.prompt("RV1", Do.TURN, "RV1: turn toward 2.4 kΩ")
    desk.move("turn up")
    with pytest.raises(UsageError, match="no way to turn"):
        desk.move("turn sideways")


# --- the other hand


def test_press_and_release_a_switch(desk: Desk) -> None:
    """The contact closes while it is pressed, unless the press ends where its film insulates; cleaned, it closes."""
    desk.prompt(
        "S1",
        Do.PROBE,
        "S1: hold both tips across its contacts, then press and hold; keep the tips on",
        asks=Asks.ACROSS,
        press=True,
        keep=True,
    )
    desk.move("touch")
    assert desk.offered == ["press"]
    desk.move("press")
    assert desk.offered == ["release"]
    assert desk.reads is None  # the gap of this switch takes nearly every press
    assert desk.hands.status == "tips on S1, pressed" and "pressed already" in desk.move("press")
    desk.move("release")
    assert "nothing" in desk.move("release")
    desk.move("clean")
    desk.move("press")
    assert desk.reads == pytest.approx(0.3, abs=0.2)
    desk.move("lift")
    part = desk.bench.board.parts["S1"]
    assert isinstance(part, Switch) and not part.closes_at(part._to)


def test_flex_a_cable(desk: Desk) -> None:
    """Flexed, the cable drops out; lifting stops it. It is offered when it is asked for."""
    desk.prompt("J3", Do.PROBE, "J3: hold both tips on it, still", keep=True)
    desk.move("touch")
    assert desk.offered == []
    desk.prompt("J3", Do.KEEP, "J3: flex the cable or connector for 10 s, tips still", asks=Asks.FLEX, keep=True)
    assert desk.offered == ["press"]
    desk.move("flex")
    assert desk.offered == ["release"]
    desk.wait(5.0)
    part = desk.bench.board.parts["J3"]
    assert isinstance(part, Connector) and part.dropped
    desk.move("")
    assert part.steady


def test_load_a_cell(desk: Desk) -> None:
    """470 ohm across 3 V with 30 ohm inside leave 3·470/500 = 2.82 V (Ohm's law); off, it recovers. A short is
    refused."""
    desk.move("dial volts dc")
    desk.move("BT1")
    desk.prompt(
        "BT1",
        Do.KEEP,
        "BT1: keep the tips on and put 470 Ω across it for 3 s",
        asks=Asks.LOAD,
        load_ohm=470.0,
        keep=True,
    )
    assert desk.hands.offers[0].label == "put 470 Ω on"
    desk.move("press")
    assert desk.reads == pytest.approx(2.82, abs=0.01)
    assert "470 Ω across it" in desk.hands.status
    desk.move("load off")
    assert desk.reads == pytest.approx(3.0, abs=0.01)
    with pytest.raises(UsageError, match="short"):
        desk.move("load 0 ohm")
    desk.move("lift")
    with pytest.raises(UsageError, match="no cell"):
        desk.move("load 470 ohm")


def test_nothing_to_press(desk: Desk) -> None:
    """A fuse is neither pressed nor flexed."""
    desk.move("F1")
    with pytest.raises(UsageError, match="nothing here to press"):
        desk.move("press")


def test_start_the_unit(desk: Desk) -> None:
    """Of many starts of a unit that comes up half the time some do and some do not, and the eyes see which."""
    desk.prompt(
        "starts", Do.ANSWER, "start it, cover closed: run 1 of 20; pass or fail?", step="starts", asks=Asks.STARTED
    )
    assert desk.offered == ["press"]
    seen = {desk.move("press") for _ in range(20)}
    assert seen == {"it comes up", "it stays dark"}
    assert desk.hands.status.endswith(desk.hands.seen)


# --- what is said is so


def test_what_the_person_confirms_is_done(desk: Desk) -> None:
    """Yes to a supply being connected connects it, yes to unplugged takes it off; no does neither."""
    rail = desk.bench.board.parts["TP1"]
    assert isinstance(rail, Supply) and not rail.alive
    desk.prompt(
        "power-up",
        Do.CONFIRM,
        "Connect the 24 V supply. Does the display come on? (yes or no)",
        asks=Asks.DONE,
        power="on",
    )
    desk.bench.see(Operator(1.0, "no"), 1.0)
    assert not rail.alive
    desk.bench.see(Operator(1.0, "yes"), 1.0)
    assert rail.alive
    desk.prompt("off", Do.CONFIRM, "Supply unplugged? (yes or no)", asks=Asks.DONE, power="off")
    desk.bench.see(Operator(2.0, "yes"), 2.0)
    assert not rail.alive


def test_cleaning_and_mending_by_word(desk: Desk) -> None:
    """Yes to "clean it" cleans the switch, `fixed` is the repair."""
    switch = desk.bench.board.parts["S1"]
    assert isinstance(switch, Switch) and not switch.closes_at(0.5)
    desk.prompt(
        "S1",
        Do.ANSWER,
        "S1 missed closures: clean it, then say yes to exercise it again; no leaves it",
        asks=Asks.CLEANED,
    )
    desk.bench.see(Operator(1.0, "yes"), 1.0)
    assert switch.closes_at(0.5)
    desk.prompt(
        "starts",
        Do.CONFIRM,
        "not fixed: mend it, then say fixed and what was done; no ends the trials",
        asks=Asks.MENDED,
    )
    assert desk.hands.seen == ""
    desk.bench.see(Operator(2.0, "fixed", "new regulator"), 2.0)
    assert desk.bench.board.fixed


def test_the_eyes_answer_questions(desk: Desk) -> None:
    """What the unit makes an honest person say is seen, `fail` since `no` only waits, and gone with the next prompt."""
    desk.prompt("clock", Do.CONFIRM, "Has the clock kept the time? (yes or no)", step="clock", asks=Asks.DONE)
    assert desk.hands.status.endswith("you look: no, and it stays so: fail")
    desk.bench.see(Operator(1.0, "note", "it shows 00:00"), 1.0)
    assert desk.hands.status.endswith("you look: no, and it stays so: fail")
    desk.bench.see(Operator(1.0, "no"), 1.0)
    assert "look" not in desk.hands.status
    desk.prompt("clock", Do.CONFIRM, "Has the clock kept the time? (yes or no)", step="clock", asks=Asks.DONE)
    desk.prompt("F1", Do.PROBE)
    assert "look" not in desk.hands.status


def test_a_live_point_is_made_dead_by_hand(desk: Desk) -> None:
    """The stop prompt offers to disconnect and discharge; afterwards the point reads about zero."""
    desk.move("dial volts dc")
    desk.prompt(
        "supply input", Do.ANSWER, "supply input, volts dc: hold both tips on it, say yes, hold on", asks=Asks.POINT
    )
    desk.move("touch")
    assert desk.reads == pytest.approx(24.0, abs=0.1)
    desk.prompt("supply input", Do.STOP, "24.00 V at supply input: it is live. Disconnect the supply", asks=Asks.VOLTS)
    assert desk.offered == ["press"]
    assert "discharged" in desk.move("press")
    assert desk.reads == pytest.approx(0.0, abs=0.01)


# --- the meter


def test_the_dial_turns_only_when_told(desk: Desk) -> None:
    """A dial prompt is offered, obeyed by `dial`, and then no longer offered."""
    desk.prompt(
        "dead", Do.DIAL, "set the meter to volts dc; leads in the voltage/resistance jacks", dial=(Quantity.VOLTAGE_DC,)
    )
    desk.wait(5.0)
    assert desk.bench.meter.quantity is Quantity.RESISTANCE
    assert desk.hands.offers[0].label == "dial to volts dc"
    assert desk.move("dial") == "the dial is on volts dc, auto range"
    assert desk.bench.meter.quantity is Quantity.VOLTAGE_DC and desk.offered == []  # type: ignore[comparison-overlap]
    with pytest.raises(UsageError, match="no prompt asks"):
        desk.move("dial")
    with pytest.raises(UsageError, match="not on the dial"):
        desk.move("dial henries")


def test_a_step_that_begins_with_the_dial_asks_for_nothing_else(desk: Desk) -> None:
    """What the step before asked for is over, whatever comes first in the new one."""
    desk.prompt("dead", Do.PROBE, step="dead")
    desk.prompt(
        "leads",
        Do.DIAL,
        "set the meter to ohms or continuity",
        step="leads",
        dial=(Quantity.RESISTANCE, Quantity.CONTINUITY),
    )
    assert desk.offered == ["dial"]
    desk.prompt("leads", Do.SHORT, step="leads")
    assert desk.offered == ["dial", "short"]


def test_ranges_and_keys_of_the_meter(desk: Desk) -> None:
    """The lowest range is fixed and given back; HOLD freezes the display until a dial prompt or the key ends it."""
    desk.prompt("F1", Do.PROBE)
    desk.prompt(
        None,
        Do.DIAL,
        "auto range costs time at every item: fix the lowest ohm range if the meter can",
        dial=(Quantity.RESISTANCE,),
        range="low",
    )
    assert [offer.label for offer in desk.hands.offers] == ["fix the range", "touch F1"]
    desk.move("touch")
    assert desk.offered == ["dial"]
    assert desk.move("dial") == "the dial is on ohms, fixed range"
    assert desk.move("dial") == "the dial is on ohms, auto range"
    assert desk.move("range low") == "the dial is on ohms, fixed range"
    assert desk.move("range auto") == "the dial is on ohms, auto range"
    with pytest.raises(UsageError, match="no range"):
        desk.move("range 3")
    desk.wait(3.0)
    assert desk.move("hold") == "HOLD is on" and "HOLD" in desk.hands.status
    desk.prompt("F1", Do.DIAL, "HOLD is on: switch it off")
    assert desk.hands.offers[0].label == "set the meter"
    desk.move("dial")
    assert not desk.bench.meter.hold
    assert desk.move("rel") == "REL is on" and desk.move("rel") == "REL is off"
    assert desk.move("look").startswith("the display shows ")


# --- offers


def test_offers_lead_through_an_item(desk: Desk) -> None:
    """Touch, then lift once it is ticked, then touch the next one; a question offers nothing to touch."""
    desk.prompt("F1", Do.PROBE, step="fuses")
    assert desk.offered == ["touch"] and desk.hands.offers[0].label == "touch F1"
    desk.move("touch")
    assert desk.offered == []
    desk.bench.see(Verdict(1.0, "fuses", "F1", VerdictKind.PASS), 1.0)
    desk.prompt("F2", Do.PROBE, step="fuses")
    assert desk.offered == ["lift"]
    desk.move("")
    assert desk.hands.offers[0].label == "touch F2"
    desk.move("touch")
    desk.bench.see(Cue(2.0, "fuses", "F2", CueKind.AGAIN), 2.0)
    assert desk.offered == ["lift"]
    desk.move("")
    desk.prompt("F2", Do.ANSWER, "count check: was the last tick on F2? yes or no", step="fuses", asks=Asks.COUNT)
    assert desk.offered == []
    desk.prompt("F2", Do.PROBE, step="fuses")
    desk.bench.see(EndRecord(3.0, "quit", {}, ""), 3.0)
    assert desk.offered == []


def test_a_step_that_stands_for_a_point_is_shown_by_the_points_name(desk: Desk) -> None:
    """The safe step asks for its source under its own id; the person reads the source's name."""
    desk.prompt("dead", Do.PROBE, "probe a fresh 1.5 V cell", step="dead")
    assert desk.hands.offers[0].label == "touch fresh cell"
    desk.move("touch")
    assert desk.hands.status == "tips on fresh cell"


def test_the_trimmer_offers_both_ways(desk: Desk) -> None:
    """While a trimmer is to be turned the four turns are offered."""
    desk.prompt(
        "RV1",
        Do.TURN,
        "RV1: turn toward 2.4 kΩ (2.388 kΩ to 2.412 kΩ)",
        step="bridge",
        target=2400.0,
        low=2388.0,
        high=2412.0,
    )
    desk.move("touch")
    assert desk.offered == ["turn up", "turn down", "turn up far", "turn down far"]
    desk.prompt(
        "RV1", Do.STOP, "RV1: in band. Take the tool away and keep both tips on", step="bridge", asks=Asks.TOOL_AWAY
    )
    assert desk.offered == []


# --- whole sessions


PLAN = """
[plan]
title = "by hand"
supply = "none"
[[step]]
id = "leads"
kind = "zero"
[[step]]
id = "fuses"
kind = "sweep"
items = "F1..F4"
max = "2 ohm"
[[step]]
id = "bridge"
kind = "tune"
items = ["RV1"]
target = "2.6 kohm"
tolerance = "1 %"
"""


class Person:
    """Somebody who does what the offers say, at a walking pace, and says words: a session in process."""

    def __init__(self, desk: Desk, tmp_path: Path) -> None:
        self.desk = desk
        path = tmp_path / "plan.toml"
        path.write_text(PLAN, encoding="utf-8")
        self.profile = find_meter("lcd14")
        record = SessionRecord(
            t_s=0.0, schema=2, id="x", start_utc="", zone_offset_s=0, unit="B", tag="B", operator="", known_good=False,
            plan=to_builtins(read_plan(path)), meter=self.profile, identity="", reference={}, options={}, inherited={},
            program="",
        )  # fmt: skip
        self.driver = Driver(Session(record))
        self.decoder = decoder(self.profile)
        self.records: list[Record] = []
        self._see(self.driver.start())

    def _see(self, records: list) -> None:  # type: ignore[type-arg]
        for record in records:
            self.desk.bench.see(record, self.desk.now_s)
            self.records.append(record)

    def say(self, word: str) -> None:
        for event, outcomes in self.driver.feed(Operator(self.desk.now_s, word)):
            self._see([event, *outcomes])

    def wait(self, seconds: float) -> None:
        """Let time pass until then, every byte on its way."""
        end_s = self.desk.now_s + seconds
        while (out := self.desk.bench.step(end_s)) is not None:
            self.desk.now_s = out.t_s
            for reading in self.decoder.feed(out.data, out.t_s):
                for event, outcomes in self.driver.feed(reading):
                    self._see([event, *outcomes])
        self.desk.now_s = end_s
        for event, outcomes in self.driver.due(end_s):
            self._see([event, *outcomes])

    def until(self, cue: CueKind, seconds: float = 20.0) -> None:
        """Wait for a cue."""
        at = len(self.records)
        end_s = self.desk.now_s + seconds
        while not any(isinstance(record, Cue) and record.cue is cue for record in self.records[at:]):
            assert self.desk.now_s < end_s, f"no {cue} while {self.prompt}"
            self.wait(0.1)

    @property
    def prompt(self) -> Prompt:
        return next(record for record in reversed(self.records) if isinstance(record, Prompt) and record.item)

    @property
    def verdicts(self) -> dict[str, Verdict]:
        return {record.item: record for record in self.records if isinstance(record, Verdict)}

    def ticks(self) -> None:
        """Touch what is asked for, hold until the tick, lift, and wait until it is certain."""
        self.wait(1.0)
        self.desk.move("touch")
        self.until(CueKind.PASS)
        self.desk.move("lift")
        self.until(CueKind.GO)


def test_a_session_by_hand(tmp_path: Path) -> None:
    """Leads, four fuses of which one is open, and a trimmer: every verdict is what the board is."""
    person = Person(Desk(), tmp_path)
    person.ticks()
    for _ in range(3):
        person.ticks()
    assert person.prompt.item == "F4"
    person.wait(1.0)
    person.desk.move("touch")
    person.wait(4.0)
    person.say("open")
    person.desk.move("lift")
    assert (person.prompt.asks, person.prompt.item) == (Asks.COUNT, "F3")
    person.say("yes")
    assert (person.prompt.item, person.prompt.do) == ("RV1", Do.PROBE)
    _tune(person)
    found = {item: verdict.verdict.value for item, verdict in person.verdicts.items()}
    assert found == {"leads": "pass", "F1": "pass", "F2": "pass", "F3": "pass", "F4": "fail", "RV1": "pass"}
    rv1 = person.verdicts["RV1"]
    assert rv1.as_found == pytest.approx(2500, abs=5) and rv1.value == pytest.approx(2600, abs=26)
    assert person.driver.session.finished


def _tune(person: Person) -> None:
    person.wait(2.0)
    person.desk.move("touch")
    while person.prompt.do is not Do.TURN:
        person.wait(0.5)
    for _ in range(20):
        if person.prompt.do is not Do.TURN:
            break
        facts = person.driver.session.facts()
        own = None if facts is None else facts.own
        if isinstance(own, TuneFacts) and own.error is not None and own.to_go:
            person.desk.move(f"turn {'up' if own.error < 0 else 'down'}{' far' if abs(own.error) > 60 else ''}")
        person.wait(1.5)
    for _ in range(40):
        if person.driver.session.finished:
            return
        person.wait(0.5)
    raise AssertionError(f"not finished at {person.prompt}")


def test_the_same_session_twice(tmp_path: Path) -> None:
    """The same seed and the same moves give the same records."""

    def part() -> Iterator[list[Record]]:
        for _ in range(2):
            person = Person(Desk(seed=9), tmp_path)
            person.ticks()
            person.ticks()
            yield person.records

    first, second = part()
    assert first == second


def test_going_on_too_soon_earns_a_lift_cue(tmp_path: Path) -> None:
    """Slipping on to the next fuse right after a tick ticks nothing: the tool asks for a lift."""
    person = Person(Desk(), tmp_path)
    person.ticks()
    person.wait(1.0)
    person.desk.move("touch")
    person.until(CueKind.PASS)
    person.desk.move("next")
    person.until(CueKind.LIFT)
    assert "F2" not in person.verdicts and person.desk.offered[0] == "lift"
