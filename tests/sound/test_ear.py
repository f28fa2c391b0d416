"""Records to sounds: which, in what order, and the pitch while a trimmer is turned."""

from __future__ import annotations

from collections.abc import Iterable
from typing import get_args

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from metercap.records import (
    Cue,
    CueKind,
    Do,
    EndRecord,
    Lift,
    Link,
    LinkState,
    Note,
    Operator,
    Prompt,
    Reason,
    Record,
    Verdict,
    VerdictKind,
)
from metercap.sound.ear import Ear, Hold, Play, Say, Sound
from metercap.sound.tones import IN_BAND_HZ, tune_hz
from metercap.view.fold import after
from tests.screen.greenhouse import HALF, exercise, lifted, ohms, scenes, session, tick, trimmer
from tests.sound.listening import PLAN, Heard, turning


def heard(records: Iterable[Record | Heard], ear: Ear | None = None) -> list[Sound]:
    """What an ear makes of records, each with the view that comes with it."""
    ear = ear or Ear()
    out: list[Sound] = []
    for one in records:
        record, view = one if isinstance(one, tuple) else (one, after(ear._view, one))
        ear.look(view)
        out += ear.hear(record)
    return out


def cues(records: Iterable[Record | Heard]) -> list[CueKind]:
    return [sound.cue for sound in heard(records) if isinstance(sound, Play)]


def test_right_cues_in_the_right_order() -> None:
    """Each cue record sounds once, in the file's order; a tick is contact, then pass, then go when it is certain."""
    records = [session(plan=PLAN), *tick(40.0, "F7", "F8"), *lifted(41.0, "F7")]
    assert cues(records) == [CueKind.CONTACT, CueKind.PASS, CueKind.GO]
    every = [Cue(float(at), "fuses", "F1", cue) for at, cue in enumerate(CueKind)]
    silent = {CueKind.FAR, CueKind.NEAR, CueKind.IN_BAND}
    assert cues(every) == [cue for cue in CueKind if cue not in silent]


def test_next_item_is_spoken_with_its_tag() -> None:
    """After a tick the next move is said: the unit's tag and the item, nothing else."""
    sounds = heard([session(plan=PLAN), *tick(40.0, "F7", "F8")])
    assert [sound.text for sound in sounds if isinstance(sound, Say)] == ["B, F8"]


def test_trouble_is_spoken_with_its_value_before_the_next_item() -> None:
    """A failure says what and how much, and the next item follows without cutting it off."""
    sounds = [
        sound
        for sound in heard([session(plan=PLAN), *tick(40.0, "F7", "F8", 38.4, VerdictKind.FAIL, "above")])
        if isinstance(sound, Say)
    ]
    assert sounds == [Say("F7 fail 38.40 Ω"), Say("B, F8", follows=True)]


def test_say_speaks_the_sessions_answer() -> None:
    """The word say speaks the note that answers it; other notes are not spoken, a failing disk is."""
    ear = Ear()
    heard([session(plan=PLAN)], ear)
    assert heard([Operator(1.0, "say"), Note(1.0, "fuses: F7, 6 of 12 done; last 0.21 Ω")], ear) == [
        Say("fuses: F7, 6 of 12 done; last 0.21 Ω")
    ]
    assert heard([Note(2.0, "a remark")], ear) == []
    assert heard([Note(3.0, "the disk is full; kept in memory")], ear) != []


def test_clap_is_said_back() -> None:
    """The mark for the film is heard in it as well as seen."""
    assert heard([session(plan=PLAN), Operator(1.0, "clap"), Note(1.0, "clap")]) == [Say("clap")]


def test_hazard_ahead_of_its_line_sounds_once() -> None:
    """The urgent cue and the same record later are one alarm; the next hazard is another."""
    cue = Cue(104.0, "bridge", "RV1", CueKind.HAZARD)
    assert heard([cue, cue]) == [Play(CueKind.HAZARD, alone=True)]
    assert len(heard([cue, cue, Cue(109.0, "bridge", "RV1", CueKind.HAZARD)])) == 2


def test_link_is_told() -> None:
    """A pulled cable is a cue and words; the first connection of a session is not news."""
    assert heard([Link(0.1, LinkState.UP)]) == []
    lost = heard([ohms(1.0, 1.0), Link(2.0, LinkState.LOST, "pulled"), Link(5.0, LinkState.UP)])
    assert lost == [Play(CueKind.WAITING), Say("cable lost"), Say("meter connected")]


def test_tone_follows_the_error_and_is_steady_in_band() -> None:
    """Each value while turning sets the pitch by its error over the proved half band."""
    values = [1618.0, 1560.0, 1510.0, 1501.0, 1490.0]
    holds = [sound for sound in heard(turning(values)) if isinstance(sound, Hold)]
    assert [hold.hz for hold in holds] == pytest.approx([tune_hz(value - 1500.0, HALF) for value in values])
    assert [hold.steady for hold in holds] == [abs(value - 1500.0) <= HALF for value in values]
    assert holds[3] == Hold(IN_BAND_HZ, steady=True)
    assert [hold.hz for hold in holds[:3]] == sorted((hold.hz or 0 for hold in holds[:3]), reverse=True)


