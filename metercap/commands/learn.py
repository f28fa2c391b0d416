"""`metercap learn`: one reference from sessions on good units."""

from __future__ import annotations

from pathlib import Path

import click

from metercap.commands._names import person_name
from metercap.gate import visible

EPILOG = """\b
Examples:
  metercap learn a.jsonl c.jsonl d.jsonl --out gc8-good.json
  metercap learn vent-pair fan-pair --out gc8-good.json
  metercap learn gc8-good.json e.jsonl --out gc8-good-2.json --signed-by "M. Okafor"
  metercap run greenhouse-controller --port /dev/ttyUSB0 --meter lcd14 --unit B --against gc8-good.json --out b.jsonl

The sessions are of different units of one model, each run with --known-good; a reference that was learned before may be
among them. A value counts when it settled and passed. From one good unit its uncertainty is all that is known; from two
to seven, t·s·√(1 + 1/n) of their mean; from eight on their median and its spread.

The file is JSON with a schema number: every unit's values, with what is known of each, and every file they are from, by
its SHA-256. Of more than 30 units it says how often each value was displayed; of more than 1000 their number. Whoever
signs it off vouches for its units: it says so where it is used, and is refused once it was changed. That proves
nobody's hand; where it must, sign the file itself.

What was read is remembered, so that the next time only new and changed files are read."""


@click.command(epilog=EPILOG)
@click.argument("files", nargs=-1, required=True, metavar="FILE...", type=click.Path(path_type=Path))
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Reference to write; must not exist.")
@click.option("--force", is_flag=True, help="Take units that nobody marked known good; the reference says so.")
@click.option("--signed-by", default="", metavar="NAME", callback=person_name, help="Who vouches for these units.")
@click.option("--json", "as_json", is_flag=True, help="Print what each item lets expect, as one JSON object.")
@click.option("--anew", is_flag=True, help="Read every file again, whatever is remembered.")
def command(files: tuple[Path, ...], out: Path, force: bool, signed_by: str, as_json: bool, anew: bool) -> int:
    """Learn from FILES, or from the good units of jobs' folders, what good units of a model measure."""
    import datetime

    from metercap.archive.good import learn_from
    from metercap.archive.store import usual_place
    from metercap.commands._opening import program, utc_text
    from metercap.commands._saying import progress, tell
    from metercap.errors import UsageError
    from metercap.files import new_file, refuse_existing
    from metercap.gate import storable
    from metercap.learn import learned, learned_lines
    from metercap.reference.file import encode, signed_off

    refuse_existing(out)
    place = None if anew else usual_place()
    with progress("files") as say:
        reference = learn_from(files, place, tell, say, program=program(), force=force)
    if not reference.items:
        raise UsageError("no item of these sessions has a settled value that passed", hint="nothing was learned")
    if signed_by:
        reference = signed_off(
            reference, str(storable(signed_by.strip())), utc_text(datetime.datetime.now(datetime.UTC))
        )
    with new_file(out) as path:
        path.write_bytes(encode(reference))
    if as_json:
        import msgspec

        from metercap.plain import json_text

        items = [msgspec.to_builtins(row) for row in learned(reference)]
        left, sources, signed = map(msgspec.to_builtins, (reference.left_out, reference.sources, reference.signed))
        about = {"out": str(out), "units": reference.n, "sources": sources, "signed": signed}
        click.echo(json_text({**about, "items": items, "left_out": left}))
        return 0
    from metercap.plain.style import safe

    for line in learned_lines(reference):
        click.echo(safe(line))
    click.echo(f"reference: {visible(str(out))}")
    return 0
