"""A ride that is opened for people to act on: where it starts, its thread, its record."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import pneumo
from pneumo.commands import passphrase
from pneumo.errors import InputError, UnfinishedError
from pneumo.live.request import Seat
from pneumo.live.seal import OBSCURED, Seal

# what is not imported here is imported beside the first screen, which is not to wait for it
if TYPE_CHECKING:
    from pneumo.circuit.circuit import Circuit
    from pneumo.drill.brief import Brief
    from pneumo.drill.entry import Entry
    from pneumo.drill.outcome import Debrief
    from pneumo.drill.practice import Practice
    from pneumo.drill.review import Review
    from pneumo.live.driver import Driver
    from pneumo.live.journal import Act
    from pneumo.live.seal import Ask
    from pneumo.live.session import Session
    from pneumo.live.thinking import Fetch, Settle
    from pneumo.live.working import Working
    from pneumo.record.writing import Record


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
    remark: str = ""
    """What is told of its earlier words."""
    brief: Brief | None = None
    """What is told of the drill; None: nobody works on one."""
    entries: tuple[Entry, ...] = ()
    """What was done in it."""
    seal: Seal = OBSCURED
    """How what is hidden in it is hidden in files."""
    run_name: str = ""
    """Name of the recorded run that no other has; "" = it is not known."""
    review: Review | None = None
    """What a diagnostician made of the drill, which is over; None: nothing is known of it."""


STOPPED = (
    "The ride of this drill could not be calculated any further; this is no fault of whoever "
    "plays it."
)
"""What a trainee hears: where it stopped may be due to what is hidden."""


class Opened(NamedTuple):
    """A ride that is open."""

    driver: Driver
    record: Record | None
    """None: it is not kept."""


def opening(options: argparse.Namespace, run: Path | None) -> Callable[[], Start]:
    """What reads a file, or a run that is continued. What is sealed is read here and now: the
    passphrase is asked for on the terminal, before there is a screen."""
    if run is None:
        from pneumo.circuit.shipped import find_document

        ask = partial(passphrase.asked, options, options.file)
        read = partial(started, options, ask, hosted=options.host is not None)
        # a slip in a name needs no screen
        sealed = passphrase.may_be_sealed(find_document(options.file))
    else:
        from pneumo.record.reading import is_sealed

        read = partial(continued, run, partial(passphrase.asked, options, str(run)))
        sealed = is_sealed(run)
    if not sealed:
        return read
    start = read()
    return lambda: start


def started(options: argparse.Namespace, ask: Ask, *, hosted: bool) -> Start:
    """What the command line names; `ask`: gives the passphrase of a drill that is sealed,
    `hosted`: a trainee takes the other seat."""
    from pneumo.api import load
    from pneumo.circuit.document import read_file
    from pneumo.circuit.shipped import find_document
    from pneumo.live.drill import is_drill

    place = find_document(options.file)
    if is_drill(place):
        return start_of_drill(options.file, ask, "trainer" if hosted else "trainee")
    circuit = load(options.file)
    return Start(circuit, read_file(place), options.file, "trainee" if options.drill else "trainer")


def start_of_drill(file: str, ask: Ask, seat: Seat) -> Start:
    """A drill from its beginning; `ask`: see `started`. Raises InputError when it is none."""
    from pneumo.circuit.shipped import find_document
    from pneumo.live.drill import read_drill

    drill = read_drill(find_document(file), ask)
    return Start(
        drill.circuit, drill.document, file, seat, drill.acts, drill.start,
        drill.title, drill.start, remark=drill.remark, brief=drill.brief, seal=drill.seal,
    )  # fmt: skip


def continued(run: Path, ask: Ask) -> Start:
    """A recorded run that goes on; `ask`: see `started`."""
    from pneumo.circuit.validate import load_text
    from pneumo.record.reading import continuation

    kept = continuation(run, ask)
    circuit = load_text(kept.document, kept.path)
    return Start(
        circuit, kept.document, kept.path, kept.seat, kept.acts, kept.reached, kept.drill,
        kept.begins, run, brief=kept.brief, entries=kept.entries, seal=kept.seal,
        run_name=kept.run, review=kept.review,
    )  # fmt: skip


def open_ride(
    start: Start,
    said: list[str],
    *,
    keeps: bool,
    step: Callable[[str], None] = lambda words: None,
    fetch: Fetch | None = None,
) -> Opened:
    """Opens a ride; its thread is not started yet.

    Parameters
    ----------
    start
        Where it starts.
    said
        Takes what the trainer is to know once there is a screen.
    keeps
        Whether it is recorded.
    step
        Called with what comes next.
    fetch
        Gets what faults of the ride would show; None: it is read, or calculated.

    Raises
    ------
    InputError
        When a run that should go on cannot.
    UnfinishedError
        When it cannot be calculated up to there.
    """
    from pneumo.live.driver import Driver
    from pneumo.record.file import runs_folder
    from pneumo.scenario.plant import SimulationError

    step("calculating the state at rest")
    session = _session(start, said)
    if start.acts or start.at > 0.0:
        step("calculating up to where it continues")
        try:
            session.restart(start.acts, start.at, begins=start.begins)
        except SimulationError:
            if start.drill and start.seat == "trainee":
                raise UnfinishedError(STOPPED) from None
            raise
    step("opening the seat")
    record = begun(start, session, said) if keeps else None
    rescued = runs_folder().parent / "rescued"
    driver = Driver(
        session, record, rescued if record is None else rescued / record.path.stem,
        # what only the trainer sees of a sealed drill stands in no file
        kept_for="trainee" if start.seal.encrypts else start.seat,
        working=_working(start, session, fetch),
    )  # fmt: skip
    return Opened(driver, record)


def kinds_of(found: Debrief, circuit: Circuit, seal: Seal) -> list[tuple[str, str]]:
    """Kind of the part and fault mode of every fault of a drill, for the history; of a sealed
    drill none: whoever plays it next can read that file."""
    from pneumo.components.base import kind_of

    if seal.encrypts:
        return []
    return [(kind_of(circuit.components[fault.component]), fault.mode) for fault in found.truth]


def _session(start: Start, said: list[str]) -> Session:
    from pneumo.circuit.former import remark
    from pneumo.live.session import Session

    session = Session(start.circuit, start.document)
    session.drill, session.seal = start.drill, start.seal
    said += [start.remark] if start.remark else []
    # of a hidden act not even its words are told
    shown = (act.sentence for act in start.acts if not act.hidden)
    said += dict.fromkeys(words for sentence in shown if (words := remark(sentence)))
    return session


def _working(start: Start, session: Session, fetch: Fetch | None) -> Working | None:
    """The drill that is worked on at the ride; None: there is none."""
    from pneumo.drill.practice import Practice
    from pneumo.live.working import Working

    if start.brief is None:
        return None
    practice = Practice(session, start.brief)
    practice.resume(start.entries, start.begins)
    let_advise(session, practice, fetch)
    return Working(session, practice, start.drill, start.review)


def let_advise(
    session: Session,
    practice: Practice,
    fetch: Fetch | None = None,
    settle: Settle | None = None,
) -> None:
    """Hints of a drill that nobody has written, what the trainer's seat shows, and a review at the
    end; the latter two if what faults would show is there: it is calculated only for hints.

    Parameters
    ----------
    fetch
        See `open_ride`.
    settle
        Waits for it when somebody asks for a hint; None: who asks before it is there is told so.
    """
    from pneumo.diagnosis.store import kept_library, library_of
    from pneumo.live.thinking import advise

    kept = library_of if practice.brief.test_hints else kept_library
    advise(session, practice, fetch or kept, settle)


def begun(start: Start, session: Session, said: list[str]) -> Record | None:
    """The record of a ride, begun or gone on with; None: there can be none, and `said` has why."""
    from pneumo.record.writing import begin, open_run

    try:
        if start.run is not None:
            return open_run(start.run, start.seal)
        return begin(
            path=start.path,
            document=start.document,
            ride=start.circuit.ride.name,
            channels=[(channel.name, channel.unit) for channel in session.plant.channels],
            program=pneumo.__version__,
            seat=start.seat,
            acts=session.acts.journal,
            drill=start.drill,
            begins=start.begins,
            brief=start.brief,
            seal=start.seal,
        )
    except InputError as error:
        said.append(str(error))
        return None
