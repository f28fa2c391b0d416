"""What makes the noise: the sound card, the system's own player, the terminal bell, or nothing.

A player never blocks and never raises: what it cannot play is dropped, and what turns out not to work says so in
`broken`, so that the next one can take over.
"""

from __future__ import annotations

import contextlib
import shutil
import subprocess
import sys
import tempfile
import time
import wave
from array import array
from collections.abc import Callable, Generator
from pathlib import Path
from typing import Any, Protocol

from metercap.records import CueKind
from metercap.sound.config import SoundConfig
from metercap.sound.mixer import Mixer
from metercap.sound.tones import RATE_HZ, TABLE, cue_samples

PERIOD_MS = 20
"""Length of one of the card's buffers; a cue waits at most about two of them."""
_SYSTEM_PLAYERS = ("pw-play", "paplay", "aplay", "afplay")
_MOST_RUNNING = 3
LAST_CUE_S = 0.8
"""Longest wait for a cue that still sounds when the player is closed."""


class Player(Protocol):
    """Plays cues and the trimmer's tone. `name` says through what, `broken` why it does not work, or is empty."""

    name: str
    broken: str

    def play(self, cue: CueKind, *, alone: bool = False) -> None:
        """Start a cue; `alone` silences others first."""
        ...

    def tone(self, hz: float | None, *, steady: bool = True) -> None:
        """Set the trimmer's tone, or end it."""
        ...

    def close(self) -> None:
        """Fall silent and give back what was taken. Twice is harmless."""
        ...


class SilentPlayer:
    """Plays nothing."""

    name = "none"
    broken = ""

    def play(self, cue: CueKind, *, alone: bool = False) -> None:
        """A cue that nobody hears."""

    def tone(self, hz: float | None, *, steady: bool = True) -> None:
        """A tone that nobody hears."""

    def close(self) -> None:
        """Nothing is open."""


class DevicePlayer:
    """Plays through the sound card with miniaudio (extra `sound`). Raises what miniaudio raises when there is none.

    `silent_device` takes miniaudio's null device, which swallows sound at its pace: for tests. `tap` is called with
    every buffer that was handed to the device.
    """

    name = "device"

    def __init__(
        self, volume: float, *, silent_device: bool = False, tap: Callable[[array[int]], None] | None = None
    ) -> None:
        import miniaudio

        _hush_alsa()
        self.broken = ""
        self._mixer = Mixer(volume)
        self._samples = {cue: cue_samples(cue, volume) for cue in TABLE}
        self._tap = tap
        self._device: Any = miniaudio.PlaybackDevice(
            output_format=miniaudio.SampleFormat.SIGNED16,
            nchannels=1,
            sample_rate=RATE_HZ,
            buffersize_msec=PERIOD_MS,
            backends=[miniaudio.Backend.NULL] if silent_device else None,
            app_name="metercap",
        )
        if self._device.backend.casefold() == "null" and not silent_device:
            # Without any sound card the library takes its null device and plays to nobody.
            self._device.close()
            raise OSError("no sound card")
        stream = self._stream()
        next(stream)
        self._device.start(stream)

    def _stream(self) -> Generator[array[int], int, None]:
        frames = yield array("h")
        while True:
            samples = self._mixer.pull(frames)
            if self._tap is not None:
                self._tap(samples)
            frames = yield samples

    def play(self, cue: CueKind, *, alone: bool = False) -> None:
        """Start a cue."""
        samples = self._samples.get(cue)
        if samples is not None:
            self._mixer.play(samples, alone=alone)

    def tone(self, hz: float | None, *, steady: bool = True) -> None:
        """Set the trimmer's tone."""
        self._mixer.tone(hz, steady=steady)

    def close(self) -> None:
        """Let the last cue sound out, then stop the device."""
        device, self._device = self._device, None
        if device is not None:
            self._mixer.tone(None)
            end_s = time.monotonic() + LAST_CUE_S
            while not self._mixer.silent and time.monotonic() < end_s:
                time.sleep(PERIOD_MS / 1000)
            device.close()


_ALSA_HANDLER: list[Any] = []


def _hush_alsa() -> None:
    """Keep ALSA's library from writing its complaints over the full screen; an error is reported by its caller."""
    if sys.platform != "linux" or _ALSA_HANDLER:
        return
    import ctypes

    # void (*)(const char *file, int line, const char *function, int err, const char *fmt, ...)
    kind = ctypes.CFUNCTYPE(None, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p)
    handler = kind(lambda *_: None)
    with contextlib.suppress(OSError, AttributeError):
        ctypes.CDLL("libasound.so.2").snd_lib_error_set_handler(handler)
        _ALSA_HANDLER.append(handler)  # the library calls it as long as the program runs


