"""A job on the practice bench through the real program: several units on one mat, one meter, one technician."""

from __future__ import annotations

import functools
import sys
from pathlib import Path
from typing import Any

import click
import msgspec

from metercap.clock import ScaledClock, VirtualClock
from metercap.commands._bench import FASTEST_PORT, LINGER_S
from metercap.commands._by_hand import Grip, with_lines
from metercap.commands._jobs import Stage, run_job
from metercap.commands._live import Shown, shown_by
from metercap.commands._pictures import picture_folders
from metercap.commands._started import Wish
from metercap.commands._web import Paged
from metercap.gate import visible
from metercap.job import Folder, JobFile, JobUnit, make
from metercap.job.folder import PLAN_FILE
from metercap.planfile import read_plan
from metercap.practice.bench import PracticeBench
from metercap.practice.by_hand import ByHand
from metercap.practice.mat import JobScene, Mat, untrue_of
from metercap.practice.port import PracticePort, pieces
from metercap.practice.scene import load_scene
from metercap.practice.study import run
from metercap.profiles import find_meter, find_plan
from metercap.records import SessionRecord


class PlayedJob(msgspec.Struct, frozen=True):
    """A job that was played: its folder, the exit status of the run, and every way in which it is not as the scenes
    say."""

    folder: Folder
    status: int
    untrue: tuple[str, ...]


def make_job(job: JobScene, path: Path) -> Folder:
    """Make the job's folder, as `metercap job new` does."""
    plan = find_plan(job.plan)
    units = tuple(JobUnit(unit.tag, symptom=unit.symptom, known_good=unit.known_good) for unit in job.units)
    return make(path, JobFile(job.title, PLAN_FILE, units, read_plan(plan).model), plan)


def play_job(
    job: JobScene,
    path: Path,
    *,
    speed: float,
    seed: int | None = None,
    plain: bool = False,
    as_json: bool = False,
    sound: bool = False,
    web: str | None = None,
    web_words: bool = False,
    pictures: bool = True,
) -> PlayedJob:
    """Play a whole job into a new folder: over a pseudo-terminal, or in process on a clock of its own."""
    folder = make_job(job, path)
    mat = Mat(job, seed=seed)
    wish = _wish(mat, plain=plain, as_json=as_json, web=web, web_words=web_words, pictures=pictures)
    if speed > FASTEST_PORT or sys.platform == "win32":
        virtual = VirtualClock()
        play = functools.partial(run, mat, clock=virtual)
        status = run_job(folder, wish, stage=Stage(virtual, mat.sit, play=play))
    else:
        clock = ScaledClock(speed)
        with PracticePort(mat, clock) as port:
            status = _run(folder, wish, mat, port, clock, linger_s=LINGER_S, sound=sound)
    return PlayedJob(folder, status, tuple(untrue_of(mat)))


def practise_job(
    job: JobScene,
    path: Path,
    *,
    speed: float,
    seed: int | None = None,
    steps: str | None = None,
    no_safe: bool = False,
    plain: bool = False,
    as_json: bool = False,
    web: str | None = None,
    web_words: bool = False,
    pictures: bool = True,
) -> int:
    """Let a person work on a job's units by virtual hands, `take TAG` from one to the other; return the exit status."""
    folder = make_job(job, path)
    mat = hand_mat(job, speed=speed, seed=seed)
    wish = _wish(mat, steps=steps, no_safe=no_safe, plain=plain, as_json=as_json, web=web, web_words=web_words)
    clock = ScaledClock(speed)
    with PracticePort(mat, clock) as port:
        grip = Grip(port)

        def show(page: Paged | None) -> Shown:
            if page is not None:
                page.teller.tapped = grip.tap_picture
            where = picture_folders(None, path) if pictures else ()
            shown = shown_by(
                as_json=as_json, plain=plain, listen=False, sound=True, hands=grip, pictures=where, page=page
            )
            return with_lines(grip, shown)

        status = _run(folder, wish, mat, port, clock, show=show)
    if not as_json:
        for line in (each for each in untrue_of(mat) if not each.endswith(": no verdict")):
            click.echo(f"  not as it is on the bench: {line}")
        click.echo(f"the job: {visible(str(path))}")
    return status


def _run(folder: Folder, wish: Wish, mat: Mat, port: PracticePort, clock: ScaledClock, **more: Any) -> int:
    """Run a job at the bench behind a port; `more` is of its `Stage`. Raises what ended the bench, if something did."""

    def sit(record: SessionRecord, now_s: float, origin_s: float) -> None:
        port.at_once(lambda _: mat.sit(record, now_s, origin_s))

    stage = Stage(clock, sit, (port,), (port,), **more)
    status = run_job(folder, msgspec.structs.replace(wish, port=port.path), stage=stage)
    if port.problem is not None:
        raise port.problem
    return status


def hand_mat(job: JobScene, *, speed: float, seed: int | None = None) -> Mat:
    """Return the mat with a person's hands, its frames in as many pieces as a port can send at that speed."""
    first = PracticeBench(load_scene(job.units[0].scene), seed=seed, hands=ByHand)
    return Mat(job, seed=seed, hands=ByHand, chunks=pieces(first.frame_s, 14, speed))


def _wish(mat: Mat, **more: Any) -> Wish:
    """Return what is wished of a run at the mat; its port is known when it is open."""
    spec = next(iter(mat.scenes.values())).meter
    meter = find_meter(spec.profile or spec.family).name
    return Wish(port="", meter=meter, rate=mat.rate_per_s, operator="practice", **more)
