"""The practice bench with the real wire, contact, steps and session, on a virtual clock."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path
from random import Random
from typing import Any

import msgspec
import pytest

from metercap import wire
from metercap.commands._bench import play_scene
from metercap.plan import Plan, to_builtins
from metercap.planfile import read_plan
from metercap.plankeys import (
    CellStep,
    CheckStep,
    ConfirmStep,
    ExerciseStep,
    Item,
    SafeStep,
    SweepStep,
    TrialsStep,
    TuneStep,
    ZeroStep,
)
from metercap.practice.audit import Audit
from metercap.practice.bench import PracticeBench
from metercap.practice.habits import Habits
from metercap.practice.moving import Switch
from metercap.practice.scene import Mishap, Scene, load_scene, parse_scene
from metercap.profiles import find_meter, find_plan
from metercap.records import SCHEMA, Record, SessionRecord, Verdict, VerdictKind
from metercap.session import Driver, Session
from tests.practice.played import played

FUSES = SweepStep(id="fuses", items=tuple(Item(name=f"F{n}") for n in range(1, 13)), max=2.0, unit="ohm")
WHOLE = Plan(
    title="main board",
    steps=(SafeStep(id="dead", points=("supply input", "C12")), ZeroStep(id="leads"), FUSES),
)
LOOSE = Plan(title="fuses on the mat", supply="none", steps=(FUSES,))


def driver(scene: Scene, plan: Plan, reference: dict[str, dict[str, Any]] | None = None) -> tuple[Driver, wire.Decoder]:
    profile = find_meter(scene.meter.profile or scene.meter.family)
    record = SessionRecord(
        t_s=0.0,
        schema=SCHEMA,
        id="practice",
        start_utc="2026-03-01T08:00:00Z",
        zone_offset_s=0,
        unit=scene.unit,
        tag=scene.unit,
        operator="",
        known_good=scene.known_good,
        plan=to_builtins(plan),
        meter=profile,
        identity="",
        reference=reference or {},
        options={},
        inherited={},
        program="test",
    )
    return Driver(Session(record)), wire.decoder(profile)


def done(
    scene: Scene,
    plan: Plan,
    seed: int | None = None,
    reference: dict[str, dict[str, Any]] | None = None,
) -> tuple[PracticeBench, Audit, list[Record]]:
    bench = PracticeBench(scene, seed=seed)
    audit = Audit(bench)
    session, decoder = driver(scene, plan, reference)
    profile = find_meter(scene.meter.profile or scene.meter.family)
    records = played(bench, session, decoder, profile, until_s=1800.0)
    for record in records:
        audit.see(record)
    assert session.session.finished
    return bench, audit, records


@pytest.mark.parametrize("name", ["gc8-a", "gc8-b"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_careful_hands_bring_every_verdict_of_the_demo_scenes_to_the_truth(name: str, seed: int) -> None:
    """Safe, zero and sweep on both units: every verdict equals the scene's truth."""
    _, audit, _ = done(load_scene(name), WHOLE, seed)
    assert [(mark.verdict.item, mark.verdict.verdict) for mark in audit.marked if not mark.agrees] == []
    assert audit.missing == []
    assert audit.wrong_ticks == []


@pytest.mark.parametrize("family", ["lcd14", "digits14", "text", "polled-line"])
def test_every_family_carries_a_session(family: str) -> None:
    """The same unit measured through each wire format gives the same verdicts."""
    scene = load_scene("gc8-b")
    counts = 22_000 if family == "digits14" else 4_000
    meter = msgspec.structs.replace(scene.meter, family=family, profile="", counts=counts)
    _, audit, _ = done(msgspec.structs.replace(scene, meter=meter), WHOLE)
    assert audit.agrees


def random_scene(seed: int, **habits: Any) -> Scene:
    """Twelve fuses of a few values, 5 % of them blown, half of those beside 1.2 kohm."""
    rng = Random(seed)
    parts = []
    truth = []
    for n in range(1, 13):
        blown = rng.random() < 0.05
        beside = "beside_ohm = 1200.0\n" if blown and rng.random() < 0.5 else ""
        ohm = rng.choice((0.1, 0.3, 0.8))
        parts.append(f'[[part]]\nnames = "F{n}"\nkind = "fuse"\nohm = {ohm}\nblown = {str(blown).lower()}\n{beside}')
        truth.append(f'F{n} = "{"fail" if blown else "pass"}"\n')
    text = f'schema = 1\ntitle = "random"\nunit = "B"\nseed = {seed}\n[rows]\nfuses = "F1..F12"\n'
    scene = parse_scene(text + "[truth.fuses]\n" + "".join(truth) + "".join(parts))
    return msgspec.structs.replace(scene, hands=Habits(**habits))


