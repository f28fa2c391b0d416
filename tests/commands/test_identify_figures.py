"""`identify` by the thousand: streams of every shipped profile and foreign ones, with junk, cuts and wrong starts.

The frames are drawn by the tests' own meter (`outside_meter`); what is foreign is made here. Every stream is held
against all profiles at once, as behind a URL or on a tape, where no port setting helps. METERCAP_FIGURES=1 prints the
figures.
"""

from __future__ import annotations

import os
import random
import sys
from collections import Counter
from collections.abc import Callable

import pytest

from metercap.finding.listen import Heard
from metercap.finding.suspects import Finding
from metercap.profiles import find_meter, meter_names
from tests.e2e.outside_meter import DRAW, Shown

ALL = [find_meter(name) for name in meter_names()]
COUNTS = {
    "lcd14": 4000,
    "lcd14-6000": 6000,
    "lcd14-10000": 10_000,
    "digits14": 22_000,
    "digits14-60000": 60_000,
    "digits11": 4000,
    "digits11-6000": 6000,
    "polled-line": 4000,
    "text": 4000,
    "scpi": 0,
}
"""Every shipped profile, and how far its display counts; a SCPI meter prints what it likes."""
NAMES = tuple(COUNTS)


def digits11(shown: Shown) -> bytes:
    """The shorter relative: range code, four digits, function code, three status bytes, CR LF (from memory)."""
    over = "L" in shown.digits
    decimals = len(shown.digits.partition(".")[2])
    if shown.unit == "V":
        code, function = {3: "0", 2: "1"}[decimals], ";"
    else:
        code, function = "5" if over else str({"": 0, "k": 3, "M": 6}[shown.prefix] - decimals + 1), "3"
    digits = "0000" if over else f"{round(float(shown.digits) * 10**decimals):04d}"
    tail = bytes([0x30 + 4 * shown.minus + over, 0x30, 0x30 + 8 * (shown.mode == "dc") + 4 * (shown.mode == "ac")])
    return code.encode() + digits.encode() + function.encode() + tail + b"\r\n"


DRAWN: dict[str, Callable[[Shown], bytes]] = {**DRAW, "digits11": digits11}


def scpi(r: random.Random) -> bytes:
    """A recorded line of a SCPI meter: the query, and one number in the syntax of IEEE 488.2 (NR3), LF."""
    function = r.choice(("RES", "VOLT:DC", "VOLT:AC", "FRES"))
    over = function.endswith("RES") and r.random() < 0.2
    value = "+9.90000000E+37" if over else f"{r.uniform(0.0, 10.0) * 10.0 ** r.randint(-3, 5):+.8E}"
    return f"MEAS:{function}? {value}\n".encode()


def screen(r: random.Random, full: int = 4000) -> Shown:
    """Return any display of a meter that counts to `full`, in four digits or, from 10 000 on, five."""
    counts, more = r.randrange(full), int(full > 10_000)
    if r.random() < 0.6:
        if r.random() < 0.2:
            return Shown("0.L", "M")
        decimals, prefix = r.choice(((1, ""), (3, "k"), (2, "k"), (1, "k"), (3, "M"), (2, "M")))
        return Shown(f"{counts / 10 ** (decimals + more):.{decimals + more}f}", prefix)
    decimals = r.choice((2, 3)) + more
    mode = r.choice(("dc", "ac"))
    return Shown(f"{counts / 10**decimals:.{decimals}f}", "", "V", mode, minus=mode == "dc" and r.random() < 0.3)


def stream(r: random.Random, name: str, frames: int) -> bytes:
    """Return a meter's frames.

    With a wrong start, now and then junk before it, a cut end, and in one of six damage: bytes lost, added or flipped.
    """
    family = name if name in DRAWN else name.partition("-")[0]

    def draw() -> bytes:
        return scpi(r) if name == "scpi" else DRAWN[family](screen(r, COUNTS[name]))

    whole = draw()
    out = bytearray(whole[r.randrange(len(whole)) :])
    if r.random() < 0.25:
        out = bytearray(r.randbytes(r.randint(1, 12))) + out
    frame = draw()
    for _ in range(frames):
        frame = draw() if r.random() < 0.5 else frame
        one = bytearray(frame)
        if r.random() < 1 / 6:
            kind, at = r.randrange(3), r.randrange(len(one) - 1)
            if kind == 0:
                del one[at : at + r.randint(1, 4)]
            elif kind == 1:
                one[at:at] = r.randbytes(r.randint(1, 6))
            else:
                one[at] ^= 1 << r.randrange(8)
        out += one
    return bytes(out + whole[: r.randrange(len(whole))])


