"""What must hold whatever hands do: never a tick for an item that was not touched, and the same again on replay."""

from __future__ import annotations

import copy

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from metercap.plankeys import CellStep, ExerciseStep, Item, TrialsStep, TuneStep, WiggleStep
from metercap.reading import Reading, State
from metercap.records import Clock, Contact, Operator, Prompt, Verdict
from metercap.session import Driver, Session
from tests.effort import examples
from tests.session.hands_model import Bench, Habits
from tests.steps.bench_play import Blend, Play, check, confirm, fuses, safe, volts, zero

SLOW = settings(
    max_examples=examples(120),
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
    database=None,
)

RATES = st.sampled_from([2.0, 3.0, 5.0, 10.0])
OHMS = st.sampled_from([0.1, 0.3, 0.7, 1.2, 5.0, 30.0, None])
SLIP_S = st.sampled_from([0.0, 0.0, 0.0, 0.05, 0.2, 0.3, 0.45, 0.55, 0.59])
STAY_S = st.sampled_from([1.1, 1.5, 2.5])
MOVE_S = st.sampled_from([0.3, 0.5, 0.8, 1.2, 1.7, 2.5, 60.0, 60.0])
EARLY_S = st.sampled_from([0.1, 0.3, 0.6, 1.0, 1.4, 60.0, 60.0, 60.0])
REACTION_S = st.floats(0.12, 0.9)


@st.composite
def habits(draw: st.DrawFn) -> Habits:
    """Draw a technician, a meter and a board."""
    stated = draw(RATES)
    return Habits(
        rate=stated,
        stated=draw(st.sampled_from([stated, 2.0])) if stated > 2.0 else stated,
        frames=draw(st.sampled_from([1, 1, 2, 5])),
        phase=draw(st.floats(0.0, 0.99)),
        blend=draw(st.sampled_from([Blend.OPEN, Blend.BETWEEN, Blend.TOUCH])),
        auto=draw(st.sampled_from([False, False, True])),
        ohms=draw(st.lists(OHMS, min_size=2, max_size=5)),
        reactions=draw(st.lists(REACTION_S, min_size=1, max_size=5)),
        early=[*draw(st.lists(EARLY_S, min_size=1, max_size=5)), 60.0],
        slips=draw(st.lists(st.tuples(SLIP_S, STAY_S), min_size=1, max_size=5)),
        moves=draw(st.lists(MOVE_S, min_size=1, max_size=5)),
    )


def check_ticks(bench: Bench) -> None:
    """No verdict by contact names an item that the tips were not on, for two conversions or nearly so.

    The first of a contact may be a blend under an upper limit: touched within it, then all through the second. What it
    is blended with may be air or a blown fuse, which read alike and only high.
    """
    period_s = 1.0 / bench.habits.rate
    for verdict in bench.play.of(Verdict):
        if verdict.n == 0 or verdict.from_s is None:
            continue
        begin_s = verdict.from_s - period_s
        touched = [stay for stay in bench.stays if stay.off_s > begin_s + 1e-6 and stay.on_s < verdict.t_s - 1e-6]
        touched = [stay for stay in touched if bench.habits.ohms[stay.item] is not None]
        assert touched, verdict
        assert {f"F{stay.item + 1}" for stay in touched} == {verdict.item}, (verdict, touched)
        first = touched[0]
        assert first.on_s <= verdict.from_s + 1e-6, (verdict, touched)
        assert first.off_s >= verdict.from_s - 1e-6, (verdict, touched)


def check_order(bench: Bench) -> None:
    """Each item is prompted before it is decided, decided at most once by hands that never go back, and in order."""
    names = [verdict.item for verdict in bench.play.of(Verdict)]
    assert names == sorted(names)
    assert len(set(names)) == len(names)
    prompted = [prompt.item for prompt in bench.play.of(Prompt) if prompt.do == "probe"]
    assert set(names) <= set(prompted)


@SLOW
@given(habits())
@example(Habits(2.0, 2.0, 5, 0.9, Blend.OPEN, False, [0.2, 0.2], [0.2], [60.0], [(0.59, 2.5)], [60.0])).via(
    "five frames to a conversion made a slip a lift"
)
def test_never_a_tick_for_an_item_that_was_not_touched(technician: Habits) -> None:
    """Slips, early lifts, impatient moves, blends, repeats, range walks: a tick is always where the tips are."""
    bench = Bench(technician)
    bench.run(90.0)
    check_ticks(bench)
    check_order(bench)


