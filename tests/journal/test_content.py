"""Journals whose checksums are right and whose first record cannot be: refused with line and field, never a defect."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from metercap.errors import JournalError
from metercap.journal import iterate, read, verify
from metercap.journal.format import body_of, seal

GOOD = Path(__file__).parents[2] / "fixtures" / "sessions" / "good-sweep.jsonl"


def changed(folder: Path, path: tuple[str | int, ...], value: Any) -> Path:
    """Write the good journal with one thing of its first record changed, every checksum made right again."""
    lines = [body_of(line) for line in GOOD.read_bytes().splitlines(keepends=True)]
    first = json.loads(lines[0])
    inner = first
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = value
    crc, out = 0, b""
    for body in [json.dumps(first, separators=(",", ":")).encode(), *lines[1:-1]]:
        line, crc = seal(body, crc)
        out += line
    (folder / "mailed.jsonl").write_bytes(out)
    return folder / "mailed.jsonl"


def sweep(*key: str | int) -> tuple[str | int, ...]:
    """Return the path of a key of the journal's sweep."""
    return ("plan", "steps", 1, *key)


IMPOSSIBLE: list[tuple[tuple[str | int, ...], Any, str]] = [
    (("meter", "serial", "baud"), 0, "meter.serial.baud"),
    (("meter", "serial", "baud"), -2400, "meter.serial.baud"),
    (("meter", "conversions_per_s"), 0, "meter.conversions_per_s"),
    (("meter", "conversions_per_s"), 1e300, "meter.conversions_per_s"),
    (("meter", "conversions_per_s"), None, "$.meter.conversions_per_s"),
    (("meter", "conversions_per_s_by"), {"resistance": -1}, "meter.conversions_per_s_by.resistance"),
    (("meter", "frames_per_s"), 0, "meter.frames_per_s"),
    (("meter", "poll"), {"send": "D", "per_s": 0}, "meter.poll.per_s"),
    (("meter", "counts"), 0, "meter.counts"),
    (("meter", "continuity_ceiling_ohm"), -1, "meter.continuity_ceiling_ohm"),
    (("meter", "accuracy"), [{"quantity": "resistance", "percent": -1, "counts": 2}], "meter.accuracy, row 1: percent"),
    (sweep("contacts"), 0, "plan: step 'fuses': contacts"),
    (sweep("contacts"), -3, "plan: step 'fuses': contacts"),
    (sweep("items"), [], "plan: step 'fuses': items: there are none"),
    (sweep("items", 0, "name"), "", "items: one has no name"),
    (sweep("items", 0, "name"), "F2", "items: 'F2' stands twice"),
    (sweep("items", 0, "max"), 1e300, "items: 'F1': max"),
    (sweep("max"), 1e30, "plan: step 'fuses': max"),
    (sweep("patience_s"), -1.0, "plan: step 'fuses': patience_s"),
    (sweep("recontact_s"), 1e12, "plan: step 'fuses': recontact_s"),
    (sweep("id"), "leads", "id: stands at another step too"),
    (sweep("id"), " ", "id: is empty"),
    (("plan", "tokens"), {"open": 0.0}, "plan: tokens: 'open'"),
    (("reference",), {"fuses/F1": {"value": 1.0, "n": 0}}, "reference.fuses/F1: n"),
    (("reference",), {"fuses/F1": {"value": 1.0, "U": -1.0}}, "reference.fuses/F1"),
    (("reference",), {"fuses/F1": {"value": "x"}}, "reference.fuses/F1"),
    (("reference",), {"fuses/F1": {"value": 1.0, "n": 9, "mad": -0.1}}, "reference.fuses/F1: mad"),
    (("reference",), {"fuses/F1": {"value": 1.0, "n": 9, "mad": 1e300}}, "reference.fuses/F1: mad"),
    (("inherited",), {"verdicts": 5}, "inherited"),
    (("options",), {"steps": 5}, "options.steps"),
    (("options",), {"rate": 0}, "options.rate"),
    (("zone_offset_s",), 10**9, "zone_offset_s"),
    (("t_s",), -1.0, "t_s"),
    (("schema",), 0, "schema"),
]


@pytest.mark.parametrize(("path", "value", "field"), IMPOSSIBLE, ids=lambda v: str(v)[:40])
def test_what_cannot_be_is_refused_with_line_and_field(
    tmp_path: Path, path: tuple[str | int, ...], value: Any, field: str
) -> None:
    """The reader names file, line 1 and the field; verifying, which is about bytes, finds nothing wrong."""
    journal = changed(tmp_path, path, value)
    for reader in (read, lambda file: list(iterate(file))):
        with pytest.raises(JournalError) as caught:
            reader(journal)
        assert f"{journal}, line 1" in str(caught.value)
        assert field in str(caught.value)
    if value is not None:
        assert verify(journal).state == "unclosed"


def test_the_good_one_is_taken(tmp_path: Path) -> None:
    """Changed in a way that can be, it reads whole."""
    assert read(changed(tmp_path, sweep("contacts"), 3)).state == "unclosed"


@pytest.mark.parametrize(
    "command",
    [["replay", "--check"], ["report", "--text"], ["export", "--table", "verdicts", "--to", "x.csv"], ["compare"]],
)
def test_the_program_says_so(tmp_path: Path, command: list[str]) -> None:
    """Status 2 with line and field, whatever command takes journals."""
    journal = changed(tmp_path, sweep("contacts"), 0)
    ended = subprocess.run(
        [sys.executable, "-m", "metercap", command[0], str(journal), *command[1:]],
        capture_output=True,
        text=True,
        cwd=tmp_path,
    )
    assert ended.returncode == 2
    assert "line 1" in ended.stderr and "contacts: must be a count" in ended.stderr
    assert "defect" not in ended.stderr
