"""The board in the view: which picture, which point, and how every placed item stands. Worked out by hand."""

from __future__ import annotations

from typing import Any

import msgspec

from metercap.plan import from_builtins, to_builtins
from metercap.plankeys import ConfirmStep, Item, Picture, StepBase, SweepStep
from metercap.records import Verdict, VerdictKind
from metercap.view import Board, Mark, Spot, State, View, Viewer
from tests.steps.bench_play import Play, meter, opening

FRONT = Picture(
    "front.png",
    title="Cover off",
    sha256="ab" * 32,
    at={"fuses/F1": ((0.1, 0.2),), "fuses/F2": ((0.3, 0.2), (0.4, 0.2)), "ready": ((0.9, 0.9),)},
)
BACK = Picture("back.png", side="back", at={"fuses/F3": ((0.5, 0.6),), "fuses/F1": ((0.6, 0.7),)})
FUSES = SweepStep(id="fuses", items=tuple(Item(f"F{n}") for n in range(1, 5)), max=2.0, unit="ohm", count_check=False)


def play(*steps: StepBase, pictures: tuple[Picture, ...] = (FRONT, BACK), **more: Any) -> Play:
    """A session whose plan has pictures."""
    plan = msgspec.structs.replace(from_builtins(opening(steps, meter(5.0)).plan), pictures=pictures)
    return Play(*steps, rate=5.0, plan=to_builtins(plan), **more)


def board(view: View) -> Board:
    assert view.board is not None
    return view.board


def states(view: View) -> list[tuple[str, int, str]]:
    return [(mark.item, mark.picture, mark.state.value) for mark in board(view).marks]


def test_the_next_point_and_all_others() -> None:
    """F1 next on both pictures, the first of them shown; F4 is placed nowhere; two points are red, then black."""
    view = play(FUSES)("OL*6").view
    assert [(sheet.file, sheet.side, sheet.title, sheet.sha256) for sheet in board(view).pictures] == [
        ("front.png", "front", "Cover off", "ab" * 32),
        ("back.png", "back", "", ""),
    ]
    assert board(view).step == "fuses" and board(view).shows == 0
    assert states(view) == [("F1", 0, "next"), ("F1", 1, "next"), ("F2", 0, "open"), ("F3", 1, "open")]
    assert board(view).next is not None and board(view).next.at == ((0.1, 0.2),)
    assert [mark.at for mark in board(view).here] == [((0.1, 0.2),), ((0.3, 0.2), (0.4, 0.2))]


def test_it_goes_on_with_the_ticks_and_turns_the_board_over() -> None:
    """A tick, an open one by word, a skip: each mark says how it stands, and the picture changes with the point."""
    one = play(FUSES)("OL*6 0.2*2 OL*12")
    assert states(one.view) == [("F1", 0, "ticked"), ("F1", 1, "ticked"), ("F2", 0, "next"), ("F3", 1, "open")]
    two = one(":open")
    assert states(two.view)[2:] == [("F2", 0, "failed"), ("F3", 1, "next")] and board(two.view).shows == 1
    three = two(":skip")
    assert states(three.view)[3] == ("F3", 1, "skipped")
    assert board(three.view).shows is None and board(three.view).next is None, "F4 is on none of the pictures"
    four = three("OL*6 0.2*2 OL*12")
    assert states(four.view)[3] == ("F3", 1, "next") and board(four.view).marks[3].stood is State.SKIPPED


def test_other_verdicts() -> None:
    """Absent, unsure and accepted are told apart, and all of it is dark once the session has ended."""
    view = play(FUSES)("OL*6 :absent :skip :skip :skip :skip :skip").view
    assert ("F1", 0, "absent") in states(view) and ("F2", 0, "unsure") in states(view)
    accepted = play(FUSES)("OL*6 :open :accept=F1_not_fitted").view
    assert states(accepted)[0] == ("F1", 0, "accepted")


def test_another_step() -> None:
    """Marks are those of the step in turn; a step's own place stands for its own verdict."""
    session = play(ConfirmStep(id="ready", say="ready?"), FUSES)
    assert states(session.view) == [("ready", 0, "next")]
    assert states(session(":yes OL*6").view)[0] == ("F1", 0, "next")


def test_the_other_polarity() -> None:
    """Probed the other way round, the red tip goes where the black one was."""
    rail = SweepStep(
        id="rail", items=(Item("D1", red="A", black="K", both_ways=True),), max=2.0, unit="ohm", count_check=False
    )
    marked = Picture("front.png", at={"rail": ((0.1, 0.1), (0.2, 0.2))})
    session = play(rail, pictures=(marked,))("OL*6 0.2*2 OL*12")
    assert board(session.view).next is not None
    assert (board(session.view).next.item, board(session.view).next.at) == ("D1 reversed", ((0.2, 0.2), (0.1, 0.1)))


def test_the_next_one_is_on_the_picture_that_is_shown() -> None:
    """Of an item on several pictures the place on the one to show; of none, none."""
    marks = tuple(Mark("F1", number, ((0.1 * number, 0.5),), State.NEXT, State.OPEN) for number in range(3))
    shown = Board((), "fuses", 2, marks)
    assert shown.next is marks[2] and shown.here == (marks[2],)
    assert Board((), "fuses", None, marks).next is None


def test_left_for_a_second_look_it_is_skipped() -> None:
    """An earlier verdict does not hide that it comes again."""
    verdict = Verdict(1.0, "fuses", "F1", VerdictKind.FAIL)
    assert Spot("F1", verdict=verdict).state is State.FAILED
    assert Spot("F1", verdict=verdict, skipped=True).state is State.SKIPPED and Spot("F1").state is State.OPEN


def test_no_pictures_no_board() -> None:
    """A plan without pictures has none, from the beginning to the end."""
    assert play(FUSES, pictures=())("OL*6 0.2*2").view.board is None


def test_nothing_is_next_after_the_end() -> None:
    """A lit point that nobody is asked for any more would be a wrong one."""
    session = play(FUSES)("OL*6")
    viewer = Viewer()
    viewer.view = session.view
    from metercap.records import EndRecord

    over = viewer.close(EndRecord(9.0, "quit", {}, ""))
    assert board(over).shows is None and {state for _, _, state in states(over)} == {"open"}


def test_it_travels_as_json() -> None:
    """What a page is sent: the whole view as JSON, the board typed and the same again."""
    view = play(FUSES)("OL*6 0.2*2").view
    told = msgspec.json.decode(msgspec.json.encode(view))
    assert msgspec.convert(told["board"], Board) == view.board
    assert told["board"]["marks"][0]["state"] == "ticked"


def test_a_board_is_made_anew_only_when_it_changes() -> None:
    """Ten readings a second must not cost ten boards: the same one stands while nothing on it changes."""
    session = play(FUSES)("OL*6")
    before = session.view.board
    assert session("OL*3").view.board is before
