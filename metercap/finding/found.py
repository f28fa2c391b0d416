"""Which port and which meter: as named, as last time, or the only one that is heard. What was not named is said.

Unasked, nothing is sent and no line is moved, since a port may belong to a supply or to another program: only meters
that stream by themselves are found without a name, at the lines' state that opening gives. A polled or SCPI meter, or
one whose head needs its lines set, is found once it has been named. Ports that a program holds are left alone.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import NamedTuple

import msgspec

from metercap import settings
from metercap.errors import LinkError, MetercapError
from metercap.finding.listen import Heard, listen
from metercap.finding.suspects import Finding, Row, groups
from metercap.link.address import refuse_unnamed
from metercap.link.ports import Port, list_ports
from metercap.meter import MeterProfile
from metercap.profiles import find_meter, meter_names

SECONDS = 2.5
"""How long each port is listened to at each setting; a meter that begins to fit is heard out."""
REMEMBERED = "last"

Say = Callable[[str], None]


class Last(msgspec.Struct, frozen=True):
    """What was used last: the meter's port and profile, the journal, and the plan it was of."""

    port: str = ""
    meter: str = ""
    journal: str = ""
    plan: str = ""


class NoMeter:
    """The link of a session that measures nothing: steps of words alone. It never says a thing."""

    identity = ""

    def start(self, sink: object, clock: object) -> None:
        """Nothing to start."""

    def want(self, quantity: object, range_si: float | None) -> None:
        """Nothing can be wanted."""

    def stop(self) -> None:
        """Nothing to stop."""


def no_meter() -> MeterProfile:
    """Return the profile that stands in the journal of a session without a meter."""
    return msgspec.structs.replace(find_meter("text"), name="none", title="no meter: steps of words alone")


class Found(NamedTuple):
    """A port with the profile of the meter on it; `meter` is the profile's name or file, as it can be given again."""

    port: str
    meter: str
    profile: MeterProfile


def last() -> Last:
    """Return what was used last; all empty when nothing was, or when it cannot be read."""
    return settings.recall(REMEMBERED, Last)[0] or Last()


def remember(**changed: str) -> None:
    """Keep what was used now, beside what is not `changed`; a folder that cannot be written is no trouble.

    A tape is no meter, and is not kept as the one used last.
    """
    if changed.get("port", "").startswith("tape:"):
        changed = {name: value for name, value in changed.items() if name not in ("port", "meter")}
    settings.remember(REMEMBERED, msgspec.structs.replace(last(), **changed))


def meter_on(port: str | None, meter: str | None, say: Say) -> Found:
    """Return port and profile, finding what is None. LinkError when no meter, or more than one, is heard.

    ProfileError when the named profile cannot be used.
    """
    if port is not None:
        refuse_unnamed(port)
    profile = find_meter(meter) if meter is not None else None
    if port is not None and profile is not None and meter is not None:
        return Found(port, meter, profile)
    before = _as_last_time(port, meter)
    if before is not None:
        say(f"meter {before.meter} on {before.port}, as last time")
        return before
    candidates = [port] if port is not None else _free(list_ports(), say)
    if not candidates:
        raise LinkError(
            "no port here that a meter may be on",
            hint="plug the meter's cable in, look with: metercap ports, or name one with --port",
        )
    names = [meter] if meter else meter_names()
    findings = _listen_all(candidates, [find_meter(name) for name in names], named=bool(meter), say=say)
    heard = [(finding, row) for finding in findings for row in _fitting(finding)]
    if len(heard) != 1:
        raise _undecided(findings, heard, port, meter)
    finding, row = heard[0]
    say(f"meter {row.profile} heard on {finding.port}")
    name = meter or row.profile
    return Found(finding.port, name, find_meter(name))


def _as_last_time(port: str | None, meter: str | None) -> Found | None:
    """Return what was used last, where it is there, is free and is not contradicted by what was named."""
    before = last()
    if not before.port or not before.meter or (port or before.port) != before.port:
        return None
    if (meter or before.meter) != before.meter:
        return None
    if port is None and not _is_there(before.port):
        return None
    try:
        return Found(before.port, before.meter, find_meter(before.meter))
    except MetercapError:
        return None  # the profile is gone, or broken by now


