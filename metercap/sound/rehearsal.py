"""Every sound once, with its meaning, so that they can be learned before the hands are full."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator

from metercap.records import CueKind
from metercap.sound.config import SoundConfig
from metercap.sound.players import Player, open_player
from metercap.sound.speech import Speaker
from metercap.sound.tones import RATE_HZ, cue_samples, tune_hz

MEANINGS = {
    CueKind.CONTACT: "the tips touch something: hold on",
    CueKind.PASS: "tick: this item is done",
    CueKind.GO: "the lift is certain: touch the next item",
    CueKind.LIFT: "lift both tips off the board",
    CueKind.AGAIN: "touch the same item again",
    CueKind.FAIL: "this item failed",
    CueKind.UNSURE: "neither good nor bad can be said",
    CueKind.ABSENT: "marked as absent",
    CueKind.SKIP: "left for the second look",
    CueKind.WAITING: "waiting for you, or for the meter",
    CueKind.SLOW: "turn slower; on a slow meter hands still",
    CueKind.WRONG_WAY: "turn the other way",
    CueKind.PAST_IT: "past the band",
    CueKind.STOP: "stop: voltage where none should be; measure volts",
    CueKind.HAZARD: "past a hazard limit: turn back at once",
}
"""What each cue asks for, in the order they are met."""
PAUSE_S = 0.6
_TUNE_ERRORS = (-60.0, -30.0, -12.0, -6.0, 0.0, 0.0, 6.0, 24.0)
"""A made-up way into a band of ± 5 and out of it again."""


def rehearse(
    config: SoundConfig,
    cue: CueKind | None = None,
    *,
    player: Player | None = None,
    speaker: Speaker | None = None,
    sleep: Callable[[float], None] = time.sleep,
) -> Iterator[str]:
    """Play every cue (or one), the trimmer's tone and a few words; yield a line for each just before it sounds.

    The first line says through what it plays. Ends silent; what was opened here is closed here.
    """
    through = player if player is not None else open_player(config)
    voice = speaker if speaker is not None else Speaker(config) if config.speech and not config.mute else None
    try:
        yield f"player: {through.name}{_instead(config, through)}"
        for each in MEANINGS if cue is None else (cue,):
            yield f"{each.value}: {MEANINGS.get(each, 'said by the tone')}"
            through.play(each)
            sleep(len(cue_samples(each)) / RATE_HZ + PAUSE_S)
        if cue is None and config.tone:
            yield "tone: follows a trimmer from below into its band, where it is steady, and out above"
            for error in _TUNE_ERRORS:
                through.tone(tune_hz(error, 5.0), steady=abs(error) <= 5.0)
                sleep(PAUSE_S)
            through.tone(None)
        if cue is None:
            yield f"speech: {'B, F7; 0.21 ohm' if voice is not None and voice.works else _why_dumb(config, voice)}"
            if voice is not None and voice.works:
                voice.say("B, F7. 0.21 Ω")
                sleep(3 * PAUSE_S)
        if through.broken:
            yield f"the player does not work: {through.broken}"
    finally:
        if player is None:
            through.close()
        if speaker is None and voice is not None:
            voice.close()


def _instead(config: SoundConfig, through: Player) -> str:
    """Return why another player than the one that was asked for plays."""
    if config.mute or config.player in ("auto", through.name):
        return ""
    mend = "it does not work here"
    if config.player == "device":
        try:
            import miniaudio  # noqa: F401
        except ImportError:
            mend = "pip install 'metercap[sound]'"
    return f", in place of {config.player}: {mend}"


def _why_dumb(config: SoundConfig, voice: Speaker | None) -> str:
    if voice is None:
        return "muted" if config.mute else "switched off"
    return voice.broken
