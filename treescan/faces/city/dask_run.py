"""The task graph on dask.distributed: a cluster on this machine, or a scheduler that runs already."""

from __future__ import annotations

import errno
import logging
import os
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Any

from dask import config
from dask.utils import parse_bytes
from distributed import Client, KilledWorker, LocalCluster, as_completed

from treescan.errors import BadInput, RunFailed

AHEAD = 2000
"""Tasks the scheduler holds at a time; more follow as these end, so that its memory does not grow with the city."""
PATIENCE = "30s"
"""Time a scheduler that is named may take to answer."""
DEATHS = 10
"""Processes a task may take along before dask gives it up; the task itself gives up earlier."""


@dataclass(frozen=True)
class Running:
    """A cluster to send tasks to: its page, its workers, and the memory of each [bytes] (0 = not limited)."""

    client: Client
    page: str
    workers: int
    memory: int


@contextmanager
def cluster(
    workers: int | None, memory: str, scheduler: str | None, threads: bool = False
) -> Iterator[Running]:
    """A cluster on this machine with one process a worker, or the one at an address.

    Parameters
    ----------
    workers : int or None   Default: one a core.
    memory : str            Of each worker, as "4GB"; one that needs more is started again.
    scheduler : str or None "tcp://host:port" of a scheduler whose workers see the same files.
    threads : bool          Workers as threads of this process (for comparison; slower).

    Raises BadInput where the address does not answer.
    """
    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    try:
        limit = parse_bytes(memory)
    except ValueError as err:
        raise BadInput(f"--memory {memory!r} is no amount", remedy="for example 4GB") from err
    settings = {
        "distributed.scheduler.allowed-failures": DEATHS,
        "distributed.comm.timeouts.connect": PATIENCE,
        "distributed.admin.log-length": 0,
    }
    with config.set(settings):
        if scheduler is not None:
            try:
                client = Client(scheduler, timeout=PATIENCE)
            except (OSError, ValueError, TimeoutError) as err:
                raise BadInput(
                    f"--scheduler {scheduler!r} does not answer",
                    remedy="start one with dask scheduler, and workers with dask worker",
                ) from err
            try:
                held = client.scheduler_info(n_workers=-1)["workers"]
                limits = [w["memory_limit"] for w in held.values()]
                yield Running(client, client.dashboard_link, len(held), min(limits, default=0))
            finally:
                with suppress(Exception):
                    client.close(timeout=5)
            return
        cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
        own = LocalCluster(
            n_workers=1 if threads else workers or cores,
            threads_per_worker=(workers or cores) if threads else 1,
            processes=not threads,
            memory_limit=0 if threads else limit,
            dashboard_address="127.0.0.1:0",
            silence_logs=logging.CRITICAL,
        )
        try:
            with Client(own) as client:
                yield Running(client, client.dashboard_link, workers or cores, limit)
        finally:
            with suppress(Exception):
                own.close(timeout=10)


def run_all(
    running: Running,
    work: Callable[..., tuple[str, bool | None]],
    tasks: Sequence[tuple[Any, ...]],
    done: Callable[[str, bool], None],
    died: Callable[[str], None],
) -> None:
    """Do every task on the cluster, each once, in any order.

    Parameters
    ----------
    work : callable         Called with the items of a task; gives its name (the last item) and whether it was done,
                            None where the disk is full.
    done, died : callable   Told of every task that ended, and of those that took too many processes along.

    Raises RunFailed where the scheduler goes away, OSError where the disk is full.
    """
    waiting = iter(tasks)
    client = running.client
    at_work = as_completed(loop=client.loop)
    names: dict[Any, str] = {}

    def send(count: int) -> None:
        for _ in range(count):
            task = next(waiting, None)
            if task is None:
                return
            future = client.submit(work, *task, pure=False, retries=0)
            names[future.key] = str(task[-1])
            at_work.add(future)

    send(AHEAD)
    try:
        for future in at_work:
            name = names.pop(future.key)
            if future.status == "finished":
                ended, well = future.result()
                if well is None:
                    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
                done(ended, well)
            elif future.status == "error":
                fault = future.exception()
                if not isinstance(fault, KilledWorker):
                    raise fault
                died(name)
            else:
                raise _gone()
            future.release()
            send(1)
    except (TimeoutError, ConnectionError, RuntimeError) as err:
        if isinstance(err, RunFailed) or client.status == "running":
            raise
        raise _gone() from err


def _gone() -> RunFailed:
    return RunFailed(
        "the scheduler went away", remedy="run the same command again: it goes on where it stopped"
    )


class Pace:
    """How fast tasks come in: counts, rate and time left."""

    def __init__(self, whole: int, begun: int = 0) -> None:
        """Of `whole` tasks, `begun` of which stood already."""
        self.whole, self.done, self.failed = whole, begun, 0
        self._first, self._begun = time.monotonic(), begun

    def step(self, well: bool) -> None:
        """One more has ended."""
        self.done += 1
        self.failed += not well

    @property
    def an_hour(self) -> float:
        """Tasks an hour in this run; NaN before the first."""
        passed = time.monotonic() - self._first
        new = self.done - self._begun
        return new / passed * 3600 if new and passed > 0 else float("nan")

    @property
    def minutes_left(self) -> float:
        """At this rate; NaN before the first."""
        return (self.whole - self.done) / self.an_hour * 60
