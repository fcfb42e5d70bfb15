"""`pneumo dashboard`: a ride on screen, in the trainer's seat or the trainee's."""

from __future__ import annotations

import argparse
import gc
import os
import sys
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pneumo
from pneumo.circuit.circuit import Circuit
from pneumo.circuit.document import read_file
from pneumo.circuit.former import remark
from pneumo.commands import starting
from pneumo.commands.console import find_document, kernels, load_circuit
from pneumo.commands.leaving import Leaving
from pneumo.errors import InputError
from pneumo.live.journal import Act
from pneumo.live.request import FASTEST, SLOWEST, Seat, Speed

if TYPE_CHECKING:
    from pneumo.live.driver import Driver
    from pneumo.live.session import Session
    from pneumo.record.store import Record, Unfinished
    from pneumo.seats.host import Host


@dataclass(frozen=True)
class Start:
    """What is opened, and from where it goes on."""

    circuit: Circuit
    document: str
    """Text of the document."""
    path: str
    """The document as it was named."""
    seat: Seat
    acts: tuple[Act, ...] = ()
    at: float = 0.0
    """[s]"""
    drill: str = ""
    """Title of the drill; "" = none."""
    begins: float = 0.0
    """Where the drill begins [s]."""
    run: Path | None = None
    """The recorded run that goes on; None: a new one."""


def main(options: argparse.Namespace) -> int:
    """Shows the ride until it is left; then perhaps another run that was chosen there."""
    check_terminal("The dashboard")
    if options.speed is not None and not SLOWEST <= options.speed <= FASTEST:
        raise InputError(f"--speed {options.speed:g}: it goes from {SLOWEST:g} to {FASTEST:g}.")
    if options.drill and options.host is not None:
        raise InputError(
            "--drill takes the trainee's seat here and --host gives it to another terminal: use "
            "one of the two."
        )
    starting.say("pneumo: reading the ride")
    start = _start(options)
    starting.say(f"{start.circuit.ride.name}: loading the simulation")
    kernels()
    while True:
        code, chosen = _Sitting(start, options).sit()
        if chosen is None:
            return code
        start = _continued(chosen)


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


def show(app: Any, folder: Path) -> int:
    """Runs a screen until it is left; 0, or the signal it was ended by as a shell gives it.

    Raises
    ------
    InputError
        When the screen stopped at a fault of its own: one sentence, the rest in a file in the
        folder. The terminal is as it was before.
    """
    # the library would print the whole traceback with all its values
    app._fatal_error = app._close_messages_no_wait
    starting.done()
    leaving = Leaving(app.exit)
    with leaving.watched(), _settled_memory():
        app.run()
    error: BaseException | None = app._exception
    if error is not None:
        where = _noted(error, folder)
        raise InputError(
            f"The screen stopped at a fault of its own ({type(error).__name__}: {error}). {where}"
        )
    return 128 + leaving.by if leaving.by else 0


@contextmanager
def _settled_memory() -> Iterator[None]:
    """While a screen is up, what was made before it is not searched for garbage: that took 90 ms
    each time, every few seconds, and the screen stood still."""
    gc.collect()
    gc.freeze()
    try:
        yield
    finally:
        gc.unfreeze()


def _noted(error: BaseException, folder: Path) -> str:
    text = "".join(traceback.format_exception(error))
    path = folder / "stopped_screen.txt"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        path.write_text(f"pneumo {pneumo.__version__}\n{text}", encoding="utf-8")
    except OSError as failed:
        return f"Its details could not be written: {failed.strerror}."
    return f"Its details are in {path}."


# what is opened


def _start(options: argparse.Namespace) -> Start:
    if options.run is not None:
        return _continued(Path(options.run))
    from pneumo.live.files import is_drill, read_drill

    place = find_document(options.file)
    if is_drill(place):
        drill = read_drill(place)
        seat: Seat = "trainee" if options.host is None else "trainer"
        return Start(
            drill.circuit, drill.document, options.file, seat, drill.acts, drill.start,
            drill.title, drill.start,
        )  # fmt: skip
    circuit = load_circuit(options.file)
    seat = "trainee" if options.drill else "trainer"
    return Start(circuit, read_file(place), options.file, seat)


def _continued(run: Path) -> Start:
    from pneumo.circuit.validate import load_text
    from pneumo.record.store import continuation

    kept = continuation(run)
    circuit = load_text(kept.document, kept.path)
    return Start(
        circuit, kept.document, kept.path, kept.seat, kept.acts, kept.reached, kept.drill,
        kept.begins, run,
    )  # fmt: skip


# a seat at it


