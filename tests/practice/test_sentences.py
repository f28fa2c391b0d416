"""Nobody at the bench reads a sentence: with every prompt's words gone the whole repair is played the same."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from metercap.commands._bench import play_scene
from metercap.journal import iterate
from metercap.practice.bench import PracticeBench
from metercap.records import Operator, Prompt, Record, Verdict


class Deaf(PracticeBench):
    """A bench whose technician gets prompts without a word of their sentences."""

    def see(self, record: Record, t_s: float) -> None:
        if isinstance(record, Prompt):
            record = msgspec.structs.replace(record, say="·")
        super().see(record, t_s)


@pytest.mark.parametrize("name", ["gc8-b-whole"])
def test_the_whole_repair_is_played_without_a_word(name: str, tmp_path: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Safe, leads, fuses, switch, cells, trimmers, starts: the same words and verdicts at the same moments."""
    against = play_scene("gc8-a-whole", tmp_path, speed=5000.0, seed=None, against=None).journal
    played = []
    for which in ("told", "untold"):
        if which == "untold":
            monkeypatch.setattr("metercap.commands._bench.PracticeBench", Deaf)
        folder = tmp_path / which
        folder.mkdir()
        done = play_scene(name, folder, speed=5000.0, seed=None, against=against)
        played.append(done)
    told, untold = (journal(done.journal) for done in played)
    assert len(told) > 60
    assert told == untold


def journal(path: Any) -> list[tuple[float, str, str, str]]:
    with iterate(path) as records:
        kept = [record for record in records if isinstance(record, Operator | Verdict)]
    return [
        (one.t_s, one.word, one.text, "") if isinstance(one, Operator) else (one.t_s, one.step, one.item, one.verdict)
        for one in kept
    ]
