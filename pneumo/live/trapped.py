"""Air that cannot get out, found from the graph as it stands now."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence

from pneumo.network.network import Array, Network
from pneumo.scenario.play import Play

Ways = dict[int, list[int]]
"""Node -> nodes to which air could go."""


def trapped(play: Play, nodes: Sequence[int], charged: Array, passing: Array) -> tuple[int, ...]:
    """Places of the nodes under pressure to which no working supply leads and from which nothing
    leads out.

    `nodes`: those to look at, `charged`: which of them are under pressure; `passing`: which paths
    of the network air passes now.
    """
    network = play.plant.network
    ways: Ways = {}
    back: Ways = {}
    for a, b in _ways(network, passing):
        if a < network.dynamic:  # what is outside feeds nothing
            ways.setdefault(a, []).append(b)
            back.setdefault(b, []).append(a)
    supplied = _spread(_live_sources(play), ways)
    vents = _spread({network.dynamic}, back)
    return tuple(
        i
        for i, node in enumerate(nodes)
        if charged[i] and node not in supplied and node not in vents
    )


def _live_sources(play: Play) -> set[int]:
    sources: set[int] = set()
    network, compiled = play.plant.network, play.compiled
    can_deliver = play.actors.supplies.can_deliver
    for spec in compiled.compressors:
        if can_deliver(play.plant, spec.component):
            sources.add(int(network.source[spec.source]["node"]))
    for name, parts in compiled.parts.items():
        if parts.supply >= 0 and can_deliver(play.plant, name):
            row = network.restriction[parts.supply]
            sources |= {int(row["a"]), int(row["b"])}
    return sources - {network.dynamic}


def _ways(network: Network, passing: Array) -> Iterator[tuple[int, int]]:
    """From where to where air could go now: a check valve lets it pass one way only."""
    table = network.restriction
    names = ("a", "b", "hi", "lo", "stem", "open_max", "open_min")
    columns = (table[name].tolist() for name in names)
    for r, (a, b, hi, lo, stem, most, least) in enumerate(zip(*columns, strict=True)):
        if most <= 0.0 or not _spool_lets(network, r):
            continue
        forth = back = bool(passing[r])
        if hi < 0 and stem < 0:
            forth = back = True
        elif (hi, lo) == (a, b):
            forth, back = True, least > 0.0
        elif (hi, lo) == (b, a):
            forth, back = least > 0.0, True
        elif stem >= 0 and b != network.dynamic:
            forth = True
        if forth:
            yield a, b
        if back:
            yield b, a


def _spool_lets(network: Network, path: int) -> bool:
    """Not closed by its spool."""
    row = network.restriction[path]
    if row["spool"] < 0:
        return True
    spool = network.spool[row["spool"]]
    closed, wide = float(row["spool_closed"]), float(row["spool_open"])
    share = (float(spool["position"]) - closed) / (wide - closed)
    return share > 0.01 or bool(spool["rate"] != 0.0)


def _spread(start: set[int], ways: Ways) -> set[int]:
    reached, queue = set(start), deque(start)
    while queue:
        for other in ways.get(queue.popleft(), ()):
            if other not in reached:
                reached.add(other)
                queue.append(other)
    return reached
