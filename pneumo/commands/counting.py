"""The history while a screen shows a drill: that it was begun, and what came of it."""

from __future__ import annotations

from collections.abc import Callable
from threading import Event, Thread

from pneumo.commands.opened import Start, kinds_of
from pneumo.errors import InputError
from pneumo.live.link import Link
from pneumo.live.work import Work
from pneumo.record import history

EVERY = 1.0
"""How often it is looked whether a drill has begun or is over [s]."""


def enter(name: str, work: Work, run: str, start: Start) -> None:
    """Enters in the history that a drill has begun, or what came of it; for a run once.

    Raises
    ------
    InputError
        When the history is damaged or foreign.
    UnfinishedError
        When it cannot be written.
    """
    known = [done.verdict for done in history.results() if run and done.run == run]
    if work.debrief is None:
        if not known:
            history.begin(name, work.title, work.brief.level, run)
    elif set(known) <= {"left"}:
        kinds = kinds_of(work.debrief, start.circuit, start.seal)
        history.add(name, work.debrief, kinds, work.brief.level, run=run)


class Counting:
    """Enters the drill of one trainee, beside the screen that shows it.

    Parameters
    ----------
    name
        The trainee.
    link
        A seat at the ride.
    run
        Name of the run that no other has.
    start
        What was opened.
    say
        Takes what went wrong.
    """

    def __init__(
        self, name: str, link: Link, run: str, start: Start, say: Callable[[str], None]
    ) -> None:
        self._name, self._link, self._run, self._start = name, link, run, start
        self._say = say
        self._entered: tuple[bool, bool] = (False, False)
        """Whether it had begun and was over when it was entered last."""
        self._ended = Event()
        self._thread = Thread(target=self._watch, name="history", daemon=True)
        self._thread.start()

    def end(self) -> None:
        """The screen was left: what has come about since is entered."""
        self._ended.set()
        self._thread.join()

    def _watch(self) -> None:
        while not self._ended.wait(EVERY):
            self._look()
        self._look()

    def _look(self) -> None:
        work = self._link.work
        if work is None:
            return
        reached = bool(work.entries), work.debrief is not None
        if reached == self._entered:
            return
        self._entered = reached
        try:
            enter(self._name, work, self._run, self._start)
        except InputError as error:
            self._say(f"The result is not in the history: {error}")
