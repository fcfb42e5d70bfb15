"""A class at the dashboard: up to eight rides of one drill in this program, and a board of them.

This program has all of it: the network's thread, for each trainee a ride with its thread and its
record, and the board. A trainee's terminal has a screen and no ride.
"""

from __future__ import annotations

import argparse
from collections import deque
from collections.abc import Sequence
from contextlib import suppress
from datetime import date
from functools import cache, partial
from importlib import import_module
from pathlib import Path
from threading import Lock
from time import monotonic
from typing import TYPE_CHECKING, Any

import pneumo
from pneumo.commands import passphrase
from pneumo.commands.opened import Start, continued, open_ride, started
from pneumo.errors import InputError, UnfinishedError
from pneumo.live.preparation import Preparation

# what is not imported here is imported beside the first screen, which is not to wait for it
if TYPE_CHECKING:
    from pneumo.live.thinking import Fetch
    from pneumo.record.classes import Kept
    from pneumo.report.class_page import Member
    from pneumo.seats.classroom import Classroom, Room
    from pneumo.seats.door import Place
    from pneumo.seats.host import Host


CLASS = ".class"
"""End of the name of a file from which a class goes on."""

MOST = 8
"""Trainees of a class: so many rides fit a machine of two cores."""


def sit(options: argparse.Namespace) -> int:
    """Shows the board until it is left."""
    from pneumo.commands.dashboard import show

    _check(options)
    lesson = Lesson(options)
    preparation = Preparation(options.run or options.file, lesson.prepare)
    ended = False
    try:
        code = show(import_module("tui.board").BoardApp(preparation=preparation), preparation)
        ended = code == 0
    finally:
        # ended from outside, or by a failure: the rides stay unfinished, and are found again
        lesson.leave(ended=ended)
    return code


def _check(options: argparse.Namespace) -> None:
    """Refuses what a class cannot be, before there is a screen. Raises InputError."""
    if options.size is not None and not 1 <= options.size <= MOST:
        raise InputError(f"--class {options.size}: a class has from 1 to {MOST} trainees.")
    if options.drill or options.speed is not None:
        raise InputError(
            "--class goes with neither --drill nor --speed: each trainee has a seat at another "
            "terminal, and the rides run at real time."
        )
    if options.run is not None and Path(options.run).suffix != CLASS:
        raise InputError(
            f"--continue {options.run}: this is one ride. A class goes on from its own file, which "
            f"ends in {CLASS}."
        )


