"""Every error metercap raises on purpose, in one small tree.

    MetercapError            what happened, where, what to try next; exit status 2
    ├── ValueText            a value, tolerance or marking that cannot be read
    ├── UsageError           words on the command line that do not fit together
    ├── FileProblem          a file that cannot be used
    │   ├── PlanError        a plan file; carries every problem found, not only the first
    │   ├── ProfileError     a meter profile
    │   ├── SceneError       a practice bench scene
    │   ├── JobError         a job's folder; carries every problem found as well
    │   └── JournalError     a journal: damaged, of a newer schema, already there
    └── LinkError            the meter's port cannot be opened; exit status 3

A caller that prints an error prints `str(error)`: three parts, each on its own line when present. No error
of a lower layer (pyserial, pyvisa, the operating system) leaves the room that talks to that layer.
"""

from __future__ import annotations

from collections.abc import Sequence

from metercap.gate import visible


class MetercapError(Exception):
    """Something went wrong that the person at the bench can understand and mend.

    `what` happened, `where` (file, line, field, port) and `hint`, what to try next; the last two may be empty.
    """

    exit_status = 2

    def __init__(self, what: str, *, where: str = "", hint: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.where = where
        self.hint = hint

    def __str__(self) -> str:
        # Each part on a line of its own: a file's name must not look like another message.
        head = visible(f"{self.where}: {self.what}" if self.where else self.what)
        return f"{head}\n  try: {visible(self.hint)}" if self.hint else head


class ValueText(MetercapError, ValueError):
    """A value, tolerance or component marking that cannot be read."""


class UsageError(MetercapError):
    """Words on the command line that do not fit together."""


class FileProblem(MetercapError):
    """A file that cannot be used as what it should be."""


class Problems(FileProblem):
    """A file with problems; `problems` holds them all, each already naming its place."""

    def __init__(self, what: str, *, where: str = "", hint: str = "", problems: Sequence[str] = ()) -> None:
        super().__init__(what, where=where, hint=hint)
        self.problems = tuple(problems)

    def __str__(self) -> str:
        return "\n".join([super().__str__(), *(f"  {visible(problem)}" for problem in self.problems)])


class PlanError(Problems):
    """A plan file."""


class JobError(Problems):
    """A job: its folder, or the file in it that says what it is."""


class ProfileError(FileProblem):
    """A meter profile that cannot be found or used."""


class SceneError(FileProblem):
    """A practice bench scene that cannot be used."""


class JournalError(FileProblem):
    """A journal that is damaged, of a newer schema, or stands where a new one should go."""


class LinkError(MetercapError):
    """The meter's port cannot be opened, or the link library is missing."""

    exit_status = 3
