"""What every test may use: `attack`, which counts what was tried against the program and what it survived.

Also how the suite is run: with bytecode, as an installed program is, and with a third of each property's examples,
unless --hypothesis-profile=whole asks for all.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import platformdirs
import pytest
from hypothesis import settings

PROPERTY = "attack"

settings.register_profile("whole")
settings.register_profile("quick", max_examples=34)
settings.load_profile("quick")


def keep_bytecode() -> None:
    """Where none is to be written beside the sources, write it to the user's cache, for the programs started too.

    Installed, the program has its bytecode; without it each of the hundreds started compiles the package again.
    """
    if sys.dont_write_bytecode and sys.pycache_prefix is None:
        sys.pycache_prefix = os.environ["PYTHONPYCACHEPREFIX"] = platformdirs.user_cache_dir("metercap-tests")
        sys.dont_write_bytecode = False
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)


def pytest_configure(config: pytest.Config) -> None:
    """Started in a shell's background, this process ignores SIGINT, and so would every program the tests start."""
    keep_bytecode()
    ignored = signal.getsignal(signal.SIGINT) is signal.SIG_IGN
    if ignored and threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGINT, signal.default_int_handler)


class Attack:
    """Counts the trials of one attack. Use each as a block: a trial that raises was not survived."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.tried = 0
        self.survived = 0

    @contextmanager
    def trial(self) -> Iterator[None]:
        """One trial; what goes wrong in it fails the test as always."""
        self.tried += 1
        yield
        self.survived += 1

    def count(self, tried: int, survived: int | None = None) -> None:
        """Add trials that were counted elsewhere, in a loop too hot for a block each."""
        self.tried += tried
        self.survived += tried if survived is None else survived


@pytest.fixture
def attack(request: pytest.FixtureRequest) -> Iterator[Callable[[str], Attack]]:
    """Return a function that begins to count an attack of that name; all tests' counts are summed at the end."""
    begun: list[Attack] = []

    def begin(name: str) -> Attack:
        begun.append(Attack(name))
        return begun[-1]

    yield begin
    for one in begun:
        request.node.user_properties.append((PROPERTY, (one.name, one.tried, one.survived)))


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    """Print attack, tried, survived, where attacks were asked for by their mark."""
    if PROPERTY not in (config.option.markexpr or ""):
        return
    sums: dict[str, list[int]] = {}
    for reports in terminalreporter.stats.values():
        for report in reports:
            # The teardown's report is the one that has them, and it comes from a worker as well as from this process.
            if getattr(report, "when", "") == "teardown":
                for key, value in report.user_properties:
                    if key == PROPERTY:
                        name, tried, survived = value
                        row = sums.setdefault(name, [0, 0])
                        row[0] += tried
                        row[1] += survived
    if sums:
        width = max(len(name) for name in [*sums, "attack"])
        terminalreporter.write_sep("=", "attacks")
        terminalreporter.write_line(f"{'attack':<{width}}  {'tried':>9}  {'survived':>9}")
        for name, (tried, survived) in sorted(sums.items()):
            terminalreporter.write_line(f"{name:<{width}}  {tried:>9}  {survived:>9}")


@pytest.fixture(scope="session", autouse=True)
def own_settings(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """No test reads or changes the settings of whoever runs the tests; programs started by them neither."""
    folder = tmp_path_factory.mktemp("settings")
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("XDG_CONFIG_HOME", str(folder))
        patched.setenv("XDG_CACHE_HOME", str(folder / "cache"))
        yield folder


@pytest.fixture
def hastened(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let meter, hands and the programs started live four seconds in one, where nothing is said of real time."""
    from tests.e2e import outside_meter  # here: this file is also tried alone, in another folder

    monkeypatch.setattr(outside_meter, "HASTE", 4.0)
