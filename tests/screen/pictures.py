"""Make the README's pictures of the real screen: `python tests/screen/pictures.py DIRECTORY [THEME] [COLUMNSxROWS]`."""

from __future__ import annotations

import sys
from pathlib import Path

from greenhouse import scenes

from metercap.screen.picture_of import picture_of


def main() -> None:
    """Write one SVG for each situation."""
    directory = Path(sys.argv[1])
    theme = sys.argv[2] if len(sys.argv) > 2 else "dark"
    columns, rows = (int(part) for part in (sys.argv[3] if len(sys.argv) > 3 else "80x24").split("x"))
    directory.mkdir(parents=True, exist_ok=True)
    for name, records in scenes().items():
        path = directory / f"{name.replace(' ', '-')}.svg"
        path.write_text(picture_of(records, columns, rows, theme), encoding="utf-8")


if __name__ == "__main__":
    main()
