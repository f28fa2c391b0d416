"""`metercap learn`: one reference from sessions on good units."""

from __future__ import annotations

from pathlib import Path

import click

from metercap.gate import visible

EPILOG = """\b
Examples:
  metercap learn a.jsonl c.jsonl d.jsonl --out gc8-good.json
  metercap learn vent-pair fan-pair --out gc8-good.json
  metercap learn gc8-good.json e.jsonl --out gc8-good-2.json
  metercap run greenhouse-controller --port /dev/ttyUSB0 --meter lcd14 --unit B --against gc8-good.json --out b.jsonl

The sessions are of different units of one model, each run with --known-good; a reference that was learned before may be
among them. A value counts when it settled and passed. From one good unit its uncertainty is all that is known; from two
to seven, t·s·√(1 + 1/n) of their mean; from eight on their median and its spread.

The file is JSON with a schema number: every unit's values, with what is known of each."""


@click.command(epilog=EPILOG)
@click.argument("files", nargs=-1, required=True, metavar="FILE...", type=click.Path(path_type=Path))
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Reference to write; must not exist.")
@click.option("--force", is_flag=True, help="Take units that nobody marked known good; the reference says so.")
@click.option("--json", "as_json", is_flag=True, help="Print what each item lets expect, as one JSON object.")
def command(files: tuple[Path, ...], out: Path, force: bool, as_json: bool) -> int:
    """Learn from FILES, or from the good units of jobs' folders, what good units of a model measure."""
    from metercap.commands._opening import program
    from metercap.commands._saying import tell
    from metercap.compare.sources import open_sources
    from metercap.errors import UsageError
    from metercap.files import new_file, refuse_existing
    from metercap.learn import learned, learned_lines
    from metercap.reference.file import encode
    from metercap.reference.gather import combine

    refuse_existing(out)
    sources = open_sources(files, tell, good=True)
    reference = combine([source.good() for source in sources], program=program(), force=force)
    if not reference.items:
        raise UsageError("no item of these sessions has a settled value that passed", hint="nothing was learned")
    with new_file(out) as path:
        path.write_bytes(encode(reference))
    for source in sources:
        if source.lost:
            click.echo(f"metercap: {visible(str(source.path))}: {source.lost}", err=True)
    if as_json:
        import msgspec

        items = [msgspec.to_builtins(row) for row in learned(reference)]
        left = msgspec.to_builtins(reference.left_out)
        from metercap.plain import json_text

        click.echo(json_text({"out": str(out), "items": items, "left_out": left}))
        return 0
    from metercap.plain.style import safe

    for line in learned_lines(reference):
        click.echo(safe(line))
    click.echo(f"reference: {visible(str(out))}")
    return 0
