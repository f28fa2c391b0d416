"""Every step's table as a table: each cell tried on the real machine, every state reached."""

from __future__ import annotations

import copy
import functools
from collections.abc import Callable, Iterator
from enum import StrEnum
from typing import Any

import pytest

from metercap.plan import Plan, to_builtins
from metercap.plankeys import CellStep, ExerciseStep, Item, SafeStep, TrialsStep, TuneStep, WiggleStep
from metercap.records import InJob, Prompt, Verdict, VerdictKind
from metercap.rests import Count
from metercap.session.inherit import Inherited
from metercap.steps import WORDS, Given, Machine
from metercap.steps.cell import Cell
from metercap.steps.confirm import Confirm
from metercap.steps.exercise.machine import Exercise
from metercap.steps.machine import Look, Row
from metercap.steps.nextunit import NextUnit
from metercap.steps.safe import Safe
from metercap.steps.safe.table import SafeState
from metercap.steps.stilldead import Proof, StillDead, StillState
from metercap.steps.tokens import LearnTokens
from metercap.steps.trials import Trials
from metercap.steps.tune.machine import Tune
from metercap.steps.tune.table import TuneSign, TuneState
from metercap.steps.walk.machine import Walk
from metercap.steps.wiggle import Wiggle
from metercap.steps.zero import Zero
from tests.steps.bench_play import Play, check, confirm, fuses, safe, volts, zero
from tests.steps.pictures import FIRSTS
from tests.thirds import third, thirds

GOOD = "9 0.2*2 OL*4 "
SHOWN = "1.52V*3 "
SOURCE = SHOWN + "0.00V*3 "
DC = "+2 :yes 0.00V*2 "
AC = "0.00Vac " + "+2 :yes 0.00Vac*2 "