class Lesson:
    """A class from when it is opened until its board is left: `tui.lesson.Lesson`.

    What is sealed is asked for here, on the terminal, before there is a screen.
    """

    def __init__(self, options: argparse.Namespace) -> None:
        """Raises InputError when a class that should go on cannot."""
        self._going_on: Kept | None = None
        size = options.size
        if options.run is not None:
            from pneumo.record.classes import read_class

            self._going_on = kept = read_class(Path(options.run))
            options = argparse.Namespace(**{**vars(options), "file": kept.drill})
            size = kept.size if size is None else max(size, len(kept.rides))
            if not len(kept.rides) <= size <= MOST:
                raise InputError(f"{options.run}: a class has from 1 to {MOST} trainees.")
        self._options = options
        self._drill = (
            str(Path(options.file).resolve()) if Path(options.file).is_file() else options.file
        )
        """The drill, whichever folder its class goes on from."""
        self._ask = cache(partial(passphrase.asked, options, options.file))
        if self._is_sealed():
            self._ask()
        self._said: deque[str] = deque()
        self._start: Start
        self._room: Classroom | None = None
        self._noting = Lock()
        self._rides: dict[str, str] = {}
        """Name of each trainee -> file of the run, as it is kept."""
        self._host: Host | None = None
        self._runs: dict[str, str] = {}
        """Record of a ride -> name of its run."""
        self._fetch: Fetch | None = None
        """Gets what faults would show, once for all rides."""
        self._class: Path | None = None
        """Where the class is kept; None: nowhere."""
        self.title, self.level, self.par, self.size = "", 0, 0.0, size
        self.invitation, self.code, self.only_here, self.notice = "", "", True, ""

    # for the board

    @property
    def places(self) -> tuple[Place, ...]:
        """Of the trainees."""
        return () if self._room is None else self._room.places

    @property
    def kept(self) -> str:
        """From where it goes on."""
        return "" if self._class is None else str(self._class)

    def told(self) -> list[str]:
        """What has happened since this was last asked."""
        said: list[str] = []
        with suppress(IndexError):
            while True:
                said.append(self._said.popleft())
        return said

    def remove(self, place: Place) -> bool:
        """Ends a ride whose trainee is not there."""
        gone = self._room is not None and self._room.remove(place)
        if gone and self._rides.pop(place.name, None) is not None:
            self._keep()
        return gone

    def write(self, path: str, members: Sequence[Member]) -> str:
        """Writes the results, as a page or as a table."""
        from pneumo.report.class_page import class_csv, class_page
        from pneumo.report.files import write_atomically

        if path.endswith(".html"):
            text = class_page(
                self.title, self._start.circuit.ride.name, self.par, members,
                version=pneumo.__version__, made_on=date.today().isoformat(),
            )  # fmt: skip
        elif path.endswith(".csv"):
            text = class_csv(self.title, members)
        else:
            raise InputError(f"{path}: name a page (.html) or a table (.csv).")
        write_atomically(path, text)
        return f"The results are written: {path}"

    # from its beginning to its end

    def prepare(self, preparation: Preparation[Lesson]) -> Lesson:
        """Opens the class, beside the first screen."""
        preparation.say("loading the program")
        from pneumo.commands.compiling import prepare_kernels
        from pneumo.commands.dashboard import settle_memory
        from pneumo.diagnosis.store import kept_library, library_of
        from pneumo.live.thinking import shared
        from pneumo.record.classes import new_class
        from pneumo.seats.classroom import Classroom

        options = self._options
        preparation.say("reading and checking the drill")
        self._start = start = started(options, self._ask, hosted=True)
        if start.brief is None:
            raise InputError(
                f"{options.file}: this is no drill, and a class works on one. Name one, for "
                "example drill_1."
            )
        self._fetch = shared(library_of if start.brief.test_hints else kept_library)
        self.title, self.level, self.par = start.drill, start.brief.level, start.brief.par
        preparation.name = start.circuit.ride.name
        prepare_kernels(preparation)
        self._room = room = Classroom(
            self.size, start.document, start.circuit.ride.name, open_room=self._open,
            reached=self._enter, say=self._said.append, clock=monotonic,
        )  # fmt: skip
        if self._going_on is not None:
            self._class = None if options.no_record else Path(options.run)
            self._reopen(Path(options.run), self._going_on, room, preparation)
            self._said.append("The clocks stand still; space on the first row starts them.")
        elif not options.no_record:
            self._class = new_class()
            self._look_for_interrupted()
        if not options.no_record:
            self._check_history()
        self._offer(room)
        preparation.say("drawing the screen")
        settle_memory()
        return self

    def leave(self, *, ended: bool) -> None:
        """The board was left, or could not be opened."""
        if self._host is not None:
            self._host.stop()
        if self._room is not None and ended:
            self._room.end()
            if self._class is not None and all(place.is_over for place in self.places):
                from pneumo.record.classes import forget_class

                forget_class(self._class)  # there is nothing to go on with, and it holds names
        if self._class is not None and self._class.exists():
            from pneumo.commands.console import error_console

            error_console().print(
                f"The class goes on with: pneumo dashboard --continue {self._class}",
                markup=False, soft_wrap=True,
            )  # fmt: skip

    def _is_sealed(self) -> bool:
        """Whether the drill takes a passphrase, or a ride that goes on."""
        from pneumo.circuit.shipped import find_document
        from pneumo.record.reading import is_sealed

        # a slip in a name needs no screen
        if passphrase.may_be_sealed(find_document(self._options.file)):
            return True
        for _, run in () if self._going_on is None else self._going_on.rides:
            with suppress(InputError):  # one that cannot be read is told where it should go on
                if is_sealed(Path(self._options.run).parent / run):
                    return True
        return False

    def _offer(self, room: Classroom) -> None:
        from pneumo.seats.address import PORT, invited_to, is_loopback, parse_address
        from pneumo.seats.host import Host

        address, port = parse_address(self._options.host or "", PORT)
        self._host = host = Host(room, address=address, port=port)
        host.start()
        self.code = room.code
        self.invitation = f"pneumo join {invited_to(host.address, host.port)}"
        self.only_here = is_loopback(address)
        if not self.only_here:
            self._said.append(
                f"The class is offered on the network at {address}. Nothing is encrypted: use a "
                "network you trust."
            )

    # rides

    def _open(self, name: str) -> Room:
        """The ride of a trainee who has joined."""
        room = self._opened(name, self._start)
        if room.record:
            self._rides[name] = Path(room.record).name
            self._keep()
        return room

    def _opened(self, name: str, start: Start) -> Room:
        from pneumo.seats.classroom import Room

        said: list[str] = []
        keeps = not self._options.no_record
        driver, record = open_ride(start, said, keeps=keeps, fetch=self._fetch)
        trainer = driver.seat("trainer", keeps_time=True)
        trainee = driver.seat("trainee", keeps_time=False)
        driver.start()
        self._said += [f"{name}: {sentence}" for sentence in said]
        if record is not None:
            self._runs[str(record.path)] = record.run
        return Room(trainee, trainer, "" if record is None else str(record.path))

    def _keep(self) -> None:
        """Notes which ride is whose."""
        from pneumo.record.classes import Kept, KeptRide, keep_class

        if self._class is None:
            return
        with self._noting:
            rides = tuple(KeptRide(*each) for each in self._rides.items())
            try:
                keep_class(self._class, Kept(self._drill, self.size, rides))
            except (InputError, UnfinishedError) as error:
                self._class = None
                self._said.append(
                    f"The class cannot go on whole after a kill, but each ride alone: {error}"
                )

    def _reopen(
        self, path: Path, kept: Kept, room: Classroom, preparation: Preparation[Any]
    ) -> None:
        """The rides of a class that goes on; one that cannot is told, and the others do.

        Raises
        ------
        InputError
            When none of them can.
        """
        failures: list[str] = []
        for name, run in kept.rides:
            preparation.say(f"going on with the ride of {name}")
            self._rides[name] = run
            try:
                room.reopened(name, self._opened(name, continued(path.parent / run, self._ask)))
            except InputError as error:
                failures.append(f"The ride of {name} cannot go on: {error}")
        if failures and not room.places:
            raise InputError(failures[0])
        self._said += failures

    def _look_for_interrupted(self) -> None:
        """Tells of a class of this drill that was cut off."""
        from pneumo.record.classes import interrupted
        from pneumo.record.reading import unfinished

        offers, troubles = unfinished()
        self._said += troubles
        for path in interrupted(self._drill, [offer.path for offer in offers])[:1]:
            self.notice = (
                "A class of this drill was cut off. It goes on with: pneumo dashboard --continue "
                f"{path}"
            )

    def _check_history(self) -> None:
        """Tells at the beginning when no result can be kept; the class goes on."""
        from pneumo.record import history

        try:
            history.check()
        except InputError as error:
            self._said.append(f"No result will be in the history: {error}")

    def _enter(self, place: Place) -> None:
        """A drill has begun or is over: that is entered in the history, for a run once."""
        from pneumo.commands.counting import enter

        work = None if place.trainer is None else place.trainer.work
        if self._options.no_record or work is None:
            return
        try:
            enter(place.name, work, self._runs.get(place.record, ""), self._start)
        except InputError as error:
            self._said.append(f"{place.name}: the result is not in the history: {error}")
