"""Running something under the full screen: the session in a thread, the terminal in the main one.

However it ends (the session's own end, a key, a signal, a closed terminal, a defect in the picture), the session is
asked to end, its journal is closed by its own thread, and the terminal is given back.
"""

from __future__ import annotations

import contextlib
import sys
import threading
from collections.abc import Callable, Iterator, Mapping

from metercap.live.signals import stop_signals
from metercap.screen.observer import ScreenObserver
from metercap.screen.ports import Controls, Hands, Now, Runner, WordPort
from metercap.screen.theme import pick

CLOSE_S = 10.0
"""Longest wait for the session to close its journal after it was asked to end."""
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
) -> str:
    """Run `runner`, a session that `observer` sees, under the full screen, and return why it ended.

    `words` takes the operator's words and the wish to end (a live session's inbox, a replay's player). `clock` tells
    session time between records, `problem` what the journal cannot do at the moment. `controls` makes it a replay,
    `hands` a practice by hand. `pedals` maps keys to words, `learned` is told of a new one. After the session's end
    the screen stays until a key, or `linger_s` real seconds; after a word to quit or a signal it goes at once.

    Main thread only. Raises what the session raised, or what broke the picture, after both have ended.
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
        keyboard=Keyboard(pedals=pedals, hands=hands is not None, replay=controls is not None),
        learned=learned,
        linger_s=linger_s,
    )
    app.driver_class = _deaf_when_closed(app.driver_class)
    session = _Session(runner, lambda reason: app.session_over(at_once=reason in ("interrupted", "fault", "quit")))
    with stop_signals(words), _closing(session, words):
        session.start()
        app.run(mouse=False)
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


def _deaf_when_closed(driver: type) -> type:
    """A terminal that was closed takes no more output: drop it, where waiting for it would hang the program."""
    if sys.platform == "win32":
        return driver

    class ClosableDriver(driver):  # type: ignore[misc]
        """The terminal's driver, which notices that its writer has died."""

        def write(self, data: str) -> None:
            writer = self._writer_thread
            if writer is None or writer.is_alive():
                super().write(data)

    return ClosableDriver
