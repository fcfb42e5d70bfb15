"""How a program with a screen ends from outside: told to by a signal, with its terminal or page.

A screen cannot see to that itself. When nothing takes what it draws any more (the terminal is gone,
or nobody reads it) it waits for ever to draw, and a signal would only be noticed by what waits.
So a thread of its own watches. It asks the screen to leave, and when that does not happen ends the
program. Nothing is lost: a run is recorded as it goes, and stays unfinished.
"""

from __future__ import annotations

import os
import select
import signal
import stat
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from threading import Event, Thread
from time import monotonic
from typing import Any

from pneumo.live.matrix_run import end_all

LOOK = 0.5
"""From one look at the terminal to the next [s]."""

PATIENCE = 4.0
"""How long the screen may take to leave [s]."""

HANG_UP = 1
"""SIGHUP: what a program is told whose terminal is gone."""

_SIGNALS = ("SIGTERM", "SIGHUP")

_RESTORE = (
    b"\x1b[<u\x1b[?1000l\x1b[?1003l\x1b[?1006l\x1b[?2004l\x1b[?1004l\x1b[?7h\x1b[?1049l\x1b[?25h"
)
"""No reports of keys, mouse, pastes or focus, wrapped lines, the normal screen, a cursor."""


class Leaving:
    """Whether the program is ended from outside, and by what."""

    def __init__(self, leave: Callable[[], object]) -> None:
        """`leave`: asks the screen to leave; called from a thread of its own, more than once."""
        self.by = 0
        """Signal that ended it, SIGHUP also for a terminal or page that is gone; 0 = none."""
        self._leave = leave
        self._left = Event()
        self._terminals = _terminals()
        self._page = _page()

    @contextmanager
    def watched(self) -> Iterator[None]:
        """While a screen is up; for the main thread."""
        heard, told = os.pipe()
        os.set_blocking(told, False)
        # a signal is written there at once, whatever the main thread waits for
        earlier = signal.set_wakeup_fd(told, warn_on_full_buffer=False)
        before = {}
        for name in _SIGNALS:
            number = getattr(signal, name, None)
            # one that is ignored from the start (nohup) stays so
            if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
                before[number] = signal.signal(number, _noted_elsewhere)
        Thread(target=self._watch, args=(heard,), name="leaving", daemon=True).start()
        try:
            yield
        finally:
            signal.set_wakeup_fd(earlier)
            for number, handler in before.items():
                signal.signal(number, handler)
            self._left.set()
            os.close(told)

    def _watch(self, heard: int) -> None:
        ends = {getattr(signal, name, None) for name in _SIGNALS}
        while not self._left.is_set():
            # elsewhere than here a pipe cannot be asked, and the reading waits
            ready = os.name != "posix" or bool(select.select([heard], [], [], LOOK)[0])
            numbers = os.read(heard, 64) if ready else b""
            if ready and not numbers:
                break
            told = [number for number in numbers if number in ends]
            self.by = told[0] if told else HANG_UP if self._is_gone() else 0
            if self.by:
                self._end()
        os.close(heard)

    def _is_gone(self) -> bool:
        """Whether a terminal that there was answers no more, or the page in a browser."""
        if self._page is not None and self._page.poll(0):
            return True
        return any(_settings(place) is None for place in self._terminals)

    def _end(self) -> None:
        """Until the program has ended: what follows the screen may hang as well."""
        end = monotonic() + PATIENCE
        while monotonic() < end:
            with suppress(Exception):
                self._leave()
            if self._left.wait(LOOK):
                # the program ends by itself now, and this thread with it
                Event().wait(max(end - monotonic(), 0.0))
        end_all()
        for place, settings in self._terminals.items():
            _give_back(place, settings)
        os._exit(128 + self.by)


def _noted_elsewhere(number: int, frame: object) -> None:
    """A signal that has a handler is written where it is watched for."""


def _terminals() -> dict[int, Any]:
    """Those that are read and drawn on, by their place, with their settings as they are."""
    found: dict[int, Any] = {}
    for stream in (sys.__stdin__, sys.__stderr__):
        with suppress(Exception):
            if stream is not None and (settings := _settings(stream.fileno())):
                found[stream.fileno()] = settings
    return found


def _page() -> Any:
    """What tells that whoever writes to a program without a terminal is gone: the server of its
    page ends that way, and so does a page that is closed. None: there is nobody of that kind."""
    with suppress(Exception):
        stream = sys.__stdin__
        if stream is not None and hasattr(select, "poll"):
            mode = os.fstat(stream.fileno()).st_mode
            if stat.S_ISFIFO(mode) or stat.S_ISSOCK(mode):
                poll = select.poll()
                poll.register(stream.fileno(), 0)  # of a far end that hung up it always tells
                return poll
    return None


def _settings(place: int) -> Any:
    """Of a terminal; None: there is none (any more)."""
    try:
        import termios
    except ImportError:  # no terminals of this kind here
        return None
    try:
        return termios.tcgetattr(place)
    except (termios.error, OSError):
        return None


def _give_back(place: int, settings: Any) -> None:
    """A terminal as it was, as far as it takes it without waiting."""
    import termios

    with suppress(termios.error, OSError, ValueError):
        termios.tcsetattr(place, termios.TCSANOW, settings)
        if select.select([], [place], [], 0.0)[1]:
            os.write(place, _RESTORE)