class _Sitting:
    """A ride from when it is opened until its screen is left."""

    def __init__(self, start: Start, options: argparse.Namespace) -> None:
        self.start = start
        self.options = options
        self.chosen: Path | None = None
        """A run that was chosen to go on with instead."""
        self.app: Any = None
        self.record: Record | None = None
        self.host: Host | None = None
        self.said: list[str] = []
        """What the trainer is to know once there is a screen."""

    def sit(self) -> tuple[int, Path | None]:
        """Shows the ride until it is left; exit code, and the run to go on with."""
        from pneumo.live.driver import Driver
        from pneumo.record.store import runs_folder, set_aside, unfinished

        start, options = self.start, self.options
        offers, troubles = ([], []) if start.run is not None else unfinished()
        offers = [offer for offer in offers if self._is_wanted(offer)]
        self.said += troubles
        session = self._session()
        self.record = self._begin_record(session)
        folder = runs_folder().parent
        driver = Driver(session, self.record, folder / "rescued", kept_for=start.seat)
        link = driver.seat(start.seat, keeps_time=True)
        if options.speed is not None:
            link.send(Speed(options.speed))
        code = 0
        try:
            self.host = self._host(driver)
            starting.say(f"{start.circuit.ride.name}: loading the screen")
            # not at the top: the screen is loaded when there is something to show
            self.app = import_module("tui.app").DashboardApp(
                link,
                host=self._kept(),
                unfinished=[(_words(offer), offer.path) for offer in offers],
                take_up=self._take_up,
                forget=set_aside,
            )
            driver.start()
            for sentence in self.said:
                driver.say(sentence)
            code = show(self.app, folder)
        finally:
            if self.host is not None:
                self.host.stop()
            # ended from outside: the run stays unfinished, and the next start offers it
            if code == 0:
                driver.stop()
        if self.chosen is not None and self.record is not None:
            self.record.path.unlink(missing_ok=True)
        return code, self.chosen

    def _is_wanted(self, run: Unfinished) -> bool:
        """Whether an unfinished run is worth offering here: something has happened in it, and it
        is of this seat and of the document that was named. Others stay for those who ask."""
        same = _same_document(run.document, self.start.path)
        return run.reached > 0.0 and run.seat == self.start.seat and same

    def _session(self) -> Session:
        from pneumo.live.session import Session

        start = self.start
        starting.say(f"{start.circuit.ride.name}: getting ready, the plant comes to rest")
        session = Session(start.circuit, start.document)
        if start.acts or start.at > 0.0:
            session.restart(start.acts, start.at, begins=start.begins)
        session.drill = start.drill
        # of a hidden act not even its words are told
        shown = (act.sentence for act in start.acts if not act.hidden)
        self.said += dict.fromkeys(words for sentence in shown if (words := remark(sentence)))
        return session

    def _begin_record(self, session: Session) -> Record | None:
        from pneumo.record.store import begin, open_run

        start = self.start
        if self.options.no_record:
            return None
        try:
            if start.run is not None:
                return open_run(start.run)
            return begin(
                path=start.path,
                document=start.document,
                ride=start.circuit.ride.name,
                channels=[(channel.name, channel.unit) for channel in session.plant.channels],
                program=pneumo.__version__,
                seat=start.seat,
                acts=session.journal,
                drill=start.drill,
                begins=start.begins,
            )
        except InputError as error:
            self.said.append(str(error))
            return None

    def _kept(self) -> Any:
        """What the screen should know of this program, as it is now."""
        from pneumo.seats.address import invited_to, is_loopback

        facts = import_module("tui.app").Host
        record = "" if self.record is None else str(self.record.path)
        door = self.host
        if door is None:
            return facts(record=record)
        return facts(
            record=record,
            invitation=f"pneumo join {invited_to(door.address, door.port)}",
            code=door.code if door.trainee == "not joined" else "",
            only_here=is_loopback(door.address),
            trainee=door.trainee,
        )

    def _take_up(self, run: Path) -> None:
        self.chosen = run
        self.app.call_from_thread(self.app.exit)

    # a trainee from another terminal

    def _host(self, driver: Driver) -> Host | None:
        if self.options.host is None:
            return None
        if self.start.seat != "trainer":
            raise InputError("--host goes with the trainer's seat, and this run has the trainee's.")
        from pneumo.seats.address import is_loopback, parse_address
        from pneumo.seats.host import Host
        from pneumo.seats.wire import PORT

        def say(sentence: str) -> None:
            driver.say(sentence)
            if self.app is not None:
                self.app.host = self._kept()

        address, port = parse_address(self.options.host, PORT)
        seat = driver.seat("trainee", keeps_time=False)
        host = Host(seat, self.start.document, address=address, port=port, say=say)
        self.host = host
        host.start()
        if not is_loopback(address):
            self.said.append(
                f"The trainee's seat is offered on the network at {address}. Nothing is "
                "encrypted: use a network you trust."
            )
        return host


def _same_document(one: str, other: str) -> bool:
    """Whether two names lead to the same document."""
    if one == other:
        return True
    try:
        return find_document(one).resolve() == find_document(other).resolve()
    except (InputError, OSError):
        return False


def _words(run: Any) -> str:
    """An unfinished run, for the list."""
    return f"{run.ride}, {run.reached:.0f} s, {run.written:%d %b %H:%M}, {run.document}"
