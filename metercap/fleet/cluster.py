"""Work on a Dask cluster: batches go out a few ahead of what its workers do, and what comes back is given at once.

A worker that dies is no loss: its scheduler gives what it had to another. The set must lie under the same path on every
machine, and each must have this version of the program.
"""

from __future__ import annotations

import contextlib
import importlib.metadata
import logging
from asyncio import CancelledError
from collections.abc import Callable, Iterable, Iterator
from itertools import islice
from typing import Any, TypeVar

from metercap.errors import FileProblem, MetercapError, UsageError
from metercap.fleet.gather import Where
from metercap.fleet.schema import SET_VERSION
from metercap.history.digest import VERSION

WAIT_S = 10.0
AHEAD = 2
"""Batches that wait for each thread of the cluster, so that none is idle; more would only fill memory."""

T = TypeVar("T")


@contextlib.contextmanager
def cluster(address: str, wait_s: float = WAIT_S) -> Iterator[Where]:
    """Give what does work on the cluster whose scheduler is at `address`.

    Raises UsageError without Dask, FileProblem where no scheduler, no worker or another version is there, and for
    whatever the cluster cannot do.
    """
    try:
        from distributed import Client
    except ImportError as error:
        raise UsageError("a cluster needs Dask", hint="pip install 'metercap[fleet]'") from error
    # What it logs is told, where it matters, by the error that it leads to.
    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    try:
        client = Client(address, timeout=wait_s, set_as_default=False)
    except (OSError, ValueError, ImportError) as error:  # no time-out of a connection is anything else
        hint = "dask scheduler prints its address, such as tcp://10.0.0.5:8786"
        raise FileProblem("no scheduler answers", where=address, hint=hint) from error
    with client:
        try:
            client.wait_for_workers(1, timeout=wait_s)
            _same_everywhere(client, address)
            yield lambda work, batches: _through(client, work, batches)
        except MetercapError:
            raise
        except TimeoutError as error:
            raise FileProblem("the cluster has no worker", where=address, hint="dask worker ADDRESS") from error
        except (Exception, CancelledError) as error:
            what = f"the cluster gave up: {type(error).__name__}: {error}".strip(": ")
            hint = "look at the cluster; without --cluster the set is counted here"
            raise FileProblem(what, where=address, hint=hint) from error


def program() -> str:
    """Return what decides how a set is counted."""
    return f"metercap {importlib.metadata.version('metercap')}, set {SET_VERSION}, history {VERSION}"


def _same_everywhere(client: Any, address: str) -> None:
    hint = "install this version of metercap on every worker: pip install 'metercap[fleet]'"
    try:
        found: dict[str, str] = client.run(program)
    except ModuleNotFoundError as error:
        raise FileProblem(f"a worker cannot do this work: {error}", where=address, hint=hint) from error
    for worker, its in sorted(found.items()):
        if its != program():
            raise FileProblem(f"this is {program()}, and there is {its}", where=worker, hint=hint)


def _through(client: Any, work: Callable[..., T], batches: Iterable[tuple[Any, ...]]) -> Iterator[T]:
    from distributed import as_completed

    left = iter(batches)
    ahead = AHEAD * max(1, sum(client.nthreads().values()))
    # No answer is taken for another's: the set may have changed since one was given.
    first = [client.submit(work, *batch, pure=False) for batch in islice(left, ahead)]
    running = as_completed(first, loop=client.loop)
    for future in running:
        yield future.result()
        for batch in islice(left, 1):
            running.add(client.submit(work, *batch, pure=False))
