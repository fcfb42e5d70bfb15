"""Who may act in a run besides those of every run: each one small class."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from math import inf

from pneumo.circuit.action import Action, Command, Fin, ForceOutput, HandOverride
from pneumo.scenario.plant import Plant


@dataclass
class Train:
    """Comes round again and again, and is between the jaws of a zone for a while."""

    zone: str
    lap: float
    """[s]"""
    stays: float
    """[s]"""
    arrives: float
    """[s]"""
    here: bool = field(default=False)

    def copy(self) -> Train:
        return replace(self)

    def next_time(self) -> float:
        return self.arrives + self.stays if self.here else self.arrives

    def act(self, plant: Plant) -> Iterable[Action]:
        if self.here:
            self.arrives += self.lap
        self.here = not self.here
        return (Fin(self.zone, self.here),)


@dataclass
class Mechanic:
    """Holds the override of a valve down, until the gauge tells enough; then says close."""

    zone: str
    valve: str
    port: tuple[str, str]
    """Where the gauge is."""
    enough: float
    """[Pa absolute]"""
    looks: float
    """When he looks next [s]."""
    seen: list[float] = field(default_factory=list)

    def copy(self) -> Mechanic:
        return replace(self, seen=list(self.seen))

    def next_time(self) -> float:
        return self.looks

    def act(self, plant: Plant) -> Iterable[Action]:
        component, port = self.port
        self.seen.append(plant.pressure(plant.compiled.parts[component].ports[port]))
        if len(self.seen) == 1:
            self.looks = plant.now + 0.05
            return (HandOverride(self.valve, "14", True),)
        if self.seen[-1] < self.enough:
            self.looks = plant.now + 0.05
            return ()
        self.looks = inf
        return HandOverride(self.valve, "14", False), Command(self.zone, "close")


@dataclass
class Cabinet:
    """Another controller: commands a coil until a switch is ON, a while longer, and lets go. A real
    one on a bus would be read and written here."""

    switch: str
    coil: tuple[str, str]
    scans: float
    """When it scans next [s]."""
    period: float
    """[s]"""
    stays: float
    """[s]"""
    seen_on: float = inf
    """[s]"""

    def copy(self) -> Cabinet:
        return replace(self)

    def next_time(self) -> float:
        return self.scans

    def act(self, plant: Plant) -> Iterable[Action]:
        self.scans += self.period
        (watch,) = (c.watch for c in plant.compiled.contacts if c.component == self.switch)
        if plant.controls.overrides.contact_held.get(watch, bool(plant.on[watch])):
            self.seen_on = min(self.seen_on, plant.now)
        on = plant.now < self.seen_on + self.stays
        if plant.controls.coils.get(self.coil, False) == on:
            return ()
        return (ForceOutput(*self.coil, on),)


@dataclass
class Fitter:
    """Puts a path through a part to another conductance, and later back."""

    component: str
    path: str
    times_narrower: float
    begins: float
    """[s]"""
    ends: float = inf
    """[s]"""

    def copy(self) -> Fitter:
        return replace(self)

    def next_time(self) -> float:
        return self.begins

    def act(self, plant: Plant) -> Iterable[Action]:
        row = plant.compiled.parts[self.component].restrictions[self.path]
        place = ("restriction", row, "conductance")
        if self.begins == self.ends:
            plant.controls.alter(place, None)
            self.begins = inf
        else:
            compiled = float(plant.compiled.network.restriction[row]["conductance"])
            plant.controls.alter(place, compiled / self.times_narrower)
            self.begins = self.ends
        return ()
