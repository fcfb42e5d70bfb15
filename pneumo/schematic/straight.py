"""Where each seat stands across: lines as straight and as short as its order allows.

Least distances to the median of what a seat is joined to, order and room kept (pool adjacent
violators), sweep by sweep; then what would lie on each other is moved apart, and what is left
over is drawn in.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from pneumo.schematic.grid import Grid, packed
from pneumo.schematic.tracks import tangle

SWEEPS = 16
PATIENCE = 400
"""Moves after which lines that cannot be parted are given places of their own."""
TIGHTENINGS = 4


def straightened(found: Grid) -> list[int]:
    """Places of all seats across, from 0 on; every channel then has tracks for its lines."""
    at = packed(found.seats, found.ranks)
    for sweep in range(SWEEPS):
        upward = sweep % 2 == 0
        last = sweep >= SWEEPS - 2
        indices = range(len(found.ranks))
        for c in indices if upward else reversed(indices):
            wishes = []
            for seat in found.ranks[c]:
                both = neighbours_of(found, at, seat, c)
                if last and len(both) != 1:
                    # what hangs on one line comes to it, the others stay
                    both = [at[seat]] * 9
                wishes.append(both or [at[seat]])
            _grant(found, at, found.ranks[c], wishes)
    _part(found, at)
    _tighten(found, at)
    least = min(at, default=0)
    return [place - least for place in at]


def neighbours_of(found: Grid, at: list[int], seat: int, c: int) -> list[int]:
    """Places at which a seat would be level with what it is joined to in other ranks."""
    places = []
    for channel, mine, below in (
        (found.channels[c], found.seats[seat].low, True),
        (found.channels[c + 1], found.seats[seat].high, False),
    ):
        for line, offset in mine:
            places += [at[s] + i - offset for s, i in channel[line][0 if below else 1]]
    return places


def _grant(found: Grid, at: list[int], rank: Sequence[int], wishes: Sequence[list[int]]) -> None:
    blocks: list[tuple[list[int], int]] = []
    offsets: list[int] = []
    offset = 0
    for seat, places in zip(rank, wishes, strict=True):
        offsets.append(offset)
        blocks.append(([place - offset for place in places], 1))
        while len(blocks) > 1 and _median(blocks[-2][0]) > _median(blocks[-1][0]):
            places, count = blocks.pop()
            blocks[-1] = (blocks[-1][0] + places, blocks[-1][1] + count)
        offset += found.seats[seat].size
    k = 0
    for places, count in blocks:
        start = _median(places)
        for _ in range(count):
            at[rank[k]] = start + offsets[k]
            k += 1


def _median(places: list[int]) -> int:
    return sorted(places)[(len(places) - 1) // 2]


def _part(found: Grid, at: list[int]) -> None:
    """Moves seats on until no lines of a channel would lie on each other."""
    for _ in range(PATIENCE):
        moved = next((s for ch in found.channels if (s := tangle(ch, at)) is not None), None)
        if moved is None:
            return
        at[moved] += 1
        for rank in found.ranks:
            if moved in rank:
                for before, after in pairwise(rank):
                    at[after] = max(at[after], at[before] + found.seats[before].size)
    # last resort: no place is used on both sides of a channel
    place = 0
    for rank in found.ranks:
        for seat in rank:
            at[seat] = place
            place += found.seats[seat].size


def _tighten(found: Grid, at: list[int]) -> None:
    """Moves seats, alone or with what they are level with, where lines get shorter."""
    where = {seat: (c, i) for c, rank in enumerate(found.ranks) for i, seat in enumerate(rank)}
    for _ in range(TIGHTENINGS):
        moved = False
        for seat in where:
            moved |= _shift(found, at, where, [seat])
            moved |= _shift(found, at, where, _level_with(found, at, where, seat))
        if not moved:
            return


def _level_with(
    found: Grid, at: list[int], where: dict[int, tuple[int, int]], seat: int
) -> list[int]:
    """A seat and those that straight lines join to it."""
    level = [seat]
    for one in level:
        c = where[one][0]
        for channel, mine in (
            (found.channels[c], found.seats[one].low),
            (found.channels[c + 1], found.seats[one].high),
        ):
            for line, offset in mine:
                for other, theirs in (*channel[line][0], *channel[line][1]):
                    if other not in level and at[other] + theirs == at[one] + offset:
                        level.append(other)
    return level


def _shift(
    found: Grid, at: list[int], where: dict[int, tuple[int, int]], seats: Sequence[int]
) -> bool:
    """Moves seats together by what makes their lines shortest; True if they moved."""
    low, high = _room(found, at, where, seats)
    steps = dict.fromkeys(
        place - at[seat]
        for seat in seats
        for place in neighbours_of(found, at, seat, where[seat][0])
    )
    channels = sorted({where[seat][0] + k for seat in seats for k in (0, 1)})
    starts = [at[seat] for seat in seats]

    def move(step: int) -> int:
        for seat, start in zip(seats, starts, strict=True):
            at[seat] = start + step
        return sum(_length(found, at, seat, where[seat][0]) for seat in seats)

    best, chosen = move(0), 0
    for step in steps:
        if low <= step <= high and step:
            now = move(step)
            if now < best and not any(tangle(found.channels[c], at) is not None for c in channels):
                best, chosen = now, step
    move(chosen)
    return chosen != 0


def _room(
    found: Grid, at: list[int], where: dict[int, tuple[int, int]], seats: Sequence[int]
) -> tuple[int, int]:
    """Cells by which seats may move back and on together, between those beside them."""
    low, high = -(10**9), 10**9
    for seat in seats:
        c, i = where[seat]
        rank = found.ranks[c]
        if i and rank[i - 1] not in seats:
            low = max(low, at[rank[i - 1]] + found.seats[rank[i - 1]].size - at[seat])
        if i + 1 < len(rank) and rank[i + 1] not in seats:
            high = min(high, at[rank[i + 1]] - found.seats[seat].size - at[seat])
    return low, high


def _length(found: Grid, at: list[int], seat: int, c: int) -> int:
    """Length across of the lines at a seat, and 2 for each that is not straight."""
    total = 0
    for channel, mine, far in (
        (found.channels[c], found.seats[seat].low, 0),
        (found.channels[c + 1], found.seats[seat].high, 1),
    ):
        for line, offset in mine:
            ends = channel[line]
            places = [at[s] + i for s, i in (*ends[0], *ends[1])]
            total += max(places) - min(places)
            total += 2 * all(at[s] + i != at[seat] + offset for s, i in ends[far])
    return total
