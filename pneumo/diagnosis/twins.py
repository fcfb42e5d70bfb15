"""Parts that are alike: what one of them would show follows from what its twin has shown, with
their names exchanged.

Branches are alike when they hang on the same vessels and are commanded and watched alike. Here they
must also have the same test points, or a gauge could be read at one that cannot be at the other.
"""

from __future__ import annotations

import dataclasses
from functools import cache
from typing import Any, Literal, get_args, get_origin, get_type_hints

import numpy as np

from pneumo.circuit.circuit import Circuit, PortRef
from pneumo.circuit.couplings import test_points
from pneumo.circuit.symmetry import Branch, alike
from pneumo.diagnosis.panel import Place
from pneumo.inspection.evidence import Evidence, Leaking, Outflow
from pneumo.network.network import Array


class Renaming:
    """Two branches exchanged: it takes back what it does."""

    def __init__(self, one: Branch, other: Branch) -> None:
        pairs = list(zip(one.components, other.components, strict=True))
        self._names = dict(pairs) | {b: a for a, b in pairs}

    def name(self, text: str) -> str:
        """Of a component, or of its port or coil "hose_1.2"; others stay."""
        component, dot, rest = text.partition(".")
        return self._names.get(component, component) + dot + rest

    def evidence(self, found: Evidence) -> Evidence:
        """What a test would give with the branches exchanged."""
        renamed: Evidence = self._record(found)
        return renamed

    def places(self, panel: tuple[Place, ...]) -> Array:
        """(places,) where what is shown at each place of a panel has to be taken from."""
        at = {(place.instrument, place.aspect): number for number, place in enumerate(panel)}
        return np.array(
            [at[self.name(place.instrument), place.aspect] for place in panel], dtype=np.int64
        )

    def _record(self, record: Any) -> Any:
        kind: Any = type(record)
        return dataclasses.replace(
            record, **{field: self._value(getattr(record, field)) for field in _named(kind)}
        )

    def _value(self, value: Any) -> Any:
        if isinstance(value, str):
            return self.name(value)
        if isinstance(value, tuple):
            return tuple(self._value(each) for each in value)
        return self._record(value)


@cache
def _named(record: Any) -> tuple[str, ...]:
    """Fields of a record that hold names, or records with names."""
    # a port in these is one of the part that the test is made at, without its name
    if record in (Outflow, Leaking):
        return ()
    return tuple(field for field, of in get_type_hints(record).items() if _holds_names(of))


def _holds_names(of: Any) -> bool:
    if get_origin(of) is Literal:
        return False
    inner = get_args(of)
    if inner:
        return any(_holds_names(each) for each in inner)
    return of is str or dataclasses.is_dataclass(of)


class Twins:
    """Which parts of a ride are rehearsed for which others."""

    def __init__(self, circuit: Circuit) -> None:
        self.first: dict[str, str] = {}
        """Component -> the twin that is rehearsed; only of those that are not themselves."""
        self.renamings: dict[str, Renaming] = {}
        """Component -> what exchanges it with that twin; of the same."""
        points = test_points(circuit)
        for group in alike(circuit):
            by_points: dict[tuple[bool, ...], Branch] = {}
            for branch in group:
                first = by_points.setdefault(_tested(circuit, branch, points), branch)
                if first is branch:
                    continue
                renaming = Renaming(first, branch)
                for own, rehearsed in zip(branch.components, first.components, strict=True):
                    self.first[own] = rehearsed
                    self.renamings[own] = renaming


def _tested(circuit: Circuit, branch: Branch, points: frozenset[PortRef]) -> tuple[bool, ...]:
    """Whether a gauge can be read at each port of a branch."""
    return tuple(
        PortRef(name, port.name) in points
        for name in branch.components
        for port in circuit.components[name].ports()
    )
