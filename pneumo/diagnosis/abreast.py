"""Rides kept abreast of the real one: the same circuit and the same acts, with a fault or without.

A ride is run stretch by stretch. What it shows on the panel and what each test would give on it is
kept as numbers. The one without a fault is kept with its states, from which suspects set out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from copy import copy
from dataclasses import dataclass, field

from pneumo.circuit.action import FaultSpec, Inject
from pneumo.circuit.circuit import Event
from pneumo.diagnosis.marks import Mark, marks
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.record import Look, Made, Record, Stretch, within
from pneumo.drill.entry import Fell
from pneumo.errors import InputError
from pneumo.inspection.evidence import Evidence, Reading
from pneumo.inspection.examine import examine
from pneumo.inspection.hand import cycled
from pneumo.network.compile import Compiled
from pneumo.network.network import Array
from pneumo.scenario import reference
from pneumo.scenario.actor import Actor
from pneumo.scenario.play import Play

STEPS, VALUES = 100_000, 30_000_000
"""Room for the steps of the ride without a fault: hours of a ride with six zones. Beyond it
suspects are calculated whole."""

STEPS_MORE, VALUES_MORE = 40_000, 8_000_000
"""The same of a ride with a fault."""


@dataclass
class Ride:
    """One ride, as far as it was run."""

    play: Play
    first: int
    """Number of the stretch that it sets out in."""
    shown: dict[int, Array] = field(default_factory=dict)
    """Stretch -> what the panel showed in it, see `Panel.stretch`."""
    found: dict[int, tuple[Mark, ...]] = field(default_factory=dict)
    """Test -> what it gives; () where it cannot be made on this ride."""
    _acted: int = -1
    """The last stretch whose acts were done."""
    _looked: dict[Look, Play] = field(default_factory=dict)
    """The ride as a test of several looks saw it before."""

    def run(self, panel: Panel, record: Record, cut: Sequence[Stretch]) -> None:
        """Runs it on to the end of a record that was cut into stretches; it may have been run
        over the first of them before.

        Raises
        ------
        SimulationError
            When it cannot be calculated.
        """
        for stretch in cut[self.first :]:
            last = stretch.number == len(cut) - 1
            if stretch.number < self._acted or (
                not last and stretch.number in self.shown and self.play.now >= stretch.ended
            ):
                continue
            if stretch.number > self._acted:
                self.play.schedule(Event(stretch.began, action) for action in stretch.done)
                self._acted = stretch.number
            for time, look in stretch.looks:
                if look.number not in self.found and self.play.now <= time:
                    self.play.advance(time)
                    self._look(record, look)
            self.play.advance(stretch.ended)
            events = within(self.play.plant.log.events, stretch, last)
            ends = panel.shown(self.play)
            self.shown[stretch.number] = panel.stretch(stretch.began, events, ends)

    def _look(self, record: Record, look: Look) -> None:
        made = record.made[look.number]
        looks = len(made.looks)
        if look.place < looks - 1:
            self._looked[look] = self.play.snapshot()
            return
        before = [self._looked.pop(Look(look.number, place), None) for place in range(looks - 1)]
        try:
            self.found[look.number] = marks(_test(self.play, before, made, record))
        except InputError:
            self.found[look.number] = ()


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
        actors = tuple(actors)
        self.ride = Ride(Play(compiled, actors=actors), 0)
        self._replayed = not actors
        """Suspects take from it what does not differ; who acts besides may act otherwise there."""
        if self._replayed:
            reference.record(self.ride.play.plant, STEPS, VALUES)
        self._starts: list[Play] = []

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
        play = start.snapshot()
        if self._replayed:
            reference.record(play.plant, STEPS_MORE, VALUES_MORE)
        before = range(number)
        made = {look.number for each in cut[:number] for _, look in each.looks}
        new.ride = Ride(
            play, number,
            {k: self.ride.shown[k] for k in before},
            {n: self.ride.found[n] for n in made if n in self.ride.found},
        )  # fmt: skip
        return new

    def again(self, number: int) -> Ride:
        """The ride without a fault once more, from the beginning of a stretch on."""
        return Ride(self._start(number), number)

    def _start(self, number: int) -> Play:
        play = self._starts[number].snapshot()
        if self._replayed and len(play.plant.position.partition) > 1:
            reference.replay(play.plant, self.ride.play.plant.position.trajectory)
        return play

    def suspect(self, fault: FaultSpec, cut: Sequence[Stretch], number: int, at: float) -> Ride:
        """A ride that has a fault from an instant [s] of a stretch on, before anything is done
        then. Raises SimulationError, InputError."""
        ride = Ride(self._start(number), number)
        play, stretch = ride.play, cut[number]
        if at > stretch.began:
            play.schedule(Event(stretch.began, action) for action in stretch.done)
            ride._acted = number
            play.advance(at)
        play.act(Inject(fault))
        return ride
