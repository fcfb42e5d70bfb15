"""Start: a first guess of the plant at rest."""

from __future__ import annotations

from collections import deque
from math import inf

import numpy as np

from pneumo.air import CV, GAS_CONSTANT
from pneumo.network.builder import Row
from pneumo.network.network import Array, Network, node_volume
from pneumo.network.rows import Rows
from pneumo.network.states import States

Way = tuple[int, float]
"""A node that air gets to, and the pressure it reaches there at most [Pa]."""


def at_rest(rows: Rows, states: States, network: Network) -> Array:
    """(nstate,) states with what the supplies reach, everything at ambient heat."""
    pressure = _reached(rows)
    at, y = states.number, np.zeros(network.ledger[-1])
    for j, x in enumerate(rows.build.starts):
        y[at["x", j]] = x
    for n in range(rows.dynamic):
        y[at["m", n]], y[at["u", n]] = 1.0, 1.0
        volume = float(node_volume(network, y, n))
        y[at["u", n]] = pressure[n] * volume * CV / GAS_CONSTANT
        y[at["m", n]] = pressure[n] * volume / (GAS_CONSTANT * rows.build.temperature)
    for k, lag in enumerate(rows.lags):
        y[at["r", k]] = pressure[lag["node"]]
    return y


def _reached(rows: Rows) -> list[float]:
    """Pressure that the supplies reach in each node through what is open [Pa]."""
    pressure = [rows.build.pressure] * rows.dynamic
    pressure += [row["pressure"] for row in rows.nodes[rows.dynamic :]]
    queue = deque(range(rows.dynamic + 1, len(rows.nodes)))
    for compressor in rows.build.compressors:
        node = rows.sources[compressor.source]["node"]
        pressure[node] = max(pressure[node], compressor.unload_at)
        queue.append(node)
    ways: list[list[Way]] = [[] for _ in rows.nodes]
    for path in rows.restrictions:
        _add_ways(rows, path, ways)
    while queue:
        n = queue.popleft()
        for other, limit in ways[n]:
            reached = min(pressure[n], limit)
            if other < rows.dynamic and reached > pressure[other] + 1.0:
                pressure[other] = reached
                queue.append(other)
    return pressure


def _add_ways(rows: Rows, path: Row, ways: list[list[Way]]) -> None:
    """Adds where air gets from either end of a path."""
    if path["spool"] >= 0:
        spool = rows.build.spools[path["spool"]]
        position = spool.at_14 if spool.standing else spool.start
        if (position - path["spool_closed"]) / (path["spool_open"] - path["spool_closed"]) <= 0.0:
            return
    limit, one_way = inf, False
    if path["stem"] >= 0:
        if path["stem_open"] < path["stem_closed"]:
            return
        limit, one_way = rows.stems[path["stem"]]["setting"], True
    if path["hi"] >= 0:
        if path["hi"] != path["a"]:
            return
        one_way = True
    ways[path["a"]].append((path["b"], limit))
    if not one_way:
        ways[path["b"]].append((path["a"], limit))