class SystemPlayer:
    """Plays each cue as a sound file through the system's player; the trimmer's tone is a blip for each value."""

    def __init__(self, volume: float, command: list[str] | None = None) -> None:
        self.broken = ""
        found = system_command() if command is None else command
        if found is None:
            raise OSError("no system player")
        self._command = found
        self.name = f"system: {Path(found[0]).name}"
        self._folder = tempfile.TemporaryDirectory(prefix="metercap-sound-", ignore_cleanup_errors=True)
        self._files = {cue: self._write(cue.name.lower(), cue_samples(cue, volume)) for cue in TABLE}
        self._volume = volume
        self._running: list[subprocess.Popen[bytes]] = []

    def _write(self, name: str, samples: array[int]) -> Path:
        path = Path(self._folder.name) / f"{name}.wav"
        if sys.byteorder == "big":
            samples = array("h", samples)
            samples.byteswap()
        with wave.open(str(path), "wb") as file:
            file.setnchannels(1)
            file.setsampwidth(2)
            file.setframerate(RATE_HZ)
            file.writeframes(samples.tobytes())
        return path

    def play(self, cue: CueKind, *, alone: bool = False) -> None:
        """Start the system's player on the cue's file."""
        path = self._files.get(cue)
        if path is not None:
            self._start(path, alone)

    def _start(self, path: Path, alone: bool) -> None:
        self._reap()
        if alone:
            for process in self._running:
                process.terminate()
        elif len(self._running) >= _MOST_RUNNING:
            return
        try:
            self._running.append(
                subprocess.Popen(
                    [*self._command, str(path)],
                    stdin=subprocess.DEVNULL,
                    stdout=subprocess.DEVNULL,
                    stderr=subprocess.DEVNULL,
                )
            )
        except OSError as error:
            self.broken = str(error)

    def _reap(self) -> None:
        going = []
        for process in self._running:
            code = process.poll()
            if code is None:
                going.append(process)
            elif code > 0:  # a player that fails must not fail in silence
                self.broken = f"{self._command[0]} ended with status {code}"
        self._running = going

    def tone(self, hz: float | None, *, steady: bool = True) -> None:
        """Nothing: separate blips would come too late to steer by."""

    def close(self) -> None:
        """End what still plays and remove the files."""
        for process in self._running:
            with contextlib.suppress(OSError):
                process.terminate()
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(1.0)
        self._running = []
        self._folder.cleanup()


def system_command() -> list[str] | None:
    """Return the system player's command that takes a file's path, or None."""
    if sys.platform == "win32":
        code = "import sys, winsound; winsound.PlaySound(sys.argv[1], winsound.SND_FILENAME)"
        return [sys.executable, "-c", code]
    for name in _SYSTEM_PLAYERS:
        found = shutil.which(name)
        if found is not None:
            return [found, "-q"] if name == "aplay" else [found]
    return None


class BellPlayer:
    """Rings the terminal's bell for what must not be missed: a bell cannot say more."""

    name = "bell"
    RINGS = frozenset(
        {CueKind.PASS, CueKind.FAIL, CueKind.UNSURE, CueKind.AGAIN, CueKind.LIFT, CueKind.STOP, CueKind.HAZARD}
    )

    def __init__(self, ring: Callable[[], None] | None = None) -> None:
        self.broken = ""
        self._ring = ring or _ring

    def play(self, cue: CueKind, *, alone: bool = False) -> None:
        """Ring once."""
        if cue in self.RINGS:
            try:
                self._ring()
            except OSError as error:
                self.broken = str(error)

    def tone(self, hz: float | None, *, steady: bool = True) -> None:
        """A bell has no pitch."""

    def close(self) -> None:
        """Nothing was taken."""


def _ring() -> None:
    """Ring where a person sits: on the terminal itself, never into a pipe."""
    with open("CON" if sys.platform == "win32" else "/dev/tty", "wb", buffering=0) as terminal:  # noqa: PTH123
        terminal.write(b"\a")


def open_player(config: SoundConfig, *, ring: Callable[[], None] | None = None) -> Player:
    """Return the player that `config` asks for; for `auto`, and where the asked one does not work, the next that does.

    The order is device, system, bell.
    """
    if config.mute or config.player == "none":
        return SilentPlayer()
    makers: dict[str, Callable[[], Player]] = {
        "device": lambda: DevicePlayer(config.volume),
        "system": lambda: SystemPlayer(config.volume),
        "bell": lambda: BellPlayer(ring),
    }
    names = list(makers)
    first = 0 if config.player == "auto" else names.index(config.player)
    for name in names[first:]:
        try:
            return makers[name]()
        except Exception:
            continue
    return SilentPlayer()
