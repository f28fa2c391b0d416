"""The proposal: what comes first and why; `safe` and `zero` whatever the chances; by hand from the design."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import pytest

from metercap.order import Proposed, prior, propose
from metercap.order.wording import minutes_text, sentence, share
from metercap.plan.load import load_plan
from metercap.plankeys import StepBase

HEAD = '[plan]\ntitle = "GC-8"\nsymptoms = ["no light"]\n'
SAFE = '[[step]]\nid = "dead"\nkind = "safe"\npoints = ["C12"]\nminutes = 2\n'
ZERO = '[[step]]\nid = "leads"\nkind = "zero"\nminutes = 1\n'


def confirm(name: str, minutes: float, chance: float = 0.0, more: str = "") -> str:
    finds = f'finds = {{ "no light" = {chance} }}\n' if chance else ""
    return f'[[step]]\nid = "{name}"\nkind = "confirm"\nsay = "so?"\nminutes = {minutes}\n{finds}{more}'


def ohms(name: str, minutes: float, chance: float = 0.0, more: str = "") -> str:
    return (
        f'[[step]]\nid = "{name}"\nkind = "sweep"\nitems = ["{name}1"]\nmax = "2 ohm"\nminutes = {minutes}\n'
        + (f'finds = {{ "no light" = {chance} }}\n' if chance else "")
        + more
    )


def of(
    steps: str, over: Iterable[str] = (), chances: Mapping[str, float] | None = None, **more: object
) -> Proposed | None:
    plan = load_plan(HEAD + steps, "x")
    done = list(over)

    def is_over(step: StepBase) -> bool:
        return step.id in done

    known = prior(plan.steps, "no light") if chances is None else chances
    return propose(plan.steps, "no light", known, is_over, **more)  # type: ignore[arg-type]


INTAKE = confirm("unplug", 1)
WHOLE = INTAKE + SAFE + ZERO + ohms("fuses", 6, 0.3) + ohms("cover", 2, 0.4)


def test_the_likeliest_cheap_look_comes_first() -> None:
    """0.4 in 2 minutes before 0.3 in 6, with the sentence of the design."""
    found = of(WHOLE, over=["unplug", "dead", "leads"])
    assert found is not None
    assert (found.step, found.target) == ("cover", "cover")
    assert found.why == "cover first: 40 %, two minutes, nothing to open"
    assert [(each.step, each.chance, each.minutes) for each in found.order] == [
        ("cover", 0.4, 2.0),
        ("fuses", 0.3, 6.0),
    ]
    assert found.minutes == pytest.approx(0.4 * 2 + 0.3 * 8)
    assert found.plan_minutes == pytest.approx(0.3 * 6 + 0.4 * 8)


def test_safe_and_zero_and_what_stands_before_them_come_first() -> None:
    """However likely the cover is: nothing is pushed before the proof and the leads, in the plan's order."""
    for over, step in (([], "unplug"), (["unplug"], "dead"), (["unplug", "dead"], "leads")):
        found = of(WHOLE, over=over)
        assert found is not None
        assert (found.step, found.target) == (step, "cover")
    found = of(WHOLE)
    assert found is not None
    assert found.why == "cover first, after unplug, dead and leads: 40 %, two minutes, nothing to open"
    assert found.minutes == pytest.approx(0.4 * 6 + 0.3 * 12)


def test_power_makes_the_first_look_in_ohms_dearer() -> None:
    """After power the proof is made anew for it: two minutes, and one for the question right before it.

    Cover 0.4 in 2 + 3 minutes, fuses six after it; in the plan's order fuses 0.3 in 6 + 3, then cover. A question of
    one minute that finds it with 0.09 stands behind the cover while the unit is dead (0.2 a minute), and before it
    after power (0.08).
    """
    done = ["unplug", "dead", "leads"]
    hot = of(WHOLE, over=done, hot=True)
    assert hot is not None
    assert hot.minutes == pytest.approx(0.4 * 5 + 0.3 * 11)
    assert hot.plan_minutes == pytest.approx(0.3 * 9 + 0.4 * 11)
    relay = WHOLE + confirm("relay", 1, 0.09)
    found = [of(relay, over=done, hot=power) for power in (False, True)]
    assert [each is not None and each.target for each in found] == ["cover", "relay"]


