"""Figures of the picture beside the answer: bytes a picture, time to be whole, and that letters do not wait for it.

Slow, and only honest on a machine with a core to spare: run with `-m slow -k inset_figures -s` to see the numbers.
"""

from __future__ import annotations

import fcntl
import os
import re
import select
import struct
import subprocess
import sys
import termios
import time
from pathlib import Path

import pytest

from tests.screen.drawing import ATTRIBUTES, CELL, COLOURS

HERE = Path(__file__).parent
READINGS, EVERY = 150, 15
"""Ten readings a second; every so many of them another point is next."""
QUESTIONS = {b"\x1b[c": ATTRIBUTES, b"\x1b[16t": CELL, b"\x1b[?1;1;0S": COLOURS}


class Heard:
    """When letters came and when pictures did, each with its bytes."""

    def __init__(self) -> None:
        self.letters: list[tuple[float, int]] = []
        self.pictures: list[tuple[float, int]] = []
        self._in_picture = False
        self._tail = b""

    def take(self, data: bytes, now_s: float) -> bytes:
        """Tell letters from pictures; return the letters."""
        text = b""
        for piece in re.split(rb"(\x1bP|\x1b\\)", data):
            if piece == b"\x1bP":
                self._in_picture = True
            elif piece == b"\x1b\\":
                self._in_picture = False
            elif self._in_picture:
                self.pictures.append((now_s, len(piece)))
            elif re.sub(rb"\x1b\[[\d;]*H", b"", piece):
                text += piece
                self.letters.append((now_s, len(piece)))
        return text


def measure(columns: int, rows: int, tmp_path: Path, *, shows: bool) -> tuple[Heard, list[float], float]:
    """Play it in a terminal that shows pictures, or not; what was heard, when readings were seen, percent of a core."""
    notes = tmp_path / "notes"
    master, slave = os.openpty()
    fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
    env = os.environ | {"TERM": "xterm-256color", "COLORTERM": "truecolor", "PYTHONPATH": str(HERE.parent.parent)}
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.screen.figures_child", str(notes), "board", str(READINGS), str(EVERY)],
        stdin=slave, stdout=slave, stderr=slave, env=env, start_new_session=True,
    )  # fmt: skip
    os.close(slave)
    heard = Heard()
    while select.select([master], [], [], 8)[0]:
        try:
            data = os.read(master, 65536)
        except OSError:
            break
        if not data:
            break
        heard.take(data, time.monotonic())
        for question, answer in QUESTIONS.items():
            if shows and question in data:
                os.write(master, answer)
    process.wait(20)
    os.close(master)
    *seen, share = (float(line) for line in notes.read_text().splitlines())
    return heard, seen, share


def waits_ms(heard: Heard, seen: list[float]) -> list[float]:
    """From a reading to the last letter that came of it within 90 ms, in order of length."""
    found = []
    for at in seen:
        mine = [when for when, _ in heard.letters if at < when < at + 0.09]
        if mine:
            found.append(1e3 * (mine[0] - at))
    return sorted(found)


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")
@pytest.mark.parametrize("columns,rows", [(120, 40), (200, 60)])
def test_letters_do_not_wait_for_pictures(columns: int, rows: int, tmp_path: Path) -> None:
    """A picture of at most 64 KiB, whole within 0.3 s (half of them); letters within 60 ms (99 of 100)."""
    bare, seen_bare, share_bare = measure(columns, rows, tmp_path, shows=False)
    heard, seen, share = measure(columns, rows, tmp_path, shows=True)
    changes = [at for n, at in enumerate(seen) if n % EVERY == 0]
    begun = changes[0]
    sizes, whole = [], []
    for at, until in zip(changes, [*changes[1:], seen[-1] + 1.0], strict=True):
        mine = [(when, size) for when, size in heard.pictures if at <= when < until]
        sizes.append(sum(size for _, size in mine))
        whole.append(1e3 * (max(when for when, _ in mine) - at))
    with_, without = waits_ms(heard, seen), waits_ms(bare, seen_bare)
    assert not bare.pictures and not [each for each in heard.pictures if each[0] < begun - 1.5]

    def told(waits: list[float]) -> str:
        return f"median {waits[len(waits) // 2]:.1f} ms, p99 {waits[int(0.99 * len(waits)) - 1]:.1f} ms"

    sys.stderr.write(
        f"\n{columns}x{rows}: {len(sizes)} pictures of {min(sizes)} to {max(sizes)} bytes, whole after "
        f"{sorted(whole)[len(whole) // 2]:.0f} ms (most {max(whole):.0f}); letters {told(with_)}, without pictures "
        f"{told(without)}; {share:.1f} % of a core, without {share_bare:.1f} %\n"
    )
    assert max(sizes) <= 65536 and sorted(whole)[len(whole) // 2] <= 300
    assert with_[int(0.99 * len(with_)) - 1] <= 60.0
