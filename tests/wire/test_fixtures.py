"""The recorded byte streams give what their page says."""

from __future__ import annotations

from pathlib import Path

import pytest

from metercap.profiles import find_meter
from metercap.reading import Reading
from metercap.wire import decode_frame, decoder

FOLDER = Path(__file__).parents[2] / "fixtures" / "bytes"
# What was sent, written down by hand: the readings' values (None: over-range or blank), and how many bytes are garbage.
FUSE = [0.0, 0.0, 1.0, 0.4, 0.3, 0.3, 0.3]
EXPECTED: list[tuple[str, list[float | None], int]] = [
    ("lcd14-two-fuses.bin", [None] * 4 + FUSE + [None] * 4 + FUSE + [None] * 3, 0),
    ("lcd14-damaged.bin", [None, None, 0.3, 0.3, 0.3, None, None], 8 + 9 + 3 + 15 + 13 + 28 + 14),
    (
        "digits14-round.bin",
        [None, 0.31, 0.31, 0.31, 1.5023, -5.47, 4.7e-06, 0.00012345, 2187.0],
        5 + 21,
    ),
    ("polled-line-round.bin", [None, None, 0.3, 0.3, 0.3, -5.47, 4.7e-06, 23.5, 2187.0], 6),
    ("text-homemade.txt", [None, None, 0.3, 0.3, 2187.0, -5.47, None, 1500.0], 13),
    ("scpi-answers.txt", [None, 0.312, 0.311, -5.4701, None, 273.0], 14),
]


@pytest.mark.parametrize(("name", "values", "garbage"), EXPECTED)
@pytest.mark.parametrize("chunk", [1, 7, 10_000])
def test_a_recorded_stream_gives_what_was_sent(name: str, values: list[float | None], garbage: int, chunk: int) -> None:
    """Values in order, every other byte garbage, whatever the chunks; every reading decodes again."""
    profile = find_meter("-".join(name.split("-")[:2]) if name.startswith("polled") else name.split("-")[0])
    data = (FOLDER / name).read_bytes()
    meter = decoder(profile)
    items = [item for n in range(0, len(data), chunk) for item in meter.feed(data[n : n + chunk], 1.0)]
    items += meter.flush(2.0)
    readings = [item for item in items if isinstance(item, Reading)]
    assert [reading.value for reading in readings] == values
    assert sum(len(item.raw) // 2 for item in items if not isinstance(item, Reading)) == garbage
    assert all(decode_frame(profile, bytes.fromhex(one.raw), one.t_s) == [one] for one in readings)


def test_every_stream_is_on_the_page_and_checked() -> None:
    """No file without a line on what it shows, none without a test."""
    files = sorted(path.name for path in FOLDER.iterdir() if path.name != "README.md")
    page = (FOLDER / "README.md").read_text(encoding="utf-8")
    assert files == sorted(name for name, _, _ in EXPECTED)
    assert all(f"| {name} |" in page for name in files)
