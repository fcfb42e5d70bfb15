"""What a piece of work opens, reaches into, touches or measures live."""

from __future__ import annotations

from typing import NamedTuple

from pneumo.circuit.action import Repair
from pneumo.circuit.circuit import Circuit
from pneumo.drill.danger import Exposure
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


def exposures(circuit: Circuit, job: Job) -> Exposed | None:
    """What a job exposes to; None: nothing."""
    if isinstance(job, Examine) and TESTS[job.test].live:
        return Exposed(job.target.partition(".")[0], frozenset(("live",)))
    if isinstance(job, FitGauge):
        return Exposed(job.component, frozenset(("air",)))
    if isinstance(job, Do) and isinstance(job.action, Repair):
        part = circuit.components[job.action.component]
        has: dict[Exposure, bool] = {
            "air": bool(part.ports()),
            "jaws": "brake" in part.traits,
            "wires": bool(part.coils()),
            "live": False,
        }
        # at a coil no air is opened
        works = ("wires",) if job.action.side else OF_REPAIR[job.action.how]
        to = frozenset(each for each in works if has[each])
        return Exposed(job.action.component, to) if to else None
    return None
