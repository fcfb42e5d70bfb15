"""Membership: the partition that each row belongs to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pneumo.network.network import PRESSURE, READING, Array
from pneumo.network.partitions import divide
from pneumo.network.rows import Rows


@dataclass(frozen=True)
class Partitions:
    """The partition of everything; a row whose nodes are all at the boundary belongs to partition
    0."""

    count: int
    node: list[int]
    """-1: a boundary node."""
    path: list[tuple[int, int]]
    """Partitions of the nodes a and b of each restriction."""
    mover: list[int]
    stem: list[int]
    lag: list[int]
    source: list[int]
    watch: list[int]
    spool: tuple[tuple[int, ...], ...]
    """Partitions whose paths each spool opens, ascending."""


def find_partitions(rows: Rows, local: bool) -> Partitions:
    """Partitions of a network; `local`: see `compile.compile_circuit`."""
    dynamic = _divided(rows) if local else [0] * rows.dynamic
    node = dynamic + [-1] * (len(rows.nodes) - rows.dynamic)
    at = [*node, -1]  # no node: -1
    path = [(at[row["a"]], at[row["b"]]) for row in rows.restrictions]
    mover = [max(at[row["node_0"]], at[row["node_1"]], 0) for row in rows.movers]
    lag = [max(at[row["node"]], 0) for row in rows.lags]
    watched = {PRESSURE: [max(c, 0) for c in node], READING: lag}
    return Partitions(
        count=max(dynamic, default=0) + 1,
        node=node,
        path=path,
        mover=mover,
        stem=_stem_partitions(rows, at, path),
        lag=lag,
        source=[max(at[row["node"]], 0) for row in rows.sources],
        watch=[watched.get(row["signal"], mover)[row["index"]] for row in rows.watches],
        spool=_spool_partitions(rows, path),
    )


def _stem_partitions(rows: Rows, at: list[int], path: list[tuple[int, int]]) -> list[int]:
    """Partition of each regulator's stem: where its pressure is, else where its path is."""
    stem = [at[row["node"]] for row in rows.stems]
    for row, sides in zip(rows.restrictions, path, strict=True):
        if row["stem"] >= 0 and stem[row["stem"]] < 0:
            stem[row["stem"]] = max(sides)
    return [max(c, 0) for c in stem]


def _spool_partitions(rows: Rows, path: list[tuple[int, int]]) -> tuple[tuple[int, ...], ...]:
    spool: list[set[int]] = [set() for _ in rows.build.spools]
    for row, sides in zip(rows.restrictions, path, strict=True):
        if row["spool"] >= 0:
            spool[row["spool"]] |= {*sides} - {-1}
    return tuple(tuple(sorted(own)) for own in spool)


def _divided(rows: Rows) -> list[int]:
    """Partition of every dynamic node, see `partitions.divide`."""

    def chambers(mover: int) -> list[int]:
        return [rows.movers[mover]["node_0"], rows.movers[mover]["node_1"]]

    ties = [chambers(j) for j in range(len(rows.movers))]
    supplied = [source["node"] for source in rows.sources]
    for path in rows.restrictions:
        ends = path["a"], path["b"]
        openers = [path["hi"], path["lo"]] if path["hi"] >= 0 else []
        if path["stem"] >= 0:
            openers.append(rows.stems[path["stem"]]["node"])
        ties += [[n, path["a"]] for n in openers if n not in ends]
        if max(ends) > rows.dynamic:  # beyond the atmosphere: a supply
            supplied.append(min(ends))
    return divide(
        rows.dynamic,
        rows.restrictions,
        [row["volume"] for row in rows.nodes[: rows.dynamic]],
        [_dynamic(rows, sorted({n for j in group for n in chambers(j)})) for group in rows.owners],
        [_dynamic(rows, nodes) for nodes in ties],
        supplied,
    )


def _dynamic(rows: Rows, nodes: list[int]) -> list[int]:
    return [n for n in nodes if 0 <= n < rows.dynamic]


def list_members(partitions: Partitions) -> tuple[Array, Array]:
    """What belongs to each partition, by kind: `Network.member` and `Network.members`."""
    within: list[tuple[int, ...]] = []
    between: list[tuple[int, ...]] = []
    for sides in partitions.path:
        found = tuple(sorted({*sides} - {-1}))
        within.append(found if len(found) == 1 else ())
        between.append(found if len(found) == 2 else ())
    whole = partitions.mover, partitions.stem, partitions.lag, partitions.source, partitions.watch
    alone = ([(c,) for c in own] for own in whole)
    nodes = [(c,) if c >= 0 else () for c in partitions.node]
    kinds: list[Sequence[tuple[int, ...]]] = [nodes, within, between, *alone, partitions.spool]
    member: list[int] = []
    members = np.zeros((len(kinds), partitions.count + 1), dtype=np.int64)
    for kind, of in enumerate(kinds):
        own: list[list[int]] = [[] for _ in range(partitions.count)]
        for i, mine in enumerate(of):
            for c in mine:
                own[c].append(i)
        for c in range(partitions.count):
            members[kind, c] = len(member)
            member += own[c]
        members[kind, partitions.count] = len(member)
    return np.array(member, dtype=np.int64), members
