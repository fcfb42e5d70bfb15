"""Partitions: the parts of a network that may take steps of their own.

A zone hangs on the ride's air through few paths. Where a single path (or several side by side)
leads to everything that the zone alone uses, the network is cut there: what lies beyond is the
zone's partition, and what is left is the shared partition, the last. It is cut only where that
holds a volume of air, so that whatever the zone does shows there as a slow change: it may be ahead
of the zone by some steps, and what the zone took meanwhile is corrected afterwards.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any, NamedTuple

Row = Mapping[str, Any]
Edge = tuple[int, int]

BUFFER_VOLUME = 2e-3
"""The shared partition holds at least this much where a zone is cut off [m3]."""


def divide(
    dynamic: int,
    paths: Sequence[Row],
    volumes: Sequence[float],
    owners: Sequence[Sequence[int]],
    ties: Sequence[Sequence[int]],
    supplied: Sequence[int],
) -> list[int]:
    """Partition of every dynamic node; the shared one is the last.

    Parameters
    ----------
    dynamic
        Number of dynamic nodes; higher node numbers are boundary nodes.
    paths
        Rows of the restrictions.
    volumes
        Volume of each dynamic node [m3].
    owners
        Nodes at the brakes of each zone, and at the cylinders of each group of gates.
    ties
        Nodes that must share a partition: the chambers of a cylinder, a path and what opens it.
    supplied
        Nodes that supplies deliver into.
    """
    links = {(path["a"], path["b"]) for path in paths}
    tied = {pair for nodes in ties for pair in pairwise(nodes)}
    near: list[list[int]] = [[] for _ in range(dynamic)]
    tied |= {(b, a) for a, b in tied}
    for a, b in sorted(tied | links | {(b, a) for a, b in links}):
        if a != b and max(a, b) < dynamic:
            near[a].append(b)
    partition = [-1] * dynamic
    count = 0
    for side in _sides(near, tied, volumes, owners, supplied):
        for n in side:
            partition[n] = count
        count += 1
    return [count if c < 0 else c for c in partition]


def _sides(
    near: Sequence[Sequence[int]],
    tied: Collection[Edge],
    volumes: Sequence[float],
    owners: Sequence[Sequence[int]],
    supplied: Sequence[int],
) -> list[list[int]]:
    """Nodes beyond the cut of each owner that can be cut off, the cut beyond which most nodes lie;
    in the owners' order."""
    owner = {n: number for number, nodes in enumerate(owners) for n in nodes}
    best: dict[int, tuple[int, int]] = {}
    sides: dict[int, list[int]] = {}
    for tree in _trees(near, supplied):
        size = dict.fromkeys(tree.order, 1)
        owned: dict[int, dict[int, int]] = {
            n: {owner[n]: 1} if n in owner else {} for n in tree.order
        }
        for n in reversed(tree.order[1:]):
            size[tree.above[n]] += size[n]
            held = owned[tree.above[n]]
            for number, amount in owned[n].items():
                held[number] = held.get(number, 0) + amount
        for place, n in enumerate(tree.order):
            if n not in tree.hanging or (tree.above[n], n) in tied or len(owned[n]) != 1:
                continue
            if volumes[tree.above[n]] < BUFFER_VOLUME:
                continue
            ((number, amount),) = owned[n].items()
            choice = (-size[n], n)
            if amount == len(set(owners[number])) and choice < best.get(number, (0, 0)):
                best[number] = choice
                sides[number] = tree.order[place : place + size[n]]
    return [sides[number] for number in sorted(sides)]


class _Tree(NamedTuple):
    """Nodes that hang together, as a search in depth finds them."""

    order: list[int]
    """As they were found: after a node everything that was found through it."""
    above: dict[int, int]
    """Node -> the node through which it was found."""
    hanging: set[int]
    """Nodes to which, and to all found through them, nothing leads but the link from above."""


def _trees(near: Sequence[Sequence[int]], first: Sequence[int]) -> Iterator[_Tree]:
    """Everything that hangs together, each from one of the first nodes where it has one (Tarjan's
    search for bridges)."""
    place: dict[int, int] = {}
    lowest: dict[int, int] = {}
    for root in (*first, *range(len(near))):
        if root in place or root >= len(near):
            continue
        tree = _Tree([], {}, set())
        found = [root]
        ways: list[Iterator[int]] = []
        while found:
            n = found[-1]
            if n not in place:
                place[n] = lowest[n] = len(place)
                tree.order.append(n)
                ways.append(iter(near[n]))
            fresh = None
            for other in ways[-1]:
                if other not in place:
                    fresh = other
                    break
                if other != tree.above.get(n):
                    lowest[n] = min(lowest[n], place[other])
            if fresh is not None:
                tree.above[fresh] = n
                found.append(fresh)
                continue
            found.pop()
            ways.pop()
            if found:
                lowest[found[-1]] = min(lowest[found[-1]], lowest[n])
                if lowest[n] == place[n]:
                    tree.hanging.add(n)
        yield tree
