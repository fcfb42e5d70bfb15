"""Traces of a case for the report: per zone, what the brake furthest from the safe state did."""

from __future__ import annotations

from collections.abc import Iterable

from pneumo.scenario.play import Play
from pneumo.scenario.signal import force, gap, pressure
from pneumo.verification.verdict import Case, Outcome, Trace


def zone_trace(play: Play, case: Case, outcomes: Iterable[Outcome]) -> Trace:
    """The recorded part of a run, zone by zone, see `Trace`.

    `outcomes`: of the zones to show.
    """
    compiled = play.compiled
    ambient = compiled.circuit.ambient.pressure
    trace = Trace(case, tuple(play.plant.samples.times(play.now).tolist()), {}, {}, {}, {}, {})
    for outcome in outcomes:
        zone, brake = outcome.zone, outcome.furthest[0]
        need = compiled.circuit.zones[zone].requirement
        closed = outcome.safe_state == "closed"
        mover = compiled.parts[brake].mover
        node = int(compiled.network.mover[mover]["node_0"])
        trace.brake[zone] = brake
        trace.required[zone] = need.clamping_force if closed else need.clearance
        trace.pressure[zone] = tuple((pressure(play, node) - ambient).tolist())
        trace.position[zone] = tuple(gap(play, mover).tolist())
        trace.force[zone] = tuple(force(play, mover).tolist())
    return trace
