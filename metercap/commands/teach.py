"""`metercap teach`: make a profile for a meter from a few of its displays, or from sample lines."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click
import msgspec

from metercap.commands._numbers import Number, Whole
from metercap.commands._values import METER, PORT
from metercap.gate import visible
from metercap.plain.style import safe

if TYPE_CHECKING:
    from metercap.meter import MeterProfile
    from metercap.meters.plainlines import Hints, Question, Taught

EPILOG = """\b
Examples:
  metercap teach --name bench --port /dev/ttyUSB0 --baud 2400 --displays
  metercap teach --name bench --pair "OHM,2.187,kOhm" "2.187 kohm" --pair "VOLT,-1.5,V,DC" "-1.5 V dc"
  metercap teach --out my-meter.toml --line "R=2.187 kohm" --line "R=OL"
  metercap teach --out my-meter.toml --port /dev/ttyACM0 --baud 115200
  metercap teach --out my-meter.toml < lines.txt
  metercap teach --name bench --accuracy lcd14 --row "resistance 400.0 ohm 1.2 % + 2"
  metercap watch --port /dev/ttyACM0 --meter my-meter.toml

With --displays you put the meter on something steady, type what it shows ("2.187 kohm", "OL Mohm", "-1.5 V dc"), and
go on with the next; metercap asks for the display that would tell it most. It works for frames of LCD segments that
count their bytes, fixed lines of codes, and lines of text. Nothing is written before every display is decoded and you
have confirmed a fresh one; what no display showed is named and stays unread.

With --accuracy type the accuracy of each range as the meter's manual prints it, the range with all its digits; each row
is shown worked out, to hold against the manual.

