"""A draft: what each move leaves, what is proposed, and how it meets a plan that changed. Expected by hand."""

from __future__ import annotations

import msgspec
import pytest

from metercap.marking import draft as doing
from metercap.marking.draft import Baked, Draft, Pic
from metercap.marking.meeting import onto
from metercap.plan.load import examine
from metercap.plan.model import Plan
from metercap.plankeys import SweepStep

PLAN = """\
[plan]
title = "GC-8, fuses"
supply = "none"
[[step]]
id = "fuses"
kind = "sweep"
items = "F1..F4"
max = "2 ohm"
[[step]]
id = "rail"
kind = "check"
items = [{ name = "TP1", where = "beside the regulator", red = "TP1", black = "GND" }]
min = "1 kohm"
"""
KEYS = ["fuses/F1", "fuses/F2", "fuses/F3", "fuses/F4", "rail/TP1"]


def plan_of(text: str) -> Plan:
    found = examine(text)
    assert found.plan is not None, found.problems
    return found.plan


def pic(**more: object) -> Pic:
    start = Pic(file="back.jpg", planned=True, sha256="aa", source="aa", shown="aa", width=200, height=100)
    return msgspec.structs.replace(start, **more)


def drafted(*pics: Pic) -> Draft:
    return Draft(pics, tuple(key for each in pics for key in each.at), base=pics)


def fuses(plan: Plan) -> SweepStep:
    step = plan.steps[0]
    assert isinstance(step, SweepStep)
    return step


def test_every_item_is_a_card_in_the_order_of_probing() -> None:
    cards = doing.cards(plan_of(PLAN.replace('max = "2', 'order = ["F3", "F1"]\nmax = "2')))
    assert [card.item for card in cards] == ["F3", "F1", "F2", "F4", "TP1"]
    assert [card.pair for card in cards] == [False] * 4 + [True]
    assert cards[4].where == "beside the regulator"


def test_an_item_stands_on_one_picture_and_keeps_its_turn() -> None:
    draft = drafted(pic(), pic(file="front.jpg", shown="bb", source="bb"))
    draft = doing.placed(draft, 0, "fuses/F2", ((0.5, 0.25),))
    draft = doing.placed(draft, 0, "fuses/F1", ((0.1, 0.2),))
    draft = doing.placed(draft, 1, "fuses/F2", ((0.123456, 1.0),))
    assert [each.at for each in draft.pics] == [{"fuses/F1": ((0.1, 0.2),)}, {"fuses/F2": ((0.1235, 1.0),)}]
    assert draft.taps == ("fuses/F2", "fuses/F1")
    gone = doing.taken_off(draft, "fuses/F2")
    assert (gone.taps, gone.pics[1].at) == (("fuses/F1",), {})


@pytest.mark.parametrize("tips", [(), ((1.01, 0.5),), ((0.5, -0.01),), ((0.1, 0.1),) * 3])
def test_what_is_no_place_is_refused(tips: tuple[tuple[float, float], ...]) -> None:
    with pytest.raises(ValueError, match="one or two points"):
        doing.placed(drafted(pic()), 0, "fuses/F1", tips)


def test_another_photograph_has_no_places_of_the_old_one() -> None:
    draft = drafted(pic(at={"fuses/F1": ((0.1, 0.2),)}))
    after = doing.another(draft, 0, Baked("cc", 30, 40))
    assert (after.pics[0].at, after.taps, after.pics[0].shown, after.pics[0].width) == ({}, (), "cc", 30)


def test_only_a_picture_that_the_plan_has_not_is_dropped() -> None:
    draft = doing.added(drafted(pic()), Baked("bb", 10, 10), "back")
    draft = doing.placed(draft, 1, "fuses/F1", ((0.5, 0.5),))
    assert doing.dropped(draft, 1) == drafted(pic())
    with pytest.raises(ValueError, match="take its table out"):
        doing.dropped(draft, 0)


def test_a_turn_and_a_cut_take_the_places_along() -> None:
    """A quarter clockwise: x' = 1 - y, y' = x. Then the right half: x'' = (x' - 0.5) / 0.5."""
    draft = drafted(pic(at={"fuses/F1": ((0.4, 0.2),), "fuses/F2": ((0.4, 0.9),)}))
    after, lost = doing.turned(draft, 0, 1, (0.5, 0.0, 1.0, 1.0), Baked("bb", 50, 200))
    assert after.pics[0].at == {"fuses/F1": ((0.6, 0.4),)}  # (0.8 - 0.5) / 0.5
    assert lost == ("fuses/F2",)  # x' = 0.1 was cut off
    assert after.taps == ("fuses/F1",)
    assert (after.pics[0].quarters, after.pics[0].box) == (1, (0.5, 0.0, 1.0, 1.0))


def test_the_order_of_taps_is_proposed_once_all_are_placed() -> None:
    plan = plan_of(PLAN)
    draft = drafted(pic())
    for name, x in (("F2", 0.1), ("F1", 0.2), ("F4", 0.7)):
        draft = doing.placed(draft, 0, f"fuses/{name}", ((x, 0.5),))
    assert next(iter(doing.proposals(draft, plan))).order == ()
    draft = doing.placed(draft, 0, "fuses/F3", ((0.8, 0.5),))
    (found,) = doing.proposals(draft, plan)
    assert found.now == ("F1", "F2", "F3", "F4")
    assert found.order == ("F2", "F1", "F4", "F3")
    assert found.groups == (("F1", "F2"), ("F3", "F4"))  # ways of 0.1, 0.6 and 0.1: 0.6 is more than twice 0.1
    taken = doing.grouped(draft, fuses(plan), found.groups)
    assert next(iter(doing.proposals(taken, plan))).groups == ()
    torn = doing.ordered(taken, fuses(plan), ("F1", "F3", "F2", "F4"))
    assert torn.clusters == {"fuses": ()}
    assert doing.ordered(taken, fuses(plan), ("F2", "F1", "F4", "F3")).clusters == {"fuses": found.groups}


