"""The second screen's options, and the screen itself as a command begins it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

import click

if TYPE_CHECKING:
    from metercap.screen.pages import SecondScreen
    from metercap.web.teller import Teller

WEB = "--web"
ADDRESS = re.compile(r":\d+|\d+|[^\s/\\]*:\d+|localhost|\d+\.\d+\.\d+\.\d+|\[[\da-fA-F:.]+\]")
"""What may stand behind the option as a word of its own; a plan, a job or a file of such a name is given first."""

F = TypeVar("F", bound=Callable[..., Any])


class WithWeb(click.Command):
    """A command with `--web [HOST:PORT]`: the address may be left out, and what is none is the next argument."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Write the option and its address as one word, as the parser wants it."""
        return super().parse_args(ctx, joined(args))


def joined(args: Sequence[str]) -> list[str]:
    """Return the arguments with `--web` and its address, or nothing, in one word.

    >>> joined(["--web", ":8000", "gc8.toml"]), joined(["--web", "gc8.toml"])
    (['--web=:8000', 'gc8.toml'], ['--web=', 'gc8.toml'])
    """
    found: list[str] = []
    rest = iter(enumerate(args))
    for index, arg in rest:
        if arg == "--":
            return [*found, *args[index:]]
        if arg != WEB:
            found.append(arg)
            continue
        follows = args[index + 1] if index + 1 < len(args) else ""
        if ADDRESS.fullmatch(follows):
            next(rest)
            found.append(f"{WEB}={follows}")
        else:
            found.append(f"{WEB}=")
    return found


def web_options(function: F) -> F:
    """Add the options of the second screen to a command of class `WithWeb`."""
    words = click.option(
        "--web-words", is_flag=True, help="Let the page say words by large buttons, and take photographs for a job."
    )
    return web_only(words(function))


def web_only(function: F) -> F:
    """Add the option of a second screen that says no words."""
    return click.option(
        WEB,
        metavar="[HOST:PORT]",
        callback=_readable,
        help="Show it in the browser too. [address: this machine alone]",
    )(function)


def _readable(_: click.Context, __: click.Parameter, value: str | None) -> str | None:
    """Refuse what is no address before anything is begun."""
    if value is not None:
        from metercap.web.address import parse

        parse(value)
    return value


class Paged(NamedTuple):
    """A second screen: what tells it, and where it is."""

    teller: Teller
    at: SecondScreen


def second_screen(
    web: str | None, words: bool = False, *, folders: Iterable[Path] = (), photos: Path | None = None
) -> Paged | None:
    """Listen where `--web` says, for a screen that begins with `Teller.begin`; None where none is wanted.

    `folders` is where the plan's pictures may lie, `photos` where photographs go. UsageError where it cannot be.
    """
    from metercap.errors import UsageError

    if web is None:
        if words:
            raise UsageError("words are said on the second screen", where="--web-words", hint="add --web")
        return None
    from importlib.util import find_spec

    from metercap.web.serving import HINT

    if any(find_spec(name) is None for name in ("uvicorn", "starlette")):
        raise UsageError("pages need starlette and uvicorn, which are not installed", where=WEB, hint=HINT)
    from metercap.screen.pages import SecondScreen
    from metercap.web.address import listen, parse
    from metercap.web.code import code
    from metercap.web.teller import Teller

    sock, address = listen(parse(web))
    teller = Teller(sock, address, words=words, photos=photos if words else None, folders=list(folders))
    return Paged(teller, SecondScreen(address.url, address.key_url, code(address.key_url) if address.secret else ()))


def told_lines(at: SecondScreen, *, drawn: bool) -> list[str]:
    """Return what lines say of the second screen; `drawn` with its code, where people look at a terminal."""
    if not at.code:
        return [f"second screen: {at.key_url}"]
    return [*(code_lines(at.code) if drawn else ()), f"second screen: {at.key_url}"]


def code_lines(rows: Sequence[str]) -> list[str]:
    """Return a code's rows as lines of a terminal, two rows a line."""
    return [_halves(*pair) for pair in zip(rows[::2], [*rows[1::2], "0" * len(rows[0])], strict=False)] if rows else []


def _halves(upper: str, lower: str) -> str:
    return "".join(" ▄▀█"[2 * (up == "0") + (down == "0")] for up, down in zip(upper, lower, strict=True))
