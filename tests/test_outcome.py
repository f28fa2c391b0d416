"""What stands, what is open, and the exit status, record by record."""

from __future__ import annotations

from typing import Any, Literal

import msgspec
import pytest

from metercap.errors import PlanError
from metercap.meter import MeterProfile
from metercap.outcome import ASKED_AGAIN, NOT_COUNTED, NOT_DONE, Fold, Open, fold
from metercap.plan import Plan
from metercap.plan.model import to_builtins
from metercap.plankeys import CheckStep, ConfirmStep, Item, SafeStep, SweepStep
from metercap.records import (
    Cue,
    CueKind,
    Do,
    EndRecord,
    Note,
    Operator,
    Prompt,
    Reason,
    Record,
    SessionRecord,
    Verdict,
    VerdictKind,
)
from metercap.session import Driver, Session

PLAN = Plan(
    title="Climate controller",
    model="GC-8",
    steps=(
        ConfirmStep(id="intake"),
        SafeStep(id="dead", points=("C12",)),
        SweepStep(id="fuses", items=(Item("F10"), Item("F1"), Item("F2")), max=2.0),
        CheckStep(id="rails", items=(Item("TP5", both_ways=True),), min=4.9, max=5.1, unit="V"),
    ),
)
ALL = [
    ("intake", "intake"),
    ("dead", "C12"),
    ("dead", "dead"),
    ("fuses", "F1"),
    ("fuses", "F2"),
    ("fuses", "F10"),
    ("rails", "TP5"),
    ("rails", "TP5 reversed"),
]


def session(plan: dict[str, Any] | None = None, **options: Any) -> SessionRecord:
    return SessionRecord(
        t_s=0.0,
        schema=2,
        id="1",
        start_utc="2031-03-04T05:06:07Z",
        zone_offset_s=0,
        unit="controller B",
        tag="B",
        operator="",
        known_good=False,
        plan=to_builtins(PLAN) if plan is None else plan,
        meter=MeterProfile(name="lcd14", family="lcd14"),
        identity="",
        reference={},
        options=options,
        inherited={},
        program="metercap",
    )


def verdict(step: str, item: str, kind: VerdictKind = VerdictKind.PASS, t_s: float = 1.0) -> Verdict:
    return Verdict(t_s=t_s, step=step, item=item, verdict=kind)


def prompt(step: str, item: str | None, do: Do = Do.PROBE) -> Prompt:
    return Prompt(t_s=1.0, step=step, item=item, do=do, say="")


def end(reason: Reason = "done") -> EndRecord:
    return EndRecord(t_s=9.0, reason=reason, counts={}, sha256="")


EVERY = [verdict(step, item) for step, item in ALL]


def test_all_pass_is_0() -> None:
    """Every item of the plan, both polarities and every point included, passed: nothing open, status 0."""
    result = fold([session(), *EVERY, end()])
    assert result.expected == tuple(ALL)
    assert (result.open, result.exit_status) == ((), 0)
    assert result.counts == {"pass": 8, "fail": 0, "unsure": 0, "absent": 0}


@pytest.mark.parametrize(("kind", "status"), [("pass", 0), ("absent", 0), ("fail", 1), ("unsure", 1)])
def test_status_by_verdict(kind: str, status: int) -> None:
    """Pass and absent leave 0, fail and unsure make it 1, wherever the item stands in the plan."""
    for key in ALL:
        others = [verdict(*other) for other in ALL if other != key]
        assert fold([session(), *others, verdict(*key, VerdictKind(kind)), end()]).exit_status == status


def test_a_later_verdict_replaces_an_earlier_one() -> None:
    """The last verdict of an item stands, in both directions, and every other item's stays."""
    worse = verdict("fuses", "F2", VerdictKind.UNSURE, 5.0)
    better = verdict("fuses", "F2", VerdictKind.PASS, 6.0)
    assert fold([session(), *EVERY, worse, end()]).exit_status == 1
    result = fold([session(), *EVERY, worse, better, end()])
    assert result.exit_status == 0
    assert result.verdicts["fuses", "F2"] is better
    assert len(result.verdicts) == len(ALL)


def test_verdicts_are_in_the_plan_s_order() -> None:
    """However they came: the plan's items in its order (F1, F2, F10), then unplanned ones."""
    came = [verdict("unplanned", "J3"), *reversed(EVERY)]
    assert list(fold([session(), *came]).verdicts) == [*ALL, ("unplanned", "J3")]


def test_an_unplanned_item_counts_for_the_status_but_is_never_open() -> None:
    """What `probe NAME` finds bad makes the status 1; asking for it leaves nothing open."""
    bad = verdict("unplanned", "J3", VerdictKind.FAIL)
    assert fold([session(), *EVERY, bad, end()]).exit_status == 1
    assert fold([session(), *EVERY, prompt("unplanned", "J3"), end("quit")]).open == ()


