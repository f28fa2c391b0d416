"""What `identify` makes of what it heard: a row for each profile, the best one, how sure, and what to do next. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal

import msgspec

from metercap.finding.listen import LIKELY_SHARE, Heard, sure
from metercap.link.watch import NEVER_SENT
from metercap.meter import MeterProfile
from metercap.quantity import Quantity
from metercap.wire.identify import score

SHOWN_BYTES = 32
LIKELY_READINGS = 2
MOST_BEYOND = 1.1
"""Displays may count a little past the number they are named for (common practice, no source)."""
PARITY_LETTERS = {"none": "N", "even": "E", "odd": "O", "mark": "M", "space": "S"}

How = Literal["sure", "likely", ""]


class Row(msgspec.Struct, frozen=True):
    """How one profile fits: of `bytes` heard, `read_bytes` made `readings`. `why` is what was wrong most often."""

    profile: str
    settings: str
    how: How
    bytes: int
    read_bytes: int
    readings: int
    quantities: tuple[Quantity, ...]
    why: str
    sample: str
    """The first bytes, in hex."""
    identity: str = ""
    like: str = ""
    """The profile that this one is a relative of."""
    counts: int = 0
    """How far a relative's display counts; 0 for one that is no relative."""
    beyond: bool = False
    """Whether more counts were shown than this profile's display has."""


class Finding(msgspec.Struct, frozen=True):
    """All that was found on `port`."""

    port: str
    rows: tuple[Row, ...] = ()
    text: str = ""
    """The first lines heard, at whatever setting gave printable text; empty when none did."""

    def with_group(self, group: Sequence[MeterProfile], heard: Heard) -> Finding:
        """Return this finding with what was heard at one group's settings."""
        rows = tuple(_row(profile, heard) for profile in group)
        return Finding(self.port, self.rows + rows, self.text or _printable(heard.sample))

    @property
    def best(self) -> Row | None:
        """The profile that fits best, or None when none fits."""
        fit = [row for row in self.rows if row.how]
        # Of relatives the one that counts just far enough: what it shows tells no more.
        return min(fit, key=lambda row: (row.how != "sure", -row.read_bytes, row.beyond, row.counts), default=None)

    @property
    def sure(self) -> bool:
        """Whether the best one leaves no doubt; another of the same bytes may still fit as well."""
        return self.best is not None and self.best.how == "sure"

    @property
    def also(self) -> tuple[Row, ...]:
        """Others that read the same bytes just as well as the best one, but for its relatives."""
        return tuple(
            row for row in self._same if self.best is not None and row.like != (self.best.like or self.best.profile)
        )

    @property
    def relatives(self) -> tuple[Row, ...]:
        """Relatives of the best one, which would read the same: they differ in how far the display counts."""
        best = self.best
        return tuple(row for row in self._same if best is not None and _related(row, best))

    @property
    def _same(self) -> tuple[Row, ...]:
        best = self.best
        if best is None:
            return ()
        alike = (best.how, best.read_bytes, best.sample, best.beyond)
        return tuple(
            row for row in self.rows if row is not best and (row.how, row.read_bytes, row.sample, row.beyond) == alike
        )

    def as_builtins(self) -> dict[str, Any]:
        """Return what --json prints."""
        best = self.best
        return {
            "port": self.port,
            "best": None if best is None else best.profile,
            "how": "" if best is None else best.how,
            "also": [row.profile for row in self.also],
            "relatives": [row.profile for row in self.relatives],
            "advice": " ".join(last_words(self)),
            "tried": msgspec.to_builtins(self.rows),
        }


def groups(profiles: Sequence[MeterProfile], port: str) -> list[list[MeterProfile]]:
    """Return the profiles in groups that can be listened to together, in the order to try them.

    Meters that stream come first, then polled ones, then those that are asked for their identity: nothing is sent to a
    meter that speaks by itself. Behind a bare socket or on a tape there are no serial settings, so all that stream are
    one group.
    """
    if port.startswith("visa:") or "::" in port:
        return [[profile] for profile in profiles if profile.family == "scpi"]
    bare = port.startswith(("tape:", "socket://"))
    kept: dict[tuple[Any, ...], list[MeterProfile]] = {}
    for profile in profiles:
        poll = "" if profile.poll is None else profile.poll.send
        settings = "" if bare else settings_text(profile)
        rank = 2 if profile.family == "scpi" else 1 if poll else 0
        if rank and port.startswith("tape:"):
            rank, poll = 0, ""  # a tape cannot be asked
        kept.setdefault((rank, poll, settings, profile.name if rank == 2 else ""), []).append(profile)
    order = sorted(kept, key=lambda key: key[0])
    return [sorted(kept[key], key=lambda profile: profile.serial.bits != 8) for key in order]


