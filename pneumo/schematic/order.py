"""Which comes before which in a rank, so that few lines cross: barycentres, sweep by sweep, as
Sugiyama, Tagawa and Toda (1981)."""

from __future__ import annotations

from itertools import combinations
from math import inf

from pneumo.schematic.grid import Grid, Reach, grid, packed

SWEEPS = 16


def ordered(start: Grid) -> Grid:
    """The grid with each rank in a better order; the order given decides between equals."""
    best, kept = crossings(start), start.ranks
    ranks = [list(rank) for rank in start.ranks]
    for sweep in range(SWEEPS):
        if not best:
            break
        upward = sweep % 2 == 0
        indices = range(len(ranks)) if upward else range(len(ranks) - 1, -1, -1)
        at = packed(start.seats, ranks)
        for c in indices:
            wish = {seat: _wish(start, at, seat, c, upward) for seat in ranks[c]}
            ranks[c].sort(key=lambda seat: wish[seat])
            place = 0
            for seat in ranks[c]:
                at[seat] = place
                place += start.seats[seat].size
        now = crossings(start._replace(ranks=tuple(map(tuple, ranks))))
        if now < best:
            best, kept = now, tuple(map(tuple, ranks))
    return grid(start.seats, kept)


def _wish(start: Grid, at: list[int], seat: int, c: int, upward: bool) -> float:
    """Mean place at which the seat would be level with what it is joined to on one side."""
    near = neighbours(start, at, seat, c, upward) or neighbours(start, at, seat, c, not upward)
    return sum(near) / len(near) if near else inf


def neighbours(found: Grid, at: list[int], seat: int, c: int, below: bool) -> list[int]:
    """Places at which a seat of rank c would be level with each thing it is joined to below or
    above; with its fellows in the channel where it has nothing on the other side of it."""
    channel = found.channels[c if below else c + 1]
    places: list[int] = []
    for line, mine in found.seats[seat].low if below else found.seats[seat].high:
        lower, upper = channel[line]
        others = lower if below else upper
        same = upper if below else lower
        reaches: list[Reach] = others or [r for r in same if r[0] != seat]
        places += [at[other] + theirs - mine for other, theirs in reaches]
    return places


def crossings(found: Grid) -> int:
    """Pairs of lines that have to cross, channel by channel, whatever tracks they get."""
    at = packed(found.seats, found.ranks)
    total = 0
    for channel in found.channels:
        ways = []
        for lower, upper in channel.values():
            if lower and upper:
                low = [at[s] + i for s, i in lower]
                high = [at[s] + i for s, i in upper]
                ways.append((min(low), max(low), min(high), max(high)))
        for a, b in combinations(ways, 2):
            total += (a[0] < b[1] and a[3] > b[2]) or (a[1] > b[0] and a[2] < b[3])
    return total
