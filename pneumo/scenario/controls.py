"""What moves a plant and the kernels do not know: current, coils, hands, and what faults do to
them."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from dataclasses import dataclass, field

from pneumo.network.builder import SpoolSpec
from pneumo.network.compile import Compiled
from pneumo.scenario.controller import Coil
from pneumo.scenario.inject import Overrides


@dataclass
class Controls:
    """Everything that is set from outside, at an instant."""

    power: bool = True
    """All electrical power, to coils and feeds."""
    off: set[str] = field(default_factory=set)
    """Supplies, feeds and soft starts that are switched off by hand."""
    coils: Mapping[Coil, bool] = field(default_factory=dict)
    """What the controller commands; the controller's own."""
    held: dict[Coil, None] = field(default_factory=dict)
    """Manual overrides that are held down, in the order in which they were."""
    handles: dict[int, float] = field(default_factory=dict)
    """Spool that is turned by hand -> where its handle was put: 1 in service, 0 isolated."""
    overrides: Overrides = field(default_factory=Overrides)
    """What the standing faults do; not to be changed."""

    @staticmethod
    def of(compiled: Compiled) -> Controls:
        """Those of a circuit at rest."""
        spools = enumerate(compiled.spools)
        return Controls(handles={k: spec.start for k, spec in spools if spec.by_hand})

    def copy(self, coils: Mapping[Coil, bool]) -> Controls:
        """An independent copy, for another controller's coils."""
        twin = copy.copy(self)
        twin.off, twin.coils = set(self.off), coils
        twin.held, twin.handles = dict(self.held), dict(self.handles)
        return twin

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
