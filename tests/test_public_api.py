"""What `import metercap` gives, and what it costs."""

from __future__ import annotations

import inspect
import subprocess
import sys
from importlib.metadata import version
from pathlib import Path

import pytest

import metercap
from metercap.export import Recording


def test_names() -> None:
    """The public names, and the signature of `load`."""
    assert sorted(metercap.__all__) == ["__version__", "load"]
    assert str(inspect.signature(metercap.load)) == "(path: 'str | Path', *, verified: 'bool' = True) -> 'Recording'"
    assert metercap.__version__ == version("metercap")
    with pytest.raises(AttributeError, match="no attribute 'unload'"):
        _ = metercap.unload


def test_recording() -> None:
    """What `load` returns has these public members and no others."""
    public = sorted(name for name in vars(Recording(Path(), None, None, "")) if not name.startswith("_"))
    assert public == ["lost", "path", "session", "state"]
    assert sorted(name for name in vars(Recording) if not name.startswith("_")) == ["readings", "verdicts"]
    assert str(inspect.signature(Recording.readings)) == "(self, *, raw: 'bool' = False) -> 'pd.DataFrame'"
    assert str(inspect.signature(Recording.verdicts)) == "(self) -> 'pd.DataFrame'"


def test_import_loads_nothing_else() -> None:
    """Importing the package imports no other module of it and nothing from outside the standard library."""
    code = "import sys; import metercap; print(*sorted(sys.modules))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = run.stdout.split()
    assert "metercap" in loaded
    assert [name for name in loaded if name.startswith("metercap.")] == []
    assert {"pandas", "numpy", "msgspec", "click"}.isdisjoint(loaded)


def test_import_takes_a_few_milliseconds() -> None:
    """The quickest of several imports, by the interpreter's own count, takes under 3 ms."""
    times_us = []
    for _ in range(5):
        command = [sys.executable, "-X", "importtime", "-c", "import metercap"]
        run = subprocess.run(command, capture_output=True, text=True, check=True)
        (line,) = [line for line in run.stderr.splitlines() if line.endswith(" metercap")]
        times_us.append(int(line.split("|")[1]))
    assert min(times_us) < 3000
