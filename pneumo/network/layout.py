"""Layout: the arrays of a network, filled from rows, partitions and states."""

from __future__ import annotations

from typing import Any

import numpy as np

from pneumo.air import CV, GAS_CONSTANT
from pneumo.network.builder import Row
from pneumo.network.membership import Partitions, list_members
from pneumo.network.network import (
    LAG,
    MOVER,
    NODE,
    RESTRICTION,
    SOURCE,
    SPOOL,
    STEM,
    WATCH,
    Array,
    Network,
)
from pneumo.network.rows import Rows
from pneumo.network.states import Key, States, states_of

SLIPPING = 0.03
"""By how much smaller an error of travel and speed has to be where a mover at rest holds more than
it brakes when it slides [-]."""


def lay_out(rows: Rows, partitions: Partitions, states: States) -> Network:
    """The network of a circuit."""
    at = states.number
    movers, stems, lags = range(len(rows.movers)), range(len(rows.stems)), range(len(rows.lags))
    main = range(rows.dynamic)
    places = [2 * k for k in range(len(rows.nodes) - rows.dynamic)]  # of the boundary in a ledger
    heat = 2 * len(places)
    ledger, border = _lay_out_ledgers(partitions, states.main, heat + 2)
    member, members = list_members(partitions)
    columns = [_columns(rows, states, path) for path in rows.restrictions]
    return Network(
        node=_table(
            NODE,
            rows.nodes,
            mass=[at["m", n] for n in main] + places,
            energy=[at["u", n] for n in main] + [place + 1 for place in places],
        ),
        restriction=_table(RESTRICTION, rows.restrictions),
        mover=_table(
            MOVER, rows.movers, x=[at["x", j] for j in movers], v=[at["v", j] for j in movers]
        ),
        stem=_table(STEM, rows.stems, z=[at["z", k] for k in stems]),
        lag=_table(LAG, rows.lags, r=[at["r", k] for k in lags]),
        source=_table(SOURCE, rows.sources),
        spool=_spools_at_rest([spool.start for spool in rows.build.spools]),
        watch=_table(WATCH, rows.watches),
        dynamic=rows.dynamic,
        main=states.main,
        heat=heat,
        work=heat + 1,
        scale=_scales(rows, states),
        state=np.searchsorted(states.partition, np.arange(partitions.count + 1)),
        ledger=ledger,
        node_partition=np.array(partitions.node, dtype=np.int64),
        state_partition=states.partition,
        watch_partition=np.array(partitions.watch, dtype=np.int64),
        member=member,
        members=members,
        border=border,
        loose=np.array(rows.leak_slots, dtype=np.int64),
        row=states.row,
        column=states.column,
        diagonal=states.diagonal,
        own=states.own,
        slot_restriction=_slots(
            (4, 11),
            [
                _path_slots(rows, states, *pair)
                for pair in zip(rows.restrictions, columns, strict=True)
            ],
        ),
        column_restriction=np.array(columns, dtype=np.int64).reshape(-1, 11),
        slot_node=_slots((2, 4), [_node_slots(rows, states, n) for n in range(len(rows.nodes))]),
        slot_mover=_slots((2, 6), [_mover_slots(rows, states, j) for j in movers]),
        slot_stem=_slots(
            (4,), [_follower_slots(rows, states, rows.stems[k]["node"], ("z", k)) for k in stems]
        ),
        slot_lag=_slots(
            (4,), [_follower_slots(rows, states, rows.lags[k]["node"], ("r", k)) for k in lags]
        ),
    )


def _table(dtype: np.dtype[Any], rows: list[Row], **more: list[int]) -> Array:
    """A table of rows; `more`: columns that the rows do not have."""
    table = np.zeros(len(rows), dtype=dtype)
    for name in (dtype.names or ()) if rows else ():
        table[name] = more[name] if name in more else [row[name] for row in rows]
    return table


