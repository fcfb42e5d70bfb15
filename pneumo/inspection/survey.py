"""What every cheap test would give at one instant of a run, next to another run of the same ride.

Thousands of runs are looked at at the same instant as a run without a fault, and of most of a
thousand tests the result is the same. `marks` is everything that these results depend on, to the
step of each instrument, found in one pass; from two of them `differing` tells at which tests the
results may differ, and only those are made. It may name a test too many, never one too few.

A bar at a jaw is left out: it is tried on a copy of the run.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from pneumo.circuit.circuit import PortRef
from pneumo.inspection.ear import BUBBLES, HISS, heard_through, hearing, joined
from pneumo.inspection.evidence import Evidence
from pneumo.inspection.examine import examined
from pneumo.inspection.gauge import GAUGE_STEP, points_of, zones_of
from pneumo.inspection.moment import Moment, Place
from pneumo.inspection.tests import ROWS, targets
from pneumo.network.compile import Compiled
from pneumo.scenario.play import Play

Pair = tuple[str, str]
"""Word of a test, and its target."""

LEVELS = (*(least for least, _ in HISS), BUBBLES)
"""Free air from which on it is heard or seen otherwise [L/s ANR]; `CARRIES` is one of them."""

IDLE = -1
"""A gauge that reads zero in a zone that is commanded to vent."""


@dataclass(frozen=True, eq=False, slots=True)
class Marks:
    """What the results of all cheap tests depend on, at one instant."""

    gauges: Any
    """(nread,) what a gauge shows at every test point [GAUGE_STEP], or IDLE."""
    driven: Any
    """(npart,) whether a part with air holds pressure that would drive it out."""
    blown: Mapping[str, tuple[tuple[Place, int], ...]]
    """Component -> where air escapes there, and how many of LEVELS it reaches; only where that is
    any."""
    pumping: tuple[bool, ...]
    """Of every part that is heard while it pumps."""
    others: tuple[Evidence, ...]
    """What all other tests give: that is found as fast as what it depends on."""


class Surveyor:
    """Makes marks of runs of one circuit, and tells two of them apart.

    Parameters
    ----------
    compiled
        The circuit, of which all runs are.
    fitted
        Ports "hose_1.2" at which a tee with a test point was fitted.
    """

    def __init__(self, compiled: Compiled, fitted: Collection[str] = ()) -> None:
        self._compiled, self._fitted = compiled, tuple(fitted)
        made_at = {row.word: targets(compiled.circuit, row.target) for row in ROWS}
        parts, inside = compiled.parts, compiled.network.dynamic

        points, zones = points_of(compiled, frozenset(fitted)), zones_of(compiled)
        ports = {target: PortRef(*target.split(".")) for target in made_at["read"]}
        ports = {target: port for target, port in ports.items() if port in points}
        self._reads: tuple[Pair, ...] = tuple(("read", target) for target in ports)
        nodes = [parts[port.component].ports[port.port] for port in ports.values()]
        self._read_node = np.array(nodes, int)
        # the last number is of no zone: never commanded to vent
        self._zones = tuple(compiled.circuit.zones)
        number = {zone: k for k, zone in enumerate(self._zones)}
        of_zone = [number.get(zones.get(p.component, ""), len(number)) for p in ports.values()]
        self._read_zone = np.array(of_zone, int)

        self._parts = made_at["listen"]
        most = max((len(parts[name].ports) for name in self._parts), default=0)
        self._part_nodes = np.full((len(self._parts), most), inside)
        for k, name in enumerate(self._parts):
            nodes = list(parts[name].ports.values())
            self._part_nodes[k, : len(nodes)] = nodes
        self._joined, self._hearing = joined(compiled), hearing(compiled)
        self._heard_at: dict[str, list[str]] = {}
        for name in self._parts:
            for other in heard_through(compiled, name):
                self._heard_at.setdefault(other, []).append(name)

        self._others: tuple[Pair, ...] = tuple(
            (word, target)
            for word, all_of_them in made_at.items()
            if word not in ("read", "listen", "soap", "pry")
            for target in all_of_them
        )

    @property
    def pairs(self) -> tuple[Pair, ...]:
        """Every cheap test there is."""
        air = [(test, name) for test in ("listen", "soap") for name in self._parts]
        return (*self._reads, *air, *self._others)

    def marks(self, play: Play) -> Marks:
        """Of a run as it stands. Raises ValueError when it is not of this compiled circuit."""
        if play.compiled is not self._compiled:
            raise ValueError("the run is of another compiled circuit than the surveyor")
        at = Moment(play)
        shown = np.rint(np.maximum(at.above[self._read_node], 0.0) / GAUGE_STEP).astype(np.int32)
        logic, supplies = play.actors.controller.logic, play.actors.supplies
        vented = np.array([*(not logic.zones[zone].charge for zone in self._zones), False])
        shown[(shown == 0) & vented[self._read_zone]] = IDLE
        return Marks(
            gauges=shown,
            driven=at.driven[self._part_nodes].any(axis=1),
            blown=_blown(at),
            pumping=tuple(supplies.delivers(play.plant, name) for name in self._hearing),
            others=tuple(examined(at, test, target) for test, target in self._others),
        )

    def differing(self, marks: Marks, reference: Marks) -> tuple[Pair, ...]:
        """Tests whose results may differ between two runs, in the order of `pairs`."""
        listened: set[str] = set()
        soaped: set[str] = set()
        for k in np.flatnonzero(marks.driven != reference.driven).tolist():
            soaped.add(self._parts[k])
            listened.update(self._heard_at.get(self._parts[k], ()))
        for name in marks.blown.keys() | reference.blown.keys():
            if marks.blown.get(name) != reference.blown.get(name):
                soaped.add(name)
                listened.update((name, *self._joined[name]))
        for pumps, pumped, near in zip(
            marks.pumping, reference.pumping, self._hearing.values(), strict=True
        ):
            if pumps != pumped:
                listened |= near
        read = np.flatnonzero(marks.gauges != reference.gauges).tolist()
        seen = zip(self._others, marks.others, reference.others, strict=True)
        return (
            *(self._reads[k] for k in read),
            *(("listen", name) for name in self._parts if name in listened),
            *(("soap", name) for name in self._parts if name in soaped),
            *(pair for pair, one, other in seen if one != other),
        )

    def evidence(self, play: Play, pairs: Iterable[Pair]) -> dict[Pair, Evidence]:
        """What some tests give on a run as it stands: what `examine` gives."""
        at = Moment(play)
        return {(test, target): examined(at, test, target, self._fitted) for test, target in pairs}


def _blown(at: Moment) -> dict[str, tuple[tuple[Place, int], ...]]:
    found = {}
    for component, flows in at.escaping.items():
        levels = ((place, sum(flow >= least for least in LEVELS)) for place, flow in flows.items())
        if reached := tuple((place, level) for place, level in levels if level):
            found[component] = reached
    return found