With --line give one line of every shape a text meter sends. Numbers have a decimal point and no exponent. Without
--out the profile goes where meters are looked up by name. The file is plain TOML: read it, and edit what is special
about the meter."""

QUANTITIES = (
    "resistance", "continuity", "voltage_dc", "voltage_ac", "current_dc", "current_ac", "capacitance", "frequency",
    "duty", "diode", "temperature",
)  # fmt: skip


@click.command(epilog=EPILOG)
@click.option(
    "--out", type=click.Path(path_type=Path), help="Profile to write; must not exist. Default: your own, by --name."
)
@click.option("--name", help="The meter's name; default: the file's.")
@click.option("--displays", is_flag=True, help="Type what the display of the meter on --port shows, one after another.")
@click.option("--pair", "pairs", nargs=2, multiple=True, metavar="SENT SHOWN",
              help='What came ("hex:14 22 …" for bytes) and what the display showed; repeatable.')  # fmt: skip
@click.option(
    "--accuracy", type=METER, metavar="METER", help="Copy this profile with its accuracy, from the meter's own manual."
)
@click.option("--row", "rows", multiple=True, metavar="TEXT", help="A row for --accuracy; repeatable; else from stdin.")
@click.option("--line", "lines", multiple=True, metavar="TEXT", help="A line as the meter sends it; repeatable.")
@click.option("--port", type=PORT, help="Listen for lines on this port.")
@click.option("--seconds", type=Number(0.5, 600), default=5.0, show_default=True, help="How long to listen.")
@click.option("--quantity", type=click.Choice(QUANTITIES), help="What a number is when its line does not say.")
@click.option("--number", type=Whole(1), help="Which number of a line is the value.")
@click.option("--over", multiple=True, metavar="TEXT", help="What the meter writes over range; repeatable.")
@click.option("--blank", multiple=True, metavar="TEXT", help="What it writes when it shows nothing; repeatable.")
@click.option("--ignore", multiple=True, metavar="TEXT", help="Leave out sample lines that hold this; repeatable.")
@click.option("--rate", type=Number(0.1, 1000), help="New values a second; default: the slowest, 1.")
@click.option("--baud", type=click.IntRange(50, 4_000_000), default=9600, show_default=True)
@click.option("--bits", type=click.Choice(["7", "8"]), default="8", show_default=True)
@click.option("--parity", type=click.Choice(["none", "even", "odd"]), default="none", show_default=True)
@click.option("--stop", type=click.Choice(["1", "2"]), default="1", show_default=True, help="Stop bits.")
@click.option("--dtr/--no-dtr", default=True, show_default=True, help="Many USB boards send only with DTR on.")
@click.option("--rts/--no-rts", default=False, show_default=True)
@click.option("--poll", metavar="TEXT", help="Send this to ask for each line, for a meter that does not stream.")
@click.option("--json", "as_json", is_flag=True, help="Print the profile and what each line gives as JSON.")
def command(
    out: Path | None,
    name: str | None,
    displays: bool,
    pairs: tuple[tuple[str, str], ...],
    accuracy: str | None,
    rows: tuple[str, ...],
    lines: tuple[str, ...],
    port: str | None,
    seconds: float,
    quantity: str | None,
    number: int | None,
    over: tuple[str, ...],
    blank: tuple[str, ...],
    ignore: tuple[str, ...],
    rate: float | None,
    baud: int,
    bits: str,
    parity: str,
    stop: str,
    dtr: bool,
    rts: bool,
    poll: str | None,
    as_json: bool,
) -> int:
    """Make a meter profile from a few displays that you type, or from sample lines of a meter that sends text."""
    from metercap.commands._displays import learn_pairs, learn_port
    from metercap.commands._profile_text import place_for, profile_toml
    from metercap.commands._readout import reading_text
    from metercap.errors import UsageError
    from metercap.files import refuse_existing
    from metercap.meter import Poll, Serial
    from metercap.meters.plainlines import Hints
    from metercap.profiles import find_meter
    from metercap.quantity import Quantity

    place = place_for(out, name)
    refuse_existing(place)
    if accuracy is not None:
        from metercap.commands._accuracy import fill

        return fill(accuracy, place, rows, as_json)
    if displays and port is None:
        raise UsageError(
            "--displays needs the port that the meter is on", hint="--port /dev/ttyUSB0; metercap ports lists them"
        )
    base = msgspec.structs.replace(
        find_meter("text"),
        name=name or place.stem,
        title="a home-made meter that sends text lines",
        serial=msgspec.convert(
            {"baud": baud, "bits": int(bits), "parity": parity, "stop": int(stop), "dtr": dtr, "rts": rts}, Serial
        ),
        poll=None if poll is None else Poll(send=poll, per_s=rate or 2.0),
        conversions_per_s=rate or find_meter("text").conversions_per_s,
    )
    if pairs or displays:
        if displays:
            assert port is not None
            learned = learn_port(port, base, seconds, pairs)
        else:
            learned = learn_pairs(pairs, base)
        if learned is None:
            click.echo("nothing written")
            return 1
        profile, made_from, untold = learned
        _write(place, profile_toml(profile, made_from, untold))
        if as_json:
            from metercap.plain import json_text

            click.echo(json_text({"written": str(place), "profile": profile, "displays": made_from, "untold": untold}))
        else:
            click.echo("not shown, and not read: " + visible("; ".join(untold)))
            _written(place, out, profile.name, port)
        return 0
    samples = [*lines, *(_from_port(port, base, seconds) if port else [])]
    if not samples:
        samples = _from_stdin()
    samples = [line for line in samples if not any(text in line for text in ignore)]
    hints = Hints(number, None if quantity is None else Quantity(quantity), over, blank)
    taught = _taught(samples, base, hints)
    if not as_json:
        _show(taught)
        if sys.stdin is not None and sys.stdin.isatty() and not click.confirm("Is that right?", default=True):
            click.echo("nothing written; give it more lines, or --number, --quantity, --over")
            return 1
    made_from = [f"{line}   ->   {' '.join(reading_text(reading).split())}" for line, reading in taught.rows]
    _write(place, profile_toml(taught.profile, made_from))
    if as_json:
        from metercap.plain import json_text

        click.echo(json_text({"written": str(place), "profile": taught.profile, "lines": taught.rows}))
    else:
        _written(place, out, taught.profile.name, port)
    return 0


def _write(place: Path, text: str) -> None:
    """Write the profile, and load it as any session would; a file that does not load is not left."""
    from metercap.errors import ProfileError
    from metercap.files import new_text
    from metercap.profiles import find_meter

    new_text(place, text)
    try:
        find_meter(str(place))
    except ProfileError:
        place.unlink()
        raise


def _written(place: Path, out: Path | None, name: str, port: str | None) -> None:
    click.echo(f"written: {visible(str(place))}")
    click.echo(f"  next: metercap watch --port {visible(port or 'PORT')} --meter {visible(str(out) if out else name)}")


def _show(taught: Taught) -> None:
    from metercap.commands._readout import reading_text

    width = max(len(line) for line, _ in taught.rows)
    for line, reading in taught.rows:
        click.echo(f"  {safe(line):<{width}}  ->  {reading_text(reading).strip()}")


def _taught(samples: list[str], base: MeterProfile, hints: Hints) -> Taught:
    """Return what the lines teach, asking in a terminal for what they do not tell."""
    from metercap.meters.plainlines import Question, teach

    while True:
        try:
            return teach(samples, base, hints)
        except Question as question:
            if sys.stdin is None or not sys.stdin.isatty():
                raise
            samples, hints = _answer(question, samples, hints)


def _answer(question: Question, samples: list[str], hints: Hints) -> tuple[list[str], Hints]:
    from metercap.meters.plainlines import numbers
    from metercap.quantity import Quantity

    line = question.line
    click.echo(f"\n  {safe(line)}\n{question.what}", err=True)
    if question.about == "number":
        found = numbers(line)
        for n, number in enumerate(found, 1):
            click.echo(f"  {n}: {number}", err=True)
        chosen = click.prompt("which is the value", type=click.IntRange(1, len(found)), err=True)
        return samples, msgspec.structs.replace(hints, number=chosen)
    if question.about == "quantity":
        kind = click.prompt("what is it", type=click.Choice(QUANTITIES), default="resistance", err=True)
        return samples, msgspec.structs.replace(hints, quantity=Quantity(kind))
    means = click.prompt("what does it mean", type=click.Choice(["over", "blank", "neither"]), default="over", err=True)
    if means == "over":
        return samples, msgspec.structs.replace(hints, over=(*hints.over, line))
    if means == "blank":
        return samples, msgspec.structs.replace(hints, blank=(*hints.blank, line))
    return [sample for sample in samples if sample.strip() != line], hints


def _from_stdin() -> list[str]:
    from metercap.errors import UsageError
    from metercap.meters.plainlines import MOST_LINE, MOST_LINES

    if sys.stdin is None:
        return []
    lines: list[str] = []
    try:
        if sys.stdin.isatty():
            click.echo("lines as the meter sends them, one of each shape; an empty line ends:", err=True)
        while len(lines) < MOST_LINES and (line := sys.stdin.readline(10 * MOST_LINE)):
            if line.strip():
                lines.append(line)
            elif sys.stdin.isatty():
                break
    except UnicodeDecodeError as error:
        raise UsageError(
            "the lines are not UTF-8 text", where="stdin", hint="is it what a text meter sends?"
        ) from error
    return lines


def _from_port(port: str, base: MeterProfile, seconds: float) -> list[str]:
    """Return one line of every shape that the port gives."""
    from metercap.errors import UsageError
    from metercap.finding.listen import hear
    from metercap.link.watch import NEVER_SENT

    click.echo(
        f"listening on {visible(str(port))} for {seconds:g} s: show it small and large values, and tips in air ...",
        err=True,
    )
    heard = hear(port, base, seconds)
    if not heard.sample:
        raise UsageError(heard.lost or NEVER_SENT, where=port, hint="--seconds 20, another --baud, or --poll TEXT")
    try:
        text = heard.sample.decode("utf-8")
    except UnicodeDecodeError:
        raise UsageError(
            f"bytes arrive, but they are no text: {heard.sample[:16].hex(' ')}", where=port, hint="another --baud"
        ) from None
    whole = text.replace("\r\n", "\n").split("\n")[1:-1]
    if not whole:
        raise UsageError("no whole line came", where=port, hint="--seconds 20; lines must end with a line feed")
    click.echo(f"{len(whole)} lines, {len(whole) / heard.seconds:.1f} a second", err=True)
    return _shapes(whole)


def _shapes(lines: Sequence[str]) -> list[str]:
    """Return the first line of every shape: what differs in digits alone is one."""
    import re

    shapes: dict[str, str] = {}
    for line in lines:
        shapes.setdefault(re.sub(r"[0-9]+", "0", line.strip()), line)
    return list(shapes.values())