def test_no_proof_is_wanted_twice() -> None:
    """While the plan's own proof is still to come, nothing is said of another one, and none is paid for."""
    found = of(WHOLE, over=["unplug"], hot=True)
    assert found is not None
    assert found.why == "cover first, after dead and leads: 40 %, two minutes, nothing to open"
    assert found.minutes == pytest.approx(0.4 * 5 + 0.3 * 11)


def test_a_powered_look_waits_for_the_first_proof_as_well() -> None:
    """A unit is not powered before the plan's own proof is over, however cheap the look is."""
    rail = confirm("rail", 1, 0.6, 'power = "on"\n')
    found = of(INTAKE + SAFE + ZERO + ohms("fuses", 6, 0.1) + rail)
    assert found is not None
    assert (found.step, found.target) == ("unplug", "rail")


def test_after_power_the_proof_comes_again() -> None:
    """The unit had power and only ohms are left: go and prove it dead first."""
    done = ["unplug", "dead", "leads", "rail"]
    rail = confirm("rail", 1, 0.2, 'power = "on"\n')
    found = of(WHOLE + rail, over=done, hot=True)
    assert found is not None
    assert (found.step, found.target) == ("dead", "cover")
    assert "and dead again before it, since the unit had power" in found.why
    cold = of(WHOLE + rail, over=done, hot=False)
    assert cold is not None and cold.step == "cover"


def test_what_must_be_open_is_gone_to_first() -> None:
    """The lid takes six minutes and serves two looks; the sentence names it, and the list what is left to open."""
    steps = confirm("lid", 6, more="opens = 1\n") + confirm("a", 1, 0.3, "teardown = 1\n")
    steps += confirm("b", 1, 0.3, 'teardown = ["lid"]\n') + confirm("c", 4, 0.2)
    found = of(steps)
    assert found is not None
    assert (found.step, found.target) == ("lid", "a")
    assert found.why == "a first: 30 %, one minute, lid (six minutes) before it"
    assert [(each.step, each.needs) for each in found.order] == [("a", ("lid",)), ("b", ()), ("c", ())]
    opened = of(steps, over=["lid"])
    assert opened is not None and opened.why == "a first: 30 %, one minute, nothing to open"


def test_nothing_is_proposed_where_nothing_finds_it() -> None:
    """No chance left, or nothing open."""
    assert of(INTAKE + SAFE + ohms("fuses", 6)) is None
    assert of(WHOLE, over=["unplug", "dead", "leads", "fuses", "cover"]) is None
    assert of(WHOLE, chances={}) is None


def test_a_suspect_among_what_precedes_is_done_where_it_stands() -> None:
    """Looking at the plate comes before the proof in this plan; it stays there."""
    found = of(confirm("plate", 1, 0.5) + SAFE + ZERO + ohms("fuses", 2, 0.2))
    assert found is not None
    assert (found.step, found.target) == ("plate", "plate")
    assert [each.step for each in found.order] == ["plate", "fuses"]


def test_the_shop_is_quoted() -> None:
    """How many units had it there, where any had."""
    found = of(WHOLE, over=["unplug", "dead", "leads"], faults={"cover": 9}, units=11)
    assert found is not None
    assert found.why == "cover first: 40 %, the fault of 9 of 11 units, two minutes, nothing to open"


def test_words() -> None:
    """Small numbers in words, odd ones in digits; a small chance is no 0 %."""
    assert [minutes_text(each) for each in (1, 2.0, 2.5, 12, 13, 0.5)] == [
        "one minute", "two minutes", "2.5 minutes", "twelve minutes", "13 minutes", "0.5 minutes",
    ]  # fmt: skip
    assert [share(each) for each in (0.4, 1.0, 0.004, 0.0962)] == ["40 %", "100 %", "0.4 %", "10 %"]
    assert (
        sentence("a", 0.5, 1, fault_of=1, units=1)
        == "a first: 50 %, the fault of 1 of 1 unit, one minute, nothing to open"
    )
