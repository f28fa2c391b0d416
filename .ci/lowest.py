"""Prints the lowest version of everything that pyproject.toml asks for, as constraints for pip."""

import re
import sys
import tomllib
from pathlib import Path

PROJECT = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text(encoding="utf-8"))["project"]
ROW = re.compile(r"([\w-]+)(?:\[\w+\])?>=([\w.]+)")


def lowest() -> list[str]:
    """Return one line a package; fuzzing is for developers on one system and stays out."""
    extras = PROJECT["optional-dependencies"].items()
    rows = [*PROJECT["dependencies"], *(row for name, its in extras if name != "fuzz" for row in its)]
    return sorted({f"{found[1]}=={found[2]}" for row in rows if (found := ROW.match(row))})


if __name__ == "__main__":
    sys.stdout.write("\n".join([*lowest(), ""]))
