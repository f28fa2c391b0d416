"""A taught profile as the TOML that people read and edit, and writing it where nothing stands yet."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from metercap.errors import ProfileError

if TYPE_CHECKING:
    from metercap.meter import MeterProfile


def profile_toml(profile: MeterProfile, made_from: Sequence[str], untold: Sequence[str] = ()) -> str:
    """Return the TOML text of a taught profile, among its remarks what it was made from and what was not shown."""
    return "\n".join(_lines(profile, made_from, untold)) + "\n"


def _lines(profile: MeterProfile, made_from: Sequence[str], untold: Sequence[str]) -> Iterator[str]:
    yield "# Made by `metercap teach` from:"
    yield from (f"#   {_remark(line)}" for line in made_from)
    if untold:
        yield "# Not shown when it was taught, and not read; teach again to add:"
        yield from (f"#   {_remark(line)}" for line in untold)
    yield ""
    yield f"schema = {profile.schema}"
    yield f"name = {_text(profile.name)}"
    yield f"family = {_text(profile.family)}"
    yield f"title = {_text(profile.title)}"
    if profile.patterns:
        yield ""
        yield "# Regular expressions, tried in order on the whole line without its end; letters match in either case."
        yield "# Groups: value, over or blank; unit, quantity, flags."
        yield "patterns = ["
        yield from (f"  {_literal(pattern)}," for pattern in profile.patterns)
        yield "]"
    yield ""
    yield "# New values a second, the slowest. Too slow costs time; too fast could take one value for two."
    yield f"conversions_per_s = {profile.conversions_per_s!r}"
    if profile.poll is not None:
        yield ""
        yield "[poll]"
        yield f"send = {_text(profile.poll.send)}"
        yield f"per_s = {profile.poll.per_s!r}"
    port = profile.serial
    yield ""
    yield "[serial]"
    yield f"baud = {port.baud}"
    yield f"bits = {port.bits}"
    yield f"parity = {_text(port.parity)}"
    yield f"stop = {port.stop}"
    yield f"dtr = {str(port.dtr).lower()}"
    yield f"rts = {str(port.rts).lower()}"
    for name, rows in profile.tables.items():
        yield ""
        if name in _REMARKS:
            yield _REMARKS[name]
        yield f"[tables.{name}]"
        yield from (f"{_text(key)} = {_value(value)}" for key, value in rows.items())
    yield ""
    yield "# The meter's accuracy, from its data sheet or a comparison; without it verdicts say 'accuracy unknown'."
    yield "#   [[accuracy]]"
    yield '#   quantity = "resistance"'
    yield "#   percent = 1.0"
    yield "#   counts = 2"


def _remark(text: str) -> str:
    """Return text that cannot end a remark's line."""
    return "".join(sign if sign.isprintable() else f"\\u{ord(sign):04x}" for sign in text)


_REMARKS = {
    "units": '# Unit as written = unit symbol; "" is a number without any.',
    "prefixes": "# Prefix as written = power of ten.",
    "quantities": '# Unit symbol and quantity word; "" is an over-range or blank line without unit.',
    "flags": "# Word = flag.",
    "codes": "# All that is not number or sign = quantity, and the power of ten of the number as written.",
    "signs": "# Sign as written.",
    "bits": "# Place . bit of a code that is 0x30 + four bits = what it says.",
    "over": "# What stands in the number's place over range.",
    "segments": "# Byte number . bit of the low nibble = segment a to g of a digit, point or sign.",
}


def _value(value: str | float) -> str:
    return _text(value) if isinstance(value, str) else str(int(value)) if value == int(value) else repr(value)


def _text(text: str) -> str:
    """Return a TOML basic string. Its escapes are JSON's, but that DEL needs one too (TOML 1.0, String).

    Signs that look like others (ohm sign and omega, micro sign and mu) are escaped, to be told apart.
    """
    out = json.dumps(text, ensure_ascii=False)
    for sign in "\x7f\u2126\u03bc":
        out = out.replace(sign, f"\\u{ord(sign):04x}")
    return out


def _literal(pattern: str) -> str:
    """Return a pattern as a TOML string that shows backslashes as they are, where it can."""
    quotes = 3 * "'"
    plain = quotes not in pattern and not pattern.endswith("'") and pattern.isprintable()
    return f"{quotes}{pattern}{quotes}" if plain else _text(pattern)


def place_for(out: Path | None, name: str | None) -> Path:
    """Return where the profile goes: `out`, or the user's own meters under `name`. UsageError when neither is given."""
    from metercap import settings
    from metercap.errors import UsageError

    if out is not None:
        return out
    if not name:
        raise UsageError("the meter needs a name", hint="--name bench, or --out my-meter.toml")
    if not re.fullmatch(r"[\w][\w .-]*", name) or len(name) > 60:
        raise UsageError(f"{name!r} cannot be a file's name", hint="letters, digits and - only, or --out")
    folder = settings.folder() / "profiles" / "meters"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ProfileError(
            f"cannot be made: {error.strerror}", where=str(folder), hint="--out my-meter.toml"
        ) from error
    return folder / f"{name}.toml"
