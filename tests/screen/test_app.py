"""The app without a terminal: flows by keys, what is drawn again, themes, and defects in the picture."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable

import msgspec
import pytest
from textual.pilot import Pilot

from metercap.records import Contact, Cue, CueKind, Link, LinkState, Record
from metercap.screen.app import BenchApp
from metercap.screen.keyboard import Keyboard
from metercap.screen.observer import ScreenObserver
from metercap.screen.pages import SecondScreen
from metercap.screen.player import Player
from metercap.screen.theme import DARK, LIGHT, PLAIN
from metercap.screen.widget import Board
from tests.screen.greenhouse import ohms, scenes, see
from tests.screen.harness import MadeUp

SCENES = scenes()
Flow = Callable[[BenchApp, ScreenObserver, MadeUp, "Pilot[None]"], Awaitable[None]]


def drive(flow: Flow, scene: str = "sweep", size: tuple[int, int] = (80, 24), **more: object) -> BenchApp:
    """Run a flow on an app that has seen a scene."""

    async def run() -> BenchApp:
        observer = ScreenObserver()
        made = MadeUp([], observer)
        app = BenchApp(observer, theme=DARK, words=made, **more)  # type: ignore[arg-type]
        async with app.run_test(size=size) as pilot:
            for record in SCENES.get(scene, []):
                see(observer, record)
            await pilot.pause(0.05)
            await flow(app, observer, made, pilot)
        return app

    return asyncio.run(run())


def text(app: BenchApp) -> str:
    """What is on the screen, as the widget hands it out row by row."""
    board = app.query_one(Board)
    return "\n".join(board.render_line(y).text for y in range(app.size.height))


def test_words_reach_the_session() -> None:
    """A key becomes a word at the session's time."""

    async def flow(app: BenchApp, _: ScreenObserver, made: MadeUp, pilot: Pilot[None]) -> None:
        await pilot.press("s")
        await pilot.press("@", "F", "3", "enter")
        assert made.words == [("skip", ""), ("at", "F3")]
        assert "heard: at F3" in text(app)

    drive(flow)


def test_quit_asks_then_says_the_word() -> None:
    """The question takes the place of the answer and says what stays open; yes sends the word."""

    async def flow(app: BenchApp, _: ScreenObserver, made: MadeUp, pilot: Pilot[None]) -> None:
        await pilot.press("Q")
        assert "7 items are not done" in text(app)
        await pilot.press("x")
        assert "the session goes on" in text(app) and not made.words
        await pilot.press("Q", "y")
        assert made.words == [("quit", "")]

    drive(flow)


def test_help_shows_every_word_with_its_key() -> None:
    """Help fits 80 by 24 by scrolling, says what no meter can show, and goes away with any key."""

    async def flow(app: BenchApp, _: ScreenObserver, __: MadeUp, pilot: Pilot[None]) -> None:
        await pilot.press("?")
        seen = text(app)
        for _page in range(2):
            await pilot.press("pagedown")
            seen += text(app)
        for word in ("yes", "skip step", "absent", "probe NAME", "undo", "quit", "pedal"):
            assert word in seen
        assert "stay unseen" in seen and "licensed practice" in seen
        await pilot.press("x")
        assert "left edge" in text(app)

    drive(flow)


CODE = SecondScreen("http://10.0.0.2:1/", "http://10.0.0.2:1/?key=x", ("10", "01"))
CALLS: dict[str, Record] = {
    "the tips touch": Contact(899.0, "fuses", "F7"),
    "the cable goes": Link(899.0, LinkState.LOST, "pulled"),
    "an alarm rings": Cue(899.0, "fuses", "F7", CueKind.STOP),
}


@pytest.mark.parametrize("call", CALLS)
@pytest.mark.parametrize("page", ["code", "B", "?", "L"])
def test_no_page_lies_over_a_bench_that_calls(page: str, call: str) -> None:
    """Whoever asked for a page has both hands at the board by then: it goes by itself, the first code as well."""

    async def flow(app: BenchApp, observer: ScreenObserver, made: MadeUp, pilot: Pilot[None]) -> None:
        if page == "code":
            assert "any key goes back" in text(app)
        else:
            await pilot.press("x") if "any key goes back" in text(app) else None
            await pilot.press(page)
        assert "journal ok" not in text(app)
        see(observer, CALLS[call])
        await pilot.pause(0.1)
        assert "journal ok" in text(app) and not made.words
        if call == "an alarm rings":
            await pilot.press(page if page != "code" else "B")
            await pilot.pause(0.05)
            assert "journal ok" in text(app), "nothing comes over an alarm"

    drive(flow, second=CODE, keyboard=Keyboard(paged=True, scanned=page == "code"))