@SLOW
@given(habits())
def test_patient_hands_come_to_the_end(technician: Habits) -> None:
    """Hands that hold until the tick and wait for `go` get every item decided, and by what it is."""
    bench = Bench(technician._replace(early=[60.0], moves=[60.0], slips=[(0.0, 0.0)]))
    bench.run(200.0)
    check_ticks(bench)
    verdicts = bench.play.verdicts
    assert list(verdicts) == [f"F{n + 1}" for n in range(len(technician.ohms))]
    for n, ohm in enumerate(technician.ohms):
        kind = "pass" if ohm is not None and ohm < 2.0 else "fail"
        assert verdicts[f"F{n + 1}"].verdict == kind, (n, ohm, verdicts[f"F{n + 1}"])


@SLOW
@given(habits())
def test_what_hands_did_replays(technician: Habits) -> None:
    """The events of any such session give the same outcomes again, deadlines derived anew."""
    play = run(technician).play
    driver = Driver(Session(play.record))
    pairs = [(None, driver.start())]
    for event in play.events:
        if not isinstance(event, Clock):
            pairs += driver.feed(event)  # type: ignore[arg-type]
    assert pairs == play.pairs[: len(pairs)]
    assert all(isinstance(event, Clock) for event, _ in play.pairs[len(pairs) :])


def run(technician: Habits) -> Bench:
    """Return a bench that ran for a while."""
    bench = Bench(technician)
    bench.run(40.0)
    return bench


# --- any script at all

SHOWN = """
OL OL*3 OL*6 0.2 0.2*2 0.2*4 5.0*3 0.3 30.0k*3 0.00k -5.0*3 1.0_2.0_3.0_4.0 0.000M*3 0.2/5 -- 0.2c*3 OLc*3 100.0*3
0.00V*3 3.30V*3 1.52V*3 12.00V*2 OLV*2 0.00Vac*3 0.2!hold*2 0.2!rel 0.2!low_battery 0.2!auto*2 OL!auto*4
"""
SAID = ":yes :no :open :skip :absent :back :again :at=F2 :at=R1 :skip_step :probe=X1 :say :note=hm :pass :fail :undo"
READING = st.sampled_from(SHOWN.split()).map(lambda token: token.replace("_", " ") if token[0] == "1" else token)
WORD = st.sampled_from(SAID.split())
OTHER = st.sampled_from(["+0.3", "+2.5", "+11", "^lost", "^silent", "^up"])
SCRIPT = st.lists(st.one_of(READING, READING, READING, WORD, OTHER), max_size=40).map(" ".join)

STEPS = {
    "sweep": lambda: [fuses(3, count_check=True, patience_s=4.0)],
    "check": lambda: [check("R1", "R2")],
    "volts": lambda: [volts("TP1", "TP2")],
    "safe": lambda: [safe("J1", "C12")],
    "zero": lambda: [zero(), fuses(1), zero(id="leads again")],
    "confirm": lambda: [confirm(wait_s=3.0), confirm(id="cover off"), fuses(2)],
}

OTHERS = {
    "cell": lambda: [CellStep(id="cells", items=(Item("BT1"), Item("BT2")))],
    "cell under load": lambda: [CellStep(id="cells", items=(Item("BT1"),), load=470.0)],
    "exercise": lambda: [ExerciseStep(id="lid", items=(Item("SW1"),), presses=4)],
    "exercise nc": lambda: [ExerciseStep(id="lid", items=(Item("SW1"),), presses=3, form="nc", open_above=50.0)],
    "wiggle": lambda: [WiggleStep(id="cable", items=(Item("J1"), Item("J2")), watch_s=4.0)],
    "trials": lambda: [TrialsStep(id="starts", runs=3, off_s=2.0)],
    "tune": lambda: [TuneStep(id="bridge", items=(Item("RV1"),), target=100.0, tolerance=1.0, unit="ohm")],
    "tune two": lambda: [
        TuneStep(id="pair", items=(Item("RV1"), Item("RV2")), target="as found", tolerance_share=0.05, unit="ohm")
    ],
}
OTHER_SHOWN = "100.0*3 100.0*8 95.0 104.0 9.0*3 250.0*3 3.10V*3 2.80V*3 -3.00V*4 1.50V*4"
OTHER_SCRIPT = st.lists(st.one_of(READING, st.sampled_from(OTHER_SHOWN.split()), WORD, OTHER), max_size=40).map(
    " ".join
)

