"""One truth: a whole sweep and a whole tune go over the loop to screen, speaker, lines and journal, and are replayed.

What each of them really puts out is read again (letters of the canvas, spoken phrases, pitches, printed lines) and held
against arithmetic on what the meter displayed: 0.3 Ω of leads, a target of 150 ± 1.5 Ω, one count of 0.1 Ω off either
end by the step's own rule (simple, where the plan's is guarded), an alarm below 120 Ω.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator

import msgspec
import pytest

from metercap.clock import VirtualClock
from metercap.journal import Writer, read
from metercap.live import Inbox, Live
from metercap.meter import Accuracy
from metercap.plain import PlainLines
from metercap.plankeys import Item, SweepStep, TuneStep, ZeroStep
from metercap.profiles import find_meter
from metercap.quantity import Quantity
from metercap.reading import Reading
from metercap.records import CueKind, Do, Record, SessionRecord, Verdict
from metercap.screen.canvas import Canvas
from metercap.screen.face import face
from metercap.screen.hero import paint_hero
from metercap.screen.model import Path as StonePath
from metercap.screen.model import Place
from metercap.screen.observer import ScreenObserver
from metercap.screen.paint import paint
from metercap.session import Driver, Session
from metercap.sound.ear import Ear, Hold, Play, Say, Sound
from metercap.sound.tones import tune_hz
from metercap.steps.facts import WalkFacts
from metercap.view import View
from metercap.view.retold import Retold
from metercap.wire import decoder
from tests.steps.bench_play import opening

LEADS, TARGET, TOLERANCE, COUNT, LIMIT = 0.3, 150.0, 1.5, 0.1, 120.0
PERIOD_S = 0.2
PROFILE = msgspec.structs.replace(
    find_meter("text"),
    conversions_per_s=1 / PERIOD_S,
    accuracy=(Accuracy(quantity=Quantity.RESISTANCE, percent=0.5, counts=2),),
)
FUSES = SweepStep(id="fuses", items=tuple(Item(f"F{n}") for n in (1, 2, 3)), max=2.0, unit="ohm")
BRIDGE = TuneStep(
    id="bridge", items=(Item("RV1"),), target=TARGET, tolerance=TOLERANCE, never_below=LIMIT, unit="ohm", rule="simple"
)


def script() -> list[str | float | None]:
    """Displayed ohms, None for over-range, words as they are said."""
    air: list[str | float | None] = [None] * 16
    sweep = [*air, *[0.3] * 6, *air, *[0.5] * 3, *air, *[38.3] * 5, *air, *[38.3] * 5, *air, *[0.5] * 3, *air, "yes"]
    down = [round(190.3 - 2.0 * n, 1) for n in range(37)]
    up = [round(118.3 + 1.6 * n, 1) for n in range(21)]
    return [*sweep, *air, *[190.3] * 6, *down, *[118.3] * 4, *up, *[150.3] * 40]


class Moment(msgspec.Struct):
    """What every output had put out when one reading had been seen."""

    reading: Reading
    view: View
    large: str
    words: str
    ticked: dict[Place, int]
    lines: str = ""
    sounds: list[Sound] = []


class Outputs:
    """Screen, speaker and lines as they are, watched at each reading."""

    def __init__(self) -> None:
        self.moments: list[Moment] = []
        self.records: list[Record] = []
        self._screen, self._ear, self._out = ScreenObserver(), Ear(), io.StringIO()
        self._plain = PlainLines(self._out)

    def look(self, view: View) -> None:
        for output in (self._screen, self._ear, self._plain):
            output.look(view)

    def see(self, record: Record, line: bytes) -> None:
        self.records.append(record)
        if isinstance(record, Reading):
            self.moments.append(self._moment(record))
        self._plain.see(record, line)
        sounds = self._ear.hear(record)
        if self.moments:
            self.moments[-1].lines += self._out.getvalue()
            self.moments[-1].sounds += sounds
        self._out.seek(0)
        self._out.truncate()

    def _moment(self, reading: Reading) -> Moment:
        shown = face(self._screen.view)
        hero = Canvas(60, 2)  # too small for letters: the same as words
        paint_hero(hero, 0, 2, shown, None)
        stones = shown.ground.stones if isinstance(shown.ground, StonePath) else ()
        places = [stone.place for stone in stones]
        ticked = {place: places.count(place) for place in (Place.PASS, Place.FAIL)}
        large = "\n".join(paint(shown, 200, 60).lines())
        return Moment(reading, self._screen.view, large, "\n".join(hero.lines()), ticked, sounds=[])


class Feed:
    """The script as bytes of a meter and words of a person, at its own pace."""

    def __init__(self, inbox: Inbox) -> None:
        self._inbox = inbox
        self._left = script()
        self._t_s = 0.0

    def next_s(self) -> float:
        return self._t_s + PERIOD_S if self._left else float("inf")

    def act(self, t_s: float) -> None:
        self._t_s = t_s
        given = self._left.pop(0)
        if isinstance(given, str):
            self._inbox.put_word(given, "", t_s, "line")
        else:
            self._inbox.put_bytes(b"OL\r\n" if given is None else f"{given:.1f} ohm\r\n".encode(), t_s)


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> tuple[Outputs, Outputs]:
    """The session as it ran live, and its journal told again."""
    path = tmp_path_factory.mktemp("everywhere") / "unit.jsonl"
    steps = (ZeroStep(id="leads"), FUSES, BRIDGE)
    record: SessionRecord = opening(steps, PROFILE, tag="L")
    live, again, inbox, clock = Outputs(), Outputs(), Inbox(), VirtualClock()
    with Writer.create(path, record) as writer:
        feed = Feed(inbox)
        loop = Live(Driver(Session(record)), decoder(PROFILE), writer, [live], inbox, clock, profile=PROFILE)  # type: ignore[list-item]
        reason = loop.run_virtual(clock, feed.next_s, feed.act)
        assert reason == "done"
    retold = Retold()
    for each in read(path).records:
        for view, records in retold.take(each):
            again.look(view)
            for one in records:
                again.see(one, b"")
    return live, again


def verdicts(outputs: Outputs) -> dict[str, str]:
    return {one.item: one.verdict.value for one in outputs.records if isinstance(one, Verdict)}


def test_the_session_is_a_whole_sweep_and_a_whole_tune(told: tuple[Outputs, Outputs]) -> None:
    """Two good fuses, a bad one, a trimmer that was past its limit and ends in its band."""
    assert verdicts(told[0]) == {"leads": "pass", "F1": "pass", "F2": "fail", "F3": "pass", "RV1": "pass"}


def turning(outputs: Outputs) -> Iterator[tuple[Moment, float]]:
    """Moments in which the trimmer is turned, with the value after the null, by arithmetic."""
    for moment in outputs.moments:
        asked = moment.view.asked
        if asked is None or asked.step != "bridge" or asked.do is not Do.TURN or moment.reading.value is None:
            continue
        yield moment, round(moment.reading.value - LEADS, 1)


@pytest.mark.parametrize("which", [0, 1])
def test_a_tune_says_the_same_numbers_everywhere(told: tuple[Outputs, Outputs], which: int) -> None:
    """Value, error, percent, band, side of the band and pitch, at every reading."""
    seen = 0
    for moment, value in turning(told[which]):
        error = round(value - TARGET, 1)
        if moment.view.trimmer is None or moment.view.trimmer.value is None:
            continue  # as found was read just now, nothing was turned yet
        seen += 1
        inside = abs(error) <= TOLERANCE - COUNT + 1e-9
        # The canvas: the live value, the distance to the target in ohms and percent, the band and the hazard limit.
        assert f"now {value:.1f} Ω" in moment.large or f"{value:.1f} Ω" in moment.words, moment.words
        if value >= LIMIT - COUNT and not inside and "STOP" not in moment.words:
            number = re.search(r"[→←] (\d+\.\d) Ω", moment.words)
            assert number is not None and float(number[1]) == pytest.approx(abs(error), abs=0.051), moment.words
            assert ("→" if error < 0 else "←") in moment.words
            percent = re.search(r"TO GO (\d+\.\d) %", moment.words)
            assert percent is not None and float(percent[1]) == pytest.approx(100 * abs(error) / TARGET, abs=0.051)
        assert "band 148.5 Ω to 151.5 Ω" in moment.large
        assert "never below 120 Ω" in moment.large
        assert f"{moment.reading.value:.1f} Ω" in moment.large.splitlines()[-1], "what the meter displays"
        # The lines.
        line = re.search(r"RV1 +(\S+) Ω +off by (\S+) Ω \(([+-]\S+) %\) +(.*)", moment.lines)
        if line is not None:
            assert (float(line[1]), float(line[2])) == (value, error)
            assert float(line[3]) == pytest.approx(100 * error / TARGET, abs=0.0051)
            side = "at the edge of the band" if abs(error) <= TOLERANCE else "above" if error > 0 else "below"
            assert line[4].strip() == ("in band" if inside else side)
        # The pitch.
        (hold,) = [sound for sound in moment.sounds if isinstance(sound, Hold) and sound.hz is not None]
        assert hold.hz == pytest.approx(tune_hz(error, TOLERANCE - COUNT), rel=1e-6)
        assert hold.steady == inside
    assert seen > 60


@pytest.mark.parametrize("which", [0, 1])
def test_a_hazard_is_everywhere_as_long_as_it_stands(told: tuple[Outputs, Outputs], which: int) -> None:
    """From the first value a count below 120 Ω on until one is back inside: hatching, words, alarms, and the line."""
    stood, lines, alarms, through = 0, 0, 0, 0
    for moment, value in turning(told[which]):
        past = value + COUNT < LIMIT - 1e-9
        assert ("past the hazard limit" in moment.large) == past, value
        assert ("RV1 PAST ITS LIMIT" in moment.large) == past
        assert ("TURN BACK" in moment.words) == past
        stood += past
        lines += "HAZARD" in moment.lines
        alarms += Play(CueKind.HAZARD, alone=True) in moment.sounds
        through += past and moment.reading.t_s > 0
    assert stood >= 5 and lines == 1 and alarms == 1 + int(stood * PERIOD_S / 2.0)
    assert through == stood


@pytest.mark.parametrize("which", [0, 1])
def test_a_sweep_says_the_same_numbers_everywhere(told: tuple[Outputs, Outputs], which: int) -> None:
    """The value after the null under the tips; marks on the path, lines and verdicts count the same."""
    done = {Place.PASS: 0, Place.FAIL: 0}
    touched = 0
    for moment in told[which].moments:
        view, value = moment.view, moment.reading.value
        for mark, place in (("+", Place.PASS), ("X", Place.FAIL)):
            done[place] += len(re.findall(rf"^ *\d+\.\d  [{mark}]  F\d", moment.lines, re.MULTILINE))
        if view.step != "fuses":
            continue
        here = sum(spot.name == view.item for spot in view.path[1].spots if spot.verdict is not None)
        assert here or moment.ticked == done, (moment.ticked, done)
        assert isinstance(view.own, WalkFacts) and view.own.done == sum(done.values())
        if view.tips is not None and view.tips.counts and value is not None and view.call is None:
            touched += 1
            assert f"{value - LEADS:.1f} Ω" in moment.words, moment.words
        if "  X  F2" in moment.lines:
            assert Say("F2 fail 38.0 Ω") in moment.sounds
            assert "38.0 Ω" in moment.lines and "F2 38.0 Ω" in moment.words
        if "  +  F1" in moment.lines:
            assert "0.2 Ω" in moment.lines and "F1 0.2 Ω" in moment.words
            assert Play(CueKind.PASS) in moment.sounds and not any("F1" in str(one) for one in moment.sounds)
    assert done == {Place.PASS: 2, Place.FAIL: 1} and touched == 6


def test_a_replay_shows_what_was_shown(told: tuple[Outputs, Outputs]) -> None:
    """Reading by reading the same pictures, words, lines and sounds, from the journal alone."""
    live, again = told
    assert len(live.moments) == len(again.moments) > 200
    for then, now in zip(live.moments, again.moments, strict=True):
        assert (then.large, then.words, then.lines, then.sounds) == (now.large, now.words, now.lines, now.sounds)
