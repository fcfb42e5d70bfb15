"""What receiver, accumulator and manifold share: one volume behind several ports."""

from __future__ import annotations

from typing import ClassVar

from pneumo.components.base import Component, FaultMode, Lowering, Port, Quantity
from pneumo.components.common_faults import burst, hole_conductance, leak
from pneumo.components.fitting import both_ways

BURST_HOLE = 0.025
"""Hole left by a torn-out connection of a vessel [m]: a G1 thread, near enough."""


class Vessel(Component):
    """One volume of air; all its ports, "1" to "n", are the same place.

    Subclasses give their `size` and the rows of ISO 13849-2 that their faults answer.
    """

    quantities: ClassVar[tuple[Quantity, ...]] = ("pressure",)
    leak_row: ClassVar[str] = ""
    burst_row: ClassVar[str] = ""

    def size(self) -> tuple[float, float | None, int]:
        """Volume [m3], wall conductance [W/K] (None: estimated from the volume), ports."""
        raise NotImplementedError

    def ports(self) -> tuple[Port, ...]:
        count = self.size()[2]
        return tuple(Port(str(number)) for number in range(1, count + 1))

    def merged_ports(self) -> tuple[tuple[str, ...], ...]:
        return (tuple(port.name for port in self.ports()),)

    def passages(self) -> tuple[tuple[str, str], ...]:
        # a star: its ports are one volume, so every other pair follows through port 1
        return both_ways(*(("1", port.name) for port in self.ports()[1:]))

    def lower(self, low: Lowering) -> None:
        volume, heat, _ = self.size()
        low.add_volume(low.node("1"), volume, heat)

    def fault_modes(self) -> tuple[FaultMode, ...]:
        return (
            leak("1", self.leak_row),
            burst(
                "1",
                hole_conductance(BURST_HOLE),
                self.burst_row,
                effect="Burst or vented: its air, and the air behind it, is lost in seconds.",
            ),
        )
