"""Whoever acts on a plant while it runs: a growing fault, a spool, the controller, a train.

A further actor is a class with these three methods, handed to `Play`; nothing else need know it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields
from typing import Protocol, Self

from pneumo.circuit.action import Action
from pneumo.network.compile import Compiled
from pneumo.scenario.agenda import Agenda
from pneumo.scenario.controller import Controller
from pneumo.scenario.faults import Faults
from pneumo.scenario.plant import Plant
from pneumo.scenario.spools import Spools
from pneumo.scenario.supplies import Supplies


class Actor(Protocol):
    """Acts at times of its own; only the loop of `Play` drives it."""

    def copy(self) -> Self:
        """An independent one that goes on from here: a run that is copied copies its actors."""
        ...

    def next_time(self) -> float:
        """When it next acts [s]; infinity: never by itself. The plant stops there exactly."""
        ...

    def act(self, plant: Plant) -> Iterable[Action]:
        """Does what is due at `plant.now`; `next_time` is later then. It may alter numbers of the
        plant (`Controls.alter`) and set its other controls (`Controls.changed`), and gives what is
        to be done to the ride as a scenario says it, at once and in this order."""
        ...


@dataclass
class Actors:
    """Everybody who acts in a run, in the order of their turns at one instant."""

    agenda: Agenda
    further: tuple[Actor, ...]
    """What the run was given besides: trains, people with a tool, other controllers."""
    faults: Faults
    supplies: Supplies
    spools: Spools
    controller: Controller

    @staticmethod
    def of(compiled: Compiled, plant: Plant) -> Actors:
        """Those of every run."""
        return Actors(
            Agenda(), (), Faults(compiled), Supplies(compiled), Spools(compiled),
            Controller(compiled, plant),
        )  # fmt: skip

    def __iter__(self) -> Iterator[Actor]:
        yield self.agenda
        yield from self.further
        yield from (self.faults, self.supplies, self.spools, self.controller)

    def copy(self) -> Actors:
        """Independent copies of all."""
        own = {field.name: getattr(self, field.name) for field in fields(self)}
        further = tuple(actor.copy() for actor in own.pop("further"))
        return Actors(further=further, **{name: actor.copy() for name, actor in own.items()})
