"""The speaker in the session: an observer that never holds it up.

`see` folds the record (microseconds) and puts what it sounds like into a short queue; a thread of its own plays. When
that thread lags, sounds are dropped, never the session's time. Hazard cues come by `urgent` and go in front of all.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable

from metercap.records import Cue, Record
from metercap.sound.config import SoundConfig
from metercap.sound.ear import Ear, Hold, Play, Say, Sound
from metercap.sound.players import BellPlayer, Player, SilentPlayer, open_player
from metercap.sound.speech import Speaker
from metercap.view import View

MOST_WAITING = 12
"""Sounds that may wait; older ones are dropped."""
CLOSE_S = 3.0
"""Longest wait for the last cue and the last words."""


class SoundObserver:
    """Plays a session. `player` and `speaker` default to what `config` asks for, opened in the thread that plays.

    `dropped` counts sounds that came too fast to be heard. Use it as a context manager, or call `close`.
    """

    def __init__(
        self,
        config: SoundConfig,
        *,
        player: Player | None = None,
        speaker: Speaker | None = None,
        ring: Callable[[], None] | None = None,
    ) -> None:
        self.dropped = 0
        self.fault: Exception | None = None
        self._config = config
        self._player = player
        self._speaker = speaker
        self._ring = ring
        self._ear = Ear()
        self._waiting: deque[Sound] = deque()
        self._closed = False
        self._lock = threading.Condition()
        self._thread = threading.Thread(target=self._run, name="sound", daemon=True)
        self._thread.start()

    def look(self, view: View) -> None:
        """Take the view that goes with the next records."""
        self._ear.look(view)

    def see(self, record: Record, line: bytes = b"") -> None:
        """Take a record; returns at once."""
        self._hear(record)

    def urgent(self, record: Cue) -> None:
        """Take a hazard cue ahead of its line: it is the next thing heard."""
        self._hear(record, first=True)

    def _hear(self, record: Record, *, first: bool = False) -> None:
        try:
            sounds = self._ear.hear(record)
        except Exception as error:  # a sound that cannot be chosen is no reason to lose a measurement
            self.fault = self.fault or error
            return
        if not sounds:
            return
        with self._lock:
            for sound in sounds:
                if first:
                    self._waiting.appendleft(sound)
                elif not (isinstance(sound, Hold) and self._replaced(sound)):
                    self._waiting.append(sound)
            while len(self._waiting) > MOST_WAITING:
                self._waiting.pop() if first else self._waiting.popleft()
                self.dropped += 1
            self._lock.notify()

    def _replaced(self, hold: Hold) -> bool:
        """A newer pitch takes the place of one that still waits at the end."""
        if self._waiting and isinstance(self._waiting[-1], Hold):
            self._waiting[-1] = hold
            return True
        return False

    def close(self) -> None:
        """Play what waits, for a moment, then fall silent."""
        with self._lock:
            self._closed = True
            self._lock.notify()
        self._thread.join(CLOSE_S)

    def __enter__(self) -> SoundObserver:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # --- the thread that plays

    def _run(self) -> None:
        config = self._config
        player = self._player if self._player is not None else open_player(config, ring=self._ring)
        speaker = self._speaker
        if speaker is None and config.speech and not config.mute:
            speaker = Speaker(config)
        try:
            while (sound := self._next()) is not None:
                if player.broken:
                    player.close()
                    player = _instead_of(player, self._ring)
                self._make(sound, player, speaker)
        except Exception as error:
            self.fault = self.fault or error
        finally:
            player.close()
            if speaker is not None:
                speaker.close()

    def _next(self) -> Sound | None:
        with self._lock:
            while not self._waiting and not self._closed:
                self._lock.wait()
            return self._waiting.popleft() if self._waiting else None

    def _make(self, sound: Sound, player: Player, speaker: Speaker | None) -> None:
        if isinstance(sound, Play):
            player.play(sound.cue, alone=sound.alone)
        elif isinstance(sound, Hold):
            if self._config.tone:
                player.tone(sound.hz, steady=sound.steady)
        elif isinstance(sound, Say) and speaker is not None:
            speaker.say(sound.text, follows=sound.follows)


def _instead_of(player: Player, ring: Callable[[], None] | None) -> Player:
    return SilentPlayer() if isinstance(player, BellPlayer | SilentPlayer) else BellPlayer(ring)
