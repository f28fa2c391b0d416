"""The audience: who looks gets a view before the records, a hazard's ahead of all, and nothing is made for nobody."""

from __future__ import annotations

from typing import Any

import pytest

from metercap.live.audience import Audience
from metercap.plankeys import Item, TuneStep
from metercap.records import Cue, CueKind, EndRecord, Note, Record
from metercap.view import View, Viewer
from tests.steps.bench_play import Play

STEP = TuneStep(id="bridge", items=(Item("RV1"),), target=1500.0, tolerance=15.0, unit="ohm", never_below=1200.0)


class Log:
    """An observer that notes what it is given, in order."""

    def __init__(self) -> None:
        self.given: list[tuple[str, Any]] = []

    def look(self, view: View) -> None:
        self.given.append(("look", view))

    def urgent(self, record: Cue) -> None:
        self.given.append(("urgent", record))

    def see(self, record: Record, line: bytes) -> None:
        self.given.append(("see", record))


def shown(log: Log) -> None:
    """Show a tuning that runs past its limit, as the loop does."""
    play = Play(STEP, rate=5.0)("OL*6 2.187k*4 1.800k 1.500k 1.300k 1.210k 1.190k 1.180k 1.250k*9")
    fresh = Play(STEP, rate=5.0)
    audience = Audience([log])
    audience.begin(fresh.session, fresh.record, b"")
    for event in play.events:
        for fed, outcomes in fresh.driver.feed(event):
            alarms = [one for one in outcomes if isinstance(one, Cue) and one.cue is CueKind.HAZARD]
            if alarms:
                audience.alarm(fed, alarms)
            records = [fed, *outcomes]
            audience.show(fed, outcomes, records, [b""] * len(records))


def test_a_hazards_view_comes_before_everything() -> None:
    """Look, then the alarm; after the disk look again, then the records in their order."""
    log = Log()
    shown(log)
    at = next(n for n, (kind, _) in enumerate(log.given) if kind == "urgent")
    (before, view), _, (after, again), (seen, _) = log.given[at - 1 : at + 3]
    assert (before, after, seen) == ("look", "look", "see")
    assert view.hazard is not None and again.hazard is not None
    assert view.cue is CueKind.HAZARD


def test_who_looks_has_the_view_of_the_record() -> None:
    """Each record comes after a view that is not older."""
    log = Log()
    shown(log)
    view = View()
    for kind, given in log.given:
        if kind == "look":
            view = given
        elif kind == "see":
            assert view.t_s >= given.t_s
    assert view.trimmer is not None and view.trimmer.value == 1250.0


def test_nothing_is_made_where_nobody_looks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Headless the session is never asked what it knows."""

    class Blind:
        def see(self, record: Record, line: bytes) -> None:
            """See."""

    monkeypatch.setattr(Viewer, "take", lambda *_: pytest.fail("a view was made"))
    audience = Audience([Blind()])  # type: ignore[list-item]
    audience.show(None, [], [Note(1.0, "a")], [b""])
    audience.tell(EndRecord(2.0, "done", {}, ""))


def test_who_comes_late_sees_what_is() -> None:
    """An observer that joins looks at the newest view first."""
    first, late = Log(), Log()
    audience = Audience([first])
    play = Play(STEP, rate=5.0)
    audience.begin(play.session, play.record, b"")
    audience.join(late)
    assert late.given[0] == first.given[0]
    audience.tell(Note(1.0, "the disk is full"))
    assert late.given[-1] == ("see", Note(1.0, "the disk is full"))
    assert late.given[-2][1].note.text == "the disk is full"


def test_prompts_are_counted_on_from_unit_to_unit() -> None:
    """A word said on a page to a prompt of the unit before must fit none of the next one's."""
    audience = Audience([Log()])
    numbers = []
    for _ in range(2):
        fresh = Play(STEP, rate=5.0)
        audience.begin(fresh.session, fresh.record, b"")
        first = fresh.driver.start()
        audience.show(None, first, first, [b""] * len(first))
        numbers.append(audience.view.prompts)
    assert 0 < numbers[0] < numbers[1]