SITUATIONS: dict[str, tuple[Callable[[], Any], tuple[str, ...]]] = {
    "confirm": (confirm, ("", "OL*3")),
    "confirm after a wait": (lambda: confirm(wait_s=60.0), ("", ":yes", ":yes +61")),
    "check list": (
        lambda: confirm(items=(Item("K1"), Item("F1")), wait_s=60.0),
        ("", ":yes +61", ":yes +61 :skip", ":yes +61 :skip :skip", ":yes +61 :fail"),
    ),
    "zero": (zero, ("", "OL*4", "OL*4 9 0.20", "OL*4 9 0.20*2", "OL*4 9 1.50*3", "OL*4 9 0.20*2 ^lost 0.20")),
    "safe": (
        lambda: safe("J1", "C12"),
        (
            "",
            "0.00V*3",
            SHOWN,
            SHOWN + "12.00V*3",
            SOURCE,
            SOURCE + "+2 :yes",
            SOURCE + "+2 :yes 0.00V",
            SOURCE + "+2 :yes ^lost 0.00V",
            SOURCE + "12.00V*3",
            SOURCE + DC,
            SOURCE + ":skip :absent",
            SOURCE + DC + DC + AC + "+2 :yes 0.00Vac",
            SOURCE + DC + DC + AC + "+2 :yes 0.00Vac*2 0.00V*2",
        ),
    ),
    "safe without points": (lambda: SafeStep(id="dead"), ("", SOURCE)),
    "sweep": (
        lambda: fuses(3, count_check=True),
        (
            "",
            "OL*3",
            "OL*3 9",
            "OL*3 9 0.2",
            "OL*3 9 5.0*4",
            "OL*3 9 5.0*4 OL*5 9 5.0",
            "OL*3 9 -5.0*3",
            "OL*3 9 5.0 ^lost",
            "OL*3 " + GOOD,
            "OL*3 " + GOOD + GOOD + "9 0.2",
            "OL*3 " + GOOD * 3,
            "OL*3 " + GOOD * 2 + "9 0.2*2",
            "OL*3 " + GOOD * 3 + ":no",
            "OL*3 :skip OL*3 " + GOOD * 2,
            "OL*3 :skip OL*3 " + GOOD * 2 + ":yes",
            "OL*3 :skip OL*3 " + GOOD * 2 + ":yes OL*3 " + GOOD,
            "OL*3 :skip :skip :skip",
            "OL*3 :open :open",
        ),
    ),
    "check": (
        lambda: check("R1", "R2"),
        ("", "OL*3", "OL*3 9 100.0", "OL*3 9 100.0*3", "OL*3 9 100.0*3 OL*5 9 100.0", "OL*3 :skip :open"),
    ),
    "exercise": (
        lambda: ExerciseStep(id="cover", items=(Item("S1"), Item("S2")), presses=3, rest_s=1.0),
        (
            "",
            "OL*3",
            "OL*3 0.3*3",
            "OL*3 0.3*3 OL*3",
            "OL*3 0.3*3 OL*3 +1.1",
            "OL*3 0.3*3 OL*3 +1.1 OL*9",
            "OL*3 0.3*3 OL*3 +1.1 0.3 OL*9",
            "OL*3 0.3*3 OL*3 +1.1 OL*8 0.3*2",
            "OL*3 :yes OL*20",
            "OL*3 :yes OL*80",
            "OL*3 0.3*40",
            "OL*3 " + "0.3*3 OL*3 +1.1 " + "OL*12 +1.1 " + "0.3*3 OL*3 +1.1",
            "OL*3 :fail 0.3*3 OL*3 +1.1 0.3*3 OL*3",
        ),
    ),
    "exercise, normally closed": (
        lambda: ExerciseStep(id="cover", items=(Item("S1"),), presses=3, form="nc"),
        ("", "0.3*3", "0.3*3 OL*3", "0.3*3 OL*3 0.3*3", "0.3*3 0.3*9", "0.3*80", "OL*3 :yes OL*12"),
    ),
    "wiggle": (
        lambda: WiggleStep(id="cable", items=(Item("J3"), Item("J4")), watch_s=10.0),
        ("", "OL*3", "OL*3 0.3", "OL*3 0.3*4", "OL*3 0.3*4 OL", "OL*3 0.3*4 50.0", "OL*3 0.3*4 OL*8", "OL*3 0.3*30"),
    ),
    "cell": (
        lambda: CellStep(id="backup", items=(Item("BT1"), Item("BT2")), load=470.0),
        (
            "",
            "0.00V*4",
            "0.00V*4 3.00V",
            "0.00V*4 -3.00V*4",
            "0.00V*4 3.000V*4",
            "0.00V*4 3.000V*4 2.800V*2",
            "0.00V*4 3.000V*4 2.800V*12",
            "0.00V*4 1.500V*4",
            "0.00V*4 1.500V*4 :replaced",
        ),
    ),
    "tune": (
        lambda: TuneStep(id="bridge", items=(Item("RV1"),), target=100.0, tolerance=1.0, never_below=50.0, unit="ohm"),
        (
            "",
            "OL*4",
            "OL*4 120.0",
            "OL*4 120.0*3",
            "OL*4 120.0*4 OL",
            "OL*4 120.0*4 110.0 100.0*8",
            "OL*4 120.0*4 110.0 100.0*8 OL",
            "OL*4 -5.0*3",
            "OL*4 40.0*4 60.0*2 :undo",
        ),
    ),
    "tune two": (
        lambda: TuneStep(id="bridge", items=(Item("RV1"), Item("RV2")), target=100.0, tolerance=2.0, unit="ohm"),
        (
            "",
            "OL*4 120.0*3 OL*5 90.0*3 OL*5",
            "OL*4 120.0*3 OL*5 90.0*3 OL*5 120.0*2 100.0*16 OL*5",
            "OL*4 100.0*3 OL*5 100.0*3 OL*5 100.0*16 OL*5 100.0*16 OL*5",
            "OL*4 100.0*3 OL*5 100.0*3 OL*5 100.0*16 OL*5 100.0*16 OL*5 100.0",
            "OL*4 100.0*3 OL*5 100.0*3 OL*5 100.0*16 OL*5 100.0*16 OL*5 -5.0*3",
        ),
    ),
    "tune to a band too narrow": (
        lambda: TuneStep(id="bridge", items=(Item("RV1"),), target=100.0, tolerance=0.05, unit="ohm"),
        ("", "OL*4 120.0*3", "OL*4 120.0*3 :no"),
    ),
    "tune to a reference": (
        lambda: TuneStep(id="bridge", items=(Item("RV1"),), target="reference", tolerance=2.0, unit="ohm"),
        ("", "OL*4 120.0*3", "OL*4 120.0*3 :target=100", "OL*4 120.0*3 :target=100 :yes"),
    ),
    "trials": (
        lambda: TrialsStep(id="starts", runs=3, off_s=5.0),
        (
            "",
            ":pass",
            ":pass +6 :fail +6 :pass",
            ":pass +6 :fail +6 :pass :fixed=mended",
            ":fail +6 :fixed=mended :pass",
        ),
    ),
    "check in volts": (
        lambda: volts("TP1", "TP2"),
        ("", "0.00V*4", "0.00V*4 :yes", "0.00V*4 :yes 0.00V", "0.00V*4 1.00V 3.30V", "0.00V*4 1.00V 5.00V*3"),
    ),
}
"""For each kind of step: how it is made, and scripts that bring it into its states."""

