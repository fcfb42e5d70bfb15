"""What moves a plant and the kernels do not know: current, coils, hands, and what faults do to
them."""

from __future__ import annotations

import copy
from collections.abc import Mapping
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
    crossed: Mapping[Coil, Coil] = field(default_factory=dict)
    """Coil -> the output whose plug is on it, named by its own coil; only those that were swapped.
    """
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
    specs: Mapping[str, SpoolSpec] = field(default_factory=dict)
    """Of every component whose spool coils drive; never changed."""

    @staticmethod
    def of(compiled: Compiled) -> Controls:
        """Those of a circuit at rest."""
        return Controls(
            handles={k: spec.start for k, spec in enumerate(compiled.spools) if spec.by_hand},
            specs={spec.component: spec for spec in compiled.spools if not spec.by_hand},
        )

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

    @property
    def swapped(self) -> tuple[tuple[str, str], ...]:
        """(coil, output whose plug is on it) wherever it is not its own, both "valve.14"."""
        return tuple((".".join(coil), ".".join(output)) for coil, output in self.crossed.items())

    def switch(self, coil: Coil, on: bool) -> None:
        """A controller energises a coil, or does not."""
        if self.coils.get(coil) != on:
            self.coils[coil] = on
            self.switched[self._plugged_on(coil)[0]] = None

    def swap(self, one: Coil, other: Coil) -> None:
        """Exchanges the plugs of two coils."""
        crossed = self.crossed
        plugs = {one: crossed.get(other, other), other: crossed.get(one, one)}
        self.crossed = {
            coil: output for coil, output in {**crossed, **plugs}.items() if coil != output
        }
        self.changed = True

    def _plugged_on(self, output: Coil) -> Coil:
        """The coil that the plug of an output is on."""
        return next((coil for coil, plug in self.crossed.items() if plug == output), output)

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

    def has_voltage(self, coil: Coil) -> bool:
        """Whether voltage arrives at a coil: the output whose plug is on it is on, and fed."""
        output = self.crossed.get(coil, coil)
        spec = self.specs[output[0]]
        wanted = spec.standing and output[1] == "14" and spec.component not in self.off
        wanted = wanted or self.coils.get(output, False)
        return self.overrides.output_forced.get(output, wanted) and self.powered(spec.feed)

    def energised(self, coil: Coil) -> bool:
        """Whether current flows in a coil: it has voltage, and its winding is whole."""
        return coil not in self.overrides.coils_open and self.has_voltage(coil)

    def drives(self, coil: Coil) -> bool:
        """Whether a coil or its manual override asks the spool to its side."""
        return coil in self.held or self.energised(coil)
