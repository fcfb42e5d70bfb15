"""What may be wrong with a ride: every fault mode of every part, and what would mend it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

from pneumo.circuit.action import FaultSpec
from pneumo.circuit.circuit import Circuit
from pneumo.circuit.failures import prior
from pneumo.components.base import Component, Ending, FaultMode
from pneumo.components.severity import Side, sides

GRADES = (0.0, 0.35, 0.65, 0.85, 1.0)
"""Places on the scale of a severity at which each fault mode is calculated beforehand: closer where
a path is nearly shut, since what comes of it changes fastest there."""


class Spot(NamedTuple):
    """Where a fault is mended: whoever knows that much can mend the ride."""

    component: str
    side: str
    """Of the coil that is worked on, with its wire and output; "" = the part itself."""


@dataclass(frozen=True)
class Candidate:
    """A fault mode of a part, all or nothing or of any severity on one side of what is normal."""

    component: str
    mode: str
    spot: Spot
    ended_by: tuple[Ending, ...]
    """Repairs at that spot that end it."""
    prior: float
    """How probable it is before anything was seen, beside the others [-]."""
    sticks: bool
    """What comes of it depends on where the part stood when it struck."""
    side: Side | None = None
    """The scale of its severity; None: all or nothing."""
    unit: str = ""
    freezes: bool = False
    """An instrument shows on what it showed when it struck."""

    @property
    def grades(self) -> tuple[float, ...]:
        """Places on its scale at which it is calculated beforehand."""
        if self.side is None:
            return (1.0,)
        # a mode with few steps has several places for one severity
        found = {self.side.at(place): place for place in GRADES}
        return tuple(found.values())

    def fault(self, place: float) -> FaultSpec:
        """The fault at a place of its scale."""
        severity = None if self.side is None else self.side.at(place)
        return FaultSpec(self.component, self.mode, severity, self.unit)


def candidates(circuit: Circuit) -> tuple[Candidate, ...]:
    """All that may be wrong with a ride, in document order."""
    found: list[Candidate] = []
    for name, component in circuit.components.items():
        for mode in component.fault_modes():
            ways = (None,) if mode.severity is None else sides(mode.severity)
            held = _held(component, mode)
            found += [
                Candidate(
                    component=name,
                    mode=mode.name,
                    spot=Spot(name, mode.side),
                    ended_by=mode.ended_by,
                    prior=prior(circuit, name, mode.name) / len(ways),
                    sticks=held.holds,
                    side=side,
                    unit="" if mode.severity is None else mode.severity.unit,
                    freezes=held.freezes,
                )
                for side in ways
            ]
    return tuple(found)


def _held(component: Component, mode: FaultMode) -> _HoldListener:
    """What a fault holds where it is."""
    listener = _HoldListener()
    severity = 1.0 if mode.severity is None else mode.severity.default
    mode.inject(component, listener, severity)
    return listener


class _HoldListener:
    """A `FaultTarget` that only notes whether something is held where it is."""

    def __init__(self) -> None:
        self.holds = self.freezes = False

    def hold_spool(self, position: float | None) -> None:
        self.holds = self.holds or position is None

    def seize(self) -> None:
        self.holds = True

    def drag(self, force: float) -> None:
        self.holds = True

    def freeze_reading(self) -> None:
        self.holds = self.freezes = True

    def hold_contact(self, on: bool) -> None:
        # a contact that contradicts the others may trip a zone at one end, and none at the other
        self.holds = True

    def __getattr__(self, name: str) -> Callable[..., None]:
        return _nothing


def _nothing(*arguments: object) -> None:
    pass
