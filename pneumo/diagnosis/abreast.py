"""Rides kept abreast of the real one: the same circuit and the same acts, with a fault or without.

A ride is run stretch by stretch. What it shows on the panel and what each test would give on it is
kept as numbers. The one without a fault is kept with its states, from which suspects set out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from copy import copy
from weakref import WeakSet, WeakValueDictionary

from pneumo.circuit.action import FaultSpec, Inject, Repair, Turn
from pneumo.circuit.circuit import Event
from pneumo.diagnosis.marks import Mark, marks
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.record import Look, Made, Record, Stretch, within
from pneumo.drill.entry import Fell
from pneumo.errors import InputError, UnfinishedError
from pneumo.inspection.evidence import Evidence, Reading
from pneumo.inspection.examine import examine
from pneumo.inspection.hand import cycled
from pneumo.network.compile import Compiled
from pneumo.network.network import Array
from pneumo.scenario import reference
from pneumo.scenario.actor import Actor
from pneumo.scenario.event import RunEvent
from pneumo.scenario.play import Play
from pneumo.scenario.situation import fingerprint

RTOL = 3e-4
"""Relative tolerance of a step of these rides [-]: on Sand Martin contacts change within 1 ms of
where they do at 1e-8, and pressures are within 0.3 %."""

STEPS, VALUES = 100_000, 30_000_000
"""Room for the steps of the ride without a fault: hours of a ride with six zones. Beyond it
suspects are calculated whole."""

STEPS_MORE, VALUES_MORE = 40_000, 8_000_000
"""The same of a ride with a fault."""


class Ride:
    """One ride, as far as it was run. Suspects that change the same of the plant, such as a leak of
    a hose and one of the bladder behind it, are calculated once.

    Parameters
    ----------
    run
        What is calculated of it.
    fault
        The suspect.
    elsewhere
        A run that can be looked at where the stretches of a record end.
    """

    def __init__(
        self,
        run: Run,
        fault: FaultSpec | None = None,
        elsewhere: Callable[[Sequence[Stretch]], Run] | None = None,
    ) -> None:
        self.shared = run
        self.fault = fault
        self._elsewhere = elsewhere
        self.shown: dict[int, Array] = {}
        """Stretch -> what the panel showed in it, see `Panel.stretch`."""
        self.found: dict[int, tuple[Mark, ...]] = {}
        """Test -> what it gives; () where it cannot be made on this ride."""
        run.rides.add(self)

    @property
    def now(self) -> float:
        """Time it has come to [s]."""
        return self.shared.play.now

    @property
    def events(self) -> Sequence[RunEvent]:
        """What has happened on it."""
        return self.shared.play.plant.log.events

    @property
    def play(self) -> Play:
        """The run, to be looked at and copied."""
        return self.of(self.shared.play)

    def of(self, play: Play) -> Play:
        """A run that goes on from what is shared, as it is on this ride."""
        told = self.shared.fault
        if told is None or self.fault is None or self.fault == told:
            return play
        return play.renamed(told, self.fault)

    def run(self, panel: Panel, record: Record, cut: Sequence[Stretch]) -> None:
        """Runs it on to the end of a record that was cut into stretches; it may have been run
        over the first of them before.

        Raises
        ------
        SimulationError
            When it cannot be calculated.
        """
        if self._elsewhere is not None and self.shared.went_past(cut):
            self._take(self._elsewhere(cut))
        run = None
        while run is not self.shared:  # it may have left what it shared meanwhile
            run = self.shared
            run.run(panel, record, cut)
        for stretch in cut[self.shared.first :]:
            self.shown[stretch.number] = self.shared.shown[_part(stretch, cut)]

    def leave(self) -> None:
        """From now on it is another run than those that it has shared one with."""
        self._take(self.shared.apart(self))
        self._elsewhere = None

    def _take(self, run: Run) -> None:
        self.shared.rides.discard(self)
        self.shared = run
        run.rides.add(self)


_Part = tuple[int, float, bool]


def _part(stretch: Stretch, cut: Sequence[Stretch]) -> _Part:
    """A stretch, or as much of it as has been seen."""
    return stretch.number, stretch.ended, stretch.number == len(cut) - 1


class Run:
    """What is calculated of a ride, or of several that differ only in what is at fault.

    Parameters
    ----------
    first
        Number of the stretch that it sets out in.
    fault
        The one that was injected; None: there is none.
    """

    def __init__(self, play: Play, first: int, fault: FaultSpec | None = None) -> None:
        self.play, self.first, self.fault = play, first, fault
        self.rides: WeakSet[Ride] = WeakSet()
        self.shown: dict[_Part, Array] = {}
        """What the panel showed, see `Panel.stretch`."""
        self.acted = -1
        """The last stretch whose acts were done."""
        self._worked_on: set[str] = set()
        """Parts that were repaired, or whose handle was turned."""
        self._looks: set[Look] = set()
        """Those that were made."""
        self._looked: dict[Look, Play] = {}
        """The ride as a test of several looks saw it before."""
        self._stopped: UnfinishedError | InputError | None = None

    def takes(self, fault: FaultSpec) -> bool:
        """Whether a suspect that changes the same may still join: nothing was looked at or done yet
        that would have come otherwise for it."""
        alone = self.fault is None or self.fault.component in self._worked_on
        return not (self._looks or alone or fault.component in self._worked_on)

    def went_past(self, cut: Sequence[Stretch]) -> bool:
        """Whether it has passed the end of a stretch, or of what had been seen of it, without being
        looked at there."""
        return any(
            self.play.now > stretch.ended and _part(stretch, cut) not in self.shown
            for stretch in cut[self.first :]
        )

    def run(self, panel: Panel, record: Record, cut: Sequence[Stretch]) -> None:
        """See `Ride.run`."""
        if self._stopped is not None:
            raise self._stopped
        try:
            for stretch in cut[self.first :]:
                self._go_through(panel, record, stretch, _part(stretch, cut))
        except (UnfinishedError, InputError) as error:
            self._stopped = error
            raise

    def _go_through(self, panel: Panel, record: Record, stretch: Stretch, part: _Part) -> None:
        looks = [each for each in stretch.looks if each[1] not in self._looks]
        if part in self.shown and not looks:
            return
        if stretch.number > self.acted:
            self._act(stretch)
        for time, look in looks:
            if self.play.now <= time:
                self.play.advance(time)
                self._look(record, look)
        self.play.advance(stretch.ended)
        events = within(self.play.plant.log.events, stretch, part[-1])
        self.shown[part] = panel.stretch(stretch.began, events, panel.shown(self.play))

    def _act(self, stretch: Stretch) -> None:
        """Does what was done at the beginning of a stretch."""
        worked_on = {act.component for act in stretch.done if isinstance(act, Repair | Turn)}
        # what ends one fault does not end another
        if any(ride.fault and ride.fault.component in worked_on for ride in self.rides):
            for ride in list(self.rides):
                if ride.fault != self.fault:
                    ride.leave()
        self._worked_on |= worked_on
        self.play.schedule(Event(stretch.began, action) for action in stretch.done)
        self.acted = stretch.number

    def apart(self, ride: Ride) -> Run:
        """A run of its own for one of them, from here on."""
        new = Run(ride.of(self.play).snapshot(), self.first, ride.fault)
        new.shown, new.acted, new._worked_on = dict(self.shown), self.acted, set(self._worked_on)
        new._looks = set(self._looks)
        new._looked = {look: ride.of(play).snapshot() for look, play in self._looked.items()}
        return new

    def _look(self, record: Record, look: Look) -> None:
        self._looks.add(look)
        made = record.made[look.number]
        looks = len(made.looks)
        if look.place < looks - 1:
            self._looked[look] = self.play.snapshot()
            return
        before = [self._looked.pop(Look(look.number, place), None) for place in range(looks - 1)]
        for ride in self.rides:
            earlier = [None if each is None else ride.of(each) for each in before]
            try:
                found = marks(_test(ride.of(self.play), earlier, made, record))
            except InputError:
                found = ()
            ride.found[look.number] = found


def _test(play: Play, before: list[Play | None], made: Made, record: Record) -> Evidence | Fell:
    """A test made on a ride; `before`: what it was at the earlier looks.

    Raises
    ------
    InputError
        When it cannot be made there.
    """
    earlier = [each for each in before if each is not None]
    if len(earlier) < len(before):
        raise InputError("The ride set out after the test had begun.")
    if made.test == "cycle":
        component, _, side = made.target.rpartition(".")
        return cycled(earlier[0], earlier[1], play, component, side)
    if isinstance(made.found, Fell):
        first, last = (examine(each, "read", made.target, record.fitted)
                       for each in (earlier[0], play))  # fmt: skip
        assert isinstance(first, Reading) and isinstance(last, Reading)
        return Fell(first, last, made.found.seconds)
    return examine(play, made.test, made.target, record.fitted)


class Sound:
    """The ride without a fault, with its states at the beginning of every stretch."""

    def __init__(self, compiled: Compiled, panel: Panel, actors: Iterable[Actor] = ()) -> None:
        self.panel = panel
        self._compiled = compiled
        actors = tuple(actors)
        self.ride = Ride(Run(Play(compiled, rtol=RTOL, actors=actors), 0))
        self._replayed = not actors
        """Suspects take from it what does not differ; who acts besides may act otherwise there."""
        if self._replayed:
            reference.record(self.ride.play.plant, STEPS, VALUES)
        self._starts: list[Play] = []
        self._stands: tuple[FaultSpec, ...] = ()
        """What is wrong with it all the same."""
        self._changes: dict[FaultSpec, bytes] = {}
        """Fault -> what it changes, see `fingerprint`."""
        self._runs: WeakValueDictionary[tuple[int, float, bytes], Run] = WeakValueDictionary()
        """Stretch and time from which on something is changed -> the run."""

    def run(self, record: Record, cut: Sequence[Stretch]) -> None:
        """Runs it on to the end of a record. Raises SimulationError."""
        for stretch in cut:
            if stretch.number == len(self._starts):
                # up to where something is done, which belongs to the stretch that begins there
                self.ride.run(self.panel, record, cut[: stretch.number])
                self.ride.play.advance(stretch.began)
                before = self._starts[-1] if self._starts else None
                self._starts.append(self.ride.play.kept(before))
        self.ride.run(self.panel, record, cut)

    def with_fault(self, fault: FaultSpec, cut: Sequence[Stretch], number: int, at: float) -> Sound:
        """The ride with a fault from an instant [s] of a stretch on, for suspects of what is wrong
        besides. Raises InputError."""
        new = copy(self)
        start = self._starts[number].snapshot()
        if at > cut[number].began:
            start.schedule([Event(at, Inject(fault))])
        else:
            start.act(Inject(fault))
        new._starts = [*self._starts[:number], start]
        new._stands = (*self._stands, fault)
        new._changes, new._runs = {}, WeakValueDictionary()
        play = start.snapshot()
        if self._replayed:
            reference.record(play.plant, STEPS_MORE, VALUES_MORE)
        before = range(number)
        made = {look.number for each in cut[:number] for _, look in each.looks}
        new.ride = Ride(Run(play, number))
        new.ride.shown = {k: self.ride.shown[k] for k in before}
        new.ride.found = {n: self.ride.found[n] for n in made if n in self.ride.found}
        return new

    def again(self, number: int) -> Ride:
        """The ride without a fault once more, from the beginning of a stretch on."""
        return Ride(Run(self._start(number), number))

    def _start(self, number: int) -> Play:
        play = self._starts[number].snapshot()
        if self._replayed and len(play.plant.position.partition) > 1:
            reference.replay(play.plant, self.ride.play.plant.position.trajectory)
        return play

    def changes(self, fault: FaultSpec) -> bytes:
        """What a fault changes: equal for suspects whose rides are the same. Raises InputError."""
        if fault not in self._changes:
            self._changes[fault] = fingerprint(self._compiled, (*self._stands, fault))
        return self._changes[fault]

    def suspect(self, fault: FaultSpec, cut: Sequence[Stretch], number: int, at: float) -> Ride:
        """A ride that has a fault from an instant [s] of a stretch on, before anything is done
        then. Raises SimulationError, InputError."""
        key = (number, at, self.changes(fault))

        def joined(to: Sequence[Stretch]) -> Run:
            run = self._runs.get(key)
            if run is None or not run.takes(fault) or run.went_past(to):
                run = self._runs[key] = self._set_out(fault, cut[number], at)
            return run

        return Ride(joined(()), fault, joined)

    def _set_out(self, fault: FaultSpec, stretch: Stretch, at: float) -> Run:
        run = Run(self._start(stretch.number), stretch.number, fault)
        if at > stretch.began:
            run.play.schedule(Event(stretch.began, action) for action in stretch.done)
            run.acted = stretch.number
            run.play.advance(at)
        run.play.act(Inject(fault))
        return run
