"""Order in which the linear solver eliminates the states, and the fill-in that order causes."""

from __future__ import annotations

Adjacency = list[set[int]]


def minimum_degree(neighbours: Adjacency, partition: list[int]) -> list[int]:
    """Elimination order, partition by partition, within a partition by least number of neighbours
    (Tinney's scheme 2; ties by number).

    `neighbours[i]`: the states coupled with state i, symmetric, without i itself; `partition[i]`:
    the partition of state i.
    """
    left = [set(near) for near in neighbours]
    order: list[int] = []
    own: dict[int, set[int]] = {}
    for i, c in enumerate(partition):
        own.setdefault(c, set()).add(i)
    for c in sorted(own):
        order += _eliminate(own[c], left)
    return order


def _eliminate(waiting: set[int], left: Adjacency) -> list[int]:
    order: list[int] = []
    while waiting:
        pick = min(waiting, key=lambda i: (len(left[i]), i))
        near = left[pick]
        for i in near:
            left[i] |= near
            left[i] -= {i, pick}
        waiting.remove(pick)
        order.append(pick)
    return order


def filled_rows(entries: Adjacency) -> list[list[int]]:
    """Columns of each row of L + U for a matrix eliminated in its given order.

    `entries[i]`: columns of the nonzeros of row i.
    """
    rows: list[list[int]] = []
    for i, given in enumerate(entries):
        columns = set(given) | {i}
        k = min(columns)
        while k < i:
            columns.update(c for c in rows[k] if c > k)
            k = min(c for c in columns if c > k)
        rows.append(sorted(columns))
    return rows
