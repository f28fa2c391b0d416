"""The state of power in the order of events: ohms need a safe step that passed since the unit last had power."""

from __future__ import annotations

import pytest

from metercap.asks import Asks
from metercap.plankeys import CellStep, CheckStep, Item, SafeStep, StepBase, TrialsStep
from metercap.quantity import Quantity
from metercap.records import WAIVED_NOTE, Operator, Prompt, at
from metercap.session.inherit import inherited_from
from tests.steps.bench_play import Play, check, confirm, fuses, safe, volts, zero

SECOND = SafeStep(id="dead again", points=("C12",))
PROOF = "1.52V*3 0.00V*3 +2 :yes 0.00V*2 0.00Vac +2 :yes 0.00Vac*2 0.00V 1.52V*3 "
FUSE = "OL*6 9 0.2*3 OL*6 "


def powered(**more: object) -> StepBase:
    """Return a question that is asked with the power on."""
    return confirm(**({"id": "start-up", "power": "on"} | more))


def asks_for_proof(play: Play) -> bool:
    """Whether the session waits for a word before it measures ohms."""
    block = play.view.block
    return block is not None and block.key == "unproved" and play.view.asks is Asks.PROVE


def test_proved_unit_goes_straight_on() -> None:
    """A safe step that passed, and nothing powered since."""
    assert Play(safe("C12"), fuses(1))(PROOF + FUSE).ticks[-1] == "F1 pass"


@pytest.mark.parametrize(
    "before",
    [
        "",  # no safe step in this session at all, as with --steps
        "1.52V*3 :skip_step ",
        "1.52V*3 0.00V*3 :skip 0.00Vac :skip 0.00V 1.52V*3 ",
    ],
)
def test_without_a_pass_ohms_wait_for_a_word(before: str) -> None:
    """Never run, skipped, or unsure: nothing ticks, and `no` changes nothing; `waive` goes on and is written down."""
    options = {} if before else {"steps": ["fuses"]}
    play = Play(safe("C12"), fuses(1), options=options)(before + FUSE)
    assert asks_for_proof(play)
    assert "F1" not in play.verdicts
    play(":no " + FUSE)
    assert "F1" not in play.verdicts
    play(":waive=board_on_the_mat_for_days " + FUSE)
    assert play.verdicts["F1"].verdict == "pass"
    assert play.notes.count(f"{WAIVED_NOTE}board on the mat for days") == 1


@pytest.mark.parametrize(
    "step",
    [powered(), volts("TP1", power="on"), TrialsStep(id="start-up", runs=1, off_s=1.0)],
    ids=["word", "volts", "try"],
)
def test_power_voids_the_proof(step: StepBase) -> None:
    """What has had power is not known to be dead, whatever the step did with it; a new safe step proves it again."""
    over = {"confirm": ":yes ", "check": "0.00V*4 1.00V 3.30V*3 " + "0.00V*6 3.30V*4 ", "trials": ":pass +2 "}[
        step.__struct_config__.tag
    ]
    play = Play(safe("C12"), step, fuses(1))(PROOF + over + FUSE)
    assert asks_for_proof(play)
    assert "has had power" in play.said
    again = Play(safe("C12"), step, SECOND, fuses(1))
    again(PROOF + over + "0.00V " + PROOF + FUSE)
    assert again.verdicts["F1"].verdict == "pass"


def test_yes_never_waives_the_proof() -> None:
    """A yes lies under the finger, and may be meant for another question: it leads to the proof, on the safe side."""
    play = Play(safe("C12"), fuses(1))("1.52V*3 :skip_step " + FUSE + ":yes " + FUSE)
    assert (play.session.bench.step, "F1" in play.verdicts) == ("dead", False)
    play("0.00V " + PROOF + FUSE)
    assert play.verdicts["F1"].verdict == "pass"


def test_yes_where_no_step_proves_it_goes_nowhere() -> None:
    """As with --steps: the question stands."""
    play = Play(safe("C12"), fuses(1), options={"steps": ["fuses"]})("OL*3 :yes " + FUSE)
    assert asks_for_proof(play) and "F1" not in play.verdicts
    assert "no step of this session proves" in play.notes[-1]


@pytest.mark.parametrize("source", ["pedal", "token", "page"])
def test_a_waiver_is_said_at_the_bench(source: str) -> None:
    """Not by a foot, by the tips, or from a tablet that lies elsewhere."""
    play = Play(safe("C12"), fuses(1))("1.52V*3 :skip_step OL*3 +1 ")
    play.feed(Operator(at(play.t_s), "waive", "cold", source))
    assert asks_for_proof(play)
    play.feed(Operator(at(play.t_s), "waive", "cold", "key"))
    assert not asks_for_proof(play)


def test_a_waiver_needs_its_reason_and_a_question() -> None:
    """Without either it is none, and a note says so."""
    play = Play(safe("C12"), fuses(1))("1.52V*3 :skip_step OL*3 :waive ")
    assert asks_for_proof(play) and "needs its reason" in play.notes[-1]
    proved = Play(safe("C12"), fuses(1))(PROOF + ":waive=cold ")
    assert "no proof is missing" in proved.notes[-1]


