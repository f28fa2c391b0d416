"""The bench by ear: short cues, a tone that follows the trimmer, spoken items and values.

`tones`, `ear`, `phrases` and `mixer` are pure; `players` and `speech` make noise; `SoundObserver` ties them to a
session without ever holding it up.
"""

from metercap.sound.config import SoundConfig, load_config, save_config
from metercap.sound.observer import SoundObserver

__all__ = ["SoundConfig", "SoundObserver", "load_config", "save_config"]
