"""Which gauges tell that a part is without pressure: those to which its air would come.

A zero counts for a part only when air from it would come to the gauge as the ride stands: through
lines, through a check valve or a shuttle the way air lifts it, through a valve as its handle and
the lamps at its plugs say it stands. What a fault does to the way nobody sees: a gauge behind a
hose that is blocked reads zero, too.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any

from pneumo.circuit.circuit import PortRef
from pneumo.circuit.couplings import test_points
from pneumo.errors import InputError
from pneumo.inspection.gauge import nearest
from pneumo.inspection.target import kind_told
from pneumo.network.compile import Compiled
from pneumo.scenario.play import Play

LIFTS = 0.5e5
"""A valve that air opens at no more than this lets it come to the gauge [Pa]; estimated."""


def proving_gauges(play: Play, component: str, fitted: Collection[str] = ()) -> tuple[PortRef, ...]:
    """Test points at which zero at every port of a part is read, each once, in the order of the
    ports; () of a part that is open to the air.

    Raises
    ------
    InputError
        When the part holds no air, or no gauge tells of one of its ports.
    """
    compiled = play.compiled
    ports = compiled.parts[component].ports
    if not ports:
        raise InputError(
            f"{component} is {kind_told(compiled, component)} and holds no air; choose a part "
            "that does."
        )
    known = test_points(compiled.circuit, fitted)
    points: dict[int, PortRef] = {}
    named = (*compiled.circuit.ride.test_points, *fitted)  # as somebody would call them
    for ref in (*(PortRef(*name.split(".")) for name in named), *_every_port(compiled)):
        if ref in known:
            points.setdefault(compiled.parts[ref.component].ports[ref.port], ref)
    lifted, always = _Ways(play, lifted=True), _Ways(play, lifted=False)
    found: dict[PortRef, None] = {}
    for port, node in ports.items():
        gauge = next((points[each] for each in lifted.from_(node) if each in points), None)
        if gauge is not None:
            found[gauge] = None
        elif not any(each >= compiled.network.dynamic for each in always.from_(node)):
            raise InputError(_untold(compiled, PortRef(component, port), known))
    return tuple(found)


def _every_port(compiled: Compiled) -> Iterator[PortRef]:
    return (PortRef(name, port) for name, part in compiled.parts.items() for port in part.ports)


def _untold(compiled: Compiled, port: PortRef, known: Collection[PortRef]) -> str:
    near = ", ".join(map(str, nearest(compiled, port, known))) or "there is none"
    return (
        f"Zero cannot be proved at {port}: as the ride stands, its air comes to no test point. The "
        f"nearest: {near}. Open the way to one of them, or fit a tee: fit gauge {port}."
    )


class _Ways:
    """Where air goes in a circuit without any fault, as its valves stand.

    `lifted`: also through what coils and air open, as far as can be seen; else only through what
    always is open or stands open by its handle: a port counts as open to the air only so.
    """

    def __init__(self, play: Play, *, lifted: bool) -> None:
        self._play = play
        self._lifted = lifted
        self._outside = play.compiled.network.dynamic
        self._from: dict[int, dict[int, None]] = {}
        for row in play.compiled.network.restriction:
            if row["conductance"] > 0.0 and row["open_max"] > 0.0:
                for start, end in self._directions(row):
                    self._from.setdefault(start, {})[end] = None

    def from_(self, start: int) -> list[int]:
        """Nodes to which air comes from one, the nearest first; from the open air it does not."""
        reached = [start]
        for node in reached:
            if node < self._outside:
                reached += [other for other in self._from.get(node, ()) if other not in reached]
        return reached

    def _directions(self, row: Any) -> Iterator[tuple[int, int]]:
        """Ways that air takes through a path."""
        a, b, spool, hi = (int(row[name]) for name in ("a", "b", "spool", "hi"))
        if not self._lifted and (hi >= 0 or row["stem"] >= 0 or not self._by_hand(spool)):
            return
        if row["stem"] >= 0 and b >= self._outside:
            return  # a regulator relieves only what is above its setting
        if spool >= 0:
            span = float(row["spool_open"] - row["spool_closed"])
            if (_stands(self._play, spool) - float(row["spool_closed"])) / span < 0.5:
                return
        if hi < 0:
            yield from ((a, b), (b, a))
        elif hi in (a, b) and row["threshold"] <= LIFTS:
            yield hi, b if hi == a else a

    def _by_hand(self, spool: int) -> bool:
        return spool < 0 or spool in self._play.plant.controls.handles


def _stands(play: Play, spool: int) -> float:
    """Where a valve's spool stands for whoever looks at its handle or at the lamps in its plugs."""
    controls = play.plant.controls
    if spool in controls.handles:
        return controls.handles[spool]
    spec = play.compiled.spools[spool]
    for side, position in (("14", spec.at_14), ("12", spec.at_12)):
        coil = (spec.component, side)
        if position is None or side not in play.compiled.circuit.components[coil[0]].coils():
            continue
        if coil in controls.held or controls.has_voltage(coil):
            return position
    return play.actors.spools.position(play.plant, spec.component) if spec.memory else spec.rest
