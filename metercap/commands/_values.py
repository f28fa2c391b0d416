"""What is given on the command line besides numbers: text, and names of ports, meters, plans, steps, units and items.

Each type knows how a shell completes it. What is completed is read where it is looked up anyhow; no port is opened,
and a shell gets nothing that it would take apart or carry out.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.shell_completion import BashComplete, CompletionItem, add_completion_class

from metercap.errors import MetercapError

if TYPE_CHECKING:
    from metercap.plan import Plan
    from metercap.records import SessionRecord

HARMLESS = re.compile(r"[\w./@+][\w./@+,= -]*")
"""What no shell carries out: a name with signs of the shell's own is typed by hand."""
SUFFIX = ".jsonl"
MOST_JOURNALS = 200
"""So many journals of the working folder are looked into, the newest first: a key must be answered at once."""


class Text(click.types.StringParamType):
    """Text that people read: UTF-8, whatever encoding the environment names for arguments."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the text, or end with the usage error that names the option."""
        text: str = super().convert(value, param, ctx)
        if text.isascii() or not any("\ud800" <= sign <= "\udfff" for sign in text):
            return text
        try:
            return os.fsencode(text).decode("utf-8")
        except ValueError:
            self.fail(f"{text!r} is not UTF-8 text", param, ctx)


class Named(Text):
    """A name. With `files` a file may stand in its place, and then what is given stays the bytes that it is."""

    files: str | None = None
    """Which of the working folder a shell offers, as a pattern; None where no file can be meant."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the name."""
        return super().convert(value, param, ctx) if self.files is None else str(value)

    def known(self, ctx: click.Context) -> Iterable[str]:
        """Return the names there are."""
        raise NotImplementedError

    def shell_complete(self, ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
        """Return the names that begin so, and files where they may stand in their place."""
        try:
            names = [name for name in self.known(ctx) if name.startswith(incomplete) and HARMLESS.fullmatch(name)]
        except (MetercapError, OSError):
            names = []  # a key is no place for an error
        found = [CompletionItem(name) for name in dict.fromkeys(names)]
        if self.files is None:
            return found
        here = [path.name for path in sorted(Path().glob(self.files))] if self.files else []
        found += [CompletionItem(name) for name in here if name.startswith(incomplete) and HARMLESS.fullmatch(name)]
        return found or [CompletionItem(incomplete, type="file")]


class _Port(Named):
    name = "port"
    files = ""

    def known(self, ctx: click.Context) -> Iterable[str]:
        from metercap.link import list_ports

        return (name for port in list_ports() for name in dict.fromkeys((port.best, port.name)))


class _Meter(Named):
    name = "meter"
    files = "*.toml"

    def known(self, ctx: click.Context) -> Iterable[str]:
        from metercap.profiles import meter_names

        return meter_names()


class _Plan(Named):
    name = "plan"
    files = "*.toml"

    def known(self, ctx: click.Context) -> Iterable[str]:
        from metercap.profiles import plan_names

        return plan_names()


class _Scene(Named):
    name = "scene"
    files = "*.toml"

    def known(self, ctx: click.Context) -> Iterable[str]:
        from metercap.practice.mat import job_scene_names
        from metercap.practice.scene import scene_names

        return [*scene_names(), *job_scene_names()]


class _Kind(Named):
    name = "kind"

    def known(self, ctx: click.Context) -> Iterable[str]:
        from metercap.plan.fields import step_kinds

        return step_kinds()


class _Cue(Named):
    name = "cue"

    def known(self, ctx: click.Context) -> Iterable[str]:
        from metercap.records import CueKind

        return (kind.value for kind in CueKind)


class _Steps(Named):
    """Step ids, comma separated, of the plan that the line names before."""

    name = "ids"

    def known(self, ctx: click.Context) -> Iterable[str]:
        return (step.id for step in plan.steps) if (plan := _plan_of(ctx)) is not None else ()

    def shell_complete(self, ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
        """Complete the last id; those that stand before it are not offered again."""
        before, comma, last = incomplete.rpartition(",")
        given = before.split(",")
        rest = [item for item in super().shell_complete(ctx, param, last) if item.value not in given]
        return [CompletionItem(f"{before}{comma}{item.value}") for item in rest]


class _Unit(Named):
    """Units of the journals in the working folder."""

    name = "unit"

    def known(self, ctx: click.Context) -> Iterable[str]:
        return (record.unit for record in _sessions(_newest()))


class _Item(Named):
    """Items of the journals that the line names, else of those in the working folder."""

    name = "item"

    def known(self, ctx: click.Context) -> Iterable[str]:
        from metercap.plan import from_builtins

        for record in _sessions([Path(name) for name in ctx.args if name.endswith(SUFFIX)] or _newest()):
            for step in from_builtins(record.plan).steps:
                yield from step.item_names


class Bash(BashComplete):
    """Bash takes what it is offered as it is, so a blank must come with its backslash; the script eats one more."""

    def format_completion(self, item: CompletionItem) -> str:
        """Return one line of the protocol."""
        blank = " " if item.type == "file" else "\\\\ "
        return f"{item.type},{str(item.value).replace(' ', blank)}"


add_completion_class(Bash)

TEXT = Text()
PORT, METER, PLAN, SCENE, KIND, CUE = _Port(), _Meter(), _Plan(), _Scene(), _Kind(), _Cue()
STEPS, UNIT, ITEM = _Steps(), _Unit(), _Item()


def read_as_text(command: click.Command) -> None:
    """Make plain strings of a command, and of the commands below it, `TEXT`; what has a type of its own keeps it."""
    for param in command.params:
        if param.type is click.STRING:
            param.type = TEXT
    if isinstance(command, click.Group):
        for below in command.commands.values():
            read_as_text(below)


def _plan_of(ctx: click.Context) -> Plan | None:
    """Return the plan that the line names before an option whose value is asked for: that leaves arguments unread."""
    from metercap.planfile import read_plan
    from metercap.practice.scene import load_scene
    from metercap.profiles import find_plan

    scenes = any(param.name == "scene" for param in ctx.command.params)
    first = next(iter(ctx.args), None)
    name = ctx.params.get("plan") or (None if scenes else first)
    if name is None and scenes:
        name = load_scene(first or ctx.params["scene"]).plan
    return read_plan(find_plan(name)) if name else None


def _newest() -> list[Path]:
    found = [(path.stat().st_mtime, path) for path in Path().glob(f"*{SUFFIX}") if path.is_file()]
    return [path for _, path in sorted(found, reverse=True)[:MOST_JOURNALS]]


def _sessions(paths: Iterable[Path]) -> Iterator[SessionRecord]:
    """Return the first record of each journal that has one."""
    from metercap.journal import iterate
    from metercap.records import SessionRecord

    for path in paths:
        try:
            with iterate(path) as records:
                first = next(records, None)
        except (MetercapError, OSError):
            continue
        if isinstance(first, SessionRecord):
            yield first
