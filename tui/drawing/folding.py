"""Which branches may be drawn as one: those whose drawn values are alike in a frame."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

from pneumo.circuit.circuit import PortRef
from pneumo.live.frame import Frame
from pneumo.live.plant import Plant
from pneumo.schematic.sheet import Fold, twins
from tui.drawing.glyphs import FLOW

GAP = 1e-4
"""Gaps and travels that differ by less look alike [m]."""
PRESSURE = 1e3
"""The same for pressures [Pa]."""


class Likeness:
    """Compares the branches of a fold in a frame. Sees nothing but the frame, so that a seat is
    not told by the drawing what it may not see."""

    def __init__(self, plant: Plant, fold: Fold) -> None:
        port = {ref: i for i, ref in enumerate(plant.ports)}
        brake = {name: i for i, name in enumerate(plant.brakes)}
        cylinder = {name: i for i, name in enumerate(plant.cylinders)}
        contact = {item.name: i for i, item in enumerate(plant.inputs)}
        self._members = frozenset(name for row in twins(fold) for name in row)
        # each row: the same place in every branch
        self._gaps: list[list[int]] = []
        self._travels: list[list[int]] = []
        self._inputs: list[list[int]] = []
        self._flows: list[list[int]] = []
        self._nets: list[list[int]] = []
        for row in twins(fold):
            for where, found in ((brake, self._gaps), (cylinder, self._travels),
                                 (contact, self._inputs)):  # fmt: skip
                if row[0] in where:
                    found.append([where[name] for name in row])
            for each in plant.circuit.components[row[0]].ports():
                refs = [PortRef(name, each.name) for name in row]
                self._flows.append([port[ref] for ref in refs])
                self._nets.append([plant.net_of[ref] for ref in refs])

    def alike(self, frame: Frame) -> bool:
        """Whether one drawing tells the truth about all branches."""
        if any(fault.component in self._members and fault.present for fault in frame.faults):
            return False
        trapped = [i in frame.trapped for i in range(len(frame.pressures))]
        return (
            not any(_differs(_of(frame.flows, row)) for row in self._flows)
            and _near(frame.pressures, self._nets, PRESSURE)
            and _same(trapped, self._nets)
            and _same(frame.inputs, self._inputs)
            and _same(frame.forced_inputs, self._inputs)
            and _near(frame.gaps, self._gaps, GAP)
            and _near(frame.travels, self._travels, GAP)
        )


T = TypeVar("T")


def _of(values: Sequence[T], places: Sequence[int]) -> list[T]:
    return [values[i] for i in places]


def _same(values: Sequence[object], rows: Sequence[Sequence[int]]) -> bool:
    return all(len(set(_of(values, row))) == 1 for row in rows)


def _near(values: Sequence[float | None], rows: Sequence[Sequence[int]], most: float) -> bool:
    return all(_spread(_of(values, row)) <= most for row in rows)


def _spread(values: Sequence[float | None]) -> float:
    seen = [value for value in values if value is not None]
    if len(seen) < len(values):
        return float("inf") if seen else 0.0
    return max(seen) - min(seen)


def _differs(flows: Sequence[float | None]) -> bool:
    """Whether the arrowheads would differ, and not only because a flow is near the threshold."""
    heads = {None if f is None else (f > FLOW) - (f < -FLOW) for f in flows}
    return len(heads) > 1 and _spread(flows) > FLOW