def marked(seeds: range, **habits: Any) -> Counter[str]:
    count: Counter[str] = Counter()
    for seed in seeds:
        bench, audit, _ = done(random_scene(seed, **habits), LOOSE)
        count["fuses"] += 12
        count["slips"] += bench.hands.slipped  # type: ignore[attr-defined]
        count["left"] += len(bench.hands.left_silent)  # type: ignore[attr-defined]
        count["wrong"] += len(audit.wrong_ticks)
        count["flagged"] += audit.flagged
    return count


HUMAN = {"slips": 0.1, "early": 0.05, "doubles": 0.02, "on_beep": 0.05, "leaves_open": 0.3}


def test_human_hands_leave_no_wrong_tick_that_nothing_flags() -> None:
    """40 sessions of hands that slip, hurry, touch twice and leave open fuses without a word: mistakes
    happen, all are flagged."""
    count = marked(range(40), **HUMAN)
    assert count["slips"] > 50
    assert count["flagged"] > 0
    assert count["wrong"] == 0


@pytest.mark.slow
def test_ten_thousand_fuses_leave_no_wrong_tick_that_nothing_flags() -> None:
    """834 sessions of 12 fuses; the 95 % upper bound for 0 in 10 008 is 3.0e-4 (exact; rule of three, JAMA
    1983)."""
    count = marked(range(1000, 1834), **HUMAN)
    assert count["fuses"] == 10_008
    assert count["left"] > 50
    assert count["wrong"] == 0


BITS = """
schema = 1
title = "bits and pieces"
unit = "B"
seed = 5
starts = 0.6
[meter]
family = "lcd14"
auto = false
[[part]]
names = "RV1"
kind = "trimmer"
ohm = 3900.0
position = 0.05
backlash_turns = 0.03
noise_ohm = 1.0
[[part]]
names = "SW1"
kind = "switch"
gap_from = 0.75
gap_to = 0.85
after_clean = 0.0
[[part]]
names = "BT1, BT2"
kind = "source"
volt = 3.15
ohm = 20.0
[[part]]
names = "BT3"
kind = "source"
volt = 3.15
ohm = 20.0
reversed = true
[[part]]
names = "+5V"
kind = "source"
volt = 5.02
rail = true
powered = false
[[part]]
names = "+12V"
kind = "source"
volt = 0.0
rail = true
powered = false
"""


def items(*names: str) -> tuple[Item, ...]:
    return tuple(Item(name=name) for name in names)


def bits(*steps: Any, seed: int = 5, **habits: Any) -> tuple[PracticeBench, dict[str, Verdict]]:
    scene = parse_scene(BITS)
    scene = msgspec.structs.replace(scene, hands=msgspec.structs.replace(scene.hands, **habits))
    bench, audit, _ = done(scene, Plan(title="bits", supply="none", steps=steps), seed)
    return bench, {mark.verdict.item: mark.verdict for mark in audit.marked}


@pytest.mark.parametrize("seed", range(6))
def test_a_trimmer_is_brought_into_its_band_by_cues_alone(seed: int) -> None:
    """The technician hears cues and sees no number; what is left on the bench is in the band, as the verdict
    says."""
    step = TuneStep(id="bridge", items=items("RV1"), target=300.0, tolerance_share=0.02, unit="ohm", rule="simple")
    bench, verdicts = bits(step, seed=seed)
    assert verdicts["RV1"].verdict is VerdictKind.PASS
    assert bench.board.place("RV1").part.seen(1e4).ohm == pytest.approx(300.0, rel=0.02)
    assert verdicts["RV1"].as_found == pytest.approx(195.0, abs=1.0)


def test_presses_counted_are_presses_made() -> None:
    """k of n is what the switch did from its first press on, those included that showed nothing before the first
    closure: as found it misses some, after cleaning none."""
    step = ExerciseStep(id="cover", items=items("SW1"), presses=12)
    bench, verdicts = bits(step)
    switch = bench.board.parts["SW1"]
    assert isinstance(switch, Switch)
    missed = switch.presses[:12].count(False)
    assert missed > 0
    assert verdicts["SW1"].verdict is VerdictKind.PASS
    assert (verdicts["SW1"].k, verdicts["SW1"].runs) == (12, 12)
    assert all(switch.presses[-12:])
    assert f"as found {missed} of 12 missed" in verdicts["SW1"].reason


def test_cells_are_loaded_and_a_reversed_one_is_called_so() -> None:
    """Internal resistance by the drop under 470 Ω (20 Ω on the board); the reversed cell reads negative with
    red on +."""
    _, verdicts = bits(CellStep(id="backup", items=items("BT1", "BT2", "BT3"), load=470.0))
    assert {item: verdict.condition for item, verdict in verdicts.items()} == {
        "BT1": "good",
        "BT2": "good",
        "BT3": "reversed",
    }
    (inner,) = re.findall(r"internal ([0-9.]+) Ω", verdicts["BT1"].reason)
    assert float(inner) == pytest.approx(20.0, abs=0.4)


