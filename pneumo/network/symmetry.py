"""Identical parallel branches: brakes that hang on one manifold by equal lines and are commanded
and watched alike move alike, exactly. They are integrated once, with a multiplicity, and a fault
on one of them stands for the same fault on any other."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from pneumo.circuit.circuit import Circuit, PortRef

LINES = ("hose", "pipe", "tube")
"""Kinds a branch may consist of between the manifold and the brake."""


@dataclass(frozen=True)
class Branch:
    """A brake and what belongs to it alone."""

    manifold: str
    lines: tuple[str, ...]
    """From the manifold to the brake."""
    brake: str
    switches: tuple[str, ...]
    """Its jaw switches, in document order."""

    @property
    def components(self) -> tuple[str, ...]:
        """Everything that belongs to this branch alone."""
        return (*self.lines, self.brake, *self.switches)


def alike(circuit: Circuit, apart: Collection[str] = ()) -> tuple[tuple[Branch, ...], ...]:
    """Groups of two or more identical branches; those with a component in `apart` are left out."""
    far = _connected(circuit)
    groups: dict[tuple[object, ...], list[Branch]] = {}
    for zone in circuit.zones.values():
        switches = circuit.zone_jaw_switches(zone.name)
        for brake in zone.brakes:
            branch = _branch(circuit, far, brake, switches)
            if branch is None or any(name in apart for name in branch.components):
                continue
            key = (
                zone.name,
                branch.manifold,
                *(_parameters(circuit, name, brake) for name in branch.components),
            )
            groups.setdefault(key, []).append(branch)
    return tuple(tuple(group) for group in groups.values() if len(group) > 1)


def equivalents(circuit: Circuit) -> dict[str, tuple[str, ...]]:
    """Component -> all that behave alike, in document order; only those that have a twin."""
    result: dict[str, tuple[str, ...]] = {}
    for group in alike(circuit):
        for row in zip(*(branch.components for branch in group), strict=True):
            for name in row:
                result[name] = row
    return result


def _parameters(circuit: Circuit, name: str, brake: str) -> tuple[object, ...]:
    """What makes a component what it is, apart from its name, its remark and its own brake."""
    fields = circuit.components[name].model_dump(exclude={"about"})
    return tuple(
        (field, "its brake" if value == brake else value) for field, value in fields.items()
    )


def _connected(circuit: Circuit) -> dict[PortRef, PortRef]:
    far: dict[PortRef, PortRef] = {}
    for connection in circuit.connections:
        if connection.b is not None:
            far[connection.a] = connection.b
            far[connection.b] = connection.a
    return far


def _branch(
    circuit: Circuit, far: dict[PortRef, PortRef], brake: str, switches: tuple[str, ...]
) -> Branch | None:
    """The branch a brake ends; None when something else than lines lies before a manifold."""
    lines: list[str] = []
    port = far.get(PortRef(brake, "1"))
    while port is not None:
        component = circuit.components[port.component]
        if any(port.port in group for group in component.merged_ports()):
            own = tuple(s for s in switches if getattr(circuit.components[s], "of", "") == brake)
            return Branch(port.component, tuple(reversed(lines)), brake, own)
        if getattr(component, "kind", "") not in LINES:
            return None
        lines.append(port.component)
        port = far.get(PortRef(port.component, "2" if port.port == "1" else "1"))
    return None
