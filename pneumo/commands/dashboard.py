"""`pneumo dashboard`: a ride on screen, in the trainer's seat or the trainee's."""

from __future__ import annotations

import argparse
import gc
import os
import sys
import traceback
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING, Any

import pneumo
from pneumo.commands import starting
from pneumo.commands.classroom import CLASS, sit
from pneumo.commands.leaving import Leaving
from pneumo.commands.opened import Start, open_ride, opening
from pneumo.errors import InputError
from pneumo.live.preparation import LeftError, Preparation
from pneumo.live.request import FASTEST, SLOWEST, Speed

# what is not imported here is imported beside the first screen, which is not to wait for it
if TYPE_CHECKING:
    from pneumo.commands.counting import Counting
    from pneumo.live.driver import Driver
    from pneumo.live.link import Link
    from pneumo.record.reading import Unfinished
    from pneumo.record.writing import Record
    from pneumo.seats.door import Door
    from pneumo.seats.host import Host


PATIENCE = 2.0
"""How long a preparation may go on that nobody waits for any more [s]."""


def main(options: argparse.Namespace) -> int:
    """Shows the ride until it is left; then perhaps another run that was chosen there."""
    check_terminal("The dashboard")
    if options.speed is not None and not SLOWEST <= options.speed <= FASTEST:
        raise InputError(
            f"--speed {options.speed:g}: the speed must be from {SLOWEST:g} to {FASTEST:g}."
        )
    if options.drill and options.host is not None:
        raise InputError(
            "--drill takes the trainee's seat here and --host gives it to another terminal: use "
            "one of the two."
        )
    if options.host is not None:
        from pneumo.seats.address import PORT, parse_address

        parse_address(options.host, PORT)
    if options.name is not None:
        _check_name(options)
    if options.size is not None or Path(options.run or "").suffix == CLASS:
        return sit(options)
    run = None if options.run is None else Path(options.run)
    while True:
        name = options.file if run is None else str(run)
        code, run = _Sitting(name, opening(options, run), options).sit()
        if run is None:
            return code


def _check_name(options: argparse.Namespace) -> None:
    """Refuses a name that would be in no history. Raises InputError."""
    from pneumo.record import history

    history.check_trainee(options.name)
    if options.size is not None or options.no_record:
        other = "--no-record keeps nothing" if options.no_record else "a class joins by name"
        raise InputError(f"--name keeps a result in the history, and {other}: use one of the two.")
    history.check()


def check_terminal(what: str) -> None:
    """Refuses to draw where nobody looks.

    Raises
    ------
    InputError
        When there is no terminal, and no browser that stands for one.
    """
    if os.environ.get("TEXTUAL_DRIVER"):
        return
    if not (sys.stdin.isatty() and sys.stdout.isatty() and sys.stderr.isatty()):
        raise InputError(
            f"{what} needs a terminal to draw on and to type in. In a script use pneumo run or "
            "pneumo verify."
        )
    if os.environ.get("TERM", "") in ("", "dumb") and os.name == "posix":
        raise InputError(
            f"{what} needs a terminal that can place text; TERM says that this one cannot. Open "
            "another one, or set TERM, e.g. TERM=xterm-256color."
        )


def show(app: Any, preparation: Preparation[Any]) -> int:
    """Runs a screen until it is left; 0, or the signal it was ended by as a shell gives it.

    Parameters
    ----------
    app
        The screen.
    preparation
        What it waits for; ended when it is left before.

    Raises
    ------
    InputError
        When the program of the screen failed: one sentence, the rest in a file in the
        folder of the records. The terminal is as it was before.
    BaseException
        What the preparation failed of.
    """
    # the library would print the whole traceback with all its values
    app._fatal_error = app._close_messages_no_wait

    def leave() -> None:
        preparation.leave()
        app.exit()

    starting.done()
    leaving = Leaving(leave)
    try:
        with leaving.watched():
            app.run()
    finally:
        preparation.leave()
        gc.unfreeze()
    error: BaseException | None = app._exception
    if error is not None:
        raise InputError(
            f"The screen stopped: the program failed ({type(error).__name__}: {error}). "
            f"{_noted(error)}"
        )
    code = 128 + leaving.by if leaving.by else 0
    if not preparation.wait(PATIENCE):
        # it is in the middle of something that cannot be interrupted; nothing depends on it
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)
    if preparation.error is not None and not isinstance(preparation.error, LeftError):
        raise preparation.error
    return code


def settle_memory() -> None:
    """What was made for a screen is not searched for garbage while it is up: that took 90 ms each
    time, every few seconds, and the screen stood still."""
    gc.enable()
    gc.collect()
    gc.freeze()


def _noted(error: BaseException) -> str:
    from pneumo.record.file import runs_folder

    text = "".join(traceback.format_exception(error))
    folder = runs_folder().parent
    path = folder / "stopped_screen.txt"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        path.write_text(f"pneumo {pneumo.__version__}\n{text}", encoding="utf-8")
    except OSError as failed:
        return f"Its details could not be written: {failed.strerror}."
    return f"Its details are in {path}."


# a seat at it


