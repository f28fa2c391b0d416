"""The mat: several units of one job in turn, one meter and one technician, who goes from one to the other as told.

What is told are errands: at a certain prompt the technician says a word in place of an answer, such as `take A` where
a value of the good unit is missing. Boards keep their state while another unit is on the mat: a trimmer stays where it
was turned to, a cell that was replaced stays new.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from random import Random

import msgspec

from metercap.asks import Asks
from metercap.errors import SceneError
from metercap.practice.audit import Audit
from metercap.practice.bench import MakeHands, PracticeBench, Said, Technician
from metercap.practice.board import Board
from metercap.practice.body import NEVER_S
from metercap.practice.line import Chunk
from metercap.practice.meter import Meter
from metercap.practice.scene import Scene, load_scene
from metercap.records import Cue, Do, Prompt, Record, SessionRecord, Verdict
from metercap.session.inherit import FROM

SHELF = Path(__file__).parent / "jobs"
SCHEMA = 1
THINK_S = 1.5
"""How long it takes to decide to do something else first; invented."""


class Errand(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What is said, once, at the first prompt of `unit` that fits: of a `step`, with a `do`, asking `asks`; `after` a
    step: at the first prompt of another step, once that one was asked for."""

    unit: str
    say: str
    step: str = ""
    after: str = ""
    do: Do | None = None
    asks: Asks | None = None