def _spools_at_rest(positions: list[float]) -> Array:
    spools = np.zeros(len(positions), dtype=SPOOL)
    spools["position"] = positions
    spools["since"] = spools["until"] = -1e9  # at rest since long ago
    spools["next"] = np.inf
    return spools


def _lay_out_ledgers(partitions: Partitions, main: int, common: int) -> tuple[Array, Array]:
    """`Network.ledger` and `Network.border`: a ledger for each partition with what all have in
    `common`, then its side of each border path."""
    border = np.full((len(partitions.path), 2), -1, dtype=np.int64)
    first = np.zeros(partitions.count + 1, dtype=np.int64)
    sides: list[list[tuple[int, int]]] = [[] for _ in range(partitions.count)]
    for r, (a, b) in enumerate(partitions.path):
        if min(a, b) >= 0 and a != b:
            sides[a].append((r, 0))
            sides[b].append((r, 1))
    at = main
    for c, own in enumerate(sides):
        first[c] = at
        at += common
        for r, side in own:
            border[r, side] = at
            at += 2
    first[partitions.count] = at
    return first, border


def _slots(shape: tuple[int, ...], found: list[Any]) -> Array:
    return np.array(found, dtype=np.int64).reshape(-1, *shape)


def _columns(rows: Rows, states: States, path: Row) -> list[int]:
    """States that the flow of a path may depend on: `network.COLUMNS`."""
    a, b, hi, lo = (states_of(rows, states, path[key]) for key in ("a", "b", "hi", "lo"))
    if path["hi"] < 0:
        lo = hi
    z = states.number["z", path["stem"]] if path["stem"] >= 0 else -1
    return [*a, *b, *hi[1:], *lo[1:], z]


def _path_slots(rows: Rows, states: States, path: Row, columns: list[int]) -> list[list[int]]:
    balances = [q for key in ("a", "b") for q in states_of(rows, states, path[key])[:2]]
    return states.slots(balances, columns)


def _node_slots(rows: Rows, states: States, n: int) -> list[list[int]]:
    own = states_of(rows, states, n)
    v = states.number["v", rows.nodes[n]["mover"]] if own[2] >= 0 else -1
    return states.slots(own[:2], [*own, v])


def _mover_slots(rows: Rows, states: States, j: int) -> list[list[int]]:
    own = [states.number["x", j], states.number["v", j]]
    nodes = rows.movers[j]["node_0"], rows.movers[j]["node_1"]
    return states.slots(own, own + [q for n in nodes for q in states_of(rows, states, n)[:2]])


def _follower_slots(rows: Rows, states: States, node: int, key: Key) -> list[int]:
    """Of a stem or a lag, which follow the pressure of a node."""
    own = states.number[key]
    return states.slots([own], [*states_of(rows, states, node), own])[0]


def _scales(rows: Rows, states: States) -> Array:
    """Size of each state below which its error is judged absolutely: about what it is where
    something happens, so that all are judged alike there."""
    at, scale = states.number, np.zeros(states.main)
    pressure = 0.3 * rows.build.pressure
    for n, node in enumerate(rows.nodes[: rows.dynamic]):
        scale[at["m", n]] = pressure * node["volume"] / (GAS_CONSTANT * 293.15)
        scale[at["u", n]] = pressure * node["volume"] * CV / GAS_CONSTANT
    for j, mover in enumerate(rows.movers):
        # where friction holds more than it brakes, a small error sets off the next slip too
        # early or too late
        slips = SLIPPING if mover["static"] > mover["friction"] else 1.0
        scale[at["x", j]] = 5e-3 * slips
        # an error of the speed matters only through the travel it leads to
        scale[at["v", j]] = 5.0 * slips
    for k in range(len(rows.stems)):
        # what it lets through goes with its opening: a small one has to be right as well
        scale[at["z", k]] = 0.1
    for k in range(len(rows.lags)):
        scale[at["r", k]] = pressure
    return scale
