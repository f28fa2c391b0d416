"""`metercap plan mark`: the page on which a plan's items are tapped on a picture of the board."""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path

import click

from metercap.errors import UsageError
from metercap.gate import visible
from metercap.profiles import find_plan


def own_plan(name_or_path: str) -> Path:
    """Return the plan's file. UsageError for a plan that is known by name only: it belongs to everybody."""
    path = find_plan(name_or_path)
    if not Path(name_or_path).is_file():
        raise UsageError(
            "this plan is not yours to write in",
            where=visible(name_or_path),
            hint=f'copy it and mark the copy: cp "{visible(str(path))}" my-{visible(path.name)}',
        )
    return path


def mark_plan(path: Path, host: str, *, open_browser: bool) -> int:
    """Serve the page until it says that it is done, or Ctrl-C."""
    from metercap.commands._web import code_lines
    from metercap.marking.app import BODIES, application
    from metercap.marking.desk import Desk
    from metercap.web.address import listen, parse
    from metercap.web.code import code
    from metercap.web.door import Door
    from metercap.web.serving import Serving

    desk = Desk(path)
    before = signal.signal(signal.SIGTERM, _ended)  # the server hands a signal on once it has stopped
    try:
        sock, address = listen(parse(host))
        serving: Serving

        def ready() -> None:
            if address.secret and sys.stdout.isatty():
                for line in code_lines(code(address.key_url)):
                    click.echo(line)
            click.echo(f"mark the board here: {address.key_url}")
            click.echo("Ctrl-C ends it, as the page's Done does; what is marked is kept at every tap", err=True)
            sys.stdout.flush()
            if open_browser:
                _open(address.key_url)

        with sock:
            app = application(desk, done=lambda: serving.stop())
            serving = Serving(Door(app, address, BODIES), sock, ready=ready, signals=True)
            serving.run()
    finally:
        signal.signal(signal.SIGTERM, before)
        kept = desk.dirty
        desk.close()
        if kept:
            click.echo(
                f"not yet in the plan: the marks wait beside it; metercap plan mark {visible(str(path))} goes on",
                err=True,
            )
        elif desk.saved:
            click.echo(f"{visible(str(path))}: written", err=True)
    return 0


def _ended(number: int, frame: object) -> None:
    raise SystemExit(130)


def _open(url: str) -> None:
    """Open the browser of this machine, in a thread: some wait for the browser to end.

    Without a screen there is none but those that take the terminal for themselves.
    """
    import threading
    import webbrowser

    screen = sys.platform in ("win32", "darwin") or os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    if not screen:
        return

    threading.Thread(target=webbrowser.open, args=(url,), daemon=True).start()
