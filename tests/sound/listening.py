"""What several sound tests need: measuring a pitch, and made-up turning of a trimmer on a GC-8."""

from __future__ import annotations

import threading
from array import array
from collections.abc import Iterable

import msgspec
import numpy as np

from metercap.plan import Plan, to_builtins
from metercap.plankeys import Item, SweepStep, TuneStep
from metercap.records import Contact, CueKind, Do, Prompt, Record
from metercap.sound.tones import RATE_HZ
from metercap.view import View
from metercap.view.fold import after
from tests.screen.greenhouse import ohms, session, trimmer

PLAN = to_builtins(
    Plan(
        title="GC-8",
        steps=(
            SweepStep(id="fuses", items=tuple(Item(name=f"F{n}") for n in range(1, 13)), max=2.0, unit="ohm"),
            TuneStep(
                id="bridge", items=(Item(name="RV1"),), target="reference", tolerance_share=0.005, unit="ohm",
                never_below=1200.0,
            ),
        ),
    )
)  # fmt: skip


def pitch_hz(samples: array[int], rate_hz: int = RATE_HZ) -> float:
    """The strongest frequency, by a windowed FFT with a parabola through its peak."""
    wave = np.array(samples, float) * np.hanning(len(samples))
    size = 1 << (len(wave) * 4 - 1).bit_length()
    power = np.abs(np.fft.rfft(wave, size))
    peak = int(power.argmax())
    left, middle, right = np.log(power[peak - 1 : peak + 2] + 1e-9)
    return float((peak + 0.5 * (left - right) / (left - 2 * middle + right)) * rate_hz / size)


Heard = tuple[Record, View]
"""A record and the view that comes with it."""


def seen(records: Iterable[Record], view: View | None = None) -> list[Heard]:
    """Each record with the view after it, of which no more is known than the records say."""
    now, found = View() if view is None else view, []
    for record in records:
        now = after(now, record)
        found.append((record, now))
    return found


def turning(values: list[float]) -> list[Heard]:
    """RV1 with the tips on, `turn` asked for, then its values."""
    begun: list[Record] = [
        session(plan=PLAN), ohms(100.0, values[0], 1.0), Contact(100.0, "bridge", "RV1"),
        Prompt(101.0, "bridge", "RV1", Do.TURN, "B: turn RV1"),
    ]  # fmt: skip
    found = seen(begun)
    for at, value in enumerate(values):
        record = ohms(101.5 + 0.5 * at, value, 1.0)
        view = after(found[-1][1], record)
        found.append((record, msgspec.structs.replace(view, own=trimmer(value))))
    return found


class Noting:
    """A player that notes; it waits for `gate` before each cue."""

    name = "noting"
    broken = ""

    def __init__(self) -> None:
        self.cues: list[CueKind] = []
        self.tones: list[float | None] = []
        self.closed = 0
        self.gate = threading.Event()
        self.gate.set()

    def play(self, cue: CueKind, *, alone: bool = False) -> None:
        self.gate.wait(5)
        self.cues.append(cue)

    def tone(self, hz: float | None, *, steady: bool = True) -> None:
        self.gate.wait(5)
        self.tones.append(hz)

    def close(self) -> None:
        self.closed += 1
