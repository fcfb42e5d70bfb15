"""Work of seconds that comes before a screen can show anything, done beside one that says so.

The work is done in a thread of its own; a screen reads how far it is. Imports nothing that takes
time: the screen is to stand before anything else is loaded.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from subprocess import Popen
from threading import Event, Lock, Thread
from time import monotonic
from typing import Any, Generic, TypeVar

T = TypeVar("T")


class LeftError(Exception):
    """Nobody waits for the work any more. Raised within it."""


@dataclass
class Step:
    """A part of the work."""

    words: str
    begun: float
    """By the clock of `monotonic` [s]."""
    ended: float | None = None
    """None: under way."""
    detail: str = ""
    """How far it is; "" = nobody can say."""


class Preparation(Generic[T]):
    """Work under way.

    Parameters
    ----------
    name
        What is prepared, for the title.
    work
        Does it, and gives what was made. It says by `say` what comes next.
    """

    def __init__(self, name: str, work: Callable[[Preparation[T]], T]) -> None:
        self.name = name
        """What is prepared; the work may find a better name."""
        self.steps: tuple[Step, ...] = ()
        """Those done and the one under way. A new tuple for each step."""
        self.made: T | None = None
        """None: not done yet, or it failed."""
        self.error: BaseException | None = None
        """Why it failed."""
        self._work = work
        self._begun = False
        self._ended = Event()
        self._left = Event()
        self._helper: Popen[Any] | None = None
        self._lock = Lock()

    # for the screen

    def begin(self) -> None:
        """Starts the work."""
        self._begun = True
        # a daemon: leaving need not wait for it
        Thread(target=self._run, name="preparation", daemon=True).start()

    @property
    def ended(self) -> bool:
        """True once it is done or has failed."""
        return self._ended.is_set()

    def leave(self) -> None:
        """Nobody waits for the work any more: it ends at its next step. From any thread."""
        self._left.set()
        with self._lock:
            if self._helper is not None:
                with suppress(OSError):
                    self._helper.kill()

    def wait(self, seconds: float) -> bool:
        """Waits for the work to end; False when it has not. True also when it never began."""
        return not self._begun or self._ended.wait(seconds)

    # for the work

    def say(self, words: str) -> None:
        """Begins a step.

        Raises
        ------
        LeftError
            When nobody waits any more.
        """
        if self._left.is_set():
            raise LeftError
        now = monotonic()
        for step in self.steps[-1:]:
            step.ended = now
        self.steps = (*self.steps, Step(words, now))

    def count(self, detail: str) -> None:
        """Says how far the step under way is."""
        for step in self.steps[-1:]:
            step.detail = detail

    def helped_by(self, process: Popen[Any] | None) -> None:
        """A process that does a part of the work, and ends with it; None: it has ended."""
        with self._lock:
            self._helper = process
        if self._left.is_set():
            self.leave()

    def _run(self) -> None:
        try:
            self.made = self._work(self)
        except BaseException as error:
            self.error = error
        finally:
            self._ended.set()