@pytest.mark.parametrize("reason", get_args(Reason))
def test_every_way_to_end_is_said(reason: Reason) -> None:
    """A unit that was put aside is parked; the next one is announced by its own session."""
    end = EndRecord(110.0, reason, {}, "")
    words = {"done": "done", "quit": "session closed", "parked": "parked", "interrupted": "session interrupted"}
    assert Ear().hear(end) == [Say(words.get(reason, "session fault"))]


@pytest.mark.parametrize(
    "record",
    [
        Lift(110.0, "bridge", "RV1"),
        ohms(110.0, None),
        Link(110.0, LinkState.LOST),
        Prompt(110.0, "bridge", "RV1", Do.STOP, "take the tool away"),
        Verdict(110.0, "bridge", "RV1", VerdictKind.PASS, 1500.0, "ohm"),
        EndRecord(110.0, "quit", {}, ""),
    ],
)
def test_tone_ends_with_the_turning(record: Record) -> None:
    """Lifted, open, lost, asked to stop, judged or closed: the tone ends, once."""
    *before, (last, view) = turning([1618.0])
    own = trimmer(1618.0, phase="stop") if isinstance(record, Prompt) else view.own
    then = msgspec.structs.replace(after(view, record), own=own)
    sounds = heard([*before, (last, view), (record, then), ohms(111.0, None)])
    assert [sound for sound in sounds if isinstance(sound, Hold)][-1] == Hold(None)
    assert sum(sound == Hold(None) for sound in sounds) == 1


def test_the_tone_speaks_only_while_the_trimmer_is_turned() -> None:
    """With the tool away, or while it is read as left, a value makes no tone though the tips are on."""
    *before, (last, view) = turning([1618.0])
    for phase in ("found", "stop", "left", "ask"):
        silent = msgspec.structs.replace(view, own=trimmer(1618.0, phase=phase))
        assert not [sound for sound in heard([*before, (last, silent)]) if isinstance(sound, Hold) and sound.hz]


def test_a_nudge_is_no_alarm() -> None:
    """Stop while a trimmer is turned means hands still; elsewhere it means voltage, and sounds alone."""
    nudge = Cue(104.0, "bridge", "RV1", CueKind.STOP)
    *before, (last, view) = turning([1618.0])
    assert heard([*before, (last, view), (nudge, view)])[-1] == Play(CueKind.SLOW)
    assert heard([session(plan=PLAN), nudge]) == [Play(CueKind.STOP, alone=True)]


def test_presses_are_not_spoken() -> None:
    """Twenty presses are not read aloud; the start of it is."""
    said = [sound.text for sound in heard([session(plan=PLAN), *exercise("111")[-7:]]) if isinstance(sound, Say)]
    assert len(said) == 1


def test_a_plan_of_another_version_still_sounds() -> None:
    """What cannot be understood costs the tone, not the cues."""
    assert cues([session(plan={"steps": [{"kind": "dance"}]}), *tick(1.0, "F1", "F2")]) == [
        CueKind.CONTACT, CueKind.PASS,
    ]  # fmt: skip


_EVERY = [record for records in scenes().values() for record in records]


@given(st.lists(st.sampled_from(_EVERY), max_size=40))
def test_any_order_is_heard(records: list[Record]) -> None:
    """Records in any order never raise."""
    heard([session(plan=PLAN), *records])


def test_the_alarm_sounds_again_every_two_seconds_while_it_stands() -> None:
    """Other cues, a lift and over-range between; the first cue without the hazard ends it."""
    ear = Ear()
    heard([session(plan=PLAN), *turning([1500.0])], ear)
    assert heard([Cue(200.0, "bridge", "RV1", CueKind.HAZARD, "below")], ear) == [Play(CueKind.HAZARD, alone=True)]
    heard([Cue(200.5, "bridge", "RV1", CueKind.FAR, "below"), Lift(201.0, "bridge", "RV1")], ear)

    def alarms(from_s: float) -> list[float]:
        times = [from_s + 0.5 * n for n in range(12)]
        return [t_s for t_s in times if Play(CueKind.HAZARD, alone=True) in heard([ohms(t_s, None, 1.0)], ear)]

    assert alarms(201.0) == [202.0, 204.0, 206.0]
    heard([Cue(206.6, "bridge", "RV1", CueKind.FAR)], ear)
    assert alarms(207.0) == []


def test_what_is_told_aloud_is_spoken() -> None:
    """As found beside the good unit."""
    ear = Ear()
    assert heard([session(plan=PLAN), Note(5.0, "RV1 as found"), Note(5.0, "85 %", True)], ear) == [Say("85 %")]
