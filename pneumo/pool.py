"""Worker processes that run the jobs of some work, and are replaced when they are lost.

Each worker has a pipe of its own, so that it is known which job it was at when it ended. That job
is run once more by another worker; one that ends its worker twice is not calculated.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
from collections import Counter, deque
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from typing import Any, Generic, Protocol, TypeVar

Job = TypeVar("Job")
Result = TypeVar("Result")
_Given = TypeVar("_Given", covariant=True)

FORKS = sys.platform == "linux"
"""Whether workers are copies of this process, which takes them no time to start."""

AHEAD = 2
"""Jobs given to a worker at a time: it goes on with the second while its answer is taken."""

CHANCES = 2
"""A job that has ended so many workers is not tried again."""

MOST_LOST = 50
"""So many workers lost one after the other without an answer from any: the rest is given up."""

PATIENCE = 5.0
"""A worker that was told to end is killed after this time [s]."""


class Work(Protocol[Job, _Given]):
    """What consists of jobs that do not depend on each other. Where processes are not forked it is
    pickled."""

    def jobs(self) -> Sequence[Job]:
        """All of them, in the same order whenever it is asked."""

    def run(self, job: Job) -> _Given:
        """Does one; what goes wrong with it is told in the result, and not raised."""

    def given_up(self, job: Job, why: str) -> _Given:
        """The result of one that could not be run, from nothing that has to be calculated."""


@dataclass(eq=False)
class _Worker:
    process: BaseProcess
    link: Connection
    jobs: deque[int] = field(default_factory=deque)
    """Numbers of the jobs it has been given, the first of them under way."""


class Pool(Generic[Job, Result]):
    """Workers that know some work; see `worker_pool`."""

    def __init__(self, work: Work[Job, Result], count: int | None = None) -> None:
        """`count`: processes to use; None: one per processor."""
        # elsewhere libraries of the system start threads of their own, which a fork breaks
        self._context = multiprocessing.get_context("fork" if FORKS else "spawn")
        self._work = work
        self._jobs = work.jobs()
        self._todo = deque(range(len(self._jobs)))
        self._done: dict[int, Result] = {}
        self._blamed: Counter[int] = Counter()
        self._lost_in_a_row = 0
        self._workers: list[_Worker] = []
        self._none_left = ""
        """Why there is no worker, once there is none."""
        for _ in range(min(count or os.cpu_count() or 1, len(self._jobs))):
            self._hire()

    def results(self) -> Iterator[Result]:
        """The results of every job in order, each as soon as it is done."""
        for number in range(len(self._jobs)):
            while number not in self._done:
                self._step()
            yield self._done.pop(number)

    def as_done(self) -> Iterator[tuple[int, Result]]:
        """The number of each job and its result, as soon as it is done."""
        for _ in self._jobs:
            while not self._done:
                self._step()
            yield self._done.popitem()

    def close(self) -> None:
        """Ends the workers at once, whatever they are at."""
        for worker in self._workers:
            worker.process.terminate()
        for worker in self._workers:
            _see_off(worker)
        self._workers.clear()

    def _step(self) -> None:
        """Gives out jobs and waits until a worker answers or is lost."""
        for worker in self._workers:
            while self._todo and len(worker.jobs) < AHEAD:
                number = self._todo.popleft()
                worker.jobs.append(number)
                try:
                    worker.link.send(number)
                except OSError:
                    break  # it is lost, which its end of the pipe will say
        if not self._workers:
            while self._todo:
                self._give_up(self._todo.popleft(), self._none_left)
            return
        heard = wait([worker.link for worker in self._workers])
        for worker in [worker for worker in self._workers if worker.link in heard]:
            try:
                found = worker.link.recv()
            except (EOFError, OSError):
                self._replace(worker)
            else:
                self._done[worker.jobs.popleft()] = found
                self._lost_in_a_row = 0

    def _hire(self) -> None:
        try:
            ours, theirs = self._context.Pipe()
            process = self._context.Process(  # type: ignore[attr-defined]
                target=_serve, args=(self._work, theirs), daemon=True
            )
            process.start()
        except OSError as error:
            self._none_left = f"no process could be started ({error.strerror})"
            return
        theirs.close()
        self._workers.append(_Worker(process, ours))

    def _replace(self, worker: _Worker) -> None:
        """A worker has ended by itself: its jobs are for others."""
        self._workers.remove(worker)
        _see_off(worker)
        if worker.jobs:
            at = worker.jobs[0]
            self._blamed[at] += 1
            if self._blamed[at] >= CHANCES:
                worker.jobs.popleft()
                how = how_ended(worker.process.exitcode)
                self._give_up(at, f"its process ended twice without a result ({how})")
        self._todo.extendleft(reversed(worker.jobs))
        self._lost_in_a_row += 1
        if self._lost_in_a_row < MOST_LOST:
            self._hire()
        else:
            self._none_left = f"{MOST_LOST} processes in a row ended without a result"

    def _give_up(self, number: int, why: str) -> None:
        self._done[number] = self._work.given_up(self._jobs[number], why)


@contextmanager
def worker_pool(work: Work[Job, Result], count: int | None = None) -> Iterator[Pool[Job, Result]]:
    """Worker processes that know the work; one per processor unless told otherwise.

    They are started here and ended when the work is done or broken off. Another is started when
    one is lost: the caller should have no threads, which a fork copies as they stand.
    """
    pool = Pool(work, count)
    try:
        yield pool
    finally:
        pool.close()


def run_all(work: Work[Job, Result], pool: Pool[Job, Result] | None = None) -> Iterator[Result]:
    """The results of every job in order, each as soon as it is done; without a pool they are run
    in this process."""
    return map(work.run, work.jobs()) if pool is None else pool.results()


def _see_off(worker: _Worker) -> None:
    worker.process.join(PATIENCE)
    if worker.process.is_alive():
        worker.process.kill()
        worker.process.join()
    worker.link.close()


def how_ended(code: int | None) -> str:
    """How a process ended, for a sentence."""
    if code is not None and code < 0:
        try:
            return f"by {signal.Signals(-code).name}"
        except ValueError:
            return f"by signal {-code}"
    return f"exit code {code}"


# in the worker


def _serve(work: Work[Any, Any], link: Connection) -> None:
    # an interruption reaches every process of a terminal; only the parent answers it
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_leave_with_parent, daemon=True).start()
    jobs = work.jobs()
    while True:
        link.send(work.run(jobs[link.recv()]))


def _leave_with_parent() -> None:
    """Ends this worker when its parent is killed: its siblings keep the pipe open."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)