def _is_there(port: str) -> bool:
    """Return whether a port by name is there and free; one with an address of its own shows only when it is opened."""
    if "://" in port or "::" in port:
        return True
    known = {name: each for each in list_ports() for name in (each.name, each.stable) if name}
    return (port in known or os.path.exists(port)) and not _held(known.get(port, Port(port, "", "", "")))  # noqa: PTH110


def _free(ports: Sequence[Port], say: Say) -> list[str]:
    free = []
    for port in ports:
        holder = _held(port)
        if holder:
            say(f"{port.best}: left alone, {holder} has it open")
        else:
            free.append(port.best)
    return free


def _held(port: Port) -> str:
    """Return which other program has the port open; empty for none. A practice meter's own end does not count."""
    from metercap.link.trouble import holders

    return ", ".join(str(holder) for holder in holders(port.name) if holder.pid != port.owner_pid)


def _listen_all(ports: Sequence[str], profiles: Sequence[MeterProfile], *, named: bool, say: Say) -> list[Finding]:
    """Listen to every port at once, at one setting after the other, until one fits."""
    say(f"listening on {', '.join(ports)} ..." if len(ports) < 4 else f"listening on {len(ports)} ports ...")
    found = threading.Event()
    with ThreadPoolExecutor(max_workers=min(8, len(ports)), thread_name_prefix="listen") as pool:
        return list(pool.map(lambda port: _listen_one(port, profiles, named=named, found=found), ports))


def _listen_one(port: str, profiles: Sequence[MeterProfile], *, named: bool, found: threading.Event) -> Finding:
    """Listen to one port. One that was silent so far is given up once another port's meter was `found`."""
    finding = Finding(port=port)
    for group in groups(profiles, port):
        if found.is_set() and not any(row.bytes for row in finding.rows):
            break
        first = group[0]
        if not named:
            if first.poll is not None or first.family == "scpi":
                continue  # these are found once they have been named: unasked, nothing is sent
            group = [_untouched(profile) for profile in group]
        try:
            heard = listen(port, group, SECONDS)
        except LinkError as error:
            heard = Heard(b"", 0.0, lost=error.what)
        finding = finding.with_group(group, heard)
        if finding.sure:
            found.set()
            break
    return finding


def _untouched(profile: MeterProfile) -> MeterProfile:
    """Return the profile with both lines as opening a port leaves them."""
    serial = msgspec.structs.replace(profile.serial, dtr=True, rts=True)
    return msgspec.structs.replace(profile, serial=serial)


def _fitting(finding: Finding) -> list[Row]:
    """Return what fits on one port: the best, and others that read the same bytes as well."""
    best = finding.best
    return [] if best is None else [best, *finding.also]


def _undecided(
    findings: Sequence[Finding], heard: Sequence[tuple[Finding, Row]], port: str | None, meter: str | None
) -> LinkError:
    if heard:
        both = "; ".join(f"{row.profile} on {finding.port}" for finding, row in heard)
        example = f"--port {heard[0][0].port} --meter {heard[0][1].profile}"
        return LinkError(f"more than one meter fits: {both}", hint=f"name the one to use: {example}")
    lost = {finding.port: row.why for finding in findings for row in finding.rows if row.why and not row.bytes}
    noisy = [finding.port for finding in findings if any(row.bytes for row in finding.rows)]
    where = ", ".join(finding.port for finding in findings)
    if noisy:
        hint = f"metercap identify --port {noisy[0]} shows them; a home-made meter: metercap teach --port {noisy[0]}"
        return LinkError("bytes arrive but fit no meter profile", where=", ".join(noisy), hint=hint)
    why = next(iter(lost.values()), "")
    if len(findings) == 1 and why:
        return LinkError(why, where=where, hint="metercap ports")
    hint = "turn the meter's send mode on and seat its head"
    if not meter:
        hint += "; one that is asked, or needs its lines set, is found by its name: --meter polled-line"
    return LinkError("no meter is heard", where=port or where, hint=hint)


def same_file(meter: str) -> str:
    """Return how a profile is remembered from any folder: a name as it is, a file by its full path."""
    return str(Path(meter).resolve()) if os.sep in meter or meter.endswith(".toml") else meter
