"""Reads plan files: the one place where a plan meets the disk."""

from __future__ import annotations

from pathlib import Path

from metercap.errors import PlanError
from metercap.files import open_file
from metercap.gate import visible
from metercap.plan.load import LARGEST, load_plan
from metercap.plan.model import Plan


def read_plan(path: Path | str) -> Plan:
    """Return the plan in a file. Raises PlanError: unreadable, too large, not UTF-8, or all its problems at once."""
    return load_plan(read_text(path), visible(str(path)))


def read_text(path: Path | str) -> str:
    """Return a plan file's text. Raises PlanError when it cannot be read, is larger than 1 MiB, or is not UTF-8."""
    where = visible(str(path))
    try:
        with open_file(Path(path)) as file:
            raw = file.read(LARGEST + 1)
    except FileNotFoundError as error:
        raise PlanError("there is no such file", where=where, hint="check the path") from error
    except (OSError, ValueError) as error:  # ValueError: a NUL in the path
        why = getattr(error, "strerror", None) or str(error)
        raise PlanError(f"cannot be read: {why}", where=where, hint="check the path and its permissions") from error
    if len(raw) > LARGEST:
        raise PlanError(f"larger than {LARGEST} bytes", where=where, hint="is it a plan?")
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise PlanError("not UTF-8 text", where=f"{where}:{line}", hint="save the file as UTF-8") from error
