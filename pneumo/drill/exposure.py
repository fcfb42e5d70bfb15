"""What a piece of work opens, reaches into, touches or measures live, and where."""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

from pneumo.circuit.action import Drain, Repair, Swap
from pneumo.circuit.circuit import Circuit, PortRef
from pneumo.circuit.couplings import test_points
from pneumo.drill.danger import Exposure
from pneumo.drill.energy import is_wired
from pneumo.drill.job import Do, Examine, FitGauge, Job
from pneumo.inspection.tests import TESTS

OF_REPAIR: dict[str, tuple[Exposure, ...]] = {
    "replace": ("air", "jaws", "wires"),
    "clean": ("air",),
    "refit": ("air",),
    "adjust": (),
    "free": ("jaws",),
    "reline": ("jaws",),
    "reconnect": ("wires",),
}
"""Repair -> what it exposes to, where the part has it. A setting is turned from outside."""


class Exposed(NamedTuple):
    """Where somebody works, and to what that exposes them."""

    component: str
    to: frozenset[Exposure]


def exposures(circuit: Circuit, job: Job, fitted: Collection[str] = ()) -> tuple[Exposed, ...]:
    """What a job exposes to, by part; `fitted`: ports with a tee that was fitted."""
    match job:
        case Examine(test, target):
            row = TESTS[test]
            at_jaws: tuple[Exposure, ...] = ("jaws",) if row.reaches else ()
            at_wires: tuple[Exposure, ...] = (row.wires,) if row.wires else ()
            to = frozenset((*at_jaws, *at_wires))
            return (Exposed(target.partition(".")[0], to),) if to else ()
        case FitGauge(component):
            return (Exposed(component, frozenset(("tee",))),)
        case Do(Drain(name, True)) if "." in name:
            port = PortRef(*name.split("."))
            coupled = port in test_points(circuit, fitted)
            return () if coupled else (Exposed(port.component, frozenset(("fitting",))),)
        case Do(Repair() as repair):
            return _of_repair(circuit, repair)
        case Do(Swap(coil, other)):
            at = dict.fromkeys(plug.rpartition(".")[0] for plug in (coil, other))
            return tuple(Exposed(component, frozenset(("wires",))) for component in at)
    return ()


def _of_repair(circuit: Circuit, repair: Repair) -> tuple[Exposed, ...]:
    part = circuit.components[repair.component]
    # at a coil no air is opened
    works = ("wires",) if repair.side else OF_REPAIR[repair.how]
    at: dict[str, set[Exposure]] = {}
    if "air" in works and part.ports():
        at.setdefault(repair.component, set()).add("air")
    if "wires" in works and is_wired(circuit, repair.component):
        at.setdefault(repair.component, set()).add("wires")
    if "jaws" in works and (moved := moved_by(circuit, repair.component)):
        at.setdefault(moved, set()).add("jaws")
    return tuple(Exposed(component, frozenset(to)) for component, to in at.items())


def moved_by(circuit: Circuit, component: str) -> str:
    """The brake or cylinder between whose moving parts somebody reaches who works at a part: of a
    switch the one that it watches; "": none."""
    part = circuit.components[component]
    if "watcher" in part.traits:
        return str(getattr(part, "of", ""))
    return component if part.traits & {"brake", "gate"} else ""
