"""Prints the other Python versions at hand that the program runs on, one interpreter a line."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

PROBE = "import sys; assert sys.version_info[:2] >= (3, 11); print(*sys.version_info[:2], sep='.')"


def others() -> dict[str, str]:
    """Return interpreters by version: of METERCAP_PYTHONS, on PATH, or beside this one's installation."""
    names = [f"python3.{minor}" for minor in range(11, 15)]
    found = [path for path in os.environ.get("METERCAP_PYTHONS", "").split(os.pathsep) if path]
    found += [str(path) for name in names for path in sorted(Path(sys.base_prefix).parent.glob(f"*/bin/{name}"))]
    found += [path for name in names if (path := shutil.which(name))]
    versions: dict[str, str] = {}
    for path in found:
        done = subprocess.run([path, "-c", PROBE], capture_output=True, text=True, check=False)
        version = done.stdout.strip()
        if done.returncode == 0 and version != f"{sys.version_info[0]}.{sys.version_info[1]}":
            versions.setdefault(version, path)
    return versions


if __name__ == "__main__":
    sys.stdout.write("".join(f"{path}\n" for path in others().values()))