NOT_LIVE = {"hold", "rel", "min", "max"}


def check_verdicts(play: Play) -> None:
    """Each pass by readings rests on readings that can carry it; each item decided without one on a word."""
    readings = [event for event in play.events if isinstance(event, Reading)]
    words = {event.t_s for event in play.events if isinstance(event, Operator)}
    for verdict in play.of(Verdict):
        if verdict.from_s is None:
            own = verdict.item == verdict.step == "dead"  # a safe step's own verdict sums its points up
            assert own or verdict.t_s in words or "drift" in verdict.reason, verdict
            continue
        if verdict.t_s in words:
            continue  # replaced by a count check's answer
        inside = [each for each in readings if verdict.from_s <= each.t_s <= verdict.t_s and each.state is State.OK]
        assert inside[0].t_s == verdict.from_s, verdict
        last = inside[-1]
        # A drift gives a verdict at the second null's time; the readings it rests on came before.
        if "drift" in verdict.reason:
            continue
        assert last.t_s == verdict.t_s, verdict
        assert not NOT_LIVE & {flag for each in (inside[0], last) for flag in each.flags}, verdict
        assert last.t_s - inside[0].t_s >= 0.4 or last.value != inside[0].value, "two conversions at least"
        if verdict.verdict == "pass" and verdict.max is not None and verdict.n == 2:
            for each in (inside[0], last):
                assert (each.value or 0.0) + each.resolution <= verdict.max + 1e-9, verdict


def check_contacts(play: Play) -> None:
    """A verdict by contact comes after a credited contact with that item since the item was asked for last."""
    touched: dict[str, bool] = {}
    for outcome in play.out:
        if isinstance(outcome, Prompt) and outcome.item is not None and outcome.do == "probe":
            touched.setdefault(outcome.item, False)
        elif isinstance(outcome, Contact) and not outcome.same:
            touched[outcome.item] = True
        elif isinstance(outcome, Verdict) and outcome.n and outcome.step in ("fuses", "check"):
            assert touched.get(outcome.item), outcome


@pytest.mark.parametrize("kind", STEPS)
@settings(SLOW, max_examples=examples(100))
@given(SCRIPT, st.sampled_from([2.0, 5.0]), st.sampled_from([1, 3]))
def test_any_script_keeps_the_rules(kind: str, script: str, rate: float, frames: int) -> None:
    """Whatever is shown and said, in any order: `Play`'s checks hold, and every verdict rests on what carries it."""
    play = Play(*STEPS[kind](), rate=rate, profile_rate=2.0, frames=frames)(script)  # type: ignore[misc, no-untyped-call]
    check_verdicts(play)
    check_contacts(play)
    play("+400")
    assert len(play.events) < 2000


@pytest.mark.parametrize("kind", STEPS)
@settings(SLOW, max_examples=25)
@given(SCRIPT, SCRIPT)
def test_copies_and_replays_agree(kind: str, first: str, then: str) -> None:
    """A copy goes the same way, and so does a new session fed the same events."""
    play = Play(*STEPS[kind]())(first)  # type: ignore[misc, no-untyped-call]
    twin = copy.deepcopy(play)
    assert play(then).out == twin(then).out
    driver = Driver(Session(play.record))
    out = driver.start()
    for event in play.events:
        fed = driver.due(event.t_s) if isinstance(event, Clock) else driver.feed(event)
        out += [outcome for _, outcomes in fed for outcome in outcomes]
    assert out == play.out


@pytest.mark.parametrize("kind", OTHERS)
@settings(SLOW, max_examples=examples(40))
@given(OTHER_SCRIPT, st.sampled_from([2.0, 5.0]))
def test_any_script_keeps_other_steps_going(kind: str, script: str, rate: float) -> None:
    """The kinds that this room's other tests do not play keep `Play`'s rules, whatever is shown and said."""
    play = Play(*OTHERS[kind](), confirm(id="after"), rate=rate)(script)  # type: ignore[misc, no-untyped-call]
    play("+400")
    assert len(play.events) < 2000
