"""The bench's time line: bytes at the pace of the wire, repeats, polls, mishaps, speed."""

from __future__ import annotations

import itertools
import time
from typing import Any

import msgspec
import pytest

from metercap.errors import SceneError
from metercap.practice.bench import PracticeBench
from metercap.practice.line import Chunk
from metercap.practice.scene import Mishap, Scene
from metercap.records import Do, Prompt
from tests.practice.played import played

LCD_BYTE_S = 10 / 2400


def with_meter(scene: Scene, **keys: Any) -> Scene:
    return msgspec.structs.replace(scene, meter=msgspec.structs.replace(scene.meter, **keys))


def chunks(bench: PracticeBench, until_s: float) -> list[Chunk]:
    out = []
    while (chunk := bench.step(until_s)) is not None:
        if isinstance(chunk, Chunk):
            out.append(chunk)
    return out


def test_a_frame_takes_its_time_on_the_wire(twelve: Scene) -> None:
    """14 bytes at 2400 baud, 10 bits each: byte n arrives n × 4.17 ms after the conversion ended; 58 ms in
    all."""
    bench = PracticeBench(with_meter(twelve, family="lcd14"), chunks=14)
    got = chunks(bench, 5.0)
    frame = got[:14]
    assert b"".join(chunk.data for chunk in frame)[0] >> 4 == 1
    gaps = [b.t_s - a.t_s for a, b in itertools.pairwise(frame)]
    assert gaps == pytest.approx([LCD_BYTE_S] * 13, abs=2e-6)
    whole = chunks(PracticeBench(with_meter(twelve, family="lcd14"), chunks=1), 5.0)
    assert whole[0].t_s == frame[-1].t_s
    assert len(whole) == len(got) // 14


def test_conversions_come_at_their_rate_and_are_sent_as_often_as_stated(twelve: Scene) -> None:
    """3 a second, each sent four times: 12 frames a second, equal in groups of four."""
    bench = PracticeBench(with_meter(twelve, per_s=3.0, repeats=4, noise_counts=20.0, dial="resistance", auto=False))
    bench.see(Prompt(0.0, "fuses", "F1", Do.PROBE, "probe F1"), 0.0)
    got = chunks(bench, 20.0)
    assert bench.conversions == pytest.approx(60, abs=2)
    assert len(got) == pytest.approx(240, abs=8)
    late = [chunk.data for chunk in got if chunk.t_s > 5.0]
    runs = 1 + sum(1 for a, b in itertools.pairwise(late) if a != b)
    assert runs <= len(late) / 4 + 1


def test_a_meter_that_talks_longer_than_it_has_time_is_refused(twelve: Scene) -> None:
    """17 frames a second of 58 ms do not fit into a second."""
    PracticeBench(with_meter(twelve, family="lcd14", per_s=8.0, repeats=2))
    with pytest.raises(SceneError, match="do not fit"):
        PracticeBench(with_meter(twelve, family="lcd14", per_s=9.0, repeats=2))


def test_a_polled_meter_is_silent_until_asked(twelve: Scene) -> None:
    """It answers one frame per request, and none while it still talks."""
    bench = PracticeBench(with_meter(twelve, family="polled-line"))
    assert chunks(bench, 3.0) == []
    bench.poll(3.0)
    bench.poll(3.01)
    got = chunks(bench, 4.0)
    assert [len(chunk.data) for chunk in got] == [14]
    assert got[0].t_s == pytest.approx(3.0 + 15 * 10 / 600)


def test_mishaps_befall_the_meter_once(twelve: Scene) -> None:
    """HOLD as F1 is touched, a low battery at 2 s, silence from 6 s on for 3 s."""
    mishaps = [
        Mishap(kind="hold", item="F1"),
        Mishap(kind="low battery", at_s=2.0),
        Mishap(kind="silent", at_s=6.0, for_s=3.0),
    ]
    bench = PracticeBench(msgspec.structs.replace(twelve, mishap=mishaps))
    bench.see(Prompt(0.0, "fuses", "F1", Do.PROBE, "probe F1"), 0.0)
    got = chunks(bench, 12.0)
    assert bench.meter.hold
    assert bench.meter.low_battery
    times = [chunk.t_s for chunk in got]
    assert max(b - a for a, b in itertools.pairwise(times)) == pytest.approx(3.25, abs=0.3)


def test_a_study_runs_far_faster_than_real_time(twelve: Scene, mini: Any, text_decoder: Any) -> None:
    """Meter and hands make well over 5 000 readings a second of real time; a tenth of that is asserted on a
    busy machine."""
    bench = PracticeBench(twelve)
    start_s = time.perf_counter()
    count = len(played(bench, mini([f"F{n}" for n in range(1, 13)] * 20), text_decoder, until_s=400.0))
    assert bench.conversions / (time.perf_counter() - start_s) > 500
    assert count > bench.conversions / 2
