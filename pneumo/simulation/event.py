"""Watches: what a signal's value is, and when within a step it crossed its threshold."""

from __future__ import annotations

from pneumo.network.network import (
    ABOVE_HIGH,
    BELOW_LOW,
    PRESSURE,
    READING,
    Floats,
    Network,
    Row,
    Table,
)
from pneumo.simulation.jaw import contact
from pneumo.simulation.jit import inlined, kernel
from pneumo.simulation.laws import node_state
from pneumo.simulation.position import END, LENGTH, START, Position, dense


@kernel
def watch_value(
    watch: Row, nodes: Table, movers: Table, lags: Table, dynamic: int, y: Floats
) -> float:
    """Value of a watch at a state, see `network.WATCH`. Takes single tables, not the network:
    passing that many arrays down costs more than the arithmetic."""
    i = watch.index
    if watch.signal == PRESSURE:
        signal = nodes[i].pressure if i >= dynamic else node_state(nodes[i], movers, y)[0]
    elif watch.signal == ABOVE_HIGH:
        signal = y[movers[i].x] - movers[i].high
    elif watch.signal == BELOW_LOW:
        signal = movers[i].low - y[movers[i].x]
    elif watch.signal == READING:
        signal = y[lags[i].r]
    else:
        signal = contact(y[movers[i].x] - movers[i].high, movers[i].high_stiffness)[0]
    return watch.gain * signal + watch.offset


@kernel
def excess(watch: Row, value: float, on: bool) -> float:
    """Positive once a watch with this value should change from its present state."""
    if on:
        return watch.off_at - value
    return value - watch.on_at


@kernel
def excess_at(network: Network, w: int, y: Floats, on: bool) -> float:
    """`excess` of a watch at a state."""
    watch = network.watch[w]
    value = watch_value(watch, network.node, network.mover, network.lag, network.dynamic, y)
    return excess(watch, value, on)


@kernel
def crossing(
    network: Network, position: Position, c: int, w: int, on: bool, state: Floats
) -> float:
    """Time within the last step of partition c at which a watch changes (bisection to 2^-40 of it).

    `state` is scratch; only the entries the watch reads are filled.
    """
    watch = network.watch[w]
    low, high = 0.0, 1.0
    start = position.partition[c, START]
    length = position.partition[c, LENGTH]
    if length <= 0.0:
        return position.partition[c, END]
    for _ in range(40):
        theta = 0.5 * (low + high)
        fill_for(network, position, w, theta, state)
        value = watch_value(watch, network.node, network.mover, network.lag, network.dynamic, state)
        if excess(watch, value, on) >= 0.0:
            high = theta
        else:
            low = theta
    return min(start + high * length, position.partition[c, END])


@kernel
def fill_for(network: Network, position: Position, w: int, theta: float, state: Floats) -> None:
    """Interpolates just the states a watch reads."""
    watch = network.watch[w]
    i = watch.index
    if watch.signal == PRESSURE:
        if i >= network.dynamic:
            return
        node = network.node[i]
        put(position, theta, node.mass, state)
        put(position, theta, node.energy, state)
        if node.mover >= 0:
            put(position, theta, network.mover[node.mover].x, state)
    elif watch.signal == READING:
        put(position, theta, network.lag[i].r, state)
    else:
        put(position, theta, network.mover[i].x, state)


@inlined
def put(position: Position, theta: float, q: int, state: Floats) -> None:
    """State q at a place of its partition's last step."""
    state[q] = dense(position, theta, q)
