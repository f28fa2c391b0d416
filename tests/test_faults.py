"""Where the fault of a repaired unit was, by what its sittings tell. Expectations by hand from the design: the fault is
in the step whose repair was followed by proof."""

from __future__ import annotations

import pytest
from msgspec import structs

from metercap.faults import FAILED, FIXED, MENDED, PROVED, Repair, Sitting, Told, repair, taught
from metercap.records import EndRecord, Reason, Verdict, VerdictKind
from tests.session.recorded import again
from tests.session.test_searching import DARK, HUMS, at_work, play
from tests.steps.bench_play import Play

FUSES, COILS, RELAY = (MENDED, "fuses"), (MENDED, "coils"), (MENDED, "relay")
FAIL, PROOF = (FAILED, ""), (PROVED, "")


def told(*happened: tuple[str, str], symptom: str = DARK, suspects: tuple[str, ...] = ("fuses", "coils")) -> Told:
    return Told("GC-8", symptom, suspects, happened)


@pytest.mark.parametrize(
    ("sittings", "step"),
    [
        ([told(COILS, PROOF)], "coils"),
        ([told(COILS), told(PROOF)], "coils"),  # the proof came in a later sitting
        ([told(COILS)], None),  # mended, not proved
        ([told(PROOF)], None),  # proved, with nothing mended
        ([told(COILS, FAIL, FUSES, PROOF)], "fuses"),  # it failed after the coils: they were not it
        ([told(COILS, PROOF, FAIL)], None),  # it came back
        ([told(COILS, PROOF, FAIL, FUSES, PROOF)], "fuses"),
        ([told(COILS, FUSES, PROOF)], ""),  # two of them: nobody knows
        ([told(COILS, RELAY, PROOF)], "coils"),  # the plan gives the relay no chance
        ([told(RELAY, PROOF)], "relay"),  # but it was the only one
        ([told(COILS, FUSES, FAIL, (FIXED, "relay"), PROOF)], "relay"),
        ([told(FAIL, COILS, FUSES, (FIXED, "coils"), PROOF)], "coils"),  # named, so that it is known
        ([told(FAIL, COILS, (FIXED, ""), PROOF)], "coils"),  # not named, but only one was mended
        ([told(FAIL, (FIXED, ""), PROOF)], ""),
        ([told(COILS, PROOF, symptom="")], None),
        ([told(COILS, symptom=""), told(PROOF)], "coils"),  # the symptom was said later
    ],
)
def test_the_fault_is_what_was_mended_before_the_proof(sittings: list[Told], step: str | None) -> None:
    """One repair before one proof tells it; several before one proof do not, unless one of them is named or likely."""
    assert repair(sittings) == (None if step is None else Repair("GC-8", DARK, step))


def test_what_repairs_teach() -> None:
    """Counts by model and symptom; what is open is told and counted nowhere."""
    known = [Repair("GC-8", DARK, "coils")] * 2 + [Repair("gc-8", DARK, "fuses"), Repair("GC-8", HUMS, "relay")]
    others = [Repair("GC-9", DARK, "coils"), Repair("GC-8", "it smells", "coils"), Repair("GC-8", DARK, "")]
    shop = taught([*known, *others], "GC-8", (DARK, HUMS), "in 5 jobs")
    assert shop.units == {DARK: 3, HUMS: 1}
    assert shop.faults == {DARK: {"coils": 2, "fuses": 1}, HUMS: {"relay": 1}}
    assert shop.source == "the plan and 4 repaired units in 5 jobs; 1 more had several things mended before one proof"
    assert taught([], "GC-8", (DARK,), "in 5 jobs").source == ""


def said_by(made: Play, reason: Reason = "quit") -> Told | None:
    """Return what the records of a session that was played say, to its end."""
    out = Sitting()
    for record in again(made):
        out.add(record)
    if not made.session.finished:
        out.add(EndRecord(made.t_s, reason, {}, "0" * 64))
    return out.told


FAILS = ":to=coils OL*9 950.0*8 OL*9 950.0*8 OL*9"
MADE_GOOD = ":at=coils/K1 OL*9 800.0*8 OL*9 800.0*8 OL*9"


def test_a_session_tells_what_was_mended_and_proved() -> None:
    """The coil fails, is mended and passes; then both starts pass. The plan says when starts are proof: 29 of them."""
    made = at_work()(FAILS)(MADE_GOOD)
    assert said_by(made) == Told("GC-8", DARK, ("fuses", "coils", "relay"), ((MENDED, "coils"),))


def test_a_start_that_failed_says_that_it_was_not_it() -> None:
    """What was mended before is no cause; what is named in answer is."""
    made = at_work()(FAILS)(MADE_GOOD)(":to=starts :fail +1.5 :pass :fixed=relay_contacts_cleaned")
    happened = said_by(made)
    assert happened is not None
    assert [what for what, _ in happened.happened] == [MENDED, FAILED, FIXED]
    assert happened.happened[-1] == (FIXED, "relay")


def test_where_the_symptom_is_known_from() -> None:
    """From the job, from the operator's word, from an earlier sitting; a good unit tells nothing."""
    for made in (play(), play("")(":symptom=1"), play("", inherited={"how": "job", "session": "s", "symptom": DARK})):
        found = said_by(made)
        assert found is not None and found.symptom == DARK
    found = said_by(play("purple"))
    assert found is not None and found.symptom == ""
    assert said_by(play(known_good=True)) is None


def test_starts_that_are_accepted_are_proof_too() -> None:
    """Two starts are no 29, and unsure; the operator may say that they are enough."""
    made = at_work()(FAILS)(MADE_GOOD)(":to=starts :pass +1.5 :pass")
    found = said_by(made(":accept=starts_enough_for_this"))
    assert found is not None
    assert found.happened == ((MENDED, "coils"), (PROVED, ""))


def test_what_an_earlier_sitting_said_is_not_said_again() -> None:
    """A trimmer that was set then, and is only taken over now, was mended then."""
    made = at_work()(FAILS)(MADE_GOOD)
    (verdict,) = [each for each in made.of(Verdict) if each.item == "K1" and each.verdict is VerdictKind.PASS]
    set_then = structs.replace(verdict, as_found=2560.0, target=2187.0, tolerance=11.0)
    for reason, happened in (("", ((MENDED, "coils"),)), ("from session s0; set", ())):
        out = Sitting()
        out.add(play().record)
        out.add(structs.replace(set_then, reason=reason))
        assert out.told is not None
        assert out.told.happened == happened