PROOF = Proof("dead", -60.0, (Verdict(0.0, "dead", "C12", VerdictKind.PASS),))


def with_tokens() -> Play:
    """Return a session that learns two tokens first."""
    steps = (fuses(2), confirm(id="after"))
    plan = Plan(title="t", steps=steps, supply="none", tokens={"open": 143.0, "skip": 249.0})
    return Play(*steps, plan=to_builtins(plan))


def taken_again() -> Play:
    """Return a session of a unit that was proved dead a minute ago."""
    return Play(safe("C12"), confirm(id="after"), inherited=Inherited("continue", proof=PROOF).as_builtins())


def all_done() -> Play:
    """Return a session of a job in which nothing of this unit is open any more."""
    return Play(confirm(), tag="L", job=InJob("vent pair", 1, ("L", "R"), ("R",)))("+1 :yes")


SESSIONS: dict[str, tuple[Callable[[], Play], tuple[str, ...]]] = {
    "tokens": (with_tokens, ("", "OL*4 9", "OL*4 9 143.0*2 OL*5", "OL*4 9 143.0*2 OL*5 9", "OL*4 :skip")),
    "still dead": (
        taken_again,
        (
            "",
            ":yes",
            ":yes 0.00V*4 +2 :yes",
            ":yes 0.00V*4 +2 :yes 0.00V",
            ":yes 12.0V*3",
            ":yes 0.00V*4 +2 :yes 12.0V*3",
            ":no",
            ":no " + SHOWN,
            ":no " + SOURCE,
            ":no " + SOURCE + "+2 :yes",
            ":no " + SOURCE + DC + AC,
            "+1800",
        ),
    ),
    "the next unit": (all_done, ("",)),
}
"""The same for machines that the session puts in by itself: how the whole session is made."""

EVERY = [(name, script) for name, (_, scripts) in SESSIONS.items() for script in scripts]
EVERY += [(name, script) for name, (_, scripts) in SITUATIONS.items() for script in scripts]
KINDS = (Walk, Zero, Safe, Confirm, Exercise, Wiggle, Cell, Tune, Trials, LearnTokens, StillDead, NextUnit)

READINGS = ("OL", "0.2", "5.0", "-5.0", "0.00V", "3.30V", "0.00Vac", "0.2c", "--", "OLV")


def play_to(name: str, script: str) -> Play:
    """Return a play in one of the situations, with a step after it so that the session does not end."""
    if name in SESSIONS:
        return SESSIONS[name][0]()(script)
    make, _ = SITUATIONS[name]
    return Play(make(), confirm(id="after"))(script)


def snapshot(play: Play) -> tuple[Any, ...]:
    """Return what a word that means nothing must leave alone."""
    machine = play.machine
    return machine.state, machine.item, machine.done, machine.deadline_s, play.session.bench.touch.state