# --- another hand in the file meanwhile


def test_what_each_hand_did_counts() -> None:
    """F1 moved here, F2 moved there, F3 taken off there, F4 placed there, TP1 placed here."""
    begun = pic(at={"fuses/F1": ((0.1, 0.1),), "fuses/F2": ((0.2, 0.2),), "fuses/F3": ((0.3, 0.3),)})
    mine = drafted(begun)
    mine = doing.placed(mine, 0, "fuses/F1", ((0.15, 0.1),))
    mine = doing.placed(mine, 0, "rail/TP1", ((0.5, 0.5), (0.6, 0.5)))
    theirs = pic(
        title="back, cover off",
        at={"fuses/F1": ((0.1, 0.1),), "fuses/F2": ((0.25, 0.2),), "fuses/F4": ((0.4, 0.4),)},
    )
    met, lost = onto(mine, drafted(theirs), plan_of(PLAN))
    assert met.pics[0].at == {
        "fuses/F1": ((0.15, 0.1),),
        "fuses/F2": ((0.25, 0.2),),
        "rail/TP1": ((0.5, 0.5), (0.6, 0.5)),
        "fuses/F4": ((0.4, 0.4),),
    }
    assert lost == ("fuses/F3",)
    assert met.pics[0].title == "back, cover off"
    assert met.taps == ("fuses/F1", "fuses/F2", "rail/TP1", "fuses/F4")


def test_a_place_put_there_is_turned_with_the_picture_that_was_turned_here() -> None:
    mine, _ = doing.turned(
        drafted(pic(at={"fuses/F1": ((0.4, 0.2),)})), 0, 1, (0.0, 0.0, 1.0, 1.0), Baked("bb", 100, 200)
    )
    theirs = pic(at={"fuses/F1": ((0.4, 0.2),), "fuses/F2": ((0.25, 0.9),)})
    met, lost = onto(mine, drafted(theirs), plan_of(PLAN))
    assert met.pics[0].at == {"fuses/F1": ((0.8, 0.4),), "fuses/F2": ((0.1, 0.25),)}
    assert (lost, met.pics[0].shown, met.pics[0].source) == ((), "bb", "aa")


def test_a_photograph_taken_here_stays_and_one_replaced_there_is_shown() -> None:
    begun = drafted(pic(at={"fuses/F1": ((0.1, 0.1),)}))
    here = doing.another(begun, 0, Baked("cc", 30, 40))
    assert onto(here, begun, plan_of(PLAN))[0].pics[0].shown == "cc"
    there = drafted(pic(source="dd", shown="dd", sha256="dd", at={"fuses/F1": ((0.1, 0.1),)}))
    met, _ = onto(doing.placed(begun, 0, "fuses/F2", ((0.7, 0.7),)), there, plan_of(PLAN))
    assert met.pics[0].shown == "dd"
    assert met.pics[0].at == {"fuses/F1": ((0.1, 0.1),), "fuses/F2": ((0.7, 0.7),)}
    assert "look at every place" in met.pics[0].trouble


def test_a_picture_that_was_written_before_the_draft_went_is_no_second_one() -> None:
    """Killed between the plan and its draft: the new picture is in both."""
    draft = doing.added(Draft(), Baked("bb", 10, 10), "back")
    draft = doing.placed(draft, 0, "fuses/F1", ((0.5, 0.5),))
    at = draft.pics[0].at
    written = drafted(pic(file="gc8-back.jpg", side="back", sha256="bb", source="bb", shown="bb", at=at))
    met, lost = onto(draft, written, plan_of(PLAN))
    assert (met.pics, lost) == (written.pics, ())


def test_items_that_are_gone_take_their_places_orders_and_groups_along() -> None:
    draft = drafted(pic(at={"fuses/F1": ((0.1, 0.1),), "fuses/F4": ((0.4, 0.4),)}))
    draft = msgspec.structs.replace(
        draft, orders={"fuses": ("F2", "F1", "F3", "F4")}, clusters={"fuses": (("F1", "F2"), ("F3", "F4"))}
    )
    same, _ = onto(draft, draft, plan_of(PLAN))
    assert (same.orders, same.clusters) == (draft.orders, draft.clusters)
    fewer = plan_of(PLAN.replace("F1..F4", "F1..F3"))
    met, lost = onto(draft, drafted(pic(at={"fuses/F1": ((0.1, 0.1),)})), fewer)
    assert (met.orders, met.clusters, lost) == ({}, {}, ("fuses/F4",))


def test_a_picture_out_of_the_plan_is_a_new_one_again() -> None:
    draft = drafted(pic(at={"fuses/F1": ((0.1, 0.1),)}))
    met, _ = onto(draft, Draft(), plan_of(PLAN))
    assert [(each.planned, each.at) for each in met.pics] == [(False, {"fuses/F1": ((0.1, 0.1),)})]


def test_keys_of_the_plan_are_those_of_the_cards() -> None:
    assert [card.key for card in doing.cards(plan_of(PLAN))] == [*KEYS[:4], "rail/TP1"]