@pytest.mark.parametrize("reason", ["quit", "interrupted", "fault", "done", None])
def test_items_without_a_verdict_are_open(reason: Literal["quit", "done"] | None) -> None:
    """However the run ended, or if it has not: an item without a verdict is open, and the status 1."""
    records: list[Record] = [session(), *EVERY[:3], *EVERY[4:], *([end(reason)] if reason else [])]
    result = fold(records)
    assert result.open == (Open("fuses", "F1", NOT_DONE),)
    assert result.exit_status == 1


def test_nothing_open_after_quit_is_0() -> None:
    """`quit` after the last item leaves nothing open."""
    assert fold([session(), *EVERY, end("quit")]).exit_status == 0


def test_back_reopens_until_the_next_verdict() -> None:
    """A prompt for an item that has a verdict opens it again, until a newer verdict."""
    back: list[Record] = [Operator(t_s=2.0, word="back"), prompt("fuses", "F2")]
    result = fold([session(), *EVERY, *back, end("quit")])
    assert result.open == (Open("fuses", "F2", ASKED_AGAIN),)
    assert result.exit_status == 1
    assert result.verdicts["fuses", "F2"].verdict == "pass"
    assert fold([session(), *EVERY, *back, verdict("fuses", "F2"), end("quit")]).exit_status == 0


def test_two_items_can_be_reopened() -> None:
    """`at F1` while F2 is open again leaves both open."""
    result = fold([session(), *EVERY, prompt("fuses", "F2"), prompt("fuses", "F1"), end("quit")])
    assert [each.item for each in result.open] == ["F1", "F2"]


def test_an_offer_that_was_passed_over_leaves_the_verdict() -> None:
    """Cleaned, replaced? Open while it is asked, decided when something else is; taken up, it is open again."""
    left = end("quit")
    offer, other = prompt("intake", "intake", Do.ANSWER), prompt("fuses", "F1")
    assert [one.item for one in fold([session(), *EVERY, offer, left]).open] == ["intake"]
    assert [one.item for one in fold([session(), *EVERY, offer, other, left]).open] == ["F1"]
    again = [offer, prompt("intake", "intake"), other]
    assert [one.item for one in fold([session(), *EVERY, *again, left]).open] == ["intake", "F1"]


def test_a_new_part_is_open_until_it_is_measured() -> None:
    """What stands is the old one's, whether the prompt for the new one was held up or not."""
    new = Note(2.0, "part replaced: F1 (fuses)", outdated=("fuses", "F1"))
    other = Note(2.0, "part replaced: F9 (fuses)", outdated=("fuses", "F9"))
    result = fold([session(), *EVERY, new, other, end("quit")])
    assert (result.open, result.exit_status) == ((Open("fuses", "F1", ASKED_AGAIN),), 1)
    measured = next(each for each in EVERY if isinstance(each, Verdict) and each.item == "F1")
    assert fold([session(), *EVERY, new, measured, end("quit")]).open == ()


def test_prompts_that_ask_for_no_decision_open_nothing() -> None:
    """Dial, wait, lift, keep, and prompts without an item, are about the meter or the hands."""
    asides = [prompt("fuses", "F2", do) for do in (Do.DIAL, Do.WAIT, Do.KEEP)]
    result = fold([session(), *EVERY, *asides, prompt("fuses", None), end("quit")])
    assert (result.open, result.exit_status) == ((), 0)


def test_count_check_is_open_until_answered() -> None:
    """A sweep's question leaves its item open until what comes after it; words alone, readings and cues do not.

    A word may have come before the question could be seen, and is refused then.
    """
    asked: list[Record] = [session(), *EVERY, prompt("fuses", "F10", Do.ANSWER)]
    noise = [Operator(t_s=2.0, word="say"), Cue(t_s=2.0, step="fuses", item="F10", cue=CueKind.GO)]
    result = fold([*asked, *noise, end("quit")])  # type: ignore[list-item]
    assert result.open == (Open("fuses", "F10", NOT_COUNTED),)
    assert result.exit_status == 1
    assert fold([*asked, *noise, Operator(t_s=3.0, word="yes"), end("quit")]).open == result.open  # type: ignore[list-item]
    assert fold([*asked, *noise, prompt("dead", "C12", Do.LIFT), prompt("dead", None), end("quit")]).open == result.open  # type: ignore[list-item]
    after = prompt("leads", "leads", Do.SHORT)
    assert all(each.why != NOT_COUNTED for each in fold([*asked, after, end("quit")]).open)


