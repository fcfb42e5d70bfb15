"""Where in the circuit a run could not go on."""

from __future__ import annotations

import numpy as np

from pneumo.network.builder import Parts
from pneumo.network.compile import Compiled
from pneumo.simulation.position import END, Position
from pneumo.simulation.solver import Scratch

MOST_NAMED = 3
"""Components named of those that meet at one place."""


def place_of(compiled: Compiled, position: Position, scratch: Scratch) -> str:
    """Components where the partition that is furthest behind changes fastest, each with the place
    of its line in the document: "tank (ride.yaml:12), valve (ride.yaml:15)"."""
    network, y = compiled.network, position.y
    c = int(np.argmin(position.partition[:, END]))
    first, last = int(network.state[c]), int(network.state[c + 1])
    with np.errstate(all="ignore"):
        change = np.abs(scratch.start_rate[first:last]) / (
            network.scale[first:last] + np.abs(y[first:last])
        )
    change[~np.isfinite(change)] = np.inf
    node = network.node[: network.dynamic]
    for field in ("mass", "energy"):
        q = node[field][
            (y[node[field]] <= 0.0) & (compiled.network.node_partition[: len(node)] == c)
        ]
        change[q - first] = np.inf  # an impossible state before one that only moves fast
    q = first + int(np.argmax(change))
    found = [name for name, parts in compiled.parts.items() if _holds(compiled, parts, q)]
    circuit = compiled.circuit
    lines = circuit.lines or {}
    named = [
        f"{name} ({circuit.path}:{lines[name]})" if name in lines else name
        for name in found[:MOST_NAMED]
    ]
    return ", ".join(named)


def _holds(compiled: Compiled, parts: Parts, q: int) -> bool:
    """Whether a state is one of a component, or of the air at one of its ports."""
    network = compiled.network
    for n in parts.ports.values():
        if n < network.dynamic and q in (network.node[n]["mass"], network.node[n]["energy"]):
            return True
    return (
        (
            parts.mover >= 0
            and q in (network.mover[parts.mover]["x"], network.mover[parts.mover]["v"])
        )
        or (parts.stem >= 0 and q == network.stem[parts.stem]["z"])
        or (parts.lag >= 0 and q == network.lag[parts.lag]["r"])
    )
