"""Running something under the full screen: the session in a thread, the terminal in the main one.

However it ends (the session's own end, a key, a signal, a closed terminal, a defect in the picture), the session is
asked to end, its journal is closed by its own thread, and the terminal is given back.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path

from metercap.clock import Now
from metercap.live.signals import stop_signals
from metercap.screen.observer import ScreenObserver
from metercap.screen.pages import SecondScreen
from metercap.screen.ports import Controls, Hands, Runner, WordPort
from metercap.screen.terminal import sturdy
from metercap.screen.theme import pick

CLOSE_S = 10.0
"""Longest wait for the session to close its journal after it was asked to end."""
LOOK_S = 0.2
_SIGTERM = 15


class _Session(threading.Thread):
    """The runner in its thread; `reason` or `error` is set when it has ended."""

    def __init__(self, runner: Runner, ended: Callable[[str], None]) -> None:
        super().__init__(name="session", daemon=True)
        self.reason = ""
        self.error: BaseException | None = None
        self._runner = runner
        self._ended = ended

    def run(self) -> None:
        try:
            self.reason = self._runner.run()
        except BaseException as error:  # raised again in the main thread
            self.error = error
            self.reason = "fault"
        self._ended(self.reason)


def run_screen(
    runner: Runner,
    observer: ScreenObserver,
    *,
    words: WordPort,
    clock: Now | None = None,
    theme: str = "",
    problem: Callable[[], str | None] = lambda: None,
    controls: Controls | None = None,
    hands: Hands | None = None,
    pedals: Mapping[str, str] | None = None,
    learned: Callable[[str, str], None] = lambda key, word: None,
    linger_s: float = 30.0,
    pictures: Sequence[Path] = (),
    instead: Callable[[BaseException], Callable[[], None]] | None = None,
    second: SecondScreen | None = None,
) -> str:
    """Run `runner`, a session that `observer` sees, under the full screen, and return why it ended.

    `words` takes the operator's words and the wish to end (a live session's inbox, a replay's player). `clock` tells
    session time between records, `problem` what the journal cannot do at the moment. `controls` makes it a replay,
    `hands` a practice by hand. `second` is where a second screen is, `pictures` where the plan's pictures may lie, for
    a terminal that can show them; none is asked without. `pedals` maps keys to words, `learned` is told of a new one.
    After the session's end the screen stays until a key, or `linger_s` real seconds; after a word to quit or a signal
    it goes at once.

    A defect in the picture ends the picture alone: `instead` is called with it, begins to show the session in another
    way and returns what ends that. A terminal that is gone leaves the session to its own end, or to a signal.

    Main thread only. After both have ended it raises what the session raised or, without `instead`, what broke the
    picture.
    """
    from metercap.screen.app import BenchApp
    from metercap.screen.keyboard import Keyboard

    app = BenchApp(
        observer,
        theme=pick(theme),
        words=words,
        clock=clock,
        problem=problem,
        controls=controls,
        hands=hands,
        keyboard=Keyboard(
            pedals=pedals,
            hands=hands is not None,
            replay=controls is not None,
            paged=second is not None,
            scanned=second is not None and bool(second.code),
        ),
        learned=learned,
        linger_s=linger_s,
        second=second,
        pictures=pictures,
    )
    app.driver_class = sturdy(app.driver_class)
    session = _Session(runner, lambda reason: app.session_over(at_once=reason in ("interrupted", "fault", "quit")))
    with stop_signals(words), _closing(session, words):
        session.start()
        app.run(mouse=False)
        fault = app.fault
        if session.is_alive() and controls is None and (app.gone or (fault is not None and instead is not None)):
            app.fault = None
            close = instead(fault) if fault is not None and instead is not None else None
            try:
                while session.is_alive():
                    session.join(LOOK_S)
            finally:
                if close is not None:
                    close()
    if session.error is not None:
        raise session.error
    if app.fault is not None:
        raise app.fault
    return session.reason


@contextlib.contextmanager
def _closing(session: _Session, words: WordPort) -> Iterator[None]:
    """Whatever ends the block, the session is asked to end and waited for."""
    try:
        yield
    finally:
        if session.is_alive():
            words.put_stop(_SIGTERM)
        if session.ident is not None:
            session.join(CLOSE_S)
