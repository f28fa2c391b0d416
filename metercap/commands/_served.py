"""The simulated meter alone, on a port, for a session in another terminal or another program."""

from __future__ import annotations

import contextlib
import queue
import shlex
from pathlib import Path

import click

from metercap.clock import ScaledClock
from metercap.commands._by_hand import Grip, bench_of, line_reader, stdin_lines
from metercap.commands._live import INTERRUPTED
from metercap.commands._saying import complain
from metercap.commands._setting import Setting
from metercap.gate import visible
from metercap.link.ports import announced
from metercap.live.signals import stop_signals
from metercap.practice.port import PracticePort
from metercap.profiles import find_meter


class _Until:
    """Waits for `quit`, a signal, or a bench that broke."""

    def __init__(self) -> None:
        self._ends: queue.SimpleQueue[int | BaseException] = queue.SimpleQueue()

    def put_word(self, word: str, text: str, t_s: float, source: str) -> None:
        """The only word here is quit."""
        self._ends.put(0)

    def put_stop(self, signal: int) -> None:
        """A signal came."""
        self._ends.put(INTERRUPTED)

    def put_fault(self, error: BaseException) -> None:
        """Something broke."""
        self._ends.put(error)

    def wait(self) -> int:
        """Return the exit status once something ends it, or raise what broke."""
        end: int | BaseException | None = None
        while end is None:
            with contextlib.suppress(queue.Empty):  # woken now and then: signals wait for it on some systems
                end = self._ends.get(timeout=1.0)
        if isinstance(end, BaseException):
            raise end
        return end


def serve(chosen: Setting, *, as_json: bool) -> int:
    """Serve the simulated meter on a port until Ctrl-C, while lines on stdin move the hands; return the status.

    It ends by itself when nobody reads any more what it says.
    """
    try:
        return _serve(chosen, as_json=as_json)
    except BrokenPipeError:
        return 0


def _serve(chosen: Setting, *, as_json: bool) -> int:
    until, clock, found = _Until(), ScaledClock(), contextlib.ExitStack()
    with stop_signals(until), PracticePort(bench_of(chosen, clock.speed), clock) as port, found:
        grip = Grip(port)
        port.start(until, clock)
        found.enter_context(announced(port.path, chosen.scene.title))
        _introduce(chosen, grip, port.path, as_json=as_json)
        sources = stdin_lines(line_reader(grip, _told if as_json else click.echo, words=False), complain)
        for source in sources:
            source.start(until, clock)
        try:
            return until.wait()
        finally:
            for source in sources:
                source.stop()


def _introduce(chosen: Setting, grip: Grip, path: str, *, as_json: bool) -> None:
    line = run_line(chosen, path)
    if as_json:
        told = {"kind": "port", "port": path, "family": chosen.scene.meter.family, "points": grip.points, "run": line}
        from metercap.plain import json_text

        click.echo(json_text(told))
        return
    click.echo(
        f"simulated meter on {visible(str(path))}: {chosen.scene.title}\n"
        "run a session against it in another terminal:\n"
    )
    click.echo(f"  {line}\n")
    click.echo("here a point's name touches it, an empty line lifts; help lists every move, quit or Ctrl-C ends")


def _told(text: str) -> None:
    from metercap.plain import json_text

    click.echo(json_text({"kind": "hands", "text": text}))


def run_line(chosen: Setting, port: str) -> str:
    """Return the command that runs the same plan on the same unit against a port."""
    scene = chosen.scene
    meter = scene.meter.profile or scene.meter.family
    words = ["metercap", "run", chosen.plan_name, "--port", port, "--meter", meter, "--unit", scene.unit]
    if len(chosen.steps) < len(chosen.plan.steps):
        words += ["--steps", ",".join(chosen.steps)]
    if scene.meter.per_s != find_meter(meter).conversions_per_s:
        words += ["--rate", f"{scene.meter.per_s:g}"]
    if chosen.no_safe:
        words.append("--no-safe")
    if scene.known_good:
        words.append("--known-good")
    if chosen.against is not None:
        words += ["--against", str(chosen.against)]
    return shlex.join([*words, "--out", _free_name(scene.unit)])


def _free_name(unit: str) -> str:
    """Return the name of a journal that is not in this folder yet."""
    names = (f"{unit.lower()}{'' if n == 1 else f'-{n}'}.jsonl" for n in range(1, 10_000))
    return next(name for name in names if not Path(name).exists())
