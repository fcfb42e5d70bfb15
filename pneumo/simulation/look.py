"""What stands in the plant at one instant, for whoever looks at it: pressures, flows, openings."""

from __future__ import annotations

from pneumo.network.network import Floats, Network
from pneumo.simulation.jit import kernel
from pneumo.simulation.laws import full_flow, node_state, opening


@kernel
def look(
    network: Network,
    y: Floats,
    time: float,
    pressure: Floats,
    temperature: Floats,
    opened: Floats,
    flow: Floats,
) -> None:
    """Fills what a state means; nothing is changed in it.

    pressure, temperature: (nnode,) [Pa absolute, K]. opened: (nrestriction,) opening of each path
    [-]. flow: (nrestriction,) from a to b, of one branch, however many it represents [kg/s].
    """
    nodes = network.node
    for n in range(nodes.shape[0]):
        if n < network.dynamic:
            pressure[n], temperature[n], _, _, _ = node_state(nodes[n], network.mover, y)
        else:
            pressure[n], temperature[n] = nodes[n].pressure, nodes[n].temperature
    for r in range(network.restriction.shape[0]):
        row = network.restriction[r]
        opened[r] = opening(row, network.spool, network.stem, pressure, y, time)[0]
        flow[r] = 0.0
        if opened[r] != 0.0:
            flow[r] = opened[r] * full_flow(row, pressure, temperature, 0.0)[0]
