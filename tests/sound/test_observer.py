"""The speaker in a session: it never holds it up, hazards go first, and it ends when told."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import pytest

from metercap.records import Cue, CueKind, Record
from metercap.sound import SoundConfig, SoundObserver
from metercap.sound.observer import MOST_WAITING
from metercap.sound.speech import Speaker
from tests.screen.greenhouse import ohms, session, sweep_to, tick
from tests.sound.listening import PLAN, Noting, seen, turning

MUTE = SoundConfig(speech=False)


def played(records: list[Record]) -> Noting:
    player = Noting()
    with SoundObserver(MUTE, player=player) as observer:
        for record in records:
            observer.see(record, b"")
            time.sleep(0.001)
    assert observer.fault is None
    return player


def test_cues_of_a_session_in_order() -> None:
    """The whole of a tick, heard in the order of the file; the player is closed at the end."""
    player = played([session(plan=PLAN), *tick(40.0, "F7", "F8")])
    assert player.cues == [CueKind.CONTACT, CueKind.PASS]
    assert player.closed == 1


def test_a_player_that_hangs_holds_nobody_up() -> None:
    """See returns in well under a millisecond though nothing is played; what is too much is dropped and counted."""
    player = Noting()
    player.gate.clear()
    observer = SoundObserver(MUTE, player=player)
    slowest = 0.0
    begun = time.monotonic()
    for at in range(2000):
        before = time.monotonic()
        observer.see(Cue(float(at), "fuses", "F1", CueKind.PASS))
        slowest = max(slowest, time.monotonic() - before)
    mean_s = (time.monotonic() - begun) / 2000
    assert mean_s < 0.0005
    assert observer.dropped >= 2000 - MOST_WAITING - 2
    player.gate.set()
    observer.close()
    assert len(player.cues) <= MOST_WAITING + 1


def test_hazard_goes_first_and_once() -> None:
    """An urgent hazard overtakes everything that waits; its record later is not heard again."""
    player = Noting()
    player.gate.clear()
    observer = SoundObserver(MUTE, player=player)
    for at in range(MOST_WAITING + 5):
        observer.see(Cue(float(at), "fuses", "F1", CueKind.AGAIN))
    time.sleep(0.05)  # the thread holds the first one now
    hazard = Cue(99.0, "bridge", "RV1", CueKind.HAZARD)
    observer.urgent(hazard)
    observer.see(hazard)
    player.gate.set()
    observer.close()
    assert player.cues.count(CueKind.HAZARD) == 1
    assert player.cues.index(CueKind.HAZARD) <= 1


def test_tone_is_coalesced_to_the_newest() -> None:
    """When the player lags only the newest pitch is set: the ear gets what is, not what was."""
    player = Noting()
    player.gate.clear()
    observer = SoundObserver(MUTE, player=player)
    for record, view in turning([1600.0 - at for at in range(90)]):
        observer.look(view)
        observer.see(record)
    player.gate.set()
    observer.close()
    assert 1 <= len(player.tones) <= 3 and observer.dropped == 0


def test_tone_can_be_switched_off() -> None:
    """Cues without the tone, if somebody prefers that."""
    player = Noting()
    with SoundObserver(SoundConfig(speech=False, tone=False), player=player) as observer:
        for record, view in turning([1600.0]):
            observer.look(view)
            observer.see(record)
    assert player.tones == []


def test_a_broken_player_is_replaced() -> None:
    """When the player stops working the bell takes over."""
    rung: list[int] = []
    player = Noting()
    with SoundObserver(MUTE, player=player, ring=lambda: rung.append(1)) as observer:
        observer.see(Cue(1.0, "fuses", "F1", CueKind.PASS))
        time.sleep(0.1)
        player.broken = "card pulled"
        observer.see(Cue(2.0, "fuses", "F1", CueKind.FAIL))
    assert player.cues == [CueKind.PASS] and rung == [1] and player.closed == 1


def test_defects_do_not_reach_the_session() -> None:
    """A record nobody can make sense of is kept as a fault, not raised."""
    observer = SoundObserver(MUTE, player=Noting())
    observer.see(Cue(1.0, "fuses", "F1", ["no cue"]))  # type: ignore[arg-type]
    observer.see(ohms(2.0, 1.0))
    observer.close()
    assert isinstance(observer.fault, TypeError)


@pytest.fixture
def engine(tmp_path: Path) -> tuple[str, Path]:
    """A speech engine that writes down what it was to say, and takes its time when asked to."""
    if sys.platform == "win32":
        pytest.skip("a script as a program")
    spoken = tmp_path / "spoken"
    path = tmp_path / "engine"
    path.write_text(
        f"#!{sys.executable}\nimport sys, time\ntext = sys.stdin.read()\n"
        f"open({str(spoken)!r}, 'a').write(' '.join(sys.argv[1:]) + '|' + text + '\\n')\n"
        "time.sleep(30 if 'long' in text else 0)\n"
    )
    path.chmod(0o755)
    return str(path), spoken


def lines(spoken: Path, count: int) -> list[str]:
    end_s = time.monotonic() + 10
    while time.monotonic() < end_s:
        if spoken.exists() and len(found := spoken.read_text().splitlines()) >= count:
            return [line.partition("|")[2] for line in found]
        time.sleep(0.02)
    raise AssertionError(f"fewer than {count} utterances")


def test_speech_says_items_and_values(engine: tuple[str, Path]) -> None:
    """Through the engine's standard input, never as an argument, at the pace and loudness that are set."""
    path, spoken = engine
    config = SoundConfig(volume=0.5, voice="en-gb", words_per_min=200)
    speaker = Speaker(config, path)
    with SoundObserver(config, player=Noting(), speaker=speaker) as observer:
        for record, view in seen([session(plan=PLAN), *sweep_to(1)[-12:-6]]):
            observer.look(view)
            observer.see(record)
        said = lines(spoken, 1)
    assert said[-1].startswith("B, F ")
    assert spoken.read_text().startswith("-s 200 -a 100 --stdin -v en-gb|")


def test_newer_words_cut_older_ones_short(engine: tuple[str, Path]) -> None:
    """What is said is always the newest; only what follows on waits for the end of the one before."""
    path, spoken = engine
    speaker = Speaker(SoundConfig(), path)
    speaker.say("a long story")
    lines(spoken, 1)
    begun = time.monotonic()
    speaker.say("B, F8")
    speaker.say("and F9", follows=True)
    assert lines(spoken, 3) == ["a long story", "B, F 8", "and F 9"]
    assert time.monotonic() - begun < 8
    speaker.close()
    assert speaker._thread is not None and not speaker._thread.is_alive()


def test_no_engine_is_no_error(tmp_path: Path) -> None:
    """Without an engine nothing is spoken, and it is told why."""
    speaker = Speaker(SoundConfig(), str(tmp_path / "none"))
    speaker.say("hello")
    end_s = time.monotonic() + 5
    while speaker.works and time.monotonic() < end_s:
        time.sleep(0.01)
    assert not speaker.works
    speaker.close()


def test_close_is_bounded(engine: tuple[str, Path]) -> None:
    """An engine that would talk for half a minute does not keep the program."""
    path, spoken = engine
    speaker = Speaker(SoundConfig(), path)
    speaker.say("a long goodbye")
    lines(spoken, 1)
    begun = time.monotonic()
    speaker.close(grace_s=0.1)
    assert time.monotonic() - begun < 3
