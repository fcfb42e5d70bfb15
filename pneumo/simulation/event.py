"""Watches: what a signal's value is, and when within a step it crossed its threshold."""

from __future__ import annotations

from typing import Any

from pneumo.network.network import Network
from pneumo.simulation.balance import node_state
from pneumo.simulation.jaw import contact
from pneumo.simulation.jit import kernel
from pneumo.simulation.solver import dense

Array = Any


@kernel
def watch_value(
    watch: Any, nodes: Array, movers: Array, lags: Array, dynamic: int, y: Array
) -> float:
    """Value of a watch at a state, see `network.WATCH`. Takes single tables, not the network:
    passing that many arrays down costs more than the arithmetic."""
    i = watch.index
    if watch.signal == 0:
        signal = nodes[i].pressure if i >= dynamic else node_state(nodes[i], movers, y)[0]
    elif watch.signal == 1:
        signal = y[movers[i].x] - movers[i].high
    elif watch.signal == 2:
        signal = movers[i].low - y[movers[i].x]
    elif watch.signal == 3:
        signal = y[lags[i].r]
    else:
        signal = contact(y[movers[i].x] - movers[i].high, movers[i].high_stiffness)[0]
    return watch.gain * signal + watch.offset


@kernel
def excess(watch: Any, value: float, made: bool) -> float:
    """Positive once a watch with this value should change from its present state."""
    if made:
        return watch.breaks - value
    return value - watch.makes


@kernel
def crossing(
    network: Network,
    w: int,
    made: bool,
    y: Array,
    y_new: Array,
    dense_2: Array,
    dense_3: Array,
    state: Array,
) -> float:
    """Share theta of the last step at which the watch changes (bisection to 2^-40 of the step).

    `state` is scratch; only the entries the watch reads are filled.
    """
    watch = network.watch[w]
    dynamic = network.dynamic
    low, high = 0.0, 1.0
    for _ in range(40):
        theta = 0.5 * (low + high)
        fill_for(network, w, y, y_new, dense_2, dense_3, theta, state)
        value = watch_value(watch, network.node, network.mover, network.lag, dynamic, state)
        if excess(watch, value, made) >= 0.0:
            high = theta
        else:
            low = theta
    return high


@kernel
def fill_for(
    network: Network,
    w: int,
    y: Array,
    y_new: Array,
    dense_2: Array,
    dense_3: Array,
    theta: float,
    state: Array,
) -> None:
    """Interpolates just the states a watch reads."""
    watch = network.watch[w]
    i = watch.index
    if watch.signal == 0:
        if i >= network.dynamic:
            return
        node = network.node[i]
        state[node.mass] = dense(y, y_new, dense_2, dense_3, theta, node.mass)
        state[node.energy] = dense(y, y_new, dense_2, dense_3, theta, node.energy)
        if node.mover >= 0:
            x = network.mover[node.mover].x
            state[x] = dense(y, y_new, dense_2, dense_3, theta, x)
    elif watch.signal == 3:
        r = network.lag[i].r
        state[r] = dense(y, y_new, dense_2, dense_3, theta, r)
    else:
        x = network.mover[i].x
        state[x] = dense(y, y_new, dense_2, dense_3, theta, x)
