"""The pressure of a node at given states."""

from __future__ import annotations

from typing import Any

import numpy as np

from pneumo.network.network import Array, Network, node_volume
from pneumo.simulation.laws import gas_pressure


def node_pressure(network: Network, states: Array, node: int) -> Array:
    """Pressure of a node for many states, shape (n, nstate) [Pa absolute]."""
    row = network.node[node]
    if node >= network.dynamic:
        return np.full(len(states), row["pressure"])
    law: Any = gas_pressure.function
    result: Array = law(states[:, row["energy"]], node_volume(network, states, node))
    return result
