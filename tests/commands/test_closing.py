"""What a command counts, and who is told of the end."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from metercap.commands import _live
from metercap.commands.job import _counts
from metercap.live import Leaving
from metercap.outcome import fold
from metercap.records import Cue, CueKind, VerdictKind
from tests.steps.bench_play import Play, fuses
from tests.test_outcome import EVERY, end, prompt, session


def test_a_good_item_that_is_asked_for_again_is_open_and_not_counted_as_good() -> None:
    """All but F2 count as before; an answer that the exit status would take as good is one less."""
    before = _counts(fold([session(), *EVERY, end("quit")]))
    after = _counts(fold([session(), *EVERY, prompt("fuses", "F2"), end("quit")]))
    assert sum(before.values()) == len(EVERY)
    assert after == before | {VerdictKind.PASS: before[VerdictKind.PASS] - 1}


def test_a_live_session_is_left_when_its_terminal_hung_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever runs one live has the program ended then, whatever shows it."""
    seen: list[Any] = []
    monkeypatch.setattr(_live, "Live", lambda *given, **more: seen.extend(given[3]))
    monkeypatch.setattr(_live, "go_live", lambda: None)
    monkeypatch.setattr(_live, "decoder", lambda *given, **more: None)
    play: Any = Play(fuses(1))
    shown: Any = _live.Shown([], [], lambda *_: "quit", lambda: None)
    nothing: Any = None
    _live.run_live(play.session, play.record, nothing, nothing, nothing, shown, observers=[])
    assert [type(each) for each in seen if isinstance(each, Leaving)] == [Leaving]


def test_the_last_lines_name_what_stands_past_its_limit(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """The screen is gone by then; a unit that must not be powered was told of nowhere."""
    record = session()
    cue = Cue(5.0, "bridge", "RV1", CueKind.HAZARD, "below")
    _live.print_closing(fold([record, cue, end("quit")]), tmp_path / "b.jsonl")
    assert "! RV1 stands past its hazard limit: turn it back before the unit has power" in capsys.readouterr().out
