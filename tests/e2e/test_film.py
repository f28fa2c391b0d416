"""A film of one's work: the word clap over the real program, by lines and by keys, and the subtitles that it gives."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import pytest

from metercap.journal import read
from metercap.session import check
from tests.e2e.outside_meter import Meter
from tests.e2e.program import of_kind, plan_file, run
from tests.e2e.test_words import KEYS, REPEAT_S, asked, confirm, journal, noted, operator
from tests.export.test_webvtt import parse_webvtt

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")


@pytest.mark.parametrize("how", ["lines", "keys"])
def test_clap_work_subtitles(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, how: str) -> None:
    """Clap at a prompt that it does not answer: said back, journaled with its source, and the film counts from it."""
    monkeypatch.setitem(KEYS, "clap", "l")
    plan = plan_file(tmp_path, confirm("unplug") + confirm("cell-out"))
    with Meter(tmp_path) as meter, operator(how, tmp_path, meter, plan) as one:
        one.say("clap")
        one.until(noted("clap"), "clap said back")
        one.say("yes")
        one.until(asked("confirm", "cell-out"), "next step")
        time.sleep(REPEAT_S)
        one.say("yes")
        assert one.ended() == 0
    out = tmp_path / "session.jsonl"
    assert not check(read(out).records).difference
    records = journal(out)
    (clap,) = [record for record in of_kind(records, "operator") if record["word"] == "clap"]
    assert clap["source"] == ("line" if how == "lines" else "key")
    ended = run("export", str(out), "--to", str(tmp_path / "film.vtt"))
    assert ended.status == 0, ended
    shown = [(start, lines) for start, _, lines in parse_webvtt((tmp_path / "film.vtt").read_text("utf-8"))]
    verdicts = of_kind(records, "verdict")
    assert [lines for _, lines in shown] == [("unplug: pass",), ("cell-out: pass",)]
    for (start_ms, _), verdict in zip(shown, verdicts, strict=True):
        assert abs(start_ms / 1000 - (verdict["t_s"] - clap["t_s"])) <= 0.0006
