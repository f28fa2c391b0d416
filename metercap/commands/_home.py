"""`metercap` alone: the first screen, and what its keys begin."""

from __future__ import annotations

import shlex
import threading
from pathlib import Path

import click
from msgspec import UNSET

from metercap.errors import MetercapError
from metercap.finding.found import last, meter_on, remember, same_file
from metercap.link import open_link
from metercap.meter import MeterProfile
from metercap.quantity import format_value
from metercap.reading import Reading, State
from metercap.records import LinkState
from metercap.screen.start import Choice, Plugged, StartApp
from metercap.screen.theme import pick
from metercap.wire import decoder

LARGEST_LOOKED_AT = 30_000_000
"""Bytes of a journal that the first screen looks into; a longer one is named alone."""

SWEEP = Choice("s", "sweep", "tick fuses off in order, hands-free")
GO_ON = Choice("c", "continue", "go on with the session above")
REPORT = Choice("r", "report", "read the session above as a report")
WATCH = Choice("w", "watch", "show the meter's readings, and keep them")
LOOK = Choice("l", "look again", "listen for a meter anew")
PRACTICE = Choice("p", "practice", "learn it by hand on the simulated bench, no meter needed")
DEMO = Choice("d", "demo", "watch a whole repair of two controllers")
HELP = Choice("h", "help", "every command")
QUIT = Choice("q", "quit", "")


class Eye:
    """Looks for the meter in a thread of its own and keeps what it shows; asks nothing of a port unasked."""

    def __init__(self) -> None:
        self._told = "listening for a meter ..."
        self._well = True
        self._shown = ""
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._look, name="first look", daemon=True)
        self._thread.start()

    def now(self) -> Plugged:
        """Return what is plugged in now."""
        return Plugged(self._shown, self._told, self._well)

    def close(self) -> None:
        """Let go of the port."""
        self._over.set()
        self._thread.join(5.0)

    def _look(self) -> None:
        try:
            found = meter_on(None, None, self._say)
            remember(port=found.port, meter=same_file(found.meter))
            self._told = f"meter {found.meter} on {found.port}"
            self._read(found.port, found.profile)
        except MetercapError as error:
            self._well = False
            self._told = f"{error.what}: {error.hint}" if error.hint else error.what

    def _say(self, text: str) -> None:
        self._told = text

    def _read(self, port: str, profile: MeterProfile) -> None:
        from metercap.clock import ScaledClock

        self._decoder = decoder(profile, midstream=True)
        source = open_link(port, profile)
        source.start(self, ScaledClock())
        try:
            self._over.wait()
        finally:
            source.stop()

    def put_bytes(self, data: bytes, t_s: float) -> None:
        """Decode what came; the last reading is what is shown."""
        for one in self._decoder.feed(data, t_s):
            if isinstance(one, Reading):
                self._shown = _as_shown(one)
                self._well = True

    def put_link(self, state: LinkState, why: str, t_s: float) -> None:
        """Say how the link is where it is not well."""
        if state is not LinkState.UP:
            self._shown, self._told, self._well = "", why or str(state), False

    def put_fault(self, error: BaseException) -> None:
        """Say what broke."""
        self._shown, self._told, self._well = "", f"the link broke: {error}", False


def _as_shown(reading: Reading) -> str:
    if reading.value is None:
        return "OL" if reading.state is State.OVER else ""
    return format_value(reading.value, reading.unit, reading.resolution)


def home() -> list[str]:
    """Show the first screen until something is chosen; return its command line, empty for the way out."""
    while True:
        about, more = _last_session()
        choices = (SWEEP, *more, WATCH, LOOK, PRACTICE, DEMO, HELP, QUIT)
        eye = Eye()
        try:
            app = StartApp(eye.now, about, choices, theme=pick(""))
            key = app.run(mouse=False) or "q"
        finally:
            eye.close()
        if key == "q":
            return []
        if key == "l":
            continue
        arguments = _arguments(key)
        if arguments is None:
            continue
        click.echo(f"metercap {shlex.join(arguments)}", err=True)
        return arguments


def _arguments(key: str) -> list[str] | None:
    """Return the command line that a key begins; None when its questions were left unanswered."""
    if key == "s":
        return _sweep()
    journal, plan = last().journal, last().plan
    job = job_of(journal)
    return {
        "c": ["run", job] if job else ["run", *([plan] if plan else []), "--continue", journal],
        "r": ["report", job or journal, "--text"],
        "w": ["watch"],
        "p": ["practice", "gc8-b"],
        "d": ["demo"],
        "h": ["--help"],
    }[key]


def job_of(journal: str) -> str:
    """Return the folder of the job that a journal is of; empty where it is of none."""
    from metercap.job import is_job

    folder = Path(journal).parent
    return str(folder) if journal and is_job(folder) else ""


def _sweep() -> list[str] | None:
    """Ask what a sweep needs; an empty first answer goes back."""
    items = click.prompt("Fuses, such as F1..F12 (empty: back)", default="", show_default=False, err=True).strip()
    if not items:
        return None
    high = click.prompt("Highest value of a good one", default="2 ohm", err=True).strip()
    asked = "A point to prove the unit dead at, such as supply input (empty: loose parts on the mat)"
    point = click.prompt(asked, default="", show_default=False, err=True).strip()
    return ["sweep", *items.split(), "--max", high, *(["--point", point] if point else ["--loose"])]


def _last_session() -> tuple[str, tuple[Choice, ...]]:
    """Return one line on the session that was last, and what can be done with it; empty when there is none."""
    from metercap.journal import read
    from metercap.outcome import fold
    from metercap.plain.style import safe

    kept = last()
    path = Path(kept.journal)
    try:
        if not kept.journal or path.stat().st_size > LARGEST_LOOKED_AT:
            return "", ()
        file = read(path)
        found = fold(file.records)
    except (OSError, MetercapError):
        return "", ()
    if found.session is None:
        return "", ()
    left = len(found.open)
    unit = found.session.unit or "a unit without a name"
    if found.session.job is not UNSET and job_of(kept.journal):
        unit = f"{found.session.tag} of the job {found.session.job.title}"
        left += len(found.session.job.open)
    state = f"{left} left open" if left else "nothing left open"
    about = f"last: {safe(unit)}, {safe(found.session.plan.get('title', ''))}; {state}; {path.name}"
    return about, (GO_ON, REPORT) if left else (REPORT,)


def usable() -> bool:
    """Return whether there is a terminal to show the first screen on."""
    from metercap.commands._live import full_screen

    return full_screen()
