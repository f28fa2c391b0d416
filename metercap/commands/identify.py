"""`metercap identify`: listen to a port and say which meter profile fits."""

from __future__ import annotations

import sys

import click

from metercap.commands._numbers import Number
from metercap.gate import visible
from metercap.plain.style import safe

EPILOG = """\b
Examples:
  metercap identify --port /dev/ttyUSB0
  metercap identify --port COM4 --seconds 8
  metercap identify --port /dev/ttyUSB0 --meter my-meter.toml --meter text
  metercap identify --port visa:TCPIP::192.0.2.7::5025::SOCKET

Turn on the meter's send mode first and let it show something (a resistance, a voltage); a changing display tells more
than OL. metercap listens at the serial settings of each family in turn, and sends what a meter that is polled waits for
("D", or "*IDN?" for SCPI).

Exit status: 0 a profile fits; 1 none does, or the meter is silent; 2 bad usage or file; 3 the port cannot be opened."""


@click.command(epilog=EPILOG)
@click.option("--port", required=True, help="Port, pyserial URL, tape:FILE or VISA resource of the meter.")
@click.option("--meter", "meters", multiple=True, help="Try only this profile: a name or a file; repeatable.")
@click.option(
    "--seconds",
    type=Number(0.2, 600),
    default=4.0,
    show_default=True,
    help="How long to listen at each setting, at most.",
)
@click.option("--json", "as_json", is_flag=True, help="Print what was found as JSON.")
def command(port: str, meters: tuple[str, ...], seconds: float, as_json: bool) -> int:
    """Listen to PORT at each family's settings and name the profile that fits best, and how sure that is."""

    from metercap.commands._listen import Heard, listen
    from metercap.commands._suspects import Finding, groups, last_words, row_text, settings_text
    from metercap.errors import LinkError
    from metercap.profiles import find_meter, meter_names

    if not port.startswith("tape:"):
        import metercap.link.serialport  # noqa: F401 - loaded before the first word, so that Ctrl-C falls into no import

    profiles = [find_meter(name) for name in meters or meter_names()]
    found = Finding(port=port)
    try:
        for group in groups(profiles, port):
            told = f"{settings_text(group[0])}: {', '.join(profile.name for profile in group)}"
            sys.stderr.write(f"listening at {visible(str(told))} ...")
            sys.stderr.flush()
            try:
                heard = listen(port, group, seconds)
            except LinkError as error:
                if group[0].family != "scpi" or not found.rows:
                    sys.stderr.write("\n")
                    raise
                heard = Heard(b"", 0.0, lost=error.what)  # the port opens, as was seen: it is no SCPI meter
            found = found.with_group(group, heard)
            sys.stderr.write(f" {heard.summary}\n")
            if found.sure:
                break
    except KeyboardInterrupt:
        sys.stderr.write("\n")
        status = 130
    else:
        status = 0 if found.best is not None else 1
    if as_json:
        from metercap.plain import json_text

        click.echo(json_text(found.as_builtins()))
        return status
    for row in found.rows:
        click.echo(safe(row_text(row)))
    for line in last_words(found):
        click.echo(safe(line))
    return status
