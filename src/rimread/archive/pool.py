"""Where the work is done: processes of this computer or a cluster, both used alike."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import Any, Protocol

__all__ = ["CONNECT_S", "Cluster", "Cores", "Pool", "cores"]

CONNECT_S = 30  # how long a scheduler may take to answer
_MOST_ON_WINDOWS = 61  # one wait there takes 63 objects, two are the executor's own (CPython)

Work = Callable[..., dict[str, Any]]


class Pool(Protocol):
    """What `remeasure` needs of an executor."""

    @property
    def at_once(self) -> int:
        """How many photos are worked on at once."""

    def submit(self, work: Work, *words: object) -> Future[dict[str, Any]]:
        """Start the work on one photo."""

    def restart(self) -> None:
        """Begin anew after a process has ended."""

    def close(self) -> None:
        """Finish what is being worked on and leave the rest."""


class Cores:
    """Processes of this computer.

    Parameters
    ----------
    count : int
        How many; Windows takes no more than 61.
    """

    def __init__(self, count: int) -> None:
        self.at_once = min(count, _MOST_ON_WINDOWS) if sys.platform == "win32" else count
        self._executor: Executor | None = None

    def submit(self, work: Work, *words: object) -> Future[dict[str, Any]]:
        """Start the work on one photo; the first call starts the processes."""
        if self._executor is None:
            self._executor = ProcessPoolExecutor(
                self.at_once,
                mp_context=multiprocessing.get_context("spawn"),  # the same on every system
                initializer=_worker_begins,
            )
        try:
            return self._executor.submit(work, *words)
        except BrokenProcessPool as error:
            failed: Future[dict[str, Any]] = Future()
            failed.set_exception(error)
            return failed

    def restart(self) -> None:
        """Begin anew after a process has ended."""
        self.close()

    def close(self) -> None:
        """Finish what is being worked on and leave the rest."""
        if self._executor is not None:
            self._executor.shutdown(wait=True, cancel_futures=True)
            self._executor = None


class Cluster:
    """Workers of a Dask cluster that see the same files under the same paths.

    Parameters
    ----------
    address : str
        Of its scheduler, like ``tcp://host:8786``.

    Raises
    ------
    ValueError
        If the package is not installed or there is no scheduler.
    """

    def __init__(self, address: str) -> None:
        try:
            from distributed import Client  # noqa: PLC0415
        except ModuleNotFoundError:
            raise ValueError(
                'a cluster needs a package that is not installed: pip install "rimread[cluster]"'
            ) from None
        try:
            self._client = Client(address, timeout=CONNECT_S)
        except (OSError, ValueError) as error:
            raise ValueError(f"{address}: no scheduler of a cluster there ({error})") from None
        self._executor = self._client.get_executor(pure=False)

    @property
    def at_once(self) -> int:
        """Threads of all workers there are now; at least 1, as workers may come later."""
        return max(1, sum(map(int, self._client.nthreads().values())))

    def submit(self, work: Work, *words: object) -> Future[dict[str, Any]]:
        """Start the work on one photo; when its worker dies the cluster tries others."""
        future: Future[dict[str, Any]] = self._executor.submit(work, *words)
        return future

    def restart(self) -> None:
        """The cluster replaces its workers itself."""

    def close(self) -> None:
        """Let the cluster go, what was not begun is not done."""
        self._executor.shutdown(wait=False)
        self._client.close()


def cores() -> int:
    """Cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _worker_begins() -> None:
    """Leave Ctrl-C to the parent, and end when the parent does, however it ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent.join,), daemon=True).start()


def _end_with(join: Callable[[], None]) -> None:
    join()
    os._exit(1)  # a worker of a killed parent would wait for work for ever
