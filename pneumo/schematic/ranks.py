"""In which rank each box stands: air goes from lower ranks to higher ones."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import NamedTuple

from pneumo.schematic.precedence import Precedence


class Tie(NamedTuple):
    """A connection between two boxes, by their numbers."""

    a: int
    b: int
    rises: bool | None
    """True: a is lower than b, False: b than a, None: as air finds them."""
    vents: bool = False
    """It leads air out: what is joined by it stands lower than what it vents."""
    pilot: bool = False
    """It only commands."""


def ranks(count: int, ties: Sequence[Tie], roots: Sequence[int], anchored: bool) -> list[int]:
    """Rank of each of `count` boxes, the lowest 0.

    Roots are where air comes in. anchored: what they feed stands as low as it can; else, as what
    they do not feed always does, just below what comes next. Boxes without a tie are spread out.
    """
    start = list(roots) or [0]
    lower, follows = _ordered(count, ties, start)
    order = lower.sorted()
    rank = [0] * count
    for i in order:
        for j in follows[i]:
            rank[j] = max(rank[j], rank[i] + 1)
    fixed = 0
    for root in start if anchored and count else ():
        fixed |= lower.after[root] | 1 << root
    for i in reversed(order):
        if follows[i] and not fixed >> i & 1:
            rank[i] = min(rank[j] for j in follows[i]) - 1
    _spread_out(rank, {i for tie in ties for i in (tie.a, tie.b)})
    lowest = min(rank, default=0)
    return [place - lowest for place in rank]


def _spread_out(rank: list[int], tied: Collection[int]) -> None:
    """Boxes without a tie take the ranks of the others in turn."""
    used = sorted({rank[i] for i in tied}) or [0]
    loose = [i for i in range(len(rank)) if i not in tied]
    for k, i in enumerate(loose):
        rank[i] = used[k % len(used)]


def _ordered(
    count: int, ties: Sequence[Tie], roots: Sequence[int]
) -> tuple[Precedence, list[set[int]]]:
    """Which is lower than which, and what follows directly on each: the sure ties first, then as
    air finds the boxes, as far as that closes no loop."""
    order = _found(count, roots, [tie for tie in ties if not tie.vents and not tie.pilot])
    hanging = {i for i in range(count) if i not in order}
    for i in (*_found(count, list(order), ties), *range(count)):
        order.setdefault(i, len(order))
    lower = Precedence(count)
    follows: list[set[int]] = [set() for _ in range(count)]
    for tie in sorted(ties, key=lambda tie: tie.rises is None):
        low, high = (tie.a, tie.b) if tie.rises is not False else (tie.b, tie.a)
        backwards = tie.rises is None and order[low] > order[high]
        if low in hanging or high in hanging:
            # what hangs on an exhaust is lower than what it vents, link by link
            backwards = order[low] < order[high]
        if backwards:
            low, high = high, low
        if low != high:
            if not lower.add(low, high):
                low, high = high, low
            follows[low].add(high)
    return lower, follows


def _found(count: int, roots: Sequence[int], ties: Sequence[Tie]) -> dict[int, int]:
    """Box -> its place in the order in which air from the roots finds it."""
    near: list[list[int]] = [[] for _ in range(count)]
    for tie in ties:
        near[tie.a].append(tie.b)
        near[tie.b].append(tie.a)
    order = {i: place for place, i in enumerate(dict.fromkeys(roots)) if i < count}
    todo = list(order)
    for here in todo:
        for there in near[here]:
            if there not in order:
                order[there] = len(order)
                todo.append(there)
    return order