def foreign(r: random.Random) -> bytes:
    """Return what is no meter of ours: noise, other frames, logs, tables of numbers, a wrong baud rate."""
    kind = r.randrange(8)
    if kind == 0:
        return r.randbytes(r.randint(20, 400))
    if kind == 1:  # counted frames of another length
        size = r.choice([n for n in range(5, 16) if n != 14])
        return b"".join(bytes(n << 4 | r.randrange(16) for n in range(1, size + 1)) for _ in range(20))
    if kind == 2:  # fourteen counted bytes of another map: any nibbles
        return b"".join(bytes(n << 4 | r.randrange(16) for n in range(1, 15)) for _ in range(20))
    if kind == 3:  # a table of bare numbers
        return b"".join(f"{r.random():.4f},{r.random() * 100:.2f},{n}\r\n".encode() for n in range(30))
    if kind == 4:  # a log
        return b"".join(
            f"{n:06d} task {r.randrange(9)} {r.choice(('ok', 'late', 'lost'))}\n".encode() for n in range(30)
        )
    if kind == 5:  # fixed lines of any digits, of the lengths that ours have
        size = r.choice((9, 12, 13))
        return b"".join(bytes(r.choice(b"0123456789:;<=>?") for _ in range(size)) + b"\r\n" for _ in range(30))
    if kind == 6:  # sentences with a checksum
        return b"".join(
            f"$AB,{r.random() * 99:.3f},N,{r.random():.2f}*{r.randrange(256):02X}\r\n".encode() for _ in range(20)
        )
    frame = DRAWN[r.choice(tuple(DRAWN))](screen(r))  # each bit twice as long, or half lost, as at a wrong rate
    return bytes((byte * 37 ^ byte >> 3) & 0xFF for byte in frame * 20)


def best(sample: bytes) -> tuple[str, ...]:
    """Return the profile that is named, with those named beside it; empty when none is."""
    found = Finding("tape:x").with_group(ALL, Heard(sample, 4.0))
    return () if found.best is None else (found.best.profile, *(row.profile for row in found.also))


def answer(sample: bytes, name: str) -> str:
    """Return right, undecided or wrong for a stream of this meter.

    Undecided: none is named, or another with this one beside it: as one that fits as well, or as a relative that counts
    further and would read the same.
    """
    found = Finding("tape:x").with_group(ALL, Heard(sample, 4.0))
    if found.best is None:
        return "undecided"
    if found.best.profile == name and not found.also:
        return "right"
    named = [found.best, *found.also, *found.relatives]
    return "undecided" if name in [row.profile for row in named] else "wrong"


def tally(streams: int, strangers: int, seed: int) -> tuple[Counter[str], list[tuple[str, tuple[str, ...], bytes]]]:
    """Return how many were right, undecided, wrong; and what was wrong."""
    r = random.Random(seed)
    counts: Counter[str] = Counter()
    wrong = []
    for n in range(streams):
        name = NAMES[n % len(NAMES)]
        sample = stream(r, name, r.randint(2, 16))
        verdict = answer(sample, name)
        counts[verdict] += 1
        counts[f"{'relative' if '-' in name and name != 'polled-line' else 'family'} {verdict}"] += 1
        if verdict == "wrong":
            wrong.append((name, best(sample), sample))
    for _ in range(strangers):
        sample = foreign(r)
        found = best(sample)
        counts["foreign, none named" if not found else "foreign, wrong"] += 1
        if found:
            wrong.append(("foreign", found, sample))
    return counts, wrong


def test_a_display_that_counts_further_names_the_relative() -> None:
    """5871 and 8123 are more than 4000-count displays show, 48 123 more than 22 000-count ones; 2187 tells nothing."""
    for counts, name in ((2187, "lcd14"), (5871, "lcd14-6000"), (8123, "lcd14-10000")):
        frame = DRAWN["lcd14"](Shown(f"{counts / 1000:.3f}", "k"))
        assert best(frame * 9) == (name,)
    slip = DRAWN["lcd14"](Shown("8.123", "k")) * 2 + DRAWN["lcd14"](Shown("2.187", "k")) * 9
    assert best(slip) == ("lcd14",)  # two frames that may be flipped bits are no display
    for digits, name in (("21870", "digits14"), ("48123", "digits14-60000")):
        frame = f"1{digits};000{chr(0x38)}0\r\n".encode()
        assert best(frame * 9) == (name,)


def test_streams_and_strangers_are_told_apart() -> None:
    """Quick: 100 and 40."""
    counts, wrong = tally(100, 40, seed=1)
    assert not wrong
    # A relative is told only by counts that the other has not: of a few frames, often none.
    assert counts["family right"] >= 0.9 * 60


@pytest.mark.slow
def test_a_thousand_streams_and_two_hundred_strangers() -> None:
    """None is named wrongly."""
    counts, wrong = tally(1000, 200, seed=2)
    if os.environ.get("METERCAP_FIGURES"):
        sys.stderr.write(f"\nidentify: {dict(counts)}\n")
    assert not wrong
    assert counts["family right"] >= 0.9 * 600
