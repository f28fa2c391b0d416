"""What spans the steps of a plan: proof of no voltage, leads, fuses, references, questions."""

from typing import Any

import pytest

from metercap.plan.load import load_plan
from metercap.plan.rules import check_plan

SAFE = '[[step]]\nid = "dead"\nkind = "safe"\npoints = ["C12"]\n'
ZERO = '[[step]]\nid = "leads"\nkind = "zero"\n'
SWEEP = '[[step]]\nid = "fuses"\nkind = "sweep"\nitems = "F1..F3"\nmax = "2 ohm"\n'
POWERED = '[[step]]\nid = "start"\nkind = "confirm"\nsay = "does it start?"\npower = "on"\n'
VOLTS = '[[step]]\nid = "rail"\nkind = "check"\nitems = ["TP1"]\nmin = "4.75 V"\nmax = "5.25 V"\npower = "on"\n'


def check(steps: str, head: str = "", **known: Any) -> Any:
    return check_plan(load_plan(f'[plan]\ntitle = "GC-8"\n{head}{steps}', "gc8.toml"), **known)


def errors(steps: str, head: str = "", **known: Any) -> Any:
    return [str(problem) for problem in check(steps, head, **known) if problem.severity == "error"]


def warnings(steps: str, head: str = "", **known: Any) -> Any:
    return [str(problem) for problem in check(steps, head, **known) if problem.severity == "warning"]


def step(kind: str, lines: str, name: str = "x") -> str:
    return f'[[step]]\nid = "{name}"\nkind = "{kind}"\n{lines}\n'


# --- one item that looks like several


@pytest.mark.parametrize("name", ["F1-F6", "F1 - F6", "F1\u2013F6", "f1-F6", "F1 to F6", "F01-F12", "TP1-TP9"])
def test_a_sweep_of_one_item_that_looks_like_a_range_is_refused(name: str) -> None:
    """It would tick one fuse and call the row done; the message says how a range is written."""
    (problem,) = errors(SAFE + ZERO + step("sweep", f'items = "{name}"\nmax = "2 ohm"'))
    assert f'"{name}" is one item here' in problem
    low, _, high = name.replace(" to ", "-").replace("\u2013", "-").partition("-")
    assert f'"{low.strip()}..{high.strip()}"'.casefold() in problem.casefold()


@pytest.mark.parametrize(
    ("kind", "name"),
    [("sweep", "F1-F2"), ("sweep", "F1-6"), ("check", "TP1-TP4")],
)
def test_what_may_be_one_place_is_warned_of(kind: str, name: str) -> None:
    """A path between two points, or a pin, can have such a name: it is said, and stays allowed."""
    plan = SAFE + ZERO + step(kind, f'items = ["{name}"]\nmax = "2 ohm"')
    assert errors(plan) == []
    (problem,) = warnings(plan)
    assert "is one item here" in problem


@pytest.mark.parametrize("name", ["F1", "J3-4", "F6-F1", "K1-F6", "5 V-A", "main fuse", "R1-R1", "-F6", "1-6"])
def test_other_names_are_names(name: str) -> None:
    """Pins in a check, ends that differ in their letters or run down, and everything without two numbers."""
    assert warnings(SAFE + ZERO + step("check", f'items = ["{name}"]\nmax = "2 ohm"')) == []


# --- proof of no voltage


def test_a_sound_plan() -> None:
    """Proof, leads, sweep: nothing to say."""
    assert check(SAFE + ZERO + SWEEP) == []


def test_ohms_without_proof() -> None:
    """A step in ohms with no safe step before it is an error that says what to do."""
    assert errors(ZERO + SWEEP) == [
        'step 2 "fuses": resistance of a unit that is not proved dead: no safe step before it; '
        'put a safe step before it, or supply = "none" for loose parts'
    ]


def test_proof_after_the_ohms() -> None:
    """Proof that comes later proves nothing for a step before it."""
    assert len(errors(ZERO + SWEEP + SAFE)) == 1


@pytest.mark.parametrize("powered", [POWERED, VOLTS])
def test_proof_is_void_after_power(powered: Any) -> None:
    """After a step with the power on, ohms need a new safe step; the message names what voided the old one."""
    (problem,) = errors(SAFE + ZERO + powered + SWEEP)
    assert "and no safe step follows" in problem
    assert 'the power is on in step 3 "' in problem
    assert errors(SAFE + ZERO + powered + SAFE.replace("dead", "dead2") + SWEEP) == []


def test_every_step_without_proof_is_named() -> None:
    """All unproved steps are named, not only the first."""
    assert len(errors(ZERO + SWEEP + SWEEP.replace("fuses", "more"))) == 2


@pytest.mark.parametrize(
    "lines",
    [
        'items = ["R1"]\nmin = "1 kohm"',
        'items = ["R1"]',
        'items = ["S1"]\nquantity = "continuity"',
        'items = ["D1"]\nquantity = "diode"',
        'items = ["C1"]\nmin = "90 uF"',
    ],
)
def test_what_needs_a_dead_circuit(lines: str) -> None:
    """Resistance, continuity, diode and capacitance are measured with the meter's own current (makers' manuals)."""
    assert len(errors(step("check", lines))) == 1
    assert errors(SAFE + step("check", lines)) == []


