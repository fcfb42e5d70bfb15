"""The pressure of a node at given states."""

from __future__ import annotations

import numpy as np

from pneumo.air import HEAT_RATIO
from pneumo.network.network import Array, Network


def node_pressure(network: Network, states: Array, node: int) -> Array:
    """Pressure of a node for many states, shape (n, nstate) [Pa absolute]."""
    row = network.node[node]
    if node >= network.dynamic:
        return np.full(len(states), row["pressure"])
    volume = np.full(len(states), row["volume"])
    if row["mover"] >= 0:
        mover = network.mover[row["mover"]]
        x = states[:, mover["x"]]
        k = row["chamber"]
        volume += (
            mover[f"direction_{k}"]
            * mover[f"count_{k}"]
            * x
            * (mover[f"area_{k}"] + 0.5 * mover[f"slope_{k}"] * x)
        )
    result: Array = (HEAT_RATIO - 1.0) * states[:, row["energy"]] / volume
    return result
