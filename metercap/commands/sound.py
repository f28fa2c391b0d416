"""`metercap sound`: try the sounds and set them."""

from __future__ import annotations

from typing import Any

import click

from metercap.commands._numbers import Number
from metercap.commands._values import CUE

EPILOG = """\b
Examples:
  metercap sound
  metercap sound --cue hazard
  metercap sound --volume 0.3 --no-speech
  metercap sound --mute
  metercap sound --show

Settings are kept in one small file; --show says where. The extra plays through the sound card:
pip install 'metercap[sound]'. Without it the system's player is used, and at last the terminal's bell. Speech needs
espeak-ng."""


@click.command(epilog=EPILOG)
@click.option("--volume", type=Number(0.0, 1.0), help="Set how loud.")
@click.option("--mute/--unmute", default=None, help="Silence everything, or not.")
@click.option("--player", type=click.Choice(["auto", "device", "system", "bell", "none"]), help="Set through what.")
@click.option("--speech/--no-speech", default=None, help="Speak items and values.")
@click.option("--tone/--no-tone", default=None, help="Let a tone follow a trimmer.")
@click.option("--voice", help="Set the voice of the speech engine.")
@click.option("--words-per-min", type=click.IntRange(80, 400), help="Set the pace of speech.")
@click.option("--cue", type=CUE, help="Play this cue alone.")
@click.option("--show", is_flag=True, help="Print the settings and where they are; play nothing.")
@click.option("--json", "as_json", is_flag=True, help="Print the settings as JSON; play nothing.")
def command(cue: str | None, show: bool, as_json: bool, **changes: Any) -> int:
    """Play every cue with its meaning, after making the changes that the options name."""
    import msgspec

    from metercap.errors import UsageError
    from metercap.records import CueKind
    from metercap.sound.config import config_path, load_config, save_config
    from metercap.sound.rehearsal import MEANINGS, rehearse

    if cue is not None and (show or as_json):
        raise UsageError("--show and --json play nothing", where="--cue", hint="leave one of them out")
    config = load_config()
    wanted = {name: value for name, value in changes.items() if value is not None}
    if wanted:
        changed = msgspec.to_builtins(config) | wanted
        try:
            config = msgspec.convert(changed, type(config))
        except msgspec.ValidationError as error:  # all others are kept within bounds by their options
            what = "a voice has a plain name: at most 40 letters, digits, + _ and -"
            raise UsageError(what, where="--voice", hint="metercap sound --voice en") from error
        click.echo(f"settings kept in {save_config(config)}", err=as_json)
    if as_json:
        from metercap.plain import json_text

        click.echo(json_text(config))
        return 0
    if show:
        click.echo(f"{config_path()}{'' if config_path().exists() else ' (not there: these are the defaults)'}")
        for name, value in msgspec.to_builtins(config).items():
            click.echo(f"  {name} = {value}")
        return 0
    only = None
    if cue is not None:
        try:
            only = CueKind(cue)
        except ValueError:
            raise UsageError(f"{cue!a} is no cue", where="--cue", hint=", ".join(MEANINGS)) from None
    for line in rehearse(config, only):
        click.echo(line)
    return 0