@pytest.mark.parametrize("call", ["the cable goes", "an alarm rings"])
@pytest.mark.parametrize(("keys", "hero"), [("Q", "y ends the session"), ("P", "pedal"), ("Px", "now press the key")])
def test_no_question_lies_over_an_alarm(keys: str, hero: str, call: str) -> None:
    """A wrong key while a trimmer is turned: the alarm is seen all the same, and the question is gone."""

    async def flow(app: BenchApp, observer: ScreenObserver, made: MadeUp, pilot: Pilot[None]) -> None:
        await pilot.press(*keys)
        assert hero in text(app)
        see(observer, CALLS["the tips touch"])
        await pilot.pause(0.1)
        assert hero in text(app), "hands at work answer no question"
        see(observer, CALLS[call])
        await pilot.pause(0.1)
        assert hero not in text(app) and not made.words
        await pilot.press("ctrl+q")
        await pilot.pause(0.05)
        assert "y ends the session" in text(app), "whoever wants to quit in an alarm can"

    drive(flow)


def test_a_key_that_closes_a_page_says_that_it_said_nothing() -> None:
    """Its word would answer what nobody saw."""

    async def flow(app: BenchApp, _: ScreenObserver, made: MadeUp, pilot: Pilot[None]) -> None:
        await pilot.press("y")
        assert "press it again to say its word" in text(app) and not made.words

    drive(flow, second=CODE, keyboard=Keyboard(paged=True, scanned=True))


def test_typing_is_shown() -> None:
    """What is typed stands where the words were, with how to end it."""

    async def flow(app: BenchApp, _: ScreenObserver, made: MadeUp, pilot: Pilot[None]) -> None:
        await pilot.press("#", "h", "i")
        assert "note: hi" in text(app) and "enter says it" in text(app)
        await pilot.press("escape")
        assert "note: hi" not in text(app) and not made.words

    drive(flow)


def test_new_record_is_drawn_and_only_where_it_differs() -> None:
    """A reading repaints the cells that changed, not the screen."""

    async def flow(app: BenchApp, observer: ScreenObserver, _: MadeUp, pilot: Pilot[None]) -> None:
        board = app.query_one(Board)
        regions: list[object] = []
        whole = board.refresh

        def noted(*areas: object, **more: object) -> object:
            regions.append(areas)
            return whole(*areas, **more)  # type: ignore[arg-type]

        board.refresh = noted  # type: ignore[method-assign, assignment]
        see(observer, ohms(39.8, 0.34))
        await pilot.pause(0.1)
        assert "0.34 Ω" in text(app)
        cells = sum(area.area for areas in regions for area in areas)  # type: ignore[attr-defined]
        assert 0 < cells < 200

    drive(flow)


def test_same_state_draws_nothing() -> None:
    """When nothing differs nothing is drawn."""

    async def flow(app: BenchApp, observer: ScreenObserver, _: MadeUp, pilot: Pilot[None]) -> None:
        before = app.query_one(Board).canvas
        observer.look(observer.view)
        await pilot.pause(0.1)
        after = app.query_one(Board).canvas
        assert after is not before and after.lines() == before.lines()

    drive(flow)


def test_resize_live() -> None:
    """The picture follows the terminal, down to a sliver and back."""

    async def flow(app: BenchApp, _: ScreenObserver, __: MadeUp, pilot: Pilot[None]) -> None:
        for columns, rows in ((120, 40), (20, 6), (5, 2), (200, 60), (80, 24)):
            await pilot.resize_terminal(columns, rows)
            await pilot.pause(0.05)
            canvas = app.query_one(Board).canvas
            assert (canvas.width, canvas.height) == (columns, rows)

    assert drive(flow).fault is None


def test_themes_turn() -> None:
    """The theme key goes from dark to light to no colour and back, at once."""

    async def flow(app: BenchApp, _: ScreenObserver, __: MadeUp, pilot: Pilot[None]) -> None:
        board = app.query_one(Board)
        for theme in (LIGHT, PLAIN, DARK):
            await pilot.press("escape", "T")  # the same key twice within a moment would be its own repeat
            await pilot.pause()
            assert board.render_line(0)._segments[0].style in theme.styles

    drive(flow)


