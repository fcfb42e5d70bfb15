"""The pressure of a node at given states."""

from __future__ import annotations

import numpy as np

from pneumo.air import HEAT_RATIO
from pneumo.network.network import Array, Network, node_volume


def node_pressure(network: Network, states: Array, node: int) -> Array:
    """Pressure of a node for many states, shape (n, nstate) [Pa absolute]."""
    row = network.node[node]
    if node >= network.dynamic:
        return np.full(len(states), row["pressure"])
    volume = node_volume(network, states, node)
    result: Array = (HEAT_RATIO - 1.0) * states[:, row["energy"]] / volume
    return result
