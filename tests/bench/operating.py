"""What a bench of faults plays: faults drawn evenly in a ride in normal operation, instruments that
are not perfect. All of it by a seed, for any ride, whole or in part."""

from __future__ import annotations

import random
from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace

from pneumo.circuit.action import FaultSpec
from pneumo.circuit.circuit import Circuit
from pneumo.circuit.graph import role
from pneumo.circuit.zones import component_zones, territories, zone_feeds
from pneumo.components.base import FaultMode
from pneumo.components.severity import sides
from pneumo.inspection.ear import HISS
from pneumo.inspection.evidence import Evidence, Heard, Outflow, Pulled, Reading
from pneumo.inspection.gauge import GAUGE_STEP, to_step
from pneumo.inspection.hand import CELL_STEP
from pneumo.making.operating import Sequence, operating_sequence
from pneumo.scenario.event import ContactRead, RunEvent


def part_of_ride(circuit: Circuit, names: Collection[str]) -> Circuit:
    """A ride with some of its zones and groups of gates only, and all that they share: where the
    others hang on is a plug.

    Raises
    ------
    ValueError
        When there is no such zone, or what is left needs a part of another one.
    """
    if unknown := set(names) - {*circuit.zones, *circuit.gates}:
        raise ValueError(f"{circuit.path} has no zone or gates {', '.join(sorted(unknown))}")
    owners = {part: zone for zone, own in territories(circuit).items() for part in own}
    owners |= component_zones(circuit, zone_feeds(circuit))
    components = {
        part: each
        for part, each in circuit.components.items()
        if owners.get(part) in (None, *names)
    }
    connections = []
    for link in circuit.connections:
        ends = [end for end in (link.a, link.b) if end is not None]
        left = [end for end in ends if end.component in components]
        if len(left) == len(ends):
            connections.append(link)
        elif left and role(circuit, left[0]) == "pilot":
            raise ValueError(f"{left[0]} is piloted from a part of another zone")
        elif left:
            connections.append(replace(link, a=left[0], b=None, end="plug"))
    ride = circuit.ride
    return replace(
        circuit,
        components=components,
        connections=tuple(connections),
        zones={name: zone for name, zone in circuit.zones.items() if name in names},
        gates={name: group for name, group in circuit.gates.items() if name in names},
        scenarios={},
        ride=ride.model_copy(update={
            "supply_switches": tuple(n for n in ride.supply_switches if n in components),
            "test_points": tuple(p for p in ride.test_points if p.partition(".")[0] in components),
        }),
    )  # fmt: skip


@dataclass(frozen=True)
class DrawnFault:
    """A fault in a ride under way."""

    fault: FaultSpec
    """`at`: when it begins."""
    sequence: Sequence
    """What the ride does meanwhile."""


def drawn_faults(
    circuit: Circuit, n: int, seed: int, *, on_grid: bool = False
) -> tuple[DrawnFault, ...]:
    """Faults drawn evenly from every mode of every component, each by itself.

    Severity: evenly on either side of its scale (`components.severity`); onset: at any instant of a
    sequence of its own. `on_grid`: one of the grades of a campaign, at time zero.
    """
    draw = random.Random(f"faults {seed}")
    pool = [
        (name, mode)
        for name, component in circuit.components.items()
        for mode in component.fault_modes()
    ]
    found = []
    for number in range(n):
        name, mode = draw.choice(pool)
        severity = _severity(mode, draw, on_grid=on_grid)
        sequence = operating_sequence(circuit, draw.getrandbits(32) ^ number)
        onset = 0.0 if on_grid else round(draw.uniform(0.0, sequence[-1][0]), 3)
        unit = mode.severity.unit if mode.severity else ""
        found.append(DrawnFault(FaultSpec(name, mode.name, severity, unit, onset), sequence))
    return tuple(found)


def _severity(mode: FaultMode, draw: random.Random, *, on_grid: bool) -> float | None:
    if mode.severity is None:
        return None
    if on_grid:
        return draw.choice(mode.severity.campaign)
    return draw.choice(sides(mode.severity)).at(draw.random())


JITTER = 2e-3
"""A contact closes so much earlier or later at most [s]; estimated, as all that follows."""

GAIN = 0.005
"""A gauge shows so much more or less at most, always the same [-]."""

MISREAD = 0.1
"""Readings of a gauge or a load cell that are off by a step [-]."""

MISHEARD = 0.02
"""Hisses that are taken for the next louder or fainter [-]."""

_LOUDNESS = tuple(name for _, name in reversed(HISS))


class Noise:
    """Instruments and senses of one job: the same records in the same order give the same."""

    def __init__(self, seed: int) -> None:
        self._draw = random.Random(f"noise {seed}")
        self.gain = 1.0 + self._draw.uniform(-GAIN, GAIN)
        """Of the gauge [-]."""

    def evidence(self, record: Evidence) -> Evidence:
        """What a test has given, as it was taken down."""
        if isinstance(record, Reading):
            return replace(record, shown=self._gauge(record.shown))
        if isinstance(record, Heard):
            return replace(record, outflows=tuple(map(self._heard, record.outflows)))
        if isinstance(record, Pulled):
            moves, returns = self._cell(record.moves), self._cell(record.returns)
            return replace(record, moves=moves, returns=returns)
        return record

    def _gauge(self, shown: float) -> float:
        """Nothing is read at a gauge whose needle lies on its pin."""
        if shown == 0.0:
            return shown
        return max(to_step(shown * self.gain) + self._step(GAUGE_STEP), 0.0)

    def _cell(self, force: float | None) -> float | None:
        return None if force is None else max(force + self._step(CELL_STEP), 0.0)

    def _step(self, step: float) -> float:
        if self._draw.random() >= MISREAD:
            return 0.0
        return self._draw.choice((-step, step))

    def _heard(self, outflow: Outflow) -> Outflow:
        if self._draw.random() >= MISHEARD:
            return outflow
        place = _LOUDNESS.index(outflow.loudness) + self._draw.choice((-1, 1))
        return replace(outflow, loudness=_LOUDNESS[min(max(place, 0), len(_LOUDNESS) - 1)])

    def events(self, events: Iterable[RunEvent], scan: float) -> tuple[RunEvent, ...]:
        """What the controller has recorded, contacts that lay near a scan read at the one before or
        after it; `scan`: its period [s].

        A contact closes anywhere between two scans. One that is off by j is read at another scan
        when the scan lies within j of it.
        """
        last: dict[str, float] = {}
        found = []
        for event in events:
            if isinstance(event.what, ContactRead):
                jitter = self._draw.uniform(-JITTER, JITTER)
                lies = self._draw.uniform(-scan, 0.0)  # before the scan that has read it
                other = 0.0
                if lies + jitter > 0.0:
                    other = scan
                elif lies + jitter <= -scan:
                    other = -scan
                time = max(event.time + other, last.get(event.subject, 0.0))
                last[event.subject] = time
                event = replace(event, time=time)
            found.append(event)
        return tuple(sorted(found, key=lambda event: event.time))
