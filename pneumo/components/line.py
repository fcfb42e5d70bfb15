"""What pipe, hose and tube share: friction and volume, cut into segments."""

from __future__ import annotations

import math
from typing import ClassVar

from pneumo.components.base import Component, FaultMode, Lowering, Port, Severity, Trait
from pneumo.components.common_faults import blocked, burst, hole_conductance, leak, throttled
from pneumo.components.fields import LineBore, LineLength, Roughness
from pneumo.components.fitting import both_ways
from pneumo.units import Count

SEGMENT_LENGTH = 10.0
"""Longest segment when the document does not say how many there are [m]."""

WALL_FILM = 20.0
"""Heat transfer between the air in a line and its wall [W/(m2 K)]: magnitude from memory."""

KINK = Severity(unit="", low=0.0, high=1.0, default=0.9, campaign=(0.9,))


class Line(Component):
    """A line of constant bore from port 1 to port 2.

    n segments have n friction elements (Darcy-Weisbach with Colebrook's factor, in the kernel)
    and n - 1 inner volumes of one segment, as small as they are; each port's node gets half a
    segment. The wall is as
    warm as the surroundings and exchanges WALL_FILM times the inner surface.

    Labels: friction "segment 1" ... "segment n"; inner volumes "inner 1" ... "inner n-1".
    """

    traits: ClassVar[frozenset[Trait]] = frozenset({"conduit", "repeatable"})
    leak_row: ClassVar[str] = ""
    burst_row: ClassVar[str] = ""
    blocked_row: ClassVar[str] = ""
    kinking_row: ClassVar[str] = ""
    kinks: ClassVar[bool] = False

    length: LineLength
    bore: LineBore
    roughness: Roughness
    segments: Count | None = None
    """None: one per 10 m, at least one."""

    def segment_count(self) -> int:
        """Number of segments, given or by length."""
        if self.segments is not None:
            return self.segments
        return max(1, math.ceil(self.length / SEGMENT_LENGTH - 1e-9))

    def line_length(self) -> float:
        return self.length

    def ports(self) -> tuple[Port, ...]:
        return (Port("1"), Port("2"))

    def passages(self) -> tuple[tuple[str, str], ...]:
        return both_ways(("1", "2"))

    def lower(self, low: Lowering) -> None:
        count = self.segment_count()
        length = self.length / count
        volume = math.pi / 4.0 * self.bore**2 * length
        heat = WALL_FILM * math.pi * self.bore * length
        nodes = [
            low.node("1"),
            *(low.inner_node(f"inner {i}", volume, heat) for i in range(1, count)),
            low.node("2"),
        ]
        low.add_volume(nodes[0], volume / 2.0, heat / 2.0)
        low.add_volume(nodes[-1], volume / 2.0, heat / 2.0)
        for i in range(count):
            low.pipe(
                f"segment {i + 1}",
                nodes[i],
                nodes[i + 1],
                self.bore,
                length,
                self.roughness,
                count,
            )

    def fault_modes(self) -> tuple[FaultMode, ...]:
        modes = (
            leak("2", self.leak_row),
            burst("2", hole_conductance(self.bore), self.burst_row),
            blocked(("segment 1",), self.blocked_row),
        )
        if not self.kinks:
            return modes
        middle = f"segment {(self.segment_count() + 1) // 2}"
        effect = "Kinked in the middle: little air passes."
        return (*modes, throttled("kinked", effect, (middle,), self.kinking_row, KINK))
