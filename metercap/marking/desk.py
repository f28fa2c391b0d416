"""One marking in work: the plan, the draft with its undo, and what of it is on disk at any moment.

Each move is on disk, in a folder beside the plan, before it is answered: a browser that closes and a program that is
killed lose nothing. The plan itself changes only by `save`.
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import msgspec

from metercap.errors import FileProblem, MetercapError, PlanError, UsageError
from metercap.gate import visible
from metercap.marking import draft as doing
from metercap.marking.baking import drawn, size, taken
from metercap.marking.draft import Baked, Draft, Pic
from metercap.marking.drawer import Drawer, Kept
from metercap.marking.editing import marked
from metercap.marking.meeting import OTHER_FILE, onto
from metercap.marking.model import Tips
from metercap.marking.saving import CHANGED, Changed, new_picture, rewrite, sha_of
from metercap.marking.spots import WHOLE, Box
from metercap.pictures import beside, read, sha256
from metercap.plan.load import examine
from metercap.plan.model import Plan
from metercap.plan.pictures import unplaced
from metercap.plan.problems import in_file_order, plan_error
from metercap.plan.rules import check_plan
from metercap.planfile import picture_problems, read_text
from metercap.plankeys import SweepStep, WalkStep
from metercap.plankeys.walk import walked

MOST_UNDO = 500
LEAST_CUT = 0.02
"""A cut of less than a fiftieth of a side was a slip of the finger."""


class Stale(MetercapError):
    """Another page marked something in between."""


class Move(msgspec.Struct, forbid_unknown_fields=True):
    """What a page asks for; `rev` is the number of the state that it shows. `do` says which other fields count."""

    rev: int
    do: str
    picture: int = 0
    key: str = ""
    tips: tuple[tuple[float, float], ...] = ()
    quarters: int = 0
    box: Box = WHOLE
    side: str = "front"
    title: str = ""
    step: str = ""
    names: tuple[str, ...] = ()
    groups: tuple[tuple[str, ...], ...] = ()


class Desk:
    """One marking; one at a time for a plan. Its methods may be called from any thread."""

    def __init__(self, path: Path) -> None:
        self.path = path
        # A page that was left open from an earlier run must be behind, never by chance level: so no run counts from 1.
        self.rev = time.time_ns() // 1000  # a page counts exactly up to 2**53
        self.saved = False
        self._open = True
        self._lock = threading.Lock()
        self._one = threading.Lock()  # a large photograph takes 200 MB while it is drawn anew
        self._undo: list[Draft] = []
        self._lost: tuple[str, ...] = ()
        self._plan, self._sha = self._read()
        self._drawer = Drawer(path)
        try:
            self._draft = self._looked_through()
            kept = self._drawer.kept()
            if kept is not None:
                self._draft, self._lost = self._onto(kept.draft)
        except BaseException:
            self._drawer.close()
            raise

    def close(self) -> None:
        """Let go of the plan; what is not in it stays as a draft."""
        with self._lock:
            self._open = False
            self._drawer.close()

    @property
    def dirty(self) -> bool:
        """Whether something was done that is not in the plan."""
        return self._drawer.full

    # --- for the page

    def state(self) -> dict[str, Any]:
        """Return all that a page shows."""
        with self._lock:
            return self._state()

    def picture(self, sha: str) -> bytes:
        """Return a picture that the draft shows, by its hash. FileProblem for any other."""
        with self._lock:
            return self._bytes(sha)

    def move(self, move: Move) -> dict[str, Any]:
        """Do what a page asks for and return the state after it.

        Stale when the page's state is not this one any more; ValueError for what makes no sense, MetercapError for
        what cannot be: then nothing was done.
        """
        with self._lock:
            self._fresh(move.rev)
            if move.do == "undo":
                if self._undo:
                    self._keep(self._undo[-1])
                    self._undo.pop()
                return self._state()
            after, lost = self._after(move)
            self._done(after, lost)
            return self._state()

    def upload(self, rev: int, data: bytes, side: str, instead: int | None = None) -> dict[str, Any]:
        """Take a photograph, as a new picture or in another's stead, and return the state after it."""
        name = "the picture"
        with self._one:
            jpeg, width, height = taken(data, name)
        with self._lock:
            self._fresh(rev)
            baked = Baked(sha256(jpeg), width, height)
            if instead is None:
                after = doing.added(self._draft, baked, _side(side))
            elif 0 <= instead < len(self._draft.pics):
                after = doing.another(self._draft, instead, baked)
            else:
                raise ValueError("there is no such picture")
            self._drawer.add(jpeg)
            self._done(after)
            return self._state()

    def save(self, rev: int) -> dict[str, Any]:
        """Write pictures and places into the plan; return the state with what `plan check` says of it.

        Changed where the file is not the one that was read, PlanError where it would be no plan any more: nothing was
        written then.
        """
        with self._lock:
            self._fresh(rev)
            if sha_of(self.path) != self._sha:
                raise Changed(CHANGED, where=visible(str(self.path)), hint="take up the new file, then write again")
            files: list[Path] = []
            try:
                pics = tuple(self._stored(pic, files) for pic in self._draft.pics)
                draft = msgspec.structs.replace(self._draft, pics=pics)
                text = marked(read_text(self.path), doing.marks_of(draft), visible(str(self.path)))
                found = examine(text)
                if found.plan is None:
                    raise plan_error("the plan with these marks", found.problems, found.places, found.count)
                sha = rewrite(self.path, text, self._sha)
            except BaseException:
                for path in files:
                    with contextlib.suppress(OSError):
                        path.unlink()
                raise
            self._plan, self._sha = found.plan, sha
            taps = self._draft.taps
            self._drawer.clear()
            self._draft = msgspec.structs.replace(self._looked_through(), taps=taps)
            self._undo, self._lost, self.saved = [], (), True
            self.rev += 1
            return self._state() | {"findings": self._findings()}

    def take_up(self, rev: int) -> dict[str, Any]:
        """Read the plan's file again, keep the marks that it has items for, and return the state after it."""
        with self._lock:
            self._fresh(rev)
            plan, sha = self._read()
            before = self._plan, self._sha
            self._plan, self._sha = plan, sha
            try:
                self._done(*self._onto(self._draft))
            except BaseException:
                self._plan, self._sha = before
                raise
            self._undo = []  # what was undone to would name items of the old file
            return self._state()

    # --- inside

    def _read(self) -> tuple[Plan, str]:
        sha = sha_of(self.path)
        found = examine(read_text(self.path))
        if found.plan is None:
            raise plan_error(visible(str(self.path)), found.problems, found.places, found.count)
        return found.plan, sha

    def _looked_through(self) -> Draft:
        """Return the plan's own pictures and places, each picture looked at."""
        start = doing.begun(self._plan)
        pics = tuple(self._looked_at(pic) for pic in start.pics)
        return msgspec.structs.replace(start, pics=pics, base=pics)

    def _looked_at(self, pic: Pic) -> Pic:
        try:
            data = read(beside(self.path.parent, pic.file))
            width, height = size(data, pic.file)
        except FileProblem as error:
            return msgspec.structs.replace(pic, trouble=f"{pic.file}: {error.what}")
        found = sha256(data)
        trouble = ""
        if pic.sha256 and found != pic.sha256:
            trouble = OTHER_FILE.format(pic.file)
        return msgspec.structs.replace(pic, source=found, shown=found, width=width, height=height, trouble=trouble)

    def _onto(self, old: Draft) -> tuple[Draft, tuple[str, ...]]:
        return onto(old, self._looked_through(), self._plan)

    def _fresh(self, rev: int) -> None:
        if not self._open:
            raise UsageError("this marking has ended", hint="start metercap plan mark with this plan again")
        if rev != self.rev:
            raise Stale("another page marked something in between; this is how it stands now")

    def _done(self, after: Draft, lost: tuple[str, ...] = ()) -> None:
        before = self._draft
        self._keep(after)
        self._undo = [*self._undo, before][-MOST_UNDO:]
        self._lost = lost

    def _keep(self, after: Draft) -> None:
        self._drawer.keep(Kept(self._sha, after))
        self._draft = after
        self.rev += 1
        self.saved = False
        self._lost = ()

    def _after(self, move: Move) -> tuple[Draft, tuple[str, ...]]:
        does: dict[str, Callable[[Move], Draft]] = {
            "place": self._place,
            "off": lambda move: doing.taken_off(self._draft, self._key(move.key)),
            "drop": lambda move: doing.dropped(self._draft, self._pic(move.picture)),
            "name": lambda move: doing.named(
                self._draft, self._pic(move.picture), _side(move.side), visible(move.title.strip()[:200])
            ),
            "order": self._order,
            "groups": self._groups,
        }
        if move.do == "draw":
            return self._draw(move)
        if move.do not in does:
            raise ValueError("that is not done here")
        return does[move.do](move), ()

    def _place(self, move: Move) -> Draft:
        tips: Tips = move.tips
        return doing.placed(self._draft, self._pic(move.picture), self._key(move.key), tips)

    def _draw(self, move: Move) -> tuple[Draft, tuple[str, ...]]:
        n = self._pic(move.picture)
        left, top, right, bottom = move.box
        if not (0.0 <= left < right <= 1.0 and 0.0 <= top < bottom <= 1.0):
            raise ValueError("a cut lies on the picture")
        if right - left < LEAST_CUT or bottom - top < LEAST_CUT:
            raise ValueError("that would leave next to nothing")
        pic = self._draft.pics[n]
        quarters, box = doing.redrawn(pic, move.quarters, move.box)
        data, width, height = drawn(self._bytes(pic.source), "the picture", quarters, box)
        baked = Baked(self._drawer.add(data), width, height)
        return doing.turned(self._draft, n, move.quarters % 4, move.box, baked)

    def _order(self, move: Move) -> Draft:
        step = self._step(move.step)
        names = [item.name for item in step.items]
        if move.names and sorted(move.names) != sorted(names):
            raise ValueError("an order names each item once")
        return doing.ordered(self._draft, step, () if list(move.names) == _natural(step) else move.names)

    def _groups(self, move: Move) -> Draft:
        step = self._step(move.step)
        if not isinstance(step, SweepStep):
            raise ValueError("only a sweep has groups")
        return doing.grouped(self._draft, step, move.groups)

    def _step(self, step_id: str) -> WalkStep:
        for step in self._plan.steps:
            if step.id == step_id and isinstance(step, WalkStep):
                return step
        raise ValueError("no such step walks over items")

    def _key(self, key: str) -> str:
        if not any(card.key == key for card in doing.cards(self._plan)):
            raise ValueError("the plan has no such item")
        return key

    def _pic(self, n: int) -> int:
        if not 0 <= n < len(self._draft.pics) or not self._draft.pics[n].shown:
            raise ValueError("there is no such picture")
        return n

    def _bytes(self, sha: str) -> bytes:
        pic = next((pic for pic in self._draft.pics if sha and sha in (pic.source, pic.shown)), None)
        if pic is None:
            raise FileProblem("there is no such picture", where=sha[:12])
        return self._drawer.picture(sha, pic.file)

    def _stored(self, pic: Pic, files: list[Path]) -> Pic:
        """Return a picture as the plan will name it, its file written where there is none yet."""
        if not pic.shown or (pic.planned and pic.sha256 == pic.shown):
            return pic
        there = self.path.parent / pic.file if pic.planned else None
        data = self._bytes(pic.shown)
        if there is not None and there.is_file() and sha256(read(there)) == pic.shown:
            return msgspec.structs.replace(pic, sha256=pic.shown)
        folder = self.path.parent
        known = set(folder.iterdir())
        path = new_picture(folder, self.path.stem, pic.side, data)
        if path not in known:
            files.append(path)
        return msgspec.structs.replace(pic, file=path.name, sha256=pic.shown)

    def _findings(self) -> list[str]:
        problems = [*check_plan(self._plan), *unplaced(self._plan), *picture_problems(self._plan, self.path)]
        found = examine(read_text(self.path))
        return [
            f"{problem.severity}, line {found.places.line(problem.path)}: {visible(str(problem))}"
            for problem in in_file_order(problems, found.places)
        ]

    def _state(self) -> dict[str, Any]:
        return {
            "rev": self.rev,
            "plan": visible(self.path.name),
            "title": visible(self._plan.title),
            "changed": sha_of(self.path) != self._sha,
            "dirty": self.dirty,
            "unwritten": self.dirty or any(pic.shown and pic.shown != pic.sha256 for pic in self._draft.pics),
            "saved": self.saved,
            "undo": len(self._undo),
            "lost": [visible(key) for key in self._lost],
            "cards": [msgspec.to_builtins(card) | {"pair": card.pair} for card in doing.cards(self._plan)],
            "pictures": [
                {
                    "file": visible(pic.file),
                    "side": pic.side,
                    "title": visible(pic.title),
                    "planned": pic.planned,
                    "shown": pic.shown,
                    "width": pic.width,
                    "height": pic.height,
                    "at": pic.at,
                    "trouble": visible(pic.trouble),
                }
                for pic in self._draft.pics
            ],
            "steps": [msgspec.to_builtins(each) for each in doing.proposals(self._draft, self._plan)],
        }


def _side(side: str) -> str:
    if side not in ("front", "back"):
        raise ValueError("a side is front or back")
    return side


def _natural(step: WalkStep) -> list[str]:
    names = {item.name for item in step.items}
    return [item.name for item in walked(step.items) if item.name in names]


def problems_of(error: MetercapError) -> Iterator[str]:
    """Yield an error's lines for a page."""
    yield visible(error.what)
    if isinstance(error, PlanError):
        yield from (visible(problem) for problem in error.problems[:10])
    if error.hint:
        yield visible(error.hint)
