"""A recorded session told again: the views that were, derived from its events; of old files what they say."""

from __future__ import annotations

import copy

import msgspec
import pytest

from metercap.plankeys import Item, SweepStep, TuneStep
from metercap.records import EndRecord, Note, Record
from metercap.screen.observer import ScreenObserver
from metercap.screen.player import Player
from metercap.view import View
from metercap.view.retold import Retold
from tests.steps.bench_play import Play

FUSES = SweepStep(id="fuses", items=tuple(Item(f"F{n}") for n in (1, 2, 3)), max=2.0, unit="ohm", count_check=False)
BRIDGE = TuneStep(id="bridge", items=(Item("RV1"),), target=1500.0, tolerance=15.0, unit="ohm", never_below=1200.0)
SCRIPT = "OL*6 0.2*3 OL*12 0.2*3 OL*12 :note=flux 0.2*3 OL*12 2.187k*4 1.800k 1.500k 1.300k 1.210k 1.190k 1.180k*2"


def played() -> Play:
    return Play(FUSES, BRIDGE, rate=5.0)(SCRIPT)


def file_of(play: Play, *end: Record) -> list[Record]:
    """The journal's records of a play."""
    records: list[Record] = [play.record]
    for event, outcomes in play.pairs:
        records += [*([] if event is None else [event]), *outcomes]
    return [*records, *end]


def views(records: list[Record], again: Retold | None = None) -> list[View]:
    again = Retold() if again is None else again
    return [view for record in records for view, _ in again.take(record)]


def test_a_file_is_told_as_it_was() -> None:
    """The last view is the one of the session that wrote it, and every record is told once, in order."""
    play, again = played(), Retold()
    records = file_of(play)
    told = [one for record in records for _, moment in again.take(record) for one in moment]
    assert again.derives and again.view == play.view
    assert told == records


def test_an_end_by_a_signal_says_what_stands() -> None:
    """A trimmer past its limit is said before the end, though the file may have lost that."""
    again = Retold()
    views(file_of(played(), EndRecord(60.0, "interrupted", {}, "")), again)
    assert again.view.end is not None and again.view.note is not None
    assert again.view.note.text.startswith("RV1 stands past its limit")


def test_without_looks_no_view_is_made() -> None:
    """The records are the same; the views are not worked out."""
    quiet = Retold(looks=False)
    records = file_of(played())
    told = [one for record in records for _, moment in quiet.take(record) for one in moment]
    assert told == records and quiet.view.own is None


def test_an_old_file_is_told_as_it_is() -> None:
    """Schema 1: nothing is derived again, and only what records say is known."""
    play = played()
    old = [msgspec.structs.replace(play.record, schema=1), *file_of(play)[1:]]
    again = Retold()
    views(old, again)
    assert not again.derives and again.view.own is None
    assert [verdict.item for verdict in again.view.verdicts] == ["F1", "F2", "F3"]


def test_a_copy_goes_on_by_itself() -> None:
    """What was copied in the middle ends where the other does, and disturbs it not."""
    records = file_of(played(), Note(60.0, "x"))
    again = Retold()
    views(records[:60], again)
    kept = copy.deepcopy(again)
    rest = views(records[60:], again)
    assert views(records[60:], kept) == rest


def test_a_player_goes_back_and_on_over_a_real_session(monkeypatch: pytest.MonkeyPatch) -> None:
    """Wherever it jumps, forward or back, it shows what folding up to there shows."""
    monkeypatch.setattr("metercap.screen.player.EVERY", 7)
    monkeypatch.setattr("metercap.screen.player.MOST_KEPT", 4)
    records = file_of(played())
    observer = ScreenObserver()
    player = Player(records, observer)
    for step in (1, 1, 1, -1, -1, 1, 5, -2, -9, 2):
        player.jump(step)
        at = player._at
        assert observer.view == (views(records[:at]) or [View()])[-1], (step, at)


def test_what_is_passed_over_leads_to_the_same_view() -> None:
    """From any beginning to any end: the view after what nobody saw is the one that looking at all of it gives."""
    play = played()("^silent 1.250k*2 OL*20")
    records = file_of(play)
    for start, end in [(0, n) for n in range(2, len(records), 3)] + [(n, len(records)) for n in range(2, 60, 7)]:
        again = Retold()
        views(records[:start], again)
        for record in records[start:end]:
            again.pass_over(record)
        assert again.settle() == views(records[:end])[-1], (start, end)
