"""The file that holds a session: written as it runs, read, verified and repaired. `format` has the grammar."""

from __future__ import annotations

from metercap.journal.check import State
from metercap.journal.format import Chain
from metercap.journal.kept import Kept
from metercap.journal.reader import JournalFile, Records, iterate, prove, read
from metercap.journal.verify import Problem, Soundness, repair, verify
from metercap.journal.writer import Writer
from metercap.records import REPAIR_NOTE

__all__ = [
    "REPAIR_NOTE",
    "Chain",
    "JournalFile",
    "Kept",
    "Problem",
    "Records",
    "Soundness",
    "State",
    "Writer",
    "iterate",
    "prove",
    "read",
    "repair",
    "verify",
]