@pytest.mark.parametrize("live", [PROOF + ":yes ", "1.52V*3 0.00V*3 12.00V*3 :skip 0.00Vac :skip 0.00V 1.52V*3 "])
def test_no_waiver_for_a_unit_known_to_have_had_power(live: str) -> None:
    """A step with the power on, or volts at a point that must be dead: no word goes on."""
    steps = (safe("C12"), powered()) if ":yes" in live[-6:] else (safe("C12"),)
    play = Play(*steps, fuses(1))(live + "OL*3 :waive=cold " + FUSE)
    assert asks_for_proof(play) and "F1" not in play.verdicts
    assert "waive TEXT" not in play.said
    assert any(note.startswith("waive: ") and "nothing but a measurement" in note for note in play.notes)


def test_a_part_that_was_replaced_voids_the_proof() -> None:
    """An iron was on the board: nothing ticks until it is proved dead again, and then the part is measured."""
    play = Play(safe("C12"), fuses(2))(PROOF + FUSE + ":replaced=F1 ")
    assert asks_for_proof(play) and "a part was replaced" in play.said
    assert play.prompts[-1] == "answer F1"
    play(FUSE)
    assert "replaced" not in play.verdicts["F1"].reason
    play(":yes 0.00V " + PROOF + FUSE)
    assert play.verdicts["F1"].reason.startswith("replaced, F1")


def test_a_part_that_was_replaced_voids_the_waiver_too() -> None:
    """It was about the unit as it was then; a new one may be said."""
    play = Play(safe("C12"), fuses(2))("1.52V*3 :skip_step OL*3 :waive=cold " + FUSE + ":replaced=F1 ")
    assert asks_for_proof(play)
    play(":waive=its_holder_only " + FUSE)
    assert play.verdicts["F1"].reason.startswith("replaced, F1")


def test_a_part_that_was_replaced_in_the_middle_of_the_proof_begins_it_anew() -> None:
    """What was found dead before proves nothing of the board as it is now."""
    play = Play(safe("C12"), fuses(1))("1.52V*3 0.00V*3 +2 :yes 0.00V*2 :replaced=relay_K2 ")
    assert play.machine.state == "before"
    assert "part replaced: dead (dead): relay K2" in play.notes
    play("0.00V " + PROOF + FUSE)
    assert play.verdicts["F1"].verdict == "pass"


def test_a_cell_that_was_replaced_voids_the_proof_for_the_ohms_after_it() -> None:
    """A cell in its holder is a source: its own step goes on in volts, the next one in ohms asks."""
    cell = CellStep(id="backup", items=(Item("BT1"),))
    play = Play(safe("C12"), cell, fuses(1))(PROOF + "0.00V*9 1.500V*4 :replaced 0.00V*9 3.200V*4 " + FUSE)
    assert play.verdicts["BT1"].verdict == "pass"
    assert asks_for_proof(play)


def test_power_voids_the_word_too() -> None:
    """The operator's yes to going on was about the unit as it was then."""
    play = Play(safe("C12"), fuses(1), powered(), check("R1", contacts=1))
    play("1.52V*3 :skip_step OL*3 :waive=cold " + FUSE + ":yes OL*6 9 100.0*4")
    assert "R1" not in play.verdicts
    assert asks_for_proof(play)


def test_failed_proof_takes_the_earlier_one_back() -> None:
    """The last safe step decides: a later one that did not pass leaves the unit unproved."""
    play = Play(safe("C12"), SECOND, fuses(1))(PROOF + "1.52V*3 :skip_step " + FUSE)
    assert asks_for_proof(play)


def test_safe_with_the_power_on_proves_nothing() -> None:
    """Points that read 0 V while the unit is on say that those rails are off, no more."""
    play = Play(safe("C12", power="on"), fuses(1))(PROOF + FUSE)
    assert asks_for_proof(play)


def test_zero_touches_nothing() -> None:
    """The leads are nulled before any proof."""
    play = Play(zero(), safe("C12"))("OL*4 9 0.20*3")
    assert play.ticks == ["leads pass"]


def test_diode_and_capacitance_need_the_proof_too() -> None:
    """They drive a current of the meter's own through the circuit as well."""
    for quantity in (Quantity.DIODE, Quantity.CAPACITANCE):
        step = CheckStep(id="d", items=(Item("D1"),), quantity=quantity, unit=quantity.unit)
        assert asks_for_proof(Play(safe("C12"), step, options={"steps": ["d"]}))


def test_volts_need_none() -> None:
    """A rail is measured live."""
    play = Play(safe("C12"), volts("TP1", power="on"), options={"steps": ["rails"]})(
        "0.00V*4 1.00V 3.30V*3 0.00V*6 3.30V*4"
    )
    assert play.ticks == ["TP1 pass"]