@pytest.mark.parametrize("lines", ['items = ["TP1"]\nmin = "3 V"', 'items = ["W1"]\nmax = "20 mA"'])
def test_what_needs_no_proof(lines: str) -> None:
    """Volts and amperes need no dead circuit."""
    assert errors(step("check", lines)) == []


def test_tuning_in_ohms_needs_proof() -> None:
    """A trimmer tuned in ohms is a step in ohms; one tuned in volts is none."""
    ohms = step("tune", 'items = ["RV1"]\ntarget = "2 kohm"\ntolerance = "1 %"')
    volts = step("tune", 'items = ["RV1"]\ntarget = "2 V"\ntolerance = "1 %"\npower = "on"')
    assert len(errors(ohms)) == 1
    assert errors(volts) == []


def test_the_leads_are_no_unit() -> None:
    """Tips held together touch nothing of the unit, so `zero` needs no proof, with power on or off."""
    assert errors(ZERO + ZERO.replace("leads", "again") + 'power = "on"\n') == []


def test_ohms_with_the_power_on() -> None:
    """Resistance with the power on is an error even after a proof."""
    assert errors(SAFE + ZERO + SWEEP + 'power = "on"\n') == [
        'step 3 "fuses" power: resistance is never measured with the power on'
    ]


def test_a_safe_step_that_proves_nothing() -> None:
    """A safe step with the power on proves nothing, and one without points neither; both are named."""
    assert [problem.split(": ")[0] for problem in errors(SAFE + 'power = "on"\n' + ZERO + SWEEP)] == [
        'step 1 "dead" power',
        'step 3 "fuses"',
    ]
    assert "no points, so nothing is proved dead" in errors(step("safe", ""))[0]


def test_loose_parts_need_no_proof() -> None:
    """Parts on the mat have no supply."""
    assert errors(ZERO + SWEEP, head='supply = "none"\n') == []


def test_no_safe_waives_proof() -> None:
    """`no_safe` turns what is missing in proof into a warning that still says so, and waives nothing else."""
    assert errors(ZERO + SWEEP, no_safe=True) == []
    assert "not proved dead" in warnings(ZERO + SWEEP, no_safe=True)[0]
    assert len(errors(ZERO + SWEEP, head='tokens = { open = "2 ohm" }\n', no_safe=True)) == 1


# --- questions, leads


def test_a_confirm_that_asks_nothing() -> None:
    """A confirm step without words is pointed at."""
    assert warnings(step("confirm", "")) == ['step 1 "x" say: asks for nothing; write say = "…"']


def test_a_sweep_without_limits() -> None:
    """A sweep that judges nothing is pointed at, with the items that have no limit."""
    lines = 'items = [{ name = "F1", max = "2 ohm" }, "F2..F4"]'
    assert warnings(SAFE + ZERO + step("sweep", lines)) == [
        'step 3 "x" items: no limit for F2 … F4: values are recorded, nothing is judged'
    ]


def test_small_limits_want_the_leads_nulled() -> None:
    """Leads of 0.2 Ω (makers' manuals) count in a limit below 2 Ω until a zero step takes them off."""
    low = SWEEP.replace("2 ohm", "1.9 ohm")
    (problem,) = warnings(SAFE + low)
    assert "leads of about 200 mΩ count into a limit of 1.9 Ω" in problem
    assert warnings(SAFE + ZERO + low) == []
    assert warnings(SAFE + SWEEP) == []


# --- slips, polarity, hazards


def test_a_slip_that_could_tick() -> None:
    """A recontact time below the 0.5 s that hands slip for is pointed at."""
    steps = SAFE + ZERO + SWEEP
    assert warnings(steps + 'recontact_s = "500 ms"\n') == []
    (problem,) = warnings(steps + "recontact_s = 0.4\n")
    assert problem.startswith('step 3 "fuses" recontact_s: a slip of up to 500 ms could tick the next item')


def test_both_ways_without_ends() -> None:
    """An item probed both ways needs to say which end is which."""
    lines = 'items = [{ name = "D1", both_ways = true }]\nmin = "1 ohm"'
    (problem,) = warnings(SAFE + ZERO + step("check", lines))
    assert "D1 is probed both ways, and nothing says which end is which" in problem
    assert warnings(SAFE + ZERO + step("check", lines.replace("true", 'true, red = "ring"'))) == []


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        ('tolerance = "10 %"\nnever_below = "1.98 kohm"', None),
        (
            'tolerance = "10 %"\nnever_below = "1.981 kohm"',
            "never_below: the band of RV1 reaches 1.98 kΩ, past 1.981 kΩ",
        ),
        ('tolerance = "100 ohm"\nnever_above = "2.3 kohm"', None),
        (
            'tolerance = "100 ohm"\nnever_above = "2.25 kohm"',
            "never_above: the band of RV1 reaches 2.3 kΩ, past 2.25 kΩ",
        ),
    ],
)
def test_a_band_past_a_hazardous_side(lines: str, says: str | None) -> None:
    """A band that reaches past never_below or never_above is an error: a trimmer is never left there."""
    found = errors(SAFE + ZERO + step("tune", f'items = ["RV1"]\ntarget = "2.2 kohm"\n{lines}'))
    assert found == [] if says is None else says in found[0]


