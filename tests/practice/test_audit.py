"""The audit against hand-made sessions: where the tips were, and what was said."""

from __future__ import annotations

import msgspec

from metercap.practice.audit import Audit
from metercap.practice.bench import PracticeBench
from metercap.practice.scene import Scene, parse_scene
from metercap.records import Verdict, VerdictKind
from metercap.rests import Touched


def verdict(
    t_s: float, item: str, kind: VerdictKind = VerdictKind.PASS, *, n: int = 2, from_s: float | None = None
) -> Verdict:
    return Verdict(t_s, "fuses", item, kind, n=n, from_s=t_s - 0.5 if n and from_s is None else from_s)


def on(bench: PracticeBench, name: str, from_s: float, to_s: float) -> None:
    bench.put(from_s, bench.board.place(name))
    bench.put(to_s, bench.board.place("F12")._replace(name=""))


def test_a_verdict_on_the_right_item_is_no_wrong_tick(twelve: Scene) -> None:
    """The tips were on F1 while its readings were made."""
    bench = PracticeBench(twelve)
    audit = Audit(bench)
    on(bench, "F1", 1.0, 3.0)
    audit.see(verdict(2.5, "F1"))
    assert audit.wrong_ticks == []
    assert not audit.agrees
    assert ("fuses", "F2") in audit.missing


def test_a_verdict_from_another_items_readings_is_a_wrong_tick(twelve: Scene) -> None:
    """The tips were on F2 only, and F1 was ticked; an unsure of the same item flags it."""
    bench = PracticeBench(twelve)
    audit = Audit(bench)
    on(bench, "F2", 1.0, 3.0)
    audit.see(verdict(2.5, "F1"))
    assert [mark.verdict.item for mark in audit.wrong_ticks] == ["F1"]
    assert audit.flagged == 0
    audit.see(verdict(9.0, "F1", VerdictKind.UNSURE, from_s=2.0))
    assert audit.wrong_ticks == []
    assert audit.flagged == 1


def test_measuring_again_heals_a_wrong_tick(twelve: Scene) -> None:
    """A later verdict with the tips on the item replaces the wrong one."""
    bench = PracticeBench(twelve)
    audit = Audit(bench)
    on(bench, "F2", 1.0, 3.0)
    audit.see(verdict(2.5, "F1"))
    on(bench, "F1", 5.0, 8.0)
    audit.see(verdict(7.5, "F1"))
    assert audit.wrong_ticks == []
    assert audit.flagged == 1


def test_a_word_said_on_another_item_is_a_wrong_word(twelve: Scene) -> None:
    """`open` said with the tips on F3 while the tool asked for F2; said in the air nobody can tell."""
    bench = PracticeBench(twelve)
    audit = Audit(bench)
    on(bench, "F3", 1.0, 3.0)
    audit.see(verdict(2.5, "F2", VerdictKind.FAIL, n=0))
    assert [mark.verdict.item for mark in audit.wrong_words] == ["F2"]
    assert audit.wrong_ticks == []
    audit.see(verdict(4.0, "F4", VerdictKind.FAIL, n=0))
    assert [mark.verdict.item for mark in audit.wrong_words] == ["F2"]


def test_the_audit_agrees_when_every_verdict_equals_the_truth(twelve_text: str) -> None:
    """All there and all true; one that differs, or one that is missing, and it does not."""
    scene = parse_scene(twelve_text + 'F3 = ["fail", "unsure"]\n')
    bench = PracticeBench(scene)
    audit = Audit(bench)
    for n in range(1, 13):
        kind = VerdictKind.UNSURE if n == 3 else VerdictKind.PASS
        on(bench, f"F{n}", n * 10.0, n * 10.0 + 3.0)
        audit.see(verdict(n * 10.0 + 2.5, f"F{n}", kind))
    assert audit.agrees
    audit.see(verdict(200.0, "F4", VerdictKind.FAIL, from_s=41.5))
    assert not audit.agrees


def test_two_names_of_one_point_are_one_place(twelve_text: str) -> None:
    """The source of a step goes by the step's id: touching either name is touching it."""
    scene = parse_scene(twelve_text.replace("[rows]", '[alias]\nfirst = "F1"\n[rows]'))
    bench = PracticeBench(scene)
    audit = Audit(bench)
    on(bench, "first", 1.0, 3.0)
    audit.see(verdict(2.5, "F1"))
    assert audit.wrong_ticks == []


def test_each_contact_of_a_verdict_must_have_been_on_the_item(twelve: Scene) -> None:
    """The first of two contacts was on F2: what F1 got rests on it as well, so it is misplaced."""
    bench = PracticeBench(twelve)
    audit = Audit(bench)
    on(bench, "F2", 1.0, 3.0)
    on(bench, "F1", 5.0, 8.0)
    both = (Touched(2.0, 2.5, 0.2), Touched(7.0, 7.5, 0.2))
    audit.see(msgspec.structs.replace(verdict(7.5, "F1", n=4, from_s=2.0), contacts=both))
    assert [mark.verdict.item for mark in audit.wrong_ticks] == ["F1"]


def test_a_late_frame_counts_for_what_it_showed(twelve: Scene) -> None:
    """Frames come two seconds' worth at once: by then the tips are on F2, and what arrives was F1's."""
    bench = PracticeBench(msgspec.structs.replace(twelve, meter=msgspec.structs.replace(twelve.meter, burst=4)))
    bench.hands.drop("move")  # type: ignore[attr-defined]
    bench.put(0.0, bench.board.place("F1"))
    while (out := bench.step(bench.next_s)) is None:
        pass
    bench.put(out.t_s - 0.005, bench.board.place("F2"))

    for item, right in (("F1", True), ("F2", False)):
        audit = Audit(bench)
        audit.see(verdict(out.t_s, item, from_s=out.t_s))
        assert (audit.wrong_ticks == []) is right