class _Sitting:
    """A ride from when it is opened until its screen is left."""

    def __init__(self, name: str, opened: Callable[[], Start], options: argparse.Namespace) -> None:
        self.name = name
        """What is opened, as it was named."""
        self.opened = opened
        """Reads it."""
        self.options = options
        self.chosen: Path | None = None
        """A run that was chosen to go on with instead."""
        self.app: Any = None
        self.start: Start
        """What was read."""
        self.record: Record | None = None
        self.driver: Driver | None = None
        self.counting: Counting | None = None
        self.unfinished: Any = None
        """The list of runs that the screen offers."""
        self.host: Host | None = None
        self.door: Door | None = None
        self.said: list[str] = []
        """What the trainer is to know once there is a screen."""

    def sit(self) -> tuple[int, Path | None]:
        """Shows the ride until it is left; exit code, and the run to go on with."""
        preparation = Preparation(self.name, self._prepare)
        self.unfinished = import_module("tui.unfinished").Unfinished(
            take_up=self._take_up, forget=self._forget
        )
        self.app = import_module("tui.app").DashboardApp(
            preparation=preparation, unfinished=self.unfinished
        )
        code = 0
        try:
            code = show(self.app, preparation)
        finally:
            if self.host is not None:
                self.host.stop()
            # ended from outside: the run stays unfinished, and the next start offers it
            if self.counting is not None:
                self.counting.end()
            if code == 0 and self.driver is not None:
                self.driver.stop()
        if self.chosen is not None and self.record is not None:
            self.record.path.unlink(missing_ok=True)
        return code, self.chosen

    def _prepare(self, preparation: Preparation[Link]) -> Link:
        """Opens the ride, beside the first screen."""
        preparation.say("loading the program")
        from pneumo.commands.compiling import prepare_kernels
        from pneumo.record.reading import unfinished

        options = self.options
        preparation.say("reading and checking the circuit")
        start = self.start = self.opened()
        preparation.name = start.circuit.ride.name
        prepare_kernels(preparation)
        offers, troubles = ([], []) if start.run is not None else unfinished()
        self.said += troubles
        driver, self.record = open_ride(
            start, self.said, keeps=not options.no_record, step=preparation.say
        )
        link = driver.seat(start.seat, keeps_time=True)
        if options.speed is not None:
            link.send(Speed(options.speed))
        self.host = self._host(driver)
        preparation.say("drawing the screen")
        self.unfinished.runs = tuple(
            (_words(offer), offer.path) for offer in offers if self._is_wanted(offer)
        )
        self.app.host = self._kept()
        self.driver = driver
        driver.start()
        for sentence in self.said:
            driver.say(sentence)
        if options.name is not None:
            self._count(link, driver)
        settle_memory()
        return link

    def _count(self, link: Link, driver: Driver) -> None:
        """Enters the drill in the history, under the name that was given."""
        from pneumo.commands.counting import Counting

        if link.work is None:
            driver.say("--name keeps what came of a drill; here nobody works on one.")
            return
        run = "" if self.record is None else self.record.run
        name = self.options.name
        self.counting = Counting(name, link, run, self.start, driver.say)

    def _is_wanted(self, run: Unfinished) -> bool:
        """Whether an unfinished run is worth offering here: something has happened in it, and it
        is of this seat and of the document that was named. Others stay for those who ask."""
        same = _same_document(run.document, self.start.path)
        return run.reached > 0.0 and run.seat == self.start.seat and same

    def _kept(self) -> Any:
        """What the screen should know of this program, as it is now."""
        from pneumo.seats.address import invited_to, is_loopback

        facts = import_module("tui.host").Host
        record = "" if self.record is None else str(self.record.path)
        host, door = self.host, self.door
        if host is None or door is None:
            return facts(record=record)
        return facts(
            record=record,
            invitation=f"pneumo join {invited_to(host.address, host.port)}",
            code=door.code if door.trainee == "not joined" else "",
            only_here=is_loopback(host.address),
            trainee=door.trainee,
        )

    def _take_up(self, run: Path) -> None:
        self.chosen = run
        self.app.call_from_thread(self.app.exit)

    def _forget(self, run: Path) -> None:
        from pneumo.record.writing import set_aside

        set_aside(run)

    # a trainee from another terminal

    def _host(self, driver: Driver) -> Host | None:
        if self.options.host is None:
            return None
        if self.start.seat != "trainer":
            raise InputError("--host needs the trainer's seat; this run has the trainee's.")
        from pneumo.seats.address import PORT, is_loopback, parse_address
        from pneumo.seats.door import Door
        from pneumo.seats.host import Host

        def say(sentence: str) -> None:
            driver.say(sentence)
            self.app.host = self._kept()

        address, port = parse_address(self.options.host, PORT)
        seat = driver.seat("trainee", keeps_time=False)
        self.door = Door(seat, self.start.document, say, monotonic)
        self.host = host = Host(self.door, address=address, port=port)
        host.start()
        if not is_loopback(address):
            self.said.append(
                f"The trainee's seat is offered on the network at {address}. Nothing is "
                "encrypted: use a network you trust."
            )
        return host


def _same_document(one: str, other: str) -> bool:
    """Whether two names lead to the same document."""
    from pneumo.circuit.shipped import find_document

    if one == other:
        return True
    try:
        return find_document(one).resolve() == find_document(other).resolve()
    except (InputError, OSError):
        return False


def _words(run: Any) -> str:
    """An unfinished run, for the list."""
    return f"{run.ride}, {run.reached:.0f} s, {run.written:%d %b %H:%M}, {run.document}"
