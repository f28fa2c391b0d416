"""Sessions of each kind of step, long enough to time: frames of the end-to-end tests' meter fed to the real driver."""

from __future__ import annotations

import random
from collections.abc import Callable
from typing import NamedTuple

from metercap.commands._opening import session_record
from metercap.plan.load import load_plan
from metercap.profiles import find_meter
from metercap.records import Cue, CueKind, Operator, Outcome, Prompt, Record
from metercap.session import Driver, Session
from metercap.wire import decoder
from tests.e2e.outside_meter import Shown, lcd14

RATE = 10.0
Hands = Callable[[int, list[Outcome]], Shown]
"""What the meter shows next, by the number of the frame and the newest outcomes."""


class Kind(NamedTuple):
    """One kind of step at its usual work: a plan, what the meter shows, what the operator answers to an outcome."""

    steps: str
    shows: Hands
    says: Callable[[Outcome], str] = lambda _outcome: ""


def ohms(digits: str, prefix: str = "") -> Shown:
    """A display of a fixed ohm range."""
    return Shown(digits, prefix)._replace(auto=False)


def volts(digits: str, mode: str = "dc") -> Shown:
    """A display of a fixed volt range."""
    return Shown(digits, "", "V", mode)._replace(auto=False)


AIR = ohms("0.L")


def touching(rng: random.Random, digits: Callable[[random.Random], str], on: int = 4, off: int = 10) -> Hands:
    """Touches of `on` conversions, lifts of `off`."""
    return lambda n, _new: ohms(digits(rng)) if n % (on + off) < on else AIR


def turning(rng: random.Random) -> Hands:
    """A trimmer held still for a second, then turned up and down through its band without an end, its digit dancing."""

    def shows(n: int, _new: list[Outcome]) -> Shown:
        if n < 35:
            return ohms("1.500", "k") if n > 14 else AIR
        way = abs((n - 35) % 160 - 80)  # from end to end in 8 s
        return ohms(f"{1.5 + way * 0.0175 + rng.choice((0.0, 0.001)):.3f}", "k")

    return shows


def resting(rng: random.Random, from_frame: int = 15) -> Hands:
    """A trimmer outside its band that nobody turns: its digit dances."""
    return lambda n, _new: AIR if n < from_frame else ohms(f"{1.5 + rng.choice((0.0, 0.001)):.3f}", "k")


def pressing(rng: random.Random) -> Hands:
    """A switch, five conversions closed and five open."""
    return lambda n, _new: ohms(f"{rng.choice((0.1, 0.2)):.1f}") if n % 10 < 5 else AIR


def flexing(rng: random.Random) -> Hands:
    """A path held for the time of a watch, then a lift, and on to the next."""
    return lambda n, _new: ohms(f"{rng.choice((0.4, 0.5)):.1f}") if n % 190 < 170 else AIR


def loading(rng: random.Random) -> Hands:
    """A cell whose last digit dances: it never settles for a verdict's end, since nobody says that the load is on."""
    return lambda n, _new: volts(f"{rng.choice((3.21, 3.22)):.2f}") if n % 60 < 30 else volts("0.00")


def yes_to(*of: str) -> Callable[[Outcome], str]:
    """Say yes to prompts that ask such things."""
    return lambda out: "yes" if isinstance(out, Prompt) and out.do in of else ""


def tick_of(rng: random.Random) -> str:
    """What a good fuse reads."""
    return f"{0.2 + rng.choice((0.0, 0.1)):.1f}"


def steps(kind: str, rest: str, times: int) -> str:
    """Return so many steps of one kind."""
    return "".join(f'[[step]]\nid = "s{n}"\nkind = "{kind}"\n{rest}\n' for n in range(times))


def kinds(rng: random.Random) -> dict[str, Kind]:
    """Every kind of step at its usual work."""
    proof = 'source = "a fresh 1.5 V cell"\npoints = ["supply input", "C12"]'
    trimmer = 'items = ["RV1"]\ntarget = "2.187 kohm"\ntolerance = "0.5 %"\nnever_below = "1.2 kohm"'
    resistors = 'items = "R1..R100"\nmin = "90 ohm"\nmax = "110 ohm"'
    return {
        "sweep": Kind(
            steps("sweep", 'items = "F1..F100"\nmax = "2 ohm"', 30), touching(rng, tick_of), yes_to("answer")
        ),
        "sweep, tips off": Kind(steps("sweep", 'items = "F1..F100"\nmax = "2 ohm"', 1), lambda _n, _new: AIR),
        "check": Kind(steps("check", resistors, 30), touching(rng, lambda r: f"{100 + r.choice((0.0, 0.1)):.1f}", 6)),
        "tune, turning": Kind(steps("tune", trimmer, 1), turning(rng)),
        "tune, at rest": Kind(steps("tune", trimmer, 1), resting(rng)),
        "tune, not counted": Kind(steps("tune", trimmer, 1), resting(rng, 2)),
        "exercise": Kind(steps("exercise", 'items = "K1..K50"\npresses = 20', 30), pressing(rng)),
        "wiggle": Kind(steps("wiggle", 'items = "W1..W50"', 30), flexing(rng)),
        "zero": Kind(steps("zero", "", 900), touching(rng, lambda r: f"{r.choice((0.1, 0.2)):.1f}", 8, 14)),
        "cell": Kind(steps("cell", 'items = "B1..B99"\nload = "470 ohm"', 10), loading(rng)),
        "safe": Kind(steps("safe", proof, 1), lambda n, _new: volts("1.523") if n < 30 else volts("0.000")),
        "trials, waiting": Kind(steps("trials", "", 1), touching(rng, tick_of)),
        "confirm, waiting": Kind(steps("confirm", 'say = "does the clock keep time?"', 1), touching(rng, tick_of)),
    }


def recorded(kind: Kind, readings: int) -> list[Record]:
    """Return the records of a session of so many readings, fewer where its plan ends before."""
    rng = random.Random(5)
    profile = find_meter("lcd14").at_rate(RATE)
    plan = load_plan(f'[plan]\ntitle = "t"\nsupply = "none"\n{kind.steps}', "benchmark")
    record = session_record(plan, profile, unit="B")
    driver, decode = Driver(Session(record)), decoder(profile)
    new = driver.start()
    records: list[Record] = [record, *new]
    t_s = 0.0
    for n in range(readings):
        t_s += 1.0 / RATE + rng.uniform(-0.002, 0.002)
        for reading in decode.feed(lcd14(kind.shows(n, new)), t_s):
            new = []
            for event, outcomes in driver.feed(reading):
                records.append(event)
                new += outcomes
                records += outcomes
            for word in [said for out in new if (said := kind.says(out))]:
                for event, outcomes in driver.feed(Operator(t_s, word, source="line")):
                    records.append(event)
                    records += outcomes
        if driver.session.finished:
            break
    return records


def cues(records: list[Record]) -> set[CueKind]:
    """Return the cues that were given."""
    return {record.cue for record in records if isinstance(record, Cue)}
