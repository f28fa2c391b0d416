"""`metercap verify`: say whether a journal is whole; repair into a new file."""

from __future__ import annotations

from pathlib import Path

import click

EPILOG = """\b
Examples:
  metercap verify a.jsonl
  metercap verify a.jsonl --repair a-repaired.jsonl

Exit status: 0 intact; 1 readable but torn or not closed; 2 damaged. Repair never touches the old file."""


@click.command(epilog=EPILOG)
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--repair", "new", type=click.Path(path_type=Path), help="Write what is good to this new file.")
@click.option("--json", "as_json", is_flag=True, help="Print the finding as JSON.")
def command(file: Path, new: Path | None, as_json: bool) -> int:
    """Check every line of FILE: its checksum, the chain, the closing hash."""
    from metercap.journal import repair, verify
    from metercap.plain.style import safe

    report = verify(file) if new is None else repair(file, new)
    if as_json:
        import msgspec

        click.echo(msgspec.json.encode(report).decode())
    else:
        click.echo(safe_lines(str(report), safe))
    return report.exit_status


def safe_lines(text: str, safe: object) -> str:
    """Escape each line of a text."""
    return "\n".join(safe(line) for line in text.splitlines())  # type: ignore[operator]
