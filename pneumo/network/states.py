"""States: their numbers, and the pattern of the Jacobian that follows from them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from pneumo.network.membership import Partitions
from pneumo.network.network import Array
from pneumo.network.ordering import filled_rows, minimum_degree
from pneumo.network.rows import Rows

Key = tuple[str, int]
"""A state: m, u of a node, x, v of a mover, z of a stem or r of a lag, and its row."""

Block = tuple[list[Key], list[Key]]
"""States whose rates depend on states."""


@dataclass(frozen=True)
class States:
    """Main states in the order in which they are eliminated, partition by partition, and their
    pattern."""

    number: dict[Key, int]
    partition: Array
    """(main,) partition of each."""
    row: Array
    column: Array
    diagonal: Array
    own: Array
    """See `network.Network`."""
    slot: dict[tuple[int, int], int]
    """(row, column) -> place of the entry."""

    @property
    def main(self) -> int:
        return len(self.number)

    def slots(self, rows: Iterable[int], columns: list[int]) -> list[list[int]]:
        """Places of the entries in some rows and columns, -1 where there is none."""
        return [[self.slot.get((i, c), -1) for c in columns] for i in rows]


def node_keys(rows: Rows, n: int) -> list[Key]:
    """m, U and x of a node; without a mover m and U, of a boundary node or none nothing."""
    if n < 0 or n >= rows.dynamic:
        return []
    mover = rows.nodes[n]["mover"]
    return [("m", n), ("u", n), *([("x", mover)] if mover >= 0 else [])]


def states_of(rows: Rows, states: States, n: int) -> list[int]:
    """Numbers of m, U and x of a node, -1 where it has none."""
    found = [states.number[key] for key in node_keys(rows, n)]
    return found + [-1] * (3 - len(found))


def number_states(rows: Rows, partitions: Partitions) -> States:
    """States partition by partition, those of a partition in the order in which they are best
    eliminated."""
    partition: dict[Key, int] = {}
    for n in range(rows.dynamic):
        partition["m", n] = partition["u", n] = partitions.node[n]
    for j, c in enumerate(partitions.mover):
        partition["x", j] = partition["v", j] = c
    partition |= {("z", k): c for k, c in enumerate(partitions.stem)}
    partition |= {("r", k): c for k, c in enumerate(partitions.lag)}
    blocks = _blocks(rows)
    keys = list(partition)
    both = blocks + [(on, depends) for depends, on in blocks]
    coupled = _entries(both, {key: i for i, key in enumerate(keys)})
    near = [columns - {i} for i, columns in enumerate(coupled)]
    order = minimum_degree(near, list(partition.values()))
    number = {keys[old]: new for new, old in enumerate(order)}
    ordered = np.array([partition[key] for key in number], dtype=np.int64)
    return _with_pattern(number, ordered, _entries(blocks, number))


def _entries(blocks: list[Block], number: dict[Key, int]) -> list[set[int]]:
    """Columns of the nonzeros of each row."""
    entries: list[set[int]] = [set() for _ in number]
    for depends, on in blocks:
        for key in depends:
            entries[number[key]].update(number[other] for other in on)
    return entries


def _with_pattern(number: dict[Key, int], partition: Array, entries: list[set[int]]) -> States:
    filled = filled_rows(entries)
    row = np.cumsum([0, *(len(columns) for columns in filled)], dtype=np.int64)
    slot = {
        (i, c): int(row[i]) + e for i, columns in enumerate(filled) for e, c in enumerate(columns)
    }
    own = [
        row[i] + sum(partition[c] <= partition[i] for c in columns)
        for i, columns in enumerate(filled)
    ]  # columns ascend, and with them their partitions
    return States(
        number=number,
        partition=partition,
        row=row,
        column=np.array([c for columns in filled for c in columns], dtype=np.int64),
        diagonal=np.array([slot[i, i] for i in range(len(number))], dtype=np.int64),
        own=np.array(own, dtype=np.int64),
        slot=slot,
    )


def _blocks(rows: Rows) -> list[Block]:
    """Blocks of the Jacobian, one for each law."""
    blocks: list[Block] = []
    for path in rows.restrictions:
        a, b = node_keys(rows, path["a"]), node_keys(rows, path["b"])
        on = a + b
        if path["hi"] >= 0:
            on += node_keys(rows, path["hi"])[1:] + node_keys(rows, path["lo"])[1:]
        if path["stem"] >= 0:
            on.append(("z", path["stem"]))
        blocks.append((a[:2] + b[:2], on))
    for n in range(rows.dynamic):
        keys = node_keys(rows, n)
        blocks.append((keys[:2], keys + [("v", j) for _, j in keys[2:]]))
    for j, mover in enumerate(rows.movers):
        own = [("x", j), ("v", j)]
        air = [key for k in range(2) for key in node_keys(rows, mover[f"node_{k}"])[:2]]
        blocks.append((own, own + air))
    for k, stem in enumerate(rows.stems):
        blocks.append(([("z", k)], [*node_keys(rows, stem["node"]), ("z", k)]))
    for k, lag in enumerate(rows.lags):
        blocks.append(([("r", k)], [*node_keys(rows, lag["node"]), ("r", k)]))
    return blocks
