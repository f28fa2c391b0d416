"""What VISA sees on this computer: SCPI meters on USB and GPIB; those on the network only when asked."""

from __future__ import annotations

from typing import Any

from metercap.errors import LinkError
from metercap.link.visalines import manager

HERE = ("USB?*", "GPIB?*")
"""Serial ports are listed by themselves, so VISA's names for them (ASRL) would be the same ones again."""
NETWORK = ("TCPIP?*", "VICP?*")


def list_visa(*, network: bool = False, library: str = "") -> tuple[list[str], str]:
    """Return addresses to give to --port, and why there are none (empty when VISA could be asked).

    Nothing is sent to other machines unless `network`: discovery there is a broadcast that others see.
    """
    try:
        visa = manager("VISA", library)
    except LinkError as error:
        return [], error.what
    try:
        names = _listed(visa, (*HERE, *NETWORK) if network else HERE)
    except Exception as error:  # whatever a vendor's library raises
        return [], f"VISA cannot list: {error}"
    finally:
        visa.close()
    return [f"visa:{name}" for name in sorted(dict.fromkeys(names))], ""


def _listed(visa: Any, queries: tuple[str, ...]) -> list[str]:
    if type(visa.visalib).__module__.startswith("pyvisa_py"):
        return _of_pure_python(queries)
    return [str(name) for query in queries for name in _one(visa, query)]


def _one(visa: Any, query: str) -> tuple[str, ...]:
    from pyvisa.constants import StatusCode
    from pyvisa.errors import VisaIOError

    try:
        return tuple(visa.list_resources(query))
    except VisaIOError as error:
        if error.error_code == StatusCode.error_resource_not_found:
            return ()
        raise


def _of_pure_python(queries: tuple[str, ...]) -> list[str]:
    """Ask the kinds of interface one by one: this library asks the network too, whatever is asked for."""
    from pyvisa import rname
    from pyvisa_py.sessions import Session

    wanted = tuple(query.rstrip("?*").lower() for query in queries)
    found: list[str] = []
    for (interface, _), kind in Session.iter_valid_session_classes():
        if interface.name.startswith(wanted):
            found += kind.list_resources()
    return [str(name) for query in queries for name in rname.filter(found, query)]
