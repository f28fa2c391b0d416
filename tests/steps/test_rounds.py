"""Rounds: which item is next, the second look, and what a count check is about."""

from __future__ import annotations

import itertools

from metercap.steps.rounds import Rounds


def test_items_come_in_order() -> None:
    """Each decided item is followed by the next one; after the last there is none."""
    rounds = Rounds(3)
    seen = []
    while (item := rounds.next) is not None:
        seen.append(item)
        rounds.decided(item, by_contact=True)
    assert seen == [0, 1, 2]
    assert rounds.ticked == [0, 1, 2]


def test_items_decided_before_are_passed_over() -> None:
    """What an earlier session decided is not asked for, and no count check is about it."""
    rounds = Rounds(3, [0, 1])
    assert rounds.next == 2
    assert (rounds.ticked, rounds.since) == ([], [])
    assert Rounds(2, [0, 1]).next is None


def test_skipped_items_come_at_the_second_look_only() -> None:
    """Once skipped, an item is not next in the first look; the second look takes exactly those, in order, once."""
    rounds = Rounds(3)
    for item in (2, 0):
        rounds.skipped(item)
    assert rounds.next == 1
    rounds.decided(1, by_contact=False)
    assert rounds.next is None
    assert rounds.second_look() == 0
    assert rounds.second
    rounds.decided(0, by_contact=True)
    assert rounds.next == 2
    rounds.decided(2, by_contact=True)
    assert rounds.next is None
    assert rounds.second_look() is None


def test_no_second_look_without_a_skip() -> None:
    """Nothing skipped, no second look."""
    rounds = Rounds(1)
    rounds.decided(0, by_contact=True)
    assert rounds.second_look() is None
    assert not rounds.second


def test_back_undoes_the_last_one() -> None:
    """`back` reopens what was decided or skipped last, one after the other, and then nothing."""
    rounds = Rounds(3)
    rounds.decided(0, by_contact=True)
    rounds.skipped(1)
    assert rounds.back() == 1
    assert rounds.back() == 0
    assert rounds.back() is None
    assert rounds.next == 0
    assert rounds.second_look() is None


def test_later_verdict_takes_the_place_of_the_earlier() -> None:
    """An item ticked again is counted once, as the last one; decided by a word it is no tick."""
    rounds = Rounds(2)
    rounds.decided(0, by_contact=True)
    rounds.decided(1, by_contact=True)
    rounds.reopen(0)
    rounds.decided(0, by_contact=True)
    assert rounds.ticked == [1, 0]
    rounds.reopen(0)
    rounds.decided(0, by_contact=False)
    assert (rounds.ticked, rounds.since) == ([1], [1, 0])


def test_counting_begins_anew() -> None:
    """The answer is about everything since the last one, by contact or by word."""
    rounds = Rounds(3)
    rounds.decided(0, by_contact=True)
    rounds.decided(1, by_contact=False)
    assert rounds.counted() == [0, 1]
    assert (rounds.ticked, rounds.counted()) == ([], [])


def test_every_history_ends_with_every_item_decided() -> None:
    """Over all short histories of ticks, words, skips and backs the walk ends, and no item is left out."""
    for history in itertools.product("tosb", repeat=6):
        rounds = Rounds(3)
        moves = iter(history)
        for _ in range(40):
            item = rounds.next
            if item is None and (item := rounds.second_look()) is None:
                break
            move = next(moves, "t")
            if move == "b":
                rounds.back()
            elif move == "s" and not rounds.second:
                rounds.skipped(item)
            else:
                rounds.decided(item, by_contact=move == "t")
        assert sorted(rounds.done) == [0, 1, 2], history


def test_over_a_gap_the_group_ends() -> None:
    """Items that were kept, or all but the skipped at the second look, lie between; in order there is no gap."""
    kept = Rounds(4, [1])
    kept.decided(0, by_contact=True)
    assert kept.ends_group(0)
    kept.decided(2, by_contact=True)
    assert not kept.ends_group(2)
    rounds = Rounds(5)
    for item in range(5):
        rounds.skipped(item) if item in (0, 1, 4) else rounds.decided(item, by_contact=True)
    assert not rounds.ends_group(1), "the first look goes on in order"
    rounds.second_look()
    rounds.decided(0, by_contact=True)
    assert not rounds.ends_group(0)
    rounds.decided(1, by_contact=True)
    assert rounds.ends_group(1)


def test_going_back_to_an_earlier_item_is_a_gap() -> None:
    """After `at`, the next in order lies elsewhere."""
    rounds = Rounds(4)
    rounds.decided(2, by_contact=True)
    assert rounds.next == 0
    assert rounds.ends_group(2)


def test_those_that_are_swept_again_have_gaps_where_others_stand() -> None:
    """After a `no`: 0 and 2 again, 1 was counted before."""
    rounds = Rounds(3)
    rounds.decided(1, by_contact=True)
    rounds.counted()
    for item in (0, 2):
        rounds.decided(item, by_contact=True)
    for item in rounds.counted():
        rounds.reopen(item)
    rounds.decided(0, by_contact=True)
    assert rounds.ends_group(0)
