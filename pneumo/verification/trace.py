"""Traces of a case for the report: per zone, its pressure, worst gap and weakest force."""

from __future__ import annotations

import numpy as np

from pneumo.scenario.play import Play
from pneumo.scenario.signal import force, gap, pressure
from pneumo.verification.verdict import Trace


def zone_trace(play: Play, case: str) -> Trace:
    """The recorded part of a run, zone by zone, see `Trace`."""
    compiled = play.compiled
    ambient = compiled.circuit.ambient.pressure
    pressures, gaps, forces = {}, {}, {}
    for zone, brakes in compiled.brakes.items():
        movers = sorted({brake.mover for brake in brakes})
        node = int(compiled.network.mover[movers[0]]["node_0"])
        pressures[zone] = tuple((pressure(play, node) - ambient).tolist())
        gaps[zone] = tuple(np.max([gap(play, j) for j in movers], axis=0).tolist())
        forces[zone] = tuple(np.min([force(play, j) for j in movers], axis=0).tolist())
    return Trace(case, tuple(play.sample_times.tolist()), pressures, gaps, forces)