class PairUnit(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One unit of the job: its tag, its scene, and what its owner says."""

    tag: str
    scene: str
    symptom: str = ""
    known_good: bool = False


class JobScene(msgspec.Struct, frozen=True, forbid_unknown_fields=True, rename={"units": "unit", "errands": "errand"}):
    """A job on the practice bench: its units in their order, and the errands of its technician."""

    schema: int
    title: str
    plan: str
    units: tuple[PairUnit, ...]
    errands: tuple[Errand, ...] = ()


def load_job_scene(name: str) -> JobScene:
    """Return the job of that name. SceneError when there is none, or it cannot be used."""
    path = SHELF / f"{name}.toml"
    try:
        found = msgspec.toml.decode(path.read_bytes(), type=JobScene)
    except OSError as error:
        raise SceneError(f"there is no job {name!r}", hint=", ".join(job_scene_names())) from error
    except msgspec.MsgspecError as error:
        raise SceneError(str(error), where=str(path)) from error
    if found.schema != SCHEMA:
        raise SceneError(f"schema {found.schema} is not {SCHEMA}", where=str(path))
    return found


def job_scene_names() -> list[str]:
    """Return the names of the jobs that come with the program."""
    return sorted(path.stem for path in SHELF.glob("*.toml"))


class Mat:
    """The bench of a job, for a `PracticePort`. `sit` puts a unit on it; `audits` marks every sitting.

    With `hands` a person works on the units and runs no errands; frames leave in `chunks` pieces.
    """

    answers_polls = False

    def __init__(
        self, job: JobScene, *, seed: int | None = None, hands: MakeHands | None = None, chunks: int = 1
    ) -> None:
        self.scenes: dict[str, Scene] = {unit.tag: load_scene(unit.scene) for unit in job.units}
        self.truths = {tag: scene.verdicts() for tag, scene in self.scenes.items()}
        first = next(iter(self.scenes.values()))
        seed = first.seed if seed is None else seed
        self._seed = seed
        self._meter = Meter(first.meter, Random(f"{seed} meter"))
        self._boards: dict[str, Board] = {}
        self._make, self._chunks = hands, chunks
        self._errands = list(job.errands) if hands is None else []
        self._sittings = 0
        self._asked: set[str] = set()
        self.handed: set[tuple[str, str, str]] = set()
        """Tag, step and item of verdicts that a sitting took over: the leads are nulled once for all units."""
        self._tag = ""
        self.audits: list[tuple[str, Audit]] = []
        self._bench: PracticeBench | None = None

    @property
    def rate_per_s(self) -> float:
        """How often the meter is said to convert."""
        return next(iter(self.scenes.values())).meter.told_per_s

    @property
    def hands(self) -> Technician:
        """Whoever works on the unit on the mat."""
        assert self._bench is not None
        return self._bench.hands

    @property
    def board(self) -> Board:
        """The board of the unit on the mat."""
        return self._boards[self._tag]

    @property
    def frame_s(self) -> float:
        """Time of one frame on the wire, in seconds."""
        return NEVER_S if self._bench is None else self._bench.frame_s

    def sit(self, record: SessionRecord, now_s: float, origin_s: float) -> None:
        """Put a unit on the mat at bench time `now_s`, for the session that a record begins; its time counts from
        `origin_s`."""
        tag = record.tag
        scene = self.scenes[tag]
        board = self._boards.get(tag)
        self._sittings += 1
        bench = PracticeBench(
            scene,
            seed=self._seed + self._sittings,
            chunks=self._chunks,
            hands=self._make,
            board=board,
            meter=self._meter,
            from_s=now_s,
        )
        self._boards[tag] = bench.board
        self._bench, self._tag = bench, tag
        audit = Audit(bench, origin_s=origin_s)
        audit.see(record)
        self.audits.append((tag, audit))

    @property
    def next_s(self) -> float:
        """Bench time of the next thing that happens."""
        return NEVER_S if self._bench is None else self._bench.next_s

    def step(self, until_s: float) -> Chunk | Said | None:
        """Let time pass up to `until_s`, or to the next thing that leaves the bench, which is returned."""
        return None if self._bench is None else self._bench.step(until_s)

    def poll(self, t_s: float) -> None:
        """The meters of these scenes send by themselves."""

    def see(self, record: Record, t_s: float) -> None:
        """Let the technician see a record; an errand is done in place of what a prompt asks."""
        if self._bench is None or type(record) is SessionRecord:
            return
        if isinstance(record, Verdict) and _handed(record):  # an earlier sitting's is marked there
            self.handed.add((self._tag, record.step, record.item))
        else:
            self.audits[-1][1].see(record)
        if isinstance(record, Prompt):
            errand = self._errand(record)
            self._asked.add(f"{self._tag}/{record.step}")
            if errand is not None:
                word, _, text = errand.say.partition(" ")
                self._errands.remove(errand)
                self._bench.hands.leave(word, text, t_s + THINK_S)  # type: ignore[attr-defined]
                return
        self._bench.see(record, t_s)

    def urgent(self, cue: Cue) -> None:
        """What is urgent is seen with its record."""

    def _errand(self, prompt: Prompt) -> Errand | None:
        """Return the next errand where it is this prompt's turn: they are done in their order."""
        if not self._errands:
            return None
        one = self._errands[0]
        asked = f"{one.unit}/{one.after}"
        fits = (
            one.unit == self._tag
            and (not one.step or one.step == prompt.step)
            and (not one.after or (asked in self._asked and one.after != prompt.step))
            and (one.do is None or one.do is prompt.do)
            and (one.asks is None or one.asks is prompt.asks)
        )
        return one if fits else None


def _handed(verdict: Verdict) -> bool:
    """Whether a verdict was taken over: its readings are in no journal of this sitting."""
    return verdict.reason.startswith(FROM) or (verdict.n > 0 and verdict.from_s is None)


def untrue_of(mat: Mat) -> Sequence[str]:
    """Return a line for each way in which what stands of the units is not what their scenes say."""
    lines = []
    for tag in mat.scenes:
        standing = {}
        for each, audit in mat.audits:
            if each == tag:
                standing.update({(mark.verdict.step, mark.verdict.item): mark for mark in audit.marked})
        truth = mat.truths[tag]
        for (step, item), mark in standing.items():
            true = truth.get(step, {}).get(item, frozenset())
            if true and mark.verdict.verdict not in true:
                lines.append(f"{tag}: {step} {item}: said {mark.verdict.verdict}, is {' or '.join(sorted(true))}")
        missing = [(step, item) for step, items in truth.items() for item in items if (step, item) not in standing]
        missing = [(step, item) for step, item in missing if (tag, step, item) not in mat.handed]
        lines += [f"{tag}: {step} {item}: no verdict" for step, item in missing]
        wrong = [mark for each, audit in mat.audits if each == tag for mark in audit.wrong_ticks]
        lines += [f"{tag}: {mark.verdict.step} {mark.verdict.item}: ticked elsewhere" for mark in wrong]
    return lines
