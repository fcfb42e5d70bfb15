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
def watch_value(network: Network, w: int, y: Array) -> float:
    """Value of a watch at a state, see `network.WATCH`."""
    watch = network.watch[w]
    i = watch.index
    if watch.signal == 0:
        signal = node_state(network, y, i)[0]
    elif watch.signal == 1:
        signal = y[network.mover[i].x] - network.mover[i].high
    elif watch.signal == 2:
        signal = network.mover[i].low - y[network.mover[i].x]
    elif watch.signal == 3:
        signal = y[network.lag[i].r]
    else:
        mover = network.mover[i]
        signal = contact(y[mover.x] - mover.high, mover.high_stiffness)[0]
    return watch.gain * signal + watch.offset


@kernel
def excess(network: Network, w: int, made: bool, y: Array) -> float:
    """Positive once the watch should change from its present state."""
    value = watch_value(network, w, y)
    if made:
        return network.watch[w].breaks - value
    return value - network.watch[w].makes


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
    low, high = 0.0, 1.0
    for _ in range(40):
        theta = 0.5 * (low + high)
        fill_for(network, w, y, y_new, dense_2, dense_3, theta, state)
        if excess(network, w, made, state) >= 0.0:
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
