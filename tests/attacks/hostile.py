"""Files that hold everything a terminal, a browser or a spreadsheet could be driven by; made without the package.

Control characters by ECMA-48 (C0, C1), DEL, bidirectional controls by Unicode Standard Annex 9 (from memory).
"""

from __future__ import annotations

import hashlib
import json
import re
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

EVIL = "\x1b]0;owned\x07\x9b2J\x7f\x85\u202e\u2066\u2028\x1b[8m\r\x08"
"""Window title, erase by CSI in seven and in one byte, DEL, NEL, right-to-left override, isolate, hidden text."""
FORMULA = " =1+1"

RAW = re.compile(rb"[\x00-\x08\x0b-\x1f\x7f]|\xc2[\x80-\x9f]|\xe2\x80[\x8e\x8f\xa8-\xae]|\xe2\x81[\xa6-\xa9]|\xd8\x9c")
"""In UTF-8: C0 but for tab and line feed, DEL, C1, and what hides or turns text."""

Change = Callable[[str, str, str], str]


def spoil_text(kind: str, key: str, text: str) -> str:
    """Make free text hostile, where a journal may hold any text."""
    free = {"unit", "tag", "operator", "identity", "reason", "say", "text", "why", "title", "model", "program", "id"}
    return text + EVIL + FORMULA if key in free and kind != "plan step" else text


def spoil_all(kind: str, key: str, text: str) -> str:
    """Make every text hostile that is no keyword of the format."""
    keep = {"kind", "crc", "sha256", "start_utc", "quantity", "state", "do", "cue", "verdict", "raw", "family", "side"}
    return text if key in keep else text + EVIL + FORMULA


def spoiled(value: Any, change: Change, kind: str, key: str = "") -> Any:
    """Return a JSON value with its texts changed."""
    if isinstance(value, dict):
        return {
            name: spoiled(inner, change, "plan step" if key == "step" else kind, name) for name, inner in value.items()
        }
    if isinstance(value, list):
        return [spoiled(inner, change, kind, key) for inner in value]
    return change(kind, key, value) if isinstance(value, str) else value


def journal(good: Path, path: Path, change: Change) -> Path:
    """Write a journal like a good one with texts changed, raw, with right checksums."""
    crc, written = 0, b""
    for line in good.read_bytes().splitlines():
        record = json.loads(line)
        record.pop("crc")
        kind = record["kind"]
        if kind == "end":
            record["sha256"] = hashlib.sha256(written).hexdigest()
        else:
            record = spoiled(record, change, kind)
        body = json.dumps(record, ensure_ascii=False, separators=(",", ":")).encode()
        crc = zlib.crc32(body, crc)
        written += body[:-1] + b',"crc":"%08x"}\n' % crc
    path.write_bytes(written)
    return path


def toml(text: str) -> str:
    """Return text as a TOML basic string of that value: C0 and DEL must be escaped there, the rest is raw."""
    out = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c > "\x1f" and c != "\x7f" else f"\\u{ord(c):04x}" for c in out) + '"'


PLAN = f"""
[plan]
title = {toml("Loose fuses" + EVIL + FORMULA)}
model = {toml("GC-8" + EVIL)}
supply = "none"
cautions = [{toml("care" + EVIL)}]
[[step]]
id = "fuses"
kind = "sweep"
items = [{{ name = "F1", where = {toml("left" + EVIL)}, say = {toml("say" + EVIL)} }}]
max = "2 ohm"
say = {toml("step" + EVIL)}
"""

BAD_PLAN = (
    PLAN
    + f"""
{toml("key" + EVIL)} = {toml("value" + EVIL)}
rule = {toml("rule" + EVIL)}
[[step]]
id = {toml("id" + EVIL)}
kind = {toml("kind" + EVIL)}
items = {toml("F1" + EVIL)}
"""
)

JOB = f"""
title = {toml("pair" + EVIL + FORMULA)}
model = {toml("GC-8" + EVIL)}
plan = "plan.toml"
[[unit]]
tag = "L"
name = {toml("left" + EVIL)}
symptom = {toml("dark" + EVIL + FORMULA)}
[[unit]]
tag = "R"
serial = {toml("0407" + EVIL)}
"""

BAD_JOB = (
    JOB
    + f"""
{toml("key" + EVIL)} = {toml("value" + EVIL)}
[[unit]]
tag = {toml("T" + EVIL)}
"""
)

PROFILE = f"""
version = 1
name = {toml("mine" + EVIL)}
{toml("key" + EVIL)} = 1
"""
