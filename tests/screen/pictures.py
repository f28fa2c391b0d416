"""Make pictures of the real screen.

    python -m tests.screen.pictures                                     those of the README, into fixtures/pictures
    python -m tests.screen.pictures DIRECTORY [THEME] [COLUMNSxROWS]    one of each situation, to look at

The README's are moments of the demo's own sessions: the bench plays unit A and unit B, and the screen is shown the
journal of unit B up to that moment.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from metercap.commands._bench import play_scene
from metercap.journal import read
from metercap.practice.bench import PracticeBench
from metercap.practice.by_hand import ByHand
from metercap.practice.scene import load_scene
from metercap.records import Cue, CueKind, Do, Prompt, Record, Verdict
from metercap.view import View
from metercap.view.retold import Retold
from tests.screen.greenhouse import views
from tests.screen.picture_of import picture_of

README = Path(__file__).parents[2] / "fixtures" / "pictures"
SIZE = (80, 24)
IN_PROCESS = 1000.0


def readme_pictures(directory: Path) -> list[Path]:
    """Play the demo's two sessions and write the README's pictures; the same on every run."""
    with tempfile.TemporaryDirectory() as folder:
        good = play_scene("gc8-a-whole", Path(folder), speed=IN_PROCESS, quiet=True)
        bad = play_scene("gc8-b-whole", Path(folder), speed=IN_PROCESS, against=good.journal, quiet=True)
        records = list(read(bad.journal).records)
    directory.mkdir(parents=True, exist_ok=True)
    made = []
    for name, moment in MOMENTS.items():
        until = records[: _first(records, moment) + 1]
        hands = _by_hand(until) if name == "practice" else None
        path = directory / f"{name}.svg"
        path.write_text(picture_of(seen(until), *SIZE, hands=hands), encoding="utf-8")
        made.append(path)
    return made


def seen(records: list[Record]) -> View:
    """What the screen of a replay shows after the last of `records`."""
    again = Retold()
    for record in records:
        for _ in again.take(record):
            pass
    return again.view


def _first(records: list[Record], moment: Callable[[list[Record], int], bool]) -> int:
    return next(at for at in range(len(records)) if moment(records, at))


def _ticked(records: list[Record], at: int) -> bool:
    """F8 was ticked, after F7 had failed; the next fuse is asked for."""
    record = records[at]
    return isinstance(record, Prompt) and (record.item, record.do) == ("F9", Do.PROBE)


def _near(records: list[Record], at: int) -> bool:
    """The trimmer is being turned, and near its band."""
    record = records[at]
    return isinstance(record, Cue) and (record.item, record.cue) == ("RV1", CueKind.NEAR)


def _pressing(records: list[Record], at: int) -> bool:
    """Ten presses of the cover switch are done, some of them without a closure."""
    record = records[at]
    return isinstance(record, Prompt) and record.do is Do.PRESS and record.done == 11


def _ready(records: list[Record], at: int) -> bool:
    """The lift after F6 is certain, F7 is to be touched."""
    record = records[at]
    passed = any(isinstance(one, Verdict) and one.item == "F6" for one in records[:at])
    return passed and isinstance(record, Cue) and record.cue is CueKind.GO


MOMENTS = {"sweep": _ticked, "trimmer": _near, "switch": _pressing, "practice": _ready}


class _Grip:
    """Hands that saw the session, tips in the air."""

    def __init__(self, hands: ByHand) -> None:
        self.status = hands.status
        self.offers = hands.offers

    def move(self, move: str) -> str:
        return ""


def _by_hand(records: list[Record]) -> _Grip:
    bench = PracticeBench(load_scene("gc8-b-whole"), hands=ByHand)
    hands = bench.hands
    assert isinstance(hands, ByHand)
    for record in records:
        bench.see(record, record.t_s)
        if isinstance(record, Prompt) and record.do is Do.DIAL:
            hands.move("dial", record.t_s)
    return _Grip(hands)


def situations(directory: Path, theme: str, columns: int, rows: int) -> None:
    """Write one picture of each made-up situation."""
    directory.mkdir(parents=True, exist_ok=True)
    for name, view in views().items():
        path = directory / f"{name.replace(' ', '-')}.svg"
        path.write_text(picture_of(view, columns, rows, theme), encoding="utf-8")


def main() -> None:
    """See the module's text."""
    if len(sys.argv) < 2:
        readme_pictures(README)
        return
    theme = sys.argv[2] if len(sys.argv) > 2 else "dark"
    columns, rows = (int(part) for part in (sys.argv[3] if len(sys.argv) > 3 else "80x24").split("x"))
    situations(Path(sys.argv[1]), theme, columns, rows)


if __name__ == "__main__":
    main()
