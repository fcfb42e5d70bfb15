"""Branches: which of several identical ones is integrated for the others."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.symmetry import alike


@dataclass(frozen=True)
class Branches:
    """The representatives and whom they are integrated for."""

    representative: dict[str, str]
    """Part of a branch that is not integrated -> the part that is integrated for it."""
    count: dict[str, float]
    """Part that is integrated for several -> for how many."""
    vessels: dict[str, tuple[str, ...]]
    """The same -> vessels it shares with those."""


def find_branches(circuit: Circuit, apart: Collection[str] | None) -> Branches:
    """Takes the first of each group of identical branches; None: each stands for itself."""
    found = Branches({}, {}, {})
    for leader, *others in () if apart is None else alike(circuit, apart):
        for name in leader.parts:
            found.count[name] = float(len(others) + 1)
            found.vessels[name] = leader.vessels
        for branch in others:
            found.representative.update(zip(branch.parts, leader.parts, strict=True))
    return found
