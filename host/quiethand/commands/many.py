"""Many recordings measured at once: on all cores of this machine, or by a Dask scheduler's workers."""

from __future__ import annotations

import contextlib
import os
import threading
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

from quiethand.commands.measured import Told, measure_recording
from quiethand.errors import InputError

if TYPE_CHECKING:
    from concurrent.futures import Executor

__all__ = ["Job", "cores", "measure_many"]

_AHEAD: Final = 2  # recordings handed out for each worker: none waits, and few results are held at once


@dataclass(frozen=True)
class Job:
    path: str  # absolute
    document: dict[str, Any] | None = None  # the set-up to measure with; None: the recording's own
    began_unix_s: float | None = None  # when it was begun, where the file alone can't say


def cores() -> int:
    """How many this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def measure_many(jobs: Iterable[Job], *, workers: int, cluster: str | None = None) -> Iterator[Told]:
    """Measure recordings, each as soon as it is done; in bounded memory, however many there are.

    Args:
        jobs: read as they are needed.
        workers: processes; with one it is done in this one.
        cluster: address of a Dask scheduler ("tcp://host:8786"), whose workers see the recordings by the same paths.

    Raises:
        InputError: the scheduler can't be reached, or `distributed` is not installed.
    """
    if cluster is not None:
        yield from _by_cluster(jobs, cluster)
    elif workers <= 1:
        for job in jobs:
            yield measure_recording(job.path, job.document, job.began_unix_s)
    else:
        from concurrent.futures import ProcessPoolExecutor
        from multiprocessing import get_context

        # Not forked: a copy of this process would share its connection to the database.
        context = get_context("spawn")
        with ProcessPoolExecutor(workers, mp_context=context, initializer=_end_with_parent) as pool:
            yield from _in_bounds(pool, jobs, workers)


def _end_with_parent() -> None:
    """A worker whose parent is killed would wait for its next recording for ever."""
    from multiprocessing import parent_process
    from multiprocessing.connection import wait

    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    parent = parent_process()
    if parent is None:
        return

    def watch() -> None:
        wait([parent.sentinel])
        os._exit(1)

    threading.Thread(target=watch, daemon=True, name="parent").start()


def _in_bounds(pool: Executor, jobs: Iterable[Job], workers: int) -> Iterator[Told]:
    from concurrent.futures import FIRST_COMPLETED, Future, wait

    waiting = iter(jobs)
    running: set[Future[Told]] = set()
    try:
        while True:
            while len(running) < workers * _AHEAD and (job := next(waiting, None)) is not None:
                running.add(pool.submit(measure_recording, job.path, job.document, job.began_unix_s))
            if not running:
                return
            done, running = wait(running, return_when=FIRST_COMPLETED)
            for future in done:
                yield future.result()
    finally:
        for future in running:
            future.cancel()


def _by_cluster(jobs: Iterable[Job], address: str) -> Iterator[Told]:
    try:
        distributed: Any = import_module("distributed")  # some seconds, and only here
    except ModuleNotFoundError:
        raise InputError(
            "work can't be handed to a scheduler: 'distributed' is not installed",
            do="install it with: pip install 'quiethand[cluster]'",
        ) from None
    try:
        client = distributed.Client(address, timeout=3, set_as_default=False)
    except (OSError, ValueError) as error:
        raise InputError(
            f"no scheduler answers ({error})", where=address, do="start one with 'dask scheduler', and workers"
        ) from None
    with contextlib.closing(client):
        workers = sum(client.nthreads().values())
        if not workers:
            raise InputError("the scheduler has no workers", where=address, do=f"start one: dask worker {address}")
        waiting = iter(jobs)

        def submitted(job: Job) -> Any:
            # Impure: the same path may hold another recording tomorrow.
            return client.submit(measure_recording, job.path, job.document, job.began_unix_s, pure=False)

        first = [submitted(job) for _, job in zip(range(workers * _AHEAD), waiting, strict=False)]
        running = distributed.as_completed(first, loop=client.loop)
        for future in running:
            told = future.result()
            if (job := next(waiting, None)) is not None:
                running.add(submitted(job))
            yield told
            future.release()