def left_at_once(kind: type[Machine]) -> set[StrEnum]:
    """Return the states that nobody waits in."""
    return {state for state, given in kind.TABLE if given is Given.NOW}


def rests(kind: type[Machine], state: StrEnum, given: StrEnum) -> set[StrEnum]:
    """Return the states that an input may end in, by the table alone."""
    cell = kind.TABLE.get((state, given))
    if cell is None:
        return {state}
    if isinstance(cell, Look):
        return {state}.union(*(rests(kind, state, sign) for sign in cell.signs))
    after = state if cell.to is None else cell.to
    if after not in left_at_once(kind):
        return {after}
    return rests(kind, after, Given.NOW) - {after}


UNSEEN = {(TuneState.FOUND, TuneSign.MOVED), (TuneState.FOUND_VOLTS, TuneSign.MOVED)}
"""Finer inputs that no look finds: they come of contacts that do not count."""


@pytest.mark.parametrize("kind", KINDS)
def test_cells_name_methods_states_and_inputs_of_their_machine(kind: type[Machine]) -> None:
    """A row's action is a method, its states are of one enumeration, and none leads out of END.

    Each input that a look may find has its row in that state, and each finer input that has a row is found by a look.
    """
    states = {type(state) for state, _ in kind.TABLE}
    for (state, given), cell in kind.TABLE.items():
        assert state.value != "end"
        assert not cell.action or callable(getattr(kind, cell.action)), (state, given)
        if isinstance(cell, Look):
            assert cell.signs, (state, given)
            assert all(isinstance(kind.TABLE[state, sign], Row) for sign in cell.signs), (state, given)
        else:
            assert rests(kind, state, given), (state, given)
            assert {type(after) for after in rests(kind, state, given)} <= states, (state, given)
        if not isinstance(given, Given):
            looks = [each for (at, _), each in kind.TABLE.items() if at is state and isinstance(each, Look)]
            assert any(given in look.signs for look in looks) or (state, given) in UNSEEN, (state, given)


@pytest.mark.parametrize("kind", KINDS)
def test_finer_inputs_are_not_taken_for_words(kind: type[Machine]) -> None:
    """Enumerations of strings compare by their text, so no finer input may read like one that is given from outside."""
    finer = {given.value for _, given in kind.TABLE if not isinstance(given, Given)}
    assert not finer & {given.value for given in Given}


@pytest.mark.parametrize("kind", KINDS)
def test_states_left_at_once_know_no_other_input(kind: type[Machine]) -> None:
    """What nobody waits in has a look, and rows for what it finds, none of which stays there."""
    for state in left_at_once(kind):
        look = kind.TABLE[state, Given.NOW]
        assert isinstance(look, Look)
        assert {given for at, given in kind.TABLE if at is state} == {Given.NOW, *look.signs}, state
        for sign in look.signs:
            row = kind.TABLE[state, sign]
            assert isinstance(row, Row)
            assert row.to not in (None, state), (state, sign)


@pytest.mark.parametrize("kind", KINDS)
def test_every_state_can_be_reached_and_can_end(kind: type[Machine]) -> None:
    """By the rows alone, every state is reached from a first one, and END from every state."""
    states = [state for each in {type(state) for state, _ in kind.TABLE} for state in each]
    firsts = next(names for machine, names in FIRSTS.values() if machine is kind)
    every: set[StrEnum] = set(states)

    def after(cell: Row | Look) -> Iterator[StrEnum]:
        if isinstance(cell, Row) and cell.to is not None:
            yield cell.to

    def beyond(start: StrEnum) -> set[StrEnum]:
        seen, queue = {start}, [start]
        while queue:
            here = queue.pop()
            for (state, _), cell in kind.TABLE.items():
                if state is here:
                    new = [each for each in after(cell) if each not in seen]
                    queue += new
                    seen |= set(new)
        return seen

    begins = [next(state for state, _ in kind.TABLE if state.value == first) for first in firsts]
    reached = set().union(*(beyond(first) for first in begins))
    assert reached == every
    for state in every:
        assert state.value == "end" or any(each.value == "end" for each in beyond(state)), state


