"""What moves a plant and the kernels do not know: current, coils, hands, and what faults do to
them."""

from __future__ import annotations

import copy
from dataclasses import dataclass, field

from pneumo.network.builder import SpoolSpec
from pneumo.network.compile import Compiled
from pneumo.scenario.inject import Overrides

Coil = tuple[str, str]
"""Component and side."""

Place = tuple[str, int, str]
"""A number of the network: table, row, field."""


@dataclass
class Controls:
    """Everything that is set from outside, at an instant."""

    power: bool = True
    """All electrical power, to coils and feeds."""
    off: set[str] = field(default_factory=set)
    """Supplies, feeds and soft starts that are switched off by hand."""
    coils: dict[Coil, bool] = field(default_factory=dict)
    """What the controller commands: energised."""
    switched: dict[str, None] = field(default_factory=dict)
    """Components with a coil that was switched since the devices obeyed last."""
    changed: bool = False
    """Anything else that moves a device has changed since then."""
    held: dict[Coil, None] = field(default_factory=dict)
    """Manual overrides that are held down, in the order in which they were."""
    handles: dict[int, float] = field(default_factory=dict)
    """Spool that is turned by hand -> where its handle was put: 1 in service, 0 isolated."""
    altered: dict[Place, float] = field(default_factory=dict)
    """What stands in the network in place of what was compiled; faults come on top of it."""
    reshaped: bool = False
    """What is altered has changed since the network was built last."""
    overrides: Overrides = field(default_factory=Overrides)
    """What the standing faults do; not to be changed."""

    @staticmethod
    def of(compiled: Compiled) -> Controls:
        """Those of a circuit at rest."""
        spools = enumerate(compiled.spools)
        return Controls(handles={k: spec.start for k, spec in spools if spec.by_hand})

    def copy(self) -> Controls:
        """An independent copy."""
        new = copy.copy(self)
        new.off, new.coils, new.switched = set(self.off), dict(self.coils), dict(self.switched)
        new.held, new.handles = dict(self.held), dict(self.handles)
        new.altered = dict(self.altered)
        return new

    @property
    def overridden(self) -> tuple[str, ...]:
        """Coils "valve.14" whose manual override is held."""
        return tuple(f"{component}.{side}" for component, side in self.held)

    def switch(self, coil: Coil, on: bool) -> None:
        """A controller energises a coil, or does not."""
        if self.coils.get(coil) != on:
            self.coils[coil] = on
            self.switched[coil[0]] = None

    def alter(self, place: Place, value: float | None) -> None:
        """Puts a number of the plant's network [SI], None: the one that was compiled. Where it
        stands is looked up by name in `Compiled.parts`, which differ from one layout to another."""
        if value is None:
            self.altered.pop(place, None)
        else:
            self.altered[place] = value
        self.reshaped = True

    def runs(self, component: str) -> bool:
        """Neither switched off nor stopped by a fault."""
        return component not in self.off and component not in self.overrides.off

    def powered(self, feed: str | None) -> bool:
        """Whether an electrical feed has voltage; None: the power itself."""
        return self.power and (feed is None or self.runs(feed))

    def energised(self, spec: SpoolSpec, side: str) -> bool:
        """Whether current flows in a coil: commanded, fed, and the coil whole."""
        coil = (spec.component, side)
        wanted = spec.standing and side == "14" and spec.component not in self.off
        wanted = wanted or self.coils.get(coil, False)
        return self.overrides.coil_forced.get(coil, wanted) and self.powered(spec.feed)

    def drives(self, spec: SpoolSpec, side: str) -> bool:
        """Whether a coil or its manual override asks the spool to a side."""
        return (spec.component, side) in self.held or self.energised(spec, side)
