"""Ranks of seats and the channels between them: what order, places and tracks are worked out on.

Channel c lies below rank c. A line runs across in channels; where it has to pass a rank it has a
seat of its own there, so that no line ever runs through a box.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

Meeting = tuple[int, int]
"""(line, place across within the seat)."""
Reach = tuple[int, int]
"""(seat, place across within it): where a line meets a channel."""
Ends = tuple[list[Reach], list[Reach]]
"""Where a line meets a channel from the rank below it, and from the rank above."""


class Seat(NamedTuple):
    """A place in a rank: a box, or the room in which a line passes."""

    box: int
    """-1: a line passes."""
    line: int
    """The line that passes; -1: a box."""
    size: int
    """Room across."""
    low: tuple[Meeting, ...]
    high: tuple[Meeting, ...]


class Grid(NamedTuple):
    """Seats by number; each rank lists the numbers of its seats in order."""

    seats: tuple[Seat, ...]
    ranks: tuple[tuple[int, ...], ...]
    channels: tuple[dict[int, Ends], ...]
    """One more than ranks; line -> where it meets the channel."""


def grid(seats: Sequence[Seat], ranks: Iterable[Iterable[int]]) -> Grid:
    """Seats in ranks with the channels that follow from them."""
    rows = tuple(tuple(rank) for rank in ranks)
    channels: list[dict[int, Ends]] = [{} for _ in range(len(rows) + 1)]
    for c, rank in enumerate(rows):
        for seat in rank:
            for line, at in seats[seat].low:
                channels[c].setdefault(line, ([], []))[1].append((seat, at))
            for line, at in seats[seat].high:
                channels[c + 1].setdefault(line, ([], []))[0].append((seat, at))
    return Grid(tuple(seats), rows, tuple(channels))


def passing(line: int) -> Seat:
    """The room that a line needs to pass a rank."""
    return Seat(-1, line, 1, ((line, 0),), ((line, 0),))


def packed(seats: Sequence[Seat], ranks: Iterable[Iterable[int]]) -> list[int]:
    """Places of seats that stand shoulder to shoulder in each rank."""
    at = [0] * len(seats)
    for rank in ranks:
        place = 0
        for seat in rank:
            at[seat] = place
            place += seats[seat].size
    return at
