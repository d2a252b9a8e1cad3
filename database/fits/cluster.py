"""A fit's pieces spread over the cores of this machine, or over several machines, by dask.

Only this process reads and writes the studio; workers are sent arrays and send arrays back. A
worker that dies costs the pieces that it held: others work them out again.
"""

from __future__ import annotations

import os
import pickle
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import CancelledError
from contextlib import contextmanager, suppress
from importlib.metadata import version
from typing import Any

import numpy as np
import scipy

from ...calibrate.errors import InputError
from ...calibrate.fit.problem.spread import spread_over
from ...calibrate.fit.problem.threads import one_thread

HERE = "here"
"""Stands for the cores of this machine in place of an address."""
_CHUNKS = 4
"""Tasks a worker: fewer wait for the slowest, more cost more to send."""
_PATIENCE = 60.0
"""Seconds after which a cluster without a worker is given up."""
_LOOK = 5.0
"""Seconds between looks whether there are workers still."""
_DEATHS = 1000
"""Workers that one piece may lose before it is given up; the scheduler's own 3 is for pieces that
kill their workers themselves."""


@contextmanager
def spread_by(address: str) -> Iterator[None]:
    """Have every fit within the ``with`` spread over a cluster.

    Parameters
    ----------
    address : str
        Of a scheduler, such as tcp://192.0.2.7:8786; "here" for the cores of this machine.

    Raises
    ------
    InputError
        Where the library isn't installed, nothing answers there, or a worker runs other versions
        than this machine, whose numbers may differ in the last digits.
    """
    try:
        import dask
        import distributed
    except ModuleNotFoundError:
        raise InputError(
            None,
            address,
            "a cluster needs a library that isn't installed",
            "pip install 'tintladder[cluster]'",
        ) from None
    settings = {
        "distributed.scheduler.allowed-failures": _DEATHS,
        "distributed.comm.timeouts.connect": "10s",
        "distributed.logging.distributed": "critical",
    }
    with dask.config.set(settings):
        try:
            local = _local(distributed) if address == HERE else None
            client = distributed.Client(local or address)
        except (OSError, ValueError) as error:
            raise InputError(
                None,
                address,
                f"no scheduler of a cluster answers there ({type(error).__name__})",
                "give the address that it printed when it started, or 'here' for this machine's "
                "cores",
            ) from None
        try:
            workers = _Workers(client, address)
            workers.check_versions()
            with spread_over(workers):
                yield
        finally:
            client.close()
            if local is not None:
                local.close()


def _local(distributed: Any) -> Any:
    """Start a worker for every core that this process may use."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return distributed.LocalCluster(
        n_workers=cores, threads_per_worker=1, dashboard_address=None, memory_limit=0
    )


def _versions() -> dict[str, str]:
    python = ".".join(map(str, sys.version_info[:2]))
    own = {"tintladder": version("tintladder")}
    return own | {"Python": python, "numpy": np.__version__, "scipy": scipy.__version__}


class _Packed:
    """Something to send, whose arrays come to lie in memory of their own.

    Arrays that lie within a message may begin anywhere, and then sums differ in the last bit.
    """

    def __init__(self, value: Any) -> None:
        self.value = value

    def __reduce__(self) -> tuple[Callable[[bytes], _Packed], tuple[bytes]]:
        return _unpacked, (pickle.dumps(self.value),)


def _unpacked(packed: bytes) -> _Packed:
    return _Packed(pickle.loads(packed))


def _worked(work: Callable[[Any, Any], Any], shared: _Packed, items: _Packed) -> list[Any]:
    """Work some pieces out, on a worker."""
    with one_thread():
        return [work(shared.value, item) for item in items.value]


class _Workers:
    """The workers of a cluster."""

    def __init__(self, client: Any, address: str) -> None:
        self.client, self.address = client, address

    def _count(self) -> int:
        """How many there are; waits for the first. A scheduler that is gone tells of none."""
        until = time.monotonic() + _PATIENCE
        while not (count := len(self.client.scheduler_info(n_workers=-1).get("workers", ()))):
            if time.monotonic() > until:
                raise InputError(
                    None,
                    self.address,
                    f"the cluster has had no worker for {_PATIENCE:.0f} seconds",
                    "start a worker, and fit again",
                )
            time.sleep(0.2)
        return count

    def check_versions(self) -> None:
        """Refuse workers whose numbers may differ from this machine's."""
        self._count()
        mine, there = _versions(), "install the same there"
        try:
            found = self.client.run(_versions)
        except ModuleNotFoundError as error:
            raise InputError(None, self.address, f"a worker lacks {error.name}", there) from None
        for worker, theirs in found.items():
            for name, its in theirs.items():
                if its != mine[name]:
                    words = (
                        f"this worker runs {name} {its}, and here {mine[name]} runs: numbers may "
                    )
                    raise InputError(None, worker, f"{words}differ", there)

    def each(self, work: Callable[[Any, Any], Any], shared: Any, items: Sequence[Any]) -> list[Any]:
        """Return ``work(shared, item)`` of every item, in their order."""
        chunks = np.array_split(np.arange(len(items)), min(len(items), _CHUNKS * self._count()))
        found: dict[int, list[Any]] = {}
        while len(found) < len(chunks):
            self._count()
            found |= self._once(
                work,
                shared,
                {i: [items[n] for n in c] for i, c in enumerate(chunks) if i not in found},
            )
        return [piece for i in range(len(chunks)) for piece in found[i]]

    def _once(
        self, work: Callable[[Any, Any], Any], shared: Any, chunks: dict[int, list[Any]]
    ) -> dict[int, list[Any]]:
        """Send pieces off, and return what comes back: all, but where all workers died."""
        from distributed import wait

        found, failed = dict[int, list[Any]](), list[BaseException]()
        # That a worker died may be told at any of these calls; what it held is sent anew.
        with suppress(CancelledError, TimeoutError, OSError):
            [sent] = self.client.scatter([_Packed(shared)], broadcast=True, hash=False)
            tasks = {
                i: self.client.submit(_worked, work, sent, _Packed(chunk), pure=False)
                for i, chunk in chunks.items()
            }
            while any(not task.done() for task in tasks.values()):
                with suppress(CancelledError, TimeoutError):
                    wait(list(tasks.values()), timeout=_LOOK)
                self._count()
            failed = [task.exception() for task in tasks.values() if task.status == "error"]
            for i, task in tasks.items():
                if task.status == "finished":
                    found[i] = task.result()
        for error in failed:
            raise error
        return found
