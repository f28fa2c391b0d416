"""Speech through espeak-ng, where it is installed: one utterance at a time, the newest first, never waited for."""

from __future__ import annotations

import contextlib
import shutil
import subprocess
import threading

from metercap.sound.config import SoundConfig
from metercap.sound.phrases import speakable

ENGINE = "espeak-ng"
LONGEST_S = 20.0
"""An utterance that takes longer is cut: an engine that hangs must not hang the next one."""


class Speaker:
    """Speaks in a thread of its own. `say` replaces what is being spoken, or follows on it; at most two wait.

    `spoken` counts utterances that were started, `broken` says why speech does not work, or is empty.
    """

    def __init__(self, config: SoundConfig, engine: str | None = None) -> None:
        path = shutil.which(ENGINE) if engine is None else engine
        self.broken = "" if path is not None else f"{ENGINE} is not installed"
        self.spoken = 0
        self._command = [path or "", "-s", str(config.words_per_min), "-a", str(round(200 * config.volume)), "--stdin"]
        if config.voice:
            self._command += ["-v", config.voice]
        self._waiting: list[str] = []
        self._talk: subprocess.Popen[bytes] | None = None
        self._closed = False
        self._lock = threading.Condition()
        self._thread: threading.Thread | None = None
        if path is not None:
            self._thread = threading.Thread(target=self._run, name="speech", daemon=True)
            self._thread.start()

    @property
    def works(self) -> bool:
        """Whether anything can be spoken."""
        return not self.broken

    def say(self, text: str, *, follows: bool = False) -> None:
        """Speak a text soon. Returns at once."""
        words = speakable(text)
        if not words or self._thread is None:
            return
        with self._lock:
            if not follows:
                self._waiting.clear()
                self._hush()
            self._waiting = [*self._waiting[-1:], words]
            self._lock.notify()

    def close(self, grace_s: float = 1.5) -> None:
        """Let what is spoken come to its end, for at most `grace_s`, then fall silent."""
        with self._lock:
            self._lock.wait_for(lambda: self._talk is None and not self._waiting, grace_s)
            self._closed = True
            self._waiting.clear()
            self._hush()
            self._lock.notify()
        if self._thread is not None:
            self._thread.join(1.5)

    def _hush(self) -> None:
        if self._talk is not None:
            with contextlib.suppress(OSError):
                self._talk.terminate()

    def _run(self) -> None:
        while True:
            with self._lock:
                while not self._waiting and not self._closed:
                    self._lock.wait()
                if self._closed:
                    return
                words = self._waiting.pop(0)
                try:
                    # The text goes in by stdin: as an argument it could be taken for an option.
                    self._talk = subprocess.Popen(
                        self._command,
                        stdin=subprocess.PIPE,
                        stdout=subprocess.DEVNULL,
                        stderr=subprocess.DEVNULL,
                    )
                except OSError as error:
                    self.broken = str(error)
                    return
                self.spoken += 1
                talk = self._talk
            with contextlib.suppress(OSError, subprocess.TimeoutExpired):
                talk.communicate(words.encode(), timeout=LONGEST_S)
            with contextlib.suppress(OSError):
                talk.kill()
            talk.wait()
            with self._lock:
                self._talk = None
                self._lock.notify_all()
