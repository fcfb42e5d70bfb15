"""What a verification runs: every loss of air or power and every single fault, in each operating
state. Plain data; every case is written in the sentences of a scenario, so that `pneumo run`
replays it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from pneumo.circuit.action import Action, Command, FaultSpec, Inject, Power, Switch
from pneumo.circuit.circuit import Circuit, PortRef
from pneumo.circuit.graph import (
    air_graph,
    distances,
    supply_ports,
)
from pneumo.circuit.symmetry import alike, equivalents
from pneumo.circuit.zones import component_zones, zone_feeds
from pneumo.components.base import FaultMode
from pneumo.verification.case import Condition, Injection, Loss

READY = 20.0
"""Time the zones are given to come to rest in a state before anything is tried [s]."""

DRAIN = 8e-3
"""Hole left open at each receiver while it drains after its compressors stopped [m]: an invented
drain cock."""

DRAINED = 120.0
"""From the stop of the compressors to the demand, while the receivers drain [s]."""


@dataclass(frozen=True)
class Trial:
    """What to try, in every condition."""

    injection: Injection
    mode: FaultMode | None
    """Of a single fault, whose effect and standard a report tells; None: of a loss or several."""
    zone: str | None
    """Zone it is local to: injected at moments of that zone's own movements. None: it concerns
    more than one, as two faults in two zones do."""
    actions: tuple[Action, ...]
    """Done at the injection."""
    demand_after: float
    """From the injection to the ride stop [s]."""
    limit_from_injection: bool
    """The limit runs from the injection (nothing needs to be asked), not from the ride stop."""
    represents: tuple[str, ...]
    """Components that are alike, on any of which this one fault is the same; () of a loss, and of
    several faults, where it matters which of them are on one branch."""
    apart: frozenset[str]
    """Components that must be integrated on their own."""


def preparation(condition: Condition) -> tuple[tuple[float, Action], ...]:
    """Commands that bring every zone to a condition: (time [s], action)."""
    first: Literal["open", "close"] = "open" if condition in ("open", "to closed") else "close"
    commands: list[tuple[float, Action]] = [(0.0, Command("all", first))]
    if condition in ("to closed", "to open"):
        commands.append((READY, Command("all", "close" if condition == "to closed" else "open")))
    return tuple(commands)


def trials(circuit: Circuit, *, reduced: bool = True) -> tuple[Trial, ...]:
    """Everything to try, losses first, then faults in document order. `reduced`: of parts that are
    alike one stands for all."""
    feeds = zone_feeds(circuit)
    twins = equivalents(circuit) if reduced else {}
    return (no_fault(circuit), *_losses(circuit, feeds), *_faults(circuit, feeds, twins))


def losses(circuit: Circuit) -> tuple[Trial, ...]:
    """The losses of air and power alone."""
    return tuple(_losses(circuit, zone_feeds(circuit)))


def no_fault(circuit: Circuit) -> Trial:
    """The ride as it is, with the ride stop that follows everything that is tried."""
    return _loss(circuit, None, ())


def _losses(circuit: Circuit, feeds: Mapping[str, str]) -> Iterator[Trial]:
    off = tuple(Switch(name, False) for name in circuit.having("supply"))
    drains = tuple(_inject(name, "leak", DRAIN, "mm") for name in circuit.having("store", "shared"))
    yield _loss(
        circuit, Loss("supply stopped"), (*off, *drains),
        demand_after=DRAINED if drains else None,
    )  # fmt: skip
    header = tuple(_inject(name, "burst") for name in header_components(circuit, feeds))
    yield _loss(circuit, Loss("header vented"), (*off, *header))
    for zone, feed in feeds.items():
        cut = tuple(
            _inject(feed, mode, severity)
            for mode, severity in (("blocked", 1.0), ("burst", None))
            if _has_mode(circuit, feed, mode)
        )
        yield _loss(circuit, Loss("feed cut", zone), cut)
    power: tuple[Action, ...] = (Power(False),)
    yield _loss(circuit, Loss("power"), power, limit_from_injection=True)
    yield _loss(circuit, Loss("air and power"), (*off, *header, *power), limit_from_injection=True)


def _loss(
    circuit: Circuit,
    loss: Loss | None,
    actions: tuple[Action, ...],
    *,
    demand_after: float | None = None,
    limit_from_injection: bool = False,
) -> Trial:
    injected = [a.fault.component for a in actions if isinstance(a, Inject)]
    return Trial(
        injection=Injection(loss),
        mode=None,
        zone=loss.zone or None if loss is not None else None,
        actions=actions,
        demand_after=circuit.verification.demand_after if demand_after is None else demand_after,
        limit_from_injection=limit_from_injection,
        represents=(),
        apart=frozenset(injected),
    )


def _faults(
    circuit: Circuit, feeds: Mapping[str, str], twins: Mapping[str, tuple[str, ...]]
) -> Iterator[Trial]:
    zones = component_zones(circuit, feeds)
    # one layout for every fault of a part that has twins, so that all share the runs without one;
    # two switches of one kind at one place have a contact in common unless one of them is injected
    twins_injected = {name for group in alike(circuit) for name in group[0].components}
    apart = frozenset((*twins_injected, *circuit.having("pressure contact")))
    for name, component in circuit.components.items():
        same = twins.get(name, (name,))
        if same[0] != name:
            continue
        for mode in component.fault_modes():
            grades = mode.severity.campaign if mode.severity is not None else (None,)
            for grade in grades:
                unit = mode.severity.unit if mode.severity is not None else ""
                fault = FaultSpec(name, mode.name, grade, unit)
                yield Trial(
                    injection=Injection(faults=(fault,)),
                    mode=mode,
                    zone=zones.get(name),
                    actions=(Inject(fault),),
                    demand_after=circuit.verification.demand_after,
                    limit_from_injection=False,
                    represents=same,
                    apart=apart if name in apart else frozenset(),
                )


def header_components(circuit: Circuit, feeds: Mapping[str, str]) -> tuple[str, ...]:
    """What the feeds of the zones hang on: the components to tear open to vent the header."""
    joined: dict[PortRef, PortRef] = {}
    for link in circuit.connections:
        if link.b is not None:
            joined[link.a] = link.b
            joined[link.b] = link.a
    graph = air_graph(circuit)
    order = distances(graph, supply_ports(circuit))
    found: dict[str, None] = {}
    for feed in feeds.values():
        own = [p for p in circuit.components[feed].ports() if PortRef(feed, p.name) in joined]
        inlets = [PortRef(feed, p.name) for p in own if p.role == "supply"]
        if not inlets:  # a line has no direction of its own: its inlet is the end nearer a supply
            ends = [PortRef(feed, p.name) for p in own if p.role == "both"]
            inlets = [min(ends, key=lambda p: order.get(p, 1e9))]
        found.update((joined[inlet].component, None) for inlet in inlets)
    return tuple(name for name in circuit.components if name in found)


def _has_mode(circuit: Circuit, component: str, mode: str) -> bool:
    return any(m.name == mode for m in circuit.components[component].fault_modes())


def _inject(component: str, mode: str, severity: float | None = None, unit: str = "") -> Inject:
    return Inject(FaultSpec(component, mode, severity, unit))
