"""`metercap identify`: listen to a port and say which meter profile fits."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

from metercap.commands._numbers import Number
from metercap.commands._values import METER, PORT
from metercap.gate import visible
from metercap.plain.style import safe

if TYPE_CHECKING:
    from metercap.finding.suspects import Finding
    from metercap.meter import MeterProfile

INTERRUPTED = 130
TOUCH_S = 20.0
ASK_TOUCH = "now touch the tips together and part them, a few times, in each quantity you use, nothing connected"
EPILOG = """\b
Examples:
  metercap identify
  metercap identify --port /dev/ttyUSB0
  metercap identify --port COM4 --seconds 8
  metercap identify --port /dev/ttyUSB0 --meter my-meter.toml --meter text
  metercap identify --port /dev/ttyUSB0 --touch 20 --keep
  metercap identify --port visa:TCPIP::192.0.2.7::5025::SOCKET

Without --port all serial ports and all SCPI meters that VISA sees on USB or GPIB are tried in turn; other machines are
asked only with --network.

Turn on the meter's send mode first and let it show something (a resistance, a voltage); a changing display tells more
than OL. metercap listens at the serial settings of each family in turn, and sends what a meter that is polled waits for
("D", or "*IDN?" for SCPI).

Of a meter that is known then, how often it converts is measured while the tips are touched a few times, nothing
connected: by itself in a terminal, elsewhere with --touch. --keep has the next sessions on this port begin with it.

Exit status: 0 a profile fits; 1 none does, or the meter is silent; 2 bad usage or file; 3 the port cannot be opened."""


@click.command(epilog=EPILOG)
@click.option(
    "--port", type=PORT, help="Port, pyserial URL, tape:FILE or VISA resource of the meter; default: all there are."
)
@click.option("--network", is_flag=True, help="Without --port: ask other machines for SCPI meters too (a broadcast).")
@click.option(
    "--meter", "meters", type=METER, multiple=True, help="Try only this profile: a name or a file; repeatable."
)
@click.option(
    "--seconds",
    type=Number(0.2, 600),
    default=4.0,
    show_default=True,
    help="How long to listen at each setting, at most.",
)
@click.option(
    "--touch",
    type=Number(0.0, 600),
    help="Measure its rate for so many seconds, while tips are touched. [default: with --port in a terminal 20]",
)
@click.option("--keep", is_flag=True, help="Keep the measured rate for this meter on this port, unasked.")
@click.option("--json", "as_json", is_flag=True, help="Print what was found as JSON.")
def command(
    port: str | None,
    network: bool,
    meters: tuple[str, ...],
    seconds: float,
    touch: float | None,
    keep: bool,
    as_json: bool,
) -> int:
    """Listen at each family's settings and name the profile that fits best, and how sure that is."""
    from metercap.errors import LinkError, UsageError
    from metercap.profiles import find_meter, meter_names

    if port is not None and network:
        raise UsageError("--network looks for ports, and --port names one", hint="leave one of them out")
    profiles = [find_meter(name) for name in meters or meter_names()]
    if port is not None:
        finding, status = _one(port, profiles, seconds)
        if not as_json:
            _print([finding], as_json, one=True)
        rates = _rates(finding, profiles, touch, keep=keep, as_json=as_json) if status == 0 else None
        if as_json:
            _print([finding], as_json, one=True, rates=rates)
        return status
    if touch or keep:
        raise UsageError("a rate is measured of one meter", hint="name it with --port")
    found, statuses = [], []
    for place in _places(network):
        try:
            finding, status = _one(place, profiles, seconds)
        except LinkError as error:
            sys.stderr.write(f"{visible(str(place))}: {visible(error.what)}\n")
            continue
        found.append(finding)
        statuses.append(status)
        if status == INTERRUPTED:
            break
    _print(found, as_json, one=False)
    return INTERRUPTED if INTERRUPTED in statuses else 0 if 0 in statuses else 1


def _places(network: bool) -> list[str]:
    """Return the serial ports and the VISA resources there are, saying what could not be asked."""
    from metercap.link import list_ports
    from metercap.link.visalist import list_visa

    ports = [found.best for found in list_ports()]
    resources, why_none = list_visa(network=network)
    visa = f"not asked: {visible(why_none)}" if why_none else f"{len(resources)}"
    elsewhere = "" if network else "; other machines only with --network"
    sys.stderr.write(f"serial ports: {len(ports)}; on VISA: {visa}{elsewhere}\n")
    return [*ports, *resources]


def _rates(
    finding: Finding, profiles: Sequence[MeterProfile], touch: float | None, *, keep: bool, as_json: bool
) -> dict[str, Any] | None:
    """Measure how often the meter converts, where it is known; say it, and keep it where that is wished."""
    best, port = finding.best, finding.port
    here = sys.stdin is not None and sys.stdin.isatty() and sys.stdout.isatty() and not as_json
    seconds = touch if touch is not None else TOUCH_S if here and not port.startswith("tape:") else 0.0
    if best is None or finding.also or best.identity or not seconds:
        return None
    from metercap.commands._rates import keep_rates
    from metercap.commands._saying import complain
    from metercap.commands._touches import measure, touches_text

    profile = next(one for one in profiles if one.name == best.profile)
    complain(f"{ASK_TOUCH}: for {seconds:g} s, Ctrl-C ends it ...")
    found = measure(port, profile, seconds)
    if not as_json:
        for line in touches_text(found, profile):
            click.echo(safe(line) if "\n" not in line else line)
    kept = bool(found.times_s) and not port.startswith("tape:")
    kept = kept and (keep or (here and click.confirm("Keep it for this meter on this port?", default=True)))
    if kept:
        keep_rates(profile.name, port, found.times_s)
        complain(f"kept: sessions of {profile.name} on {visible(port)} begin with it")
    times = {quantity.value: conversion_s for quantity, conversion_s in found.times_s.items()}
    return {"conversion_s": times, "untold": [quantity.value for quantity in found.untold], "kept": kept}


def _print(found: list[Finding], as_json: bool, *, one: bool, rates: dict[str, Any] | None = None) -> None:
    from metercap.finding.suspects import last_words, row_text

    if as_json:
        from metercap.plain import json_text

        rows = [finding.as_builtins() for finding in found]
        if rates is not None:
            rows[0]["rates"] = rates
        click.echo(json_text(rows[0] if one else rows))
        return
    if not found:
        click.echo("no port here that a meter may be on\n  try: metercap ports --help")
    for finding in found:
        if not one:
            click.echo(safe(finding.port))
        for row in finding.rows:
            click.echo(safe(row_text(row)))
        for line in last_words(finding):
            click.echo(safe(line))


def _one(port: str, profiles: Sequence[MeterProfile], seconds: float) -> tuple[Finding, int]:
    """Listen on one port; return what was found, and the exit status."""
    from metercap.errors import LinkError
    from metercap.finding.listen import Heard, listen
    from metercap.finding.suspects import Finding, groups, settings_text

    if not port.startswith("tape:"):
        import metercap.link.serialport  # noqa: F401 - loaded before the first word, so that Ctrl-C falls into no import

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
        return found, INTERRUPTED
    return found, 0 if found.best is not None else 1