def settings_text(profile: MeterProfile) -> str:
    """Return "2400 8N1", and what is sent to a meter that waits to be asked."""
    port = profile.serial
    text = f"{port.baud} {port.bits}{PARITY_LETTERS[port.parity]}{port.stop}"
    if profile.family == "scpi":
        return f"{text}, asking *IDN?"
    return text if profile.poll is None else f"{text}, asking {profile.poll.send!a}"


def row_text(row: Row) -> str:
    """Return one line on how a profile fits."""
    mark = {"sure": "+", "likely": "?", "": "-"}[row.how]
    if row.identity:
        found = f"answers *IDN? with {row.identity}"
    elif not row.bytes:
        found = row.why or "silence"
    elif not row.readings:
        found = f"no reading in {row.bytes} bytes: {row.why}"
    else:
        what = ", ".join(quantity.value.replace("_", " ") for quantity in row.quantities)
        found = f"{row.readings} readings ({what}), {row.read_bytes} of {row.bytes} bytes"
    return f"  {mark} {row.profile:<12} {row.settings:<24} {found}"


def last_words(found: Finding) -> list[str]:
    """Return what it comes to, and what to try next."""
    best = found.best
    if best is not None:
        lines = [f"{best.profile}: {best.how}"]
        if found.also:
            others = " and ".join(row.profile for row in found.also)
            lines[0] = f"{best.profile} or {others}: each fits, and these bytes do not tell them apart"
            lines.append("  try: turn the dial to other quantities and listen again, or take the one for your meter")
        elif best.how == "likely":
            lines.append("  try: --seconds 20, with the meter showing a value instead of OL")
        if found.relatives:
            names = ", ".join(row.profile for row in found.relatives)
            lines.append(f"  a display that counts further: {names}")
        lines.append(f"  next: metercap watch --port {found.port} --meter {best.profile}")
        return lines
    heard = max(found.rows, key=lambda row: row.bytes, default=None)
    if heard is None:
        return ["no profile could be tried on this port"]
    if not heard.bytes:
        return [NEVER_SENT, "  try: the meter's manual for how its send mode is turned on; then identify again"]
    sample = bytes.fromhex(heard.sample)
    lines = ["bytes arrive but fit no frame:", f"  {sample.hex(' ')}  {sample.decode('latin-1')!a}"]
    if found.text:
        lines.append(f"  they are text lines: metercap teach --port {found.port} --out my-meter.toml")
    else:
        lines.append("  try: another baud rate (copy a profile and change [serial]), seat the optical head")
    return lines


def _row(profile: MeterProfile, heard: Heard) -> Row:
    sample = heard.sample
    fit = score(profile, sample)
    how: How = ""
    why = fit.why or heard.lost
    beyond = profile.counts is not None and fit.most_counts > MOST_BEYOND * (profile.counts + 1)
    if beyond:
        why = f"it shows {fit.most_counts}, and this one counts to {profile.counts}"
    if (profile.family == "scpi" and heard.identity) or sure(fit):
        how = "sure"
    elif fit.readings >= LIKELY_READINGS and fit.share >= LIKELY_SHARE:
        how = "likely"
    return Row(
        profile=profile.name,
        settings=settings_text(profile),
        how=how,
        bytes=fit.sample_bytes,
        read_bytes=fit.read_bytes,
        readings=fit.readings,
        quantities=fit.quantities,
        why=why,
        sample=sample[:SHOWN_BYTES].hex(),
        identity=heard.identity,
        like=profile.like,
        counts=(profile.counts or 0) if profile.like else 0,
        beyond=beyond,
    )


def _related(one: Row, other: Row) -> bool:
    return (one.like or one.profile) == (other.like or other.profile)


def _printable(sample: bytes) -> str:
    """Return a sample as text when it is lines of text, else an empty one."""
    try:
        text = sample.decode("utf-8")
    except UnicodeDecodeError:
        return ""
    lines = text.splitlines()
    return text if len(lines) > 1 and all(line.isprintable() for line in lines) else ""
