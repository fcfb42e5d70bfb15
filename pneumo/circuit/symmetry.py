"""Identical parallel branches: passive parts that hang on the same vessels and are commanded and
watched alike move alike, exactly. They are integrated once, with a multiplicity, and a fault on
one of them stands for the same fault on any other."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

from pneumo.circuit.circuit import Circuit, PortRef


@dataclass(frozen=True)
class Branch:
    """Passive parts between vessels, with at least one brake or cylinder among them."""

    parts: tuple[str, ...]
    """In document order."""
    switches: tuple[str, ...]
    """Position switches of its brakes and cylinders, in document order."""
    vessels: tuple[str, ...]
    """Receivers, accumulators and manifolds it hangs on, in document order."""

    @property
    def components(self) -> tuple[str, ...]:
        """Everything that belongs to this branch alone."""
        return (*self.parts, *self.switches)


def alike(circuit: Circuit, apart: Collection[str] = ()) -> tuple[tuple[Branch, ...], ...]:
    """Groups of two or more identical branches; those with a component in `apart` are left out."""
    groups: dict[tuple[object, ...], list[Branch]] = {}
    far = _connected(circuit)
    owner = {brake: zone.name for zone in circuit.zones.values() for brake in zone.brakes}
    owner |= {part: group.name for group in circuit.gates.values() for part in group.cylinders}
    for branch in _branches(circuit):
        if not any(name in apart for name in branch.components):
            groups.setdefault(_signature(circuit, far, owner, branch), []).append(branch)
    return tuple(tuple(group) for group in groups.values() if len(group) > 1)


def equivalents(circuit: Circuit) -> dict[str, tuple[str, ...]]:
    """Component -> all that behave alike, in document order; only those that have a twin."""
    result: dict[str, tuple[str, ...]] = {}
    for group in alike(circuit):
        for row in zip(*(branch.components for branch in group), strict=True):
            for name in row:
                result[name] = row
    return result


def span(names: Sequence[str]) -> str:
    """Names that differ in one number as "hose_1…8", others one after the other."""
    listed = ", ".join(names)
    parts = [re.split(r"([0-9]+)", name) for name in names]
    if len(parts) < 2 or any(len(part) != len(parts[0]) for part in parts):
        return listed
    moving = [i for i in range(len(parts[0])) if len({part[i] for part in parts}) > 1]
    # odd places are the numbers
    if len(moving) != 1 or moving[0] % 2 == 0:
        return listed
    numbers = [int(part[moving[0]]) for part in parts]
    if numbers != list(range(numbers[0], numbers[0] + len(names))):
        return listed
    at_the_end = parts[0][moving[0] + 1 :] == [""]
    return f"{names[0]}…{numbers[-1] if at_the_end else names[-1]}"


def _branches(circuit: Circuit) -> tuple[Branch, ...]:
    """What is left in one piece when the vessels are taken away, if it is repeatable and moves."""
    around: dict[str, set[str]] = {name: set() for name in circuit.components}
    for link in circuit.connections:
        if link.b is not None:
            around[link.a.component].add(link.b.component)
            around[link.b.component].add(link.a.component)
    vessels = [name for name, component in circuit.components.items() if component.merged_ports()]
    found = []
    for parts in _pieces(circuit, around, vessels):
        members = [circuit.components[name] for name in parts]
        if all("repeatable" in part.traits for part in members) and any(p.ends for p in members):
            hangs_on = tuple(v for v in vessels if any(v in around[name] for name in parts))
            found.append(Branch(parts, circuit.watching(parts), hangs_on))
    return tuple(found)


def _pieces(
    circuit: Circuit, around: Mapping[str, set[str]], vessels: Collection[str]
) -> Iterator[tuple[str, ...]]:
    """What hangs together without the vessels, each piece in document order."""
    place = {name: i for i, name in enumerate(circuit.components)}
    seen = set(vessels)
    for start in circuit.components:
        if start in seen:
            continue
        seen.add(start)
        piece = [start]
        for name in piece:
            piece += sorted(around[name] - seen)  # the loop goes on over what is added here
            seen |= around[name]
        yield tuple(sorted(piece, key=place.__getitem__))


def _signature(
    circuit: Circuit, far: dict[PortRef, PortRef], owner: dict[str, str], branch: Branch
) -> tuple[object, ...]:
    """Equal for branches alike: what each part is, whom it serves, what its ports are joined to."""
    number = {name: i for i, name in enumerate(branch.components)}
    key: list[object] = []
    for name in branch.components:
        component = circuit.components[name]
        fields = component.model_dump(exclude={"about"}).items()
        key.append(tuple((field, number.get(value, value) if field == "of" else value)
                         for field, value in fields))  # fmt: skip
        key.append(owner.get(name, ""))
        for port in component.ports():
            other = far.get(PortRef(name, port.name))
            if other is None:
                key.append("")
            elif other.component in number:
                key.append((number[other.component], other.port))
            else:
                key.append(other.component)
    return tuple(key)


def _connected(circuit: Circuit) -> dict[PortRef, PortRef]:
    far: dict[PortRef, PortRef] = {}
    for link in circuit.connections:
        if link.b is not None:
            far[link.a] = link.b
            far[link.b] = link.a
    return far
