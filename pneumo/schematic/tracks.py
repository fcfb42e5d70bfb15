"""On which track each line of a channel runs across, so that lines lie nowhere on each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

import networkx as nx

from pneumo.schematic.grid import Ends
from pneumo.schematic.precedence import Precedence

Channel = Mapping[int, Ends]
Rows = Mapping[int, tuple[frozenset[int], frozenset[int]]]
"""Line -> the places across at which it comes from below, and from above."""


def rows_of(channel: Channel, at: Sequence[int]) -> Rows:
    """Where each line of a channel meets it, with the seats at the given places."""
    return {
        line: (frozenset(at[s] + i for s, i in lower), frozenset(at[s] + i for s, i in upper))
        for line, (lower, upper) in channel.items()
    }


def tangle(channel: Channel, at: Sequence[int]) -> int | None:
    """A seat above the channel that has to move, because two lines would lie on each other
    whatever tracks they had; None: there are tracks for all."""
    before = _before(rows_of(channel, at))
    above = nx.DiGraph([(line, other) for line, others in before.items() for other in others])
    try:
        line, other = nx.find_cycle(above)[-1]
    except nx.NetworkXNoCycle:
        return None
    place = before[line][other]
    return next(s for s, i in channel[other][1] if at[s] + i == place)


def _before(rows: Rows) -> dict[int, dict[int, int]]:
    """Line -> the lines that must have a higher track, each with the place they share."""
    from_above: dict[int, list[int]] = {}
    for line, (_, upper) in rows.items():
        for place in upper:
            from_above.setdefault(place, []).append(line)
    return {
        line: {
            other: place
            for place in sorted(lower)
            for other in from_above.get(place, ())
            if other != line
        }
        for line, (lower, _) in rows.items()
    }


def tracks(channel: Channel, at: Sequence[int]) -> dict[int, int]:
    """Track of every line that is not straight, counted from below; as few crossings as a greedy
    choice finds, the weightiest first."""
    rows = rows_of(channel, at)
    spans = {line: (min(a | b), max(a | b)) for line, (a, b) in rows.items()}
    bent = [line for line, (low, high) in spans.items() if low < high]
    place = {line: i for i, line in enumerate(bent)}
    choices = [
        (-1_000_000, place[line], place[other])
        for line, others in _before(rows).items()
        for other in others
        if line in place and other in place
    ]
    for a, b in combinations(bent, 2):
        cost = _crossed(rows, spans, a, b) - _crossed(rows, spans, b, a)
        if cost:
            first, second = (a, b) if cost < 0 else (b, a)
            choices.append((-abs(cost), place[first], place[second]))
    order = Precedence(len(bent))
    for _, first, second in sorted(choices):
        order.add(first, second)
    done = _lowest(order, [spans[line] for line in bent])
    return {line: done[place[line]] for line in bent}


def _lowest(order: Precedence, spans: Sequence[tuple[int, int]]) -> dict[int, int]:
    """The lowest track for each span above all that comes before it, clear of what is there."""
    done: dict[int, int] = {}
    for i in order.sorted():
        track = max((done[k] + 1 for k in done if order.after[k] >> i & 1), default=0)
        low, high = spans[i]
        taken = {done[k] for k in done if spans[k][0] <= high + 1 and low <= spans[k][1] + 1}
        while track in taken:
            track += 1
        done[i] = track
    return done


def _crossed(rows: Rows, spans: Mapping[int, tuple[int, int]], a: int, b: int) -> int:
    """Crossings when line `a` runs below line `b`."""
    low, high = spans[b]
    count = sum(low <= place <= high for place in rows[a][1])
    low, high = spans[a]
    return count + sum(low <= place <= high for place in rows[b][0])