def test_hands_move() -> None:
    """Arrow keys go to the virtual hands."""
    moves: list[str] = []

    class Noting:
        status = "tips on F6"
        offers = (("lift", "lift"), ("press", "flex"))

        def move(self, move: str) -> str:
            moves.append(move)
            return "no trimmer there" if move == "turn up" else ""

    async def flow(app: BenchApp, _: ScreenObserver, __: MadeUp, pilot: Pilot[None]) -> None:
        await pilot.pause()
        assert "tips on F6" in text(app) and "PgUp  flex" in text(app) and "↓  lift" in text(app)
        await pilot.press("up", "right", "right")
        assert "no trimmer there" in text(app)
        await pilot.press("d", "down")
        assert "no trimmer there" not in text(app)
        await pilot.press("#", "d", "x")
        assert "note: dx" in text(app) and "tips on F6" in text(app)

    drive(flow, hands=Noting())
    assert moves == ["touch", "turn up", "turn up", "dial", "lift"]


def test_defect_in_the_picture_leaves_and_is_kept() -> None:
    """An exception while drawing ends the app at once and is there for whoever ran it; none is swallowed."""

    async def flow(app: BenchApp, observer: ScreenObserver, _: MadeUp, pilot: Pilot[None]) -> None:
        observer.look(None)  # type: ignore[arg-type]
        await pilot.pause(0.2)

    app = drive(flow)
    assert isinstance(app.fault, AttributeError)


def test_a_view_that_could_not_be_made_ends_the_picture_not_the_session() -> None:
    """What went wrong is in the view; the screen leaves with it, and whoever ran it goes on in lines."""

    async def flow(app: BenchApp, observer: ScreenObserver, _: MadeUp, pilot: Pilot[None]) -> None:
        observer.look(msgspec.structs.replace(observer.view, broken="TypeError: not a time"))
        await pilot.pause(0.2)

    assert "not a time" in str(drive(flow).fault)


def test_a_flood_is_coalesced() -> None:
    """Ten thousand records at once are a few pictures, and the last one is shown."""

    async def flow(app: BenchApp, observer: ScreenObserver, _: MadeUp, pilot: Pilot[None]) -> None:
        drawn = 0
        board = app.query_one(Board)
        show = board.show

        def counted(*args: object) -> None:
            nonlocal drawn
            drawn += 1
            show(*args)  # type: ignore[arg-type]

        board.show = counted  # type: ignore[method-assign, assignment]

        def flood() -> None:
            for at in range(10_000):
                see(observer, ohms(40 + at / 1000, 0.5 + at / 100))

        await asyncio.to_thread(flood)
        await pilot.pause(0.1)
        assert drawn < 60
        assert "100.49" in text(app)

    drive(flow)


def test_replay_is_steered() -> None:
    """Pause, step and jump by keys; the status line says so, and each jump lands right after a verdict."""

    async def run() -> None:
        observer = ScreenObserver()
        player = Player(SCENES["done"], observer)
        app = BenchApp(observer, theme=DARK, words=player, clock=player, controls=player)
        async with app.run_test(size=(100, 30)) as pilot:
            await pilot.press("v", "v", "v", "v", "v", "v")
            assert "replay paused" in text(app)
            assert "F2" in text(app) and observer.view.last is not None and observer.view.last.item == "F2"
            await pilot.press("V")
            assert observer.view.last is not None and observer.view.last.item == "F1"
            assert "pause" in text(app) and "quit" in text(app)

    asyncio.run(run())


def test_leaves_by_itself_after_the_end() -> None:
    """The closed session stays for a while and then leaves the terminal."""

    async def flow(app: BenchApp, observer: ScreenObserver, _: MadeUp, pilot: Pilot[None]) -> None:
        app.session_over()
        await pilot.pause(1.3)

    app = drive(flow, "done", linger_s=0.2)
    assert app.return_code in (0, None) and not app.is_running


def test_watch_needs_no_session() -> None:
    """Without a plan the live value is the answer."""

    async def flow(app: BenchApp, observer: ScreenObserver, _: MadeUp, pilot: Pilot[None]) -> None:
        assert observer.view.unit is None
        see(observer, ohms(0.5, 2187.0, 1.0))
        await pilot.pause(0.1)
        assert "2.187 kΩ" in text(app)

    drive(flow, "nothing")