def test_count_check_whose_tips_are_still_on_is_open() -> None:
    """The question is asked when the tips are off; who quits before that has not answered it."""
    result = fold([session(), *EVERY, prompt("fuses", "F10", Do.LIFT), end("quit")])
    assert result.open == (Open("fuses", "F10", NOT_COUNTED),)


def test_count_check_that_an_earlier_session_left_is_open_until_asked() -> None:
    """Even where its step is not among those chosen, and at a `done`: nobody has answered it."""
    owed = {"how": "continue", "session": "s1", "uncounted": {"fuses": {"ticked": ["F2"], "since": ["F1", "F2"]}}}
    went_on = msgspec.structs.replace(session(), inherited=owed)
    assert fold([went_on, *EVERY, end("done")]).open == (Open("fuses", "F2", NOT_COUNTED),)
    assert fold([went_on, *EVERY, end("done")]).exit_status == 1
    asked = prompt("fuses", "F2", Do.ANSWER)
    assert fold([went_on, *EVERY, asked, end("done")]).exit_status == 0
    assert fold([went_on, *EVERY, asked, end("quit")]).open == (Open("fuses", "F2", NOT_COUNTED),)


def test_back_out_of_a_count_check_opens_the_item_instead() -> None:
    """`back` in place of an answer asks for an item; the question comes again later."""
    result = fold([session(), *EVERY, prompt("fuses", "F10", Do.ANSWER), prompt("fuses", "F2"), end("quit")])
    assert result.open == (Open("fuses", "F2", ASKED_AGAIN),)


def test_a_point_asked_for_again_in_ac_is_open_until_its_second_verdict() -> None:
    """`safe` decides each point twice; `yes` alone is not the second verdict."""
    dc: list[Record] = [session(), *EVERY[:2], prompt("dead", "C12", Do.ANSWER), Operator(t_s=3.0, word="yes")]
    assert Open("dead", "C12", ASKED_AGAIN) in fold([*dc, end("quit")]).open
    assert all(each.item != "C12" for each in fold([*dc, verdict("dead", "C12"), end("quit")]).open)


def test_done_has_answered_everything() -> None:
    """Under `done` only a missing verdict is open."""
    result = fold([session(), *EVERY, prompt("fuses", "F2"), prompt("fuses", "F10", Do.ANSWER), end("done")])
    assert (result.open, result.exit_status) == ((), 0)


def test_chosen_steps_only() -> None:
    """With `--steps` the other steps' items are not expected."""
    chosen = [verdict(step, item) for step, item in ALL if step == "fuses"]
    result = fold([session(steps=["fuses"]), *chosen, end("quit")])
    assert result.expected == tuple(key for key in ALL if key[0] == "fuses")
    assert result.exit_status == 0


def test_asking_in_the_middle_changes_nothing() -> None:
    """Asked after every record, the fold ends as one that was asked only at the end."""
    records: list[Record] = [session(), *EVERY, prompt("fuses", "F2"), verdict("fuses", "F2", VerdictKind.FAIL), end()]
    asked = Fold()
    statuses = []
    for record in records:
        asked.add(record)
        statuses.append((asked.exit_status, len(asked.open)))
    whole = fold(records)
    assert statuses[-1] == (whole.exit_status, len(whole.open)) == (1, 0)
    assert statuses[:3] == [(1, 8), (1, 7), (1, 6)]
    assert asked.verdicts == whole.verdicts


@pytest.mark.parametrize(
    ("words", "left", "status"),
    [
        (["yes", "yes"], [], 0),
        (["yes", "fail"], [], 1),
        (["yes", "no", "quit"], ["b"], 1),
        (["yes", "absent"], [], 0),
        (["yes", "skip"], [], 1),
        (["yes", "quit"], ["b"], 1),
        (["quit"], ["a", "b"], 1),
    ],
)
def test_a_real_session_is_folded(words: list[str], left: list[str], status: int) -> None:
    """What a session itself gives for an operator's words folds to what is open and the status."""
    first = session(to_builtins(Plan(title="two", steps=(ConfirmStep(id="a"), ConfirmStep(id="b")))))
    driver = Driver(Session(first))
    records: list[Record] = [first, *driver.start()]
    for index, word in enumerate(words):
        for event, outcomes in driver.feed(Operator(t_s=1.0 + index, word=word)):
            records += [event, *outcomes]
    assert driver.session.finished
    records.append(end(driver.session.end_reason))
    result = fold(records)
    assert [each.step for each in result.open] == left
    assert result.exit_status == status


def test_nothing_at_all_is_1() -> None:
    """A file that was cut off inside its first record proves nothing."""
    assert fold([]).exit_status == 1


def test_a_plan_that_is_none_is_an_error() -> None:
    """A session record whose plan has another shape is refused."""
    with pytest.raises(PlanError, match="not a plan"):
        fold([session(plan={"title": "x", "stairs": []})])