def test_a_references_band_past_a_hazardous_side() -> None:
    """The same with a target that comes from the reference."""
    steps = (
        SAFE + ZERO + step("tune", 'items = ["RV1"]\ntarget = "reference"\ntolerance = "1 %"\nnever_below = "1 kohm"')
    )
    assert errors(steps, reference={"x/RV1": {"value": 1005.0}})[0].startswith(
        'step 3 "x" never_below: the band of RV1'
    )
    assert errors(steps, reference={"x/RV1": {"value": 1100.0}}) == []


# --- fuses


def test_a_limit_that_a_good_fuse_cannot_meet() -> None:
    """A good 63 mA glass fuse reads 12.9 Ω cold (data sheet), so 2 Ω would call it blown; leads count as well."""
    lines = 'items = [{ name = "F1", rating = "63 mA", type = "glass 5x20", max = "2 ohm" }]'
    (problem,) = warnings(SAFE + ZERO + step("sweep", lines))
    assert problem.startswith(
        'step 3 "x" items F1: a good fuse of this rating reads about 12.9 Ω, above the limit of 2 Ω'
    )
    enough = lines.replace("2 ohm", "13 ohm")
    assert warnings(SAFE + ZERO + step("sweep", enough)) == []
    assert "about 13.1 Ω" in warnings(SAFE + step("sweep", enough))[0]


def test_a_listed_fuse_with_the_tables_limit() -> None:
    """The limit that rating and type stand for is one that a good fuse meets, for every listed rating."""
    from metercap.reference.fuses import GLASS_5X20_OHM

    items = ", ".join(
        f'{{ name = "F{n}", rating = "{rating} A", type = "glass 5x20" }}' for n, rating in enumerate(GLASS_5X20_OHM)
    )
    assert check(SAFE + ZERO + step("sweep", f"items = [{items}]")) == []


def test_an_unlisted_rating_with_a_limit_of_its_own() -> None:
    """A rating in no table, beside an own limit, is nobody's problem."""
    lines = 'items = [{ name = "F1", rating = "300 mA", type = "glass 5x20", max = "9 ohm" }]'
    assert check(SAFE + ZERO + step("sweep", lines)) == []


# --- references


UNKNOWN = step(
    "sweep", 'items = ["F1", { name = "F2", type = "unknown" }, { name = "F3", rating = "1 A", type = "chip" }]'
)
TUNE = step("tune", 'items = ["RV1"]\ntarget = "reference"\ntolerance = "0.5 %"', "bridge")


def test_a_reference_that_will_be_needed() -> None:
    """Without a reference at hand, what will need one is named as a warning."""
    said = warnings(SAFE + ZERO + UNKNOWN + TUNE)
    assert 'step 3 "x" items: needs the known-good unit\'s value of F2, F3; run it with --against FILE' in said
    assert 'step 4 "bridge" target: needs the known-good unit\'s value of RV1; run it with --against FILE' in said


def test_who_runs_a_plan_asks_for_references_itself() -> None:
    """Without the question for references nothing else is left out."""
    everything, rest = warnings(ZERO + UNKNOWN + TUNE), warnings(ZERO + UNKNOWN + TUNE, needs=False)
    assert [said for said in everything if said not in rest] == [
        said for said in everything if "needs the known" in said
    ]
    assert rest
    assert errors(ZERO + UNKNOWN + TUNE) == errors(ZERO + UNKNOWN + TUNE, needs=False)


def test_a_reference_with_gaps() -> None:
    """With a reference at hand, each value it lacks is an error."""
    reference = {"x/F2": {"value": 0.2}, "x/F3": {"value": None}, "bridge/RV2": {"value": 2187.0}}
    found = errors(SAFE + ZERO + UNKNOWN + TUNE, reference=reference)
    assert [problem.split(":")[0] for problem in found] == ['step 3 "x" items F3', 'step 4 "bridge" target RV1']


def test_a_whole_reference() -> None:
    """A reference that has everything leaves nothing to say."""
    reference = {f"x/F{n}": {"value": 0.2} for n in (2, 3)} | {"bridge/RV1": {"value": 2187.0}}
    assert errors(SAFE + ZERO + UNKNOWN + TUNE, reference=reference) == []


def test_problems_come_in_the_order_of_the_steps() -> None:
    """Problems are listed plan first, then step by step, whichever rule found them."""
    steps = step("confirm", "", "a") + SWEEP + step("confirm", "", "b") + UNKNOWN
    paths = [problem.path for problem in check(steps, head='tokens = { open = "1 ohm" }\n')]
    assert paths[0] == ("plan", "tokens", "open")
    places = [path[1] for path in paths if path[0] == "step"]
    assert places == sorted(places)
    assert set(places) == {0, 1, 2, 3}