def test_waiver_and_loose_parts_need_none() -> None:
    """`--no-safe` stands in the first record; loose parts have nothing to be dead of."""
    waived = Play(safe("C12"), fuses(1), options={"no_safe": True, "steps": ["fuses"]})(FUSE)
    assert waived.verdicts["F1"].verdict == "pass"
    assert Play(fuses(1))(FUSE).verdicts["F1"].verdict == "pass"


def test_powered_step_that_was_done_before_the_interruption_powers_nothing_now() -> None:
    """A continued session proves the unit again and passes over what was done: the unit has had no power since."""
    steps = (safe("C12"), powered(), fuses(1))
    first = Play(*steps)(PROOF + ":yes :quit")
    kept = inherited_from(first.session.bench, "continue", "s1").as_builtins()
    assert Play(*steps, inherited=kept)(PROOF + FUSE).verdicts["F1"].verdict == "pass"


# --- probe NAME


@pytest.mark.parametrize("waiver", [{}, {"no_safe": True}])
def test_probe_measures_no_ohms_with_the_power_on(waiver: dict[str, bool]) -> None:
    """In a powered step the dial on ohms is refused with the reason, whatever was waived; volts are measured."""
    play = Play(safe("C12"), powered(), options=waiver)(PROOF + "OL*3")
    assert play.since(":probe=R77") == ["note"]
    assert "power is on" in play.notes[-1]
    assert "resistance" in play.notes[-1]
    play("0.00V*3 :probe=TP1 0.00V*5 1.00V 3.30V*3")
    assert (play.verdicts["TP1"].value, play.verdicts["TP1"].unit) == (3.3, "V")


def test_probe_measures_no_ohms_of_loose_parts_with_the_power_on() -> None:
    """A loose part needs no proof, but no current of the meter's own goes into one that is powered."""
    play = Play(powered())("OL*3")
    assert play.since(":probe=R77") == ["note"]


def test_probe_measures_no_ohms_of_an_unproved_unit() -> None:
    """Before the safe step, and after power without a new one."""
    play = Play(confirm(), safe("C12"))("OL*3 :probe=R77")
    assert "no safe step has passed" in play.notes[-1]
    play = Play(safe("C12"), powered(), confirm())(PROOF + ":yes OL*3 :probe=R77")
    assert "has had power" in play.notes[-1]
    assert "R77" not in play.verdicts


def test_probe_after_the_proof_or_the_word() -> None:
    """Proved, or accepted by word in the step: the unplanned item is measured."""
    play = Play(safe("C12"), confirm())(PROOF + "OL*6 :probe=R77 OL*6 9 47.3*4")
    assert play.verdicts["R77"].value == 47.3
    play = Play(safe("C12"), fuses(1))("1.52V*3 :skip_step OL*6 :waive=cold OL*6 :probe=R77 OL*6 9 47.3*4")
    assert play.verdicts["R77"].value == 47.3


def test_interlude_in_volts_takes_no_question_away() -> None:
    """The question about the missing proof stands again when the planned step comes back."""
    play = Play(safe("C12"), fuses(1), options={"steps": ["fuses"]})("0.00V*3 :probe=TP1 0.00V*5 1.00V 3.30V*3")
    assert play.ticks == ["TP1 pass"]
    play(FUSE)
    assert asks_for_proof(play)
    assert "F1" not in play.verdicts


def test_dial_decides_what_an_unplanned_item_is_measured_in() -> None:
    """Not what the planned step wants, but what the meter shows."""
    play = Play(fuses(2))("0.00V*3 :probe=TP1 0.00V*5 1.00V 3.30V*3")
    assert (play.verdicts["TP1"].value, play.verdicts["TP1"].unit) == (3.3, "V")


def test_a_class_of_parts_counts_on() -> None:
    """`probe F` is F1, then F2; after the plan's own numbers it goes on from the highest; a name is itself."""
    one = "OL*6 9 47.3*4 OL*6 "
    play = Play(confirm())("OL*6 :probe=F " + one + ":probe=F " + one + ":probe=F9 " + one + ":probe=F " + one)
    play(":probe=rail " + one + ":probe=main_fuse " + one + ":probe=TP " + one)
    assert [tick.split(" pass")[0] for tick in play.ticks] == ["F1", "F2", "F9", "F10", "rail", "main fuse", "TP1"]
    assert Play(fuses(12))("OL*6 :probe=F").prompts[-1] == "probe F13"


@pytest.mark.parametrize("word", ["at=F3", "no", "again"])
def test_every_word_is_answered_while_ohms_wait_for_a_proof(word: str) -> None:
    """Where it led, and that a proof or a yes comes first: no prompt of the step is seen meanwhile."""
    play = Play(safe("C12"), fuses(3), options={"steps": ["fuses"]})("OL*6 ")
    heard, asked = len(play.notes), len(play.of(Prompt))
    play(f":{word} ")
    (answer,) = play.notes[heard:]
    item = "F3" if "F3" in word else "F1"
    assert answer.startswith(f"fuses: {item}, 0 of 3 done; first: not proved dead")
    (again,) = play.of(Prompt)[asked:]
    assert (again.item, again.asks) == (item, Asks.PROVE)