def test_swapped_tips_make_no_reversed_cell() -> None:
    """Every other touch has the tips swapped; asked, the technician says so and puts them right."""
    _, verdicts = bits(CellStep(id="backup", items=items("BT1", "BT2"), load=470.0), swaps=1.0)
    assert {verdict.condition for verdict in verdicts.values()} == {"good"}


def test_rails_live_when_the_supply_was_switched_on() -> None:
    """The confirm step switches the supply on; a rail that stays at zero is judged by the technician's
    yes."""
    on = ConfirmStep(id="on", say="switch the supply on", power="on")
    limits = (Item(name="+5V", min=4.75, max=5.25), Item(name="+12V", min=11.4, max=12.6))
    _, verdicts = bits(on, CheckStep(id="rails", items=limits, unit="V"))
    assert verdicts["+5V"].verdict is VerdictKind.PASS
    assert verdicts["+12V"].verdict is VerdictKind.FAIL


def test_starts_before_and_after_a_repair_end_in_evidence() -> None:
    """0.6 of the starts succeed before the repair and all after it: changed and reliable."""
    _, verdicts = bits(TrialsStep(id="starts", runs=10))
    assert verdicts["starts"].verdict is VerdictKind.PASS
    assert (verdicts["starts"].k, verdicts["starts"].runs) == (29, 29)


def mishap(kind: str, item: str = "F3", **keys: Any) -> Scene:
    scene = random_scene(0)
    sound = [msgspec.structs.replace(part, blown=False) for part in scene.part]
    truth: dict[str, Any] = {"fuses": {"F1..F12": VerdictKind.PASS}}
    return msgspec.structs.replace(
        scene,
        part=sound,
        truth=truth,
        mishap=[Mishap(kind=kind, item=item, **keys)],  # type: ignore[arg-type]
    )


@pytest.mark.parametrize(
    "scene",
    [mishap("hold"), mishap("rel"), mishap("dial", quantity="volts dc"), mishap("low battery")],
    ids=lambda scene: scene.mishap[0].kind,
)
def test_a_mishap_with_the_meter_stops_the_ticking_and_fails_no_item(scene: Scene) -> None:
    """HOLD, REL, a turned dial and a low battery are put right by the technician as prompted; all twelve
    fuses pass."""
    bench, audit, _ = done(scene, LOOSE)
    assert audit.agrees
    assert audit.wrong_ticks == []
    assert not bench.meter.hold
    assert not bench.meter.rel


def leaves(part: str, **habits: Any) -> tuple[PracticeBench, Verdict]:
    """Sweep twelve fuses of which F5 is something else; return its verdict."""
    text = f'schema = 1\ntitle = "x"\nunit = "B"\nseed = 1\n[rows]\nfuses = "F1..F12"\n[[part]]\nnames = "F5"\n{part}\n'
    scene = parse_scene(text + '[[part]]\nnames = "F1..F4, F6..F12"\nkind = "fuse"\n')
    bench, audit, _ = done(msgspec.structs.replace(scene, hands=Habits(**habits)), LOOSE)
    return bench, next(mark.verdict for mark in audit.marked if mark.verdict.item == "F5")


def test_millivolts_in_the_circuit_stop_the_sweep_until_they_are_taken_off() -> None:
    """−4 mV shift an ohm reading by −4 Ω: no tick before the technician has disconnected it."""
    bench, verdict = leaves('kind = "resistor"\nohm = 0.1\nvolt = -0.004')
    assert verdict.verdict is VerdictKind.PASS
    assert bench.board.place("F5").part.seen(0.0).volt == 0.0


def test_millivolts_that_stay_end_in_unsure() -> None:
    """Who cannot take them off skips twice; nothing passes or fails on a falsified reading."""
    _, verdict = leaves('kind = "resistor"\nohm = 0.1\nvolt = -0.004', discharges=False)
    assert (verdict.verdict, verdict.reason) == (VerdictKind.UNSURE, "skipped twice")


def test_a_capacitor_that_charges_is_no_failed_fuse() -> None:
    """0.1 F beside 100 Ω climbs for as long as anybody waits: unsure, with the reason."""
    _, verdict = leaves('kind = "capacitor"\nfarad = 0.1\nbleed_ohm = 100.0')
    assert verdict.verdict is VerdictKind.UNSURE
    assert "climbs" in verdict.reason


@pytest.mark.parametrize("seed", [1, 2])
def test_the_whole_plan_of_the_greenhouse_controller_ends_in_the_truth_on_both_units(seed: int, tmp_path: Path) -> None:
    """Every step that the plan knows: unit A first (but for the repeated starts, which a known-good unit need not
    prove), then B against A's journal; each verdict equals the scene's truth."""
    whole = {step.id for step in read_plan(find_plan("greenhouse-controller")).steps}
    against = None
    for name, left_out in (("gc8-a-whole", {"starts"}), ("gc8-b-whole", set())):
        played = play_scene(name, tmp_path, speed=5000.0, seed=seed, against=against)
        assert whole - set(played.scene.truth) == left_out
        assert played.untrue == ()
        assert played.reason == "done"
        against = played.journal
