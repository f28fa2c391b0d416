"""Numbers on the command line: none that is no number gets in, whichever command and option it stands at."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Iterator
from typing import Any

import click
import pytest

from metercap.cli import COMMANDS
from metercap.commands._numbers import Number, Whole

SENSELESS = ["nan", "-nan", "inf", "-inf", "1e999", "NaN", "Infinity", "9" * 400, "1e300", "-1e300"]


def options() -> Iterator[tuple[str, str, click.ParamType[Any]]]:
    """Give (command, option, type) of every numeric option there is, those of subcommands included."""

    def walk(name: str, command: click.Command) -> Iterator[tuple[str, str, click.ParamType[Any]]]:
        for parameter in command.params:
            if isinstance(parameter.type, click.types.FloatParamType | click.types.IntParamType):
                yield name, parameter.opts[0], parameter.type
        for inner, sub in getattr(command, "commands", {}).items():
            yield from walk(f"{name} {inner}", sub)

    for name in COMMANDS:
        yield from walk(name, importlib.import_module(f"metercap.commands.{name}").command)


OPTIONS = list(options())


def test_there_are_such_options() -> None:
    """The walk finds the ones that are known to be there."""
    found = {(name, option) for name, option, _ in OPTIONS}
    assert {("watch", "--rate"), ("watch", "--count"), ("replay", "--speed"), ("demo", "--seed")} <= found


@pytest.mark.parametrize(("name", "option", "kind"), OPTIONS, ids=lambda value: value if isinstance(value, str) else "")
def test_no_option_takes_what_is_no_number(name: str, option: str, kind: click.ParamType[Any]) -> None:
    """NaN, infinity and numbers beyond all use are usage errors; what converts is finite and fits a journal."""
    for text in SENSELESS:
        with pytest.raises(click.UsageError):
            kind.convert(text, None, None)
    # A number in a journal is at most 64 bits wide, so an option's own ends must lie within that.
    assert isinstance(kind, click.FloatRange | click.IntRange), (name, option)
    assert kind.min is not None and kind.max is not None, (name, option)
    assert -1e9 * 3 <= kind.min <= kind.max <= 1e9 * 3, (name, option)


@pytest.mark.parametrize(
    "words",
    [
        ("watch", "--port", "/dev/none", "--meter", "lcd14", "--rate", "nan"),
        ("record", "--port", "/dev/none", "--meter", "lcd14", "--out", "x.jsonl", "--rate", "inf"),
        ("identify", "--port", "/dev/none", "--seconds", "nan"),
        ("teach", "--port", "/dev/none", "--seconds", "nan"),
        ("practice", "--speed", "nan"),
        ("demo", "--speed", "inf"),
        ("demo", "--seed", "9" * 30),
        ("replay", "x.jsonl", "--speed", "nan"),
        ("sound", "--volume", "nan"),
    ],
    ids=lambda words: f"{words[0]} {words[-1][:8]}",
)
def test_the_program_answers_with_a_usage_error(metercap: Callable[..., Any], words: tuple[str, ...]) -> None:
    """Status 2, and the option is named; never a defect, and never a port opened first."""
    said = metercap(*words)
    assert said.status == 2
    assert words[-2] in said.err
    assert "defect" not in said.err and "/dev/none" not in said.err


def test_numbers_that_make_sense_convert() -> None:
    """Both ends belong to the range."""
    assert Number(0.1, 1000).convert("0.1", None, None) == 0.1
    assert Number(0.1, 1000).convert("1000", None, None) == 1000.0
    assert Whole(1).convert("1", None, None) == 1  # type: ignore[arg-type]
    with pytest.raises(click.UsageError, match="no number that can be"):
        Number(0.1, 1000).convert("nan", None, None)