@pytest.mark.parametrize(("name", "script"), EVERY)
def test_every_cell_on_the_real_machine(name: str, script: str) -> None:
    """Each input ends in one of its row's states, or has no row and changes nothing and says nothing."""
    play = play_to(name, script)
    names = play.machine.step.item_names  # the session has found the item before a step hears of it
    tried = [(each, "") for each in Given if each not in (Given.NOW, Given.AT)] + [(Given.AT, each) for each in names]
    for given, text in tried:
        trial = copy.deepcopy(play)
        machine: Machine = trial.machine
        if machine.step.id == "after":
            return
        before, said = snapshot(trial), len(trial.session.bench._out)
        cell = machine.TABLE.get((machine.state, given))
        ends = rests(type(machine), machine.state, given)
        taken = machine.give(given, text)
        assert taken == (cell is not None), given
        if cell is None:
            assert snapshot(trial) == before, given
            assert len(trial.session.bench._out) == said, given
        else:
            assert machine.state in ends, given
            assert machine.state not in left_at_once(type(machine)), given
            assert machine.done == (machine.state.value == "end"), given


@pytest.mark.parametrize("part", thirds())
@pytest.mark.parametrize(("name", "script"), EVERY)
def test_every_word_and_reading_after_every_situation(name: str, script: str, part: int) -> None:
    """Whatever is said or shown next, and after that, the session goes on by its rules (`Play` checks them)."""
    play = play_to(name, script)
    words = [f":{word.replace(' ', '_')}" for word in sorted(WORDS)] + [":at=F1", ":probe=X1", ":say", ":note=hm"]
    for first in third((*words, *READINGS, "^lost", "+30"), EVERY.index((name, script)), part):
        copy.deepcopy(play)(f"{first} OL 9 0.2*2 :again OL*5 9 0.2*4 +30 0.00V*3 :yes 0.00V*3 :skip_step")


@functools.cache
def reached() -> list[tuple[Any, StrEnum]]:
    """Return the machine's table and state of every situation."""
    machines = [play_to(name, script).machine for name, script in EVERY]
    return [(machine.TABLE, machine.state) for machine in machines]


@pytest.mark.parametrize("name", [*SITUATIONS, *SESSIONS])
def test_situations_reach_every_state(name: str) -> None:
    """The situations above bring the machine into every state that it has, but its end."""
    kind = type(play_to(name, "").machine)
    states = [state for each in {type(state) for state, _ in kind.TABLE} for state in each]
    seen = {state for table, state in reached() if table is kind.TABLE}
    assert {state for state in states if state.value != "end"} - left_at_once(kind) <= seen


def test_words_and_inputs_are_one_list() -> None:
    """Every word that goes to a step is an input; the others come from readings and time."""
    assert {given.value for given in Given} - WORDS == {"contact", "value", "ended", "go", "due", "blocked", "now"}


SILENT_MOVES = {SafeState.ANSWERED, StillState.TOUCHED}
"""What a `yes` leads to without a prompt: two values more are awaited, with the tips where they are."""


@pytest.mark.parametrize(("name", "script"), EVERY)
def test_a_word_that_moves_asks_for_what_is_open(name: str, script: str) -> None:
    """Whoever said something that led elsewhere, or `again`, is told what to do now, by the last thing that is said."""
    play = play_to(name, script)
    if play.machine.step.id == "after" or play.session.bench.blocked:
        return
    for word in sorted(WORDS):
        trial = copy.deepcopy(play)
        machine: Machine = trial.machine
        place, said = (machine.state, machine.item), len(trial.session.bench._out)
        text = machine.step.item_names[-1] if word == "at" else ""
        if not machine.give(Given(word), text) or machine.done or machine.state in SILENT_MOVES:
            continue
        if (machine.state, machine.item) != place or word == "again":
            out = [each for each in trial.session.bench._out[said:] if not isinstance(each, Count)]
            assert out and isinstance(out[-1], Prompt), (word, place, machine.state)
