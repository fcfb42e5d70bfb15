"""Where boxes and lines go: a layered drawing of boxes joined by orthogonal lines.

Knows nothing of air. Boxes stand in layers, layer 0 lowest; lines leave a box at its upper or lower
edge and run in the channels between layers (channel c lies below layer c). A line that has to pass
a layer gets a gap of its own there, so that no line ever crosses a box.

The steps are those of Sugiyama, Tagawa and Toda (1981): order within the layers by barycentres,
then coordinates; x by least distances under the order (pool adjacent violators),
tracks in a channel so that no two lines lie on each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pneumo.report.symbols import Anchor

TRACK = 10.0
"""Distance between two horizontal lines in a channel."""
CLEAR = 14.0
"""Least height of a channel above and below its tracks."""
APART = 16.0
"""Least distance between two neighbours of one layer."""
SWEEPS = 16

Point = tuple[float, float]


@dataclass
class Box:
    """Something to place. Anchors are relative to its upper left corner."""

    name: str
    width: float
    height: float
    anchors: dict[str, Anchor]
    layer: int
    loose: bool = False
    """True: the anchors of one edge may change places among themselves."""
    low: bool = False
    """True: it stands on the floor of its layer; False: in the middle of the layer's height."""
    x: float = 0.0
    y: float = 0.0

    def meets(self, anchor: str) -> Point:
        """Where an anchor lies in the drawing."""
        a = self.anchors[anchor]
        return self.x + a.x, self.y + a.y


@dataclass(frozen=True)
class Wire:
    """A line to draw between two anchors, each (box name, anchor name)."""

    start: tuple[str, str]
    end: tuple[str, str]
    style: str = "working"
    note: str = ""
    """A few letters written beside the line."""
    pull: float = 1.0
    """How much it matters that this line is straight."""


@dataclass(frozen=True)
class Route:
    """A wire with its corners, from start to end."""

    wire: Wire
    points: tuple[Point, ...]


@dataclass
class Layout:
    """A finished arrangement; x and y of the boxes are set, (0, 0) is the upper left corner."""

    boxes: list[Box]
    routes: list[Route]
    width: float
    height: float


@dataclass(eq=False)
class _Seat:
    """A place in a layer: a box, or the gap through which a wire passes it."""

    box: Box | None
    width: float
    x: float = 0.0
    order: int = 0


@dataclass(eq=False)
class _Segment:
    """The part of a wire within one channel. Each end: seat, anchor name, True if the seat lies
    below the channel."""

    wire: int
    ends: tuple[tuple[_Seat, str, bool], tuple[_Seat, str, bool]]
    pull: float
    track: int = 0

    def xs(self) -> Point:
        return _reach(self.ends[0]), _reach(self.ends[1])


def _reach(end: tuple[_Seat, str, bool]) -> float:
    seat, anchor, _ = end
    return seat.x + (seat.box.anchors[anchor].x if seat.box else 0.0)


def arrange(boxes: Sequence[Box], wires: Sequence[Wire]) -> Layout:
    """Place boxes whose layers are given and route the wires between them.

    Boxes keep their identity: x, y and the order of loose anchors are set in place. The order of
    `boxes` and `wires` is the starting order, so the same input gives the same drawing.
    """
    if not boxes:
        return Layout([], [], 0.0, 0.0)
    lowest = min(box.layer for box in boxes)
    for box in boxes:
        box.layer -= lowest
    layers, chains, channels = _seat(boxes, wires)
    _order(layers, channels)
    _place_x(layers, channels)
    heights = _place_y(layers, channels)
    return _finish(boxes, wires, chains, heights)


def _seat(
    boxes: Sequence[Box], wires: Sequence[Wire]
) -> tuple[list[list[_Seat]], list[list[tuple[int, _Segment]]], list[list[_Segment]]]:
    """Layers of seats, the segments of each wire with their channels, the segments per channel."""
    count = max(box.layer for box in boxes) + 1
    layers: list[list[_Seat]] = [[] for _ in range(count)]
    channels: list[list[_Segment]] = [[] for _ in range(count + 1)]
    chains: list[list[tuple[int, _Segment]]] = []
    seats: dict[str, _Seat] = {}
    for box in boxes:
        seats[box.name] = _Seat(box, box.width)
        layers[box.layer].append(seats[box.name])

    def leaves(name: str, anchor: str) -> tuple[int, tuple[_Seat, str, bool]]:
        seat = seats[name]
        assert seat.box is not None
        up = seat.box.anchors[anchor].side == "top"
        return seat.box.layer + (1 if up else 0), (seat, anchor, up)

    for number, wire in enumerate(wires):
        (here, start), (there, end) = leaves(*wire.start), leaves(*wire.end)
        step = 1 if there >= here else -1
        chain: list[tuple[int, _Segment]] = []
        while here != there:
            gap = _Seat(None, 0.0)
            layers[here if step > 0 else here - 1].append(gap)
            chain.append((here, _Segment(number, (start, (gap, "", step < 0)), wire.pull)))
            start = (gap, "", step > 0)
            here += step
        chain.append((here, _Segment(number, (start, end), wire.pull)))
        for channel, segment in chain:
            channels[channel].append(segment)
        chains.append(chain)
    return layers, chains, channels


# order within the layers


def _order(layers: list[list[_Seat]], channels: list[list[_Segment]]) -> None:
    for layer in layers:
        _pack(layer)
    best = _crossings(channels)
    kept = [list(layer) for layer in layers]
    for sweep in range(SWEEPS):
        upward = sweep % 2 == 0
        indices = range(len(layers)) if upward else range(len(layers) - 1, -1, -1)
        for i in indices:
            pull = channels[i] if upward else channels[i + 1]
            wish = _wishes(layers[i], pull)
            layers[i].sort(key=lambda seat: wish.get(seat, seat.x + seat.width / 2))
            _pack(layers[i])
        _sort_loose(layers, channels)
        now = _crossings(channels)
        if now < best:
            best, kept = now, [list(layer) for layer in layers]
    for layer, order in zip(layers, kept, strict=True):
        layer[:] = order
        _pack(layer)
    _sort_loose(layers, channels)


def _pack(layer: list[_Seat]) -> None:
    x = 0.0
    for i, seat in enumerate(layer):
        seat.x, seat.order = x, i
        x += seat.width + APART


def _wishes(layer: list[_Seat], segments: list[_Segment]) -> dict[_Seat, float]:
    """For each seat, the mean x of what it is joined to through a channel."""
    pulls: dict[_Seat, list[float]] = {}
    for segment in segments:
        for mine, other in (segment.ends, segment.ends[::-1]):
            pulls.setdefault(mine[0], []).append(_reach(other))
    return {seat: sum(xs) / len(xs) for seat, xs in pulls.items() if seat in layer}


def _crossings(channels: list[list[_Segment]]) -> int:
    return sum(
        _cross(a, b)
        for channel in channels
        for i, a in enumerate(channel)
        for b in channel[i + 1 :]
    )


def _cross(a: _Segment, b: _Segment) -> int:
    """1 when two segments of one channel have to cross whatever tracks they use."""
    if a.ends[0][2] == a.ends[1][2] or b.ends[0][2] == b.ends[1][2]:
        return 0
    a_low, a_high = a.xs() if a.ends[0][2] else a.xs()[::-1]
    b_low, b_high = b.xs() if b.ends[0][2] else b.xs()[::-1]
    return int((a_low - b_low) * (a_high - b_high) < 0)


def _sort_loose(layers: list[list[_Seat]], channels: list[list[_Segment]]) -> None:
    """Give the interchangeable anchors of a box the order of what they lead to."""
    for i, layer in enumerate(layers):
        for seat in layer:
            box = seat.box
            if box is None or not box.loose:
                continue
            for channel, up in ((channels[i], False), (channels[i + 1], True)):
                goals: dict[str, float] = {}
                for segment in channel:
                    for mine, other in (segment.ends, segment.ends[::-1]):
                        if mine[0] is seat and mine[2] == up:
                            goals[mine[1]] = _reach(other)
                places = sorted((box.anchors[name] for name in goals), key=lambda a: a.x)
                for name, place in zip(sorted(goals, key=lambda n: goals[n]), places, strict=True):
                    box.anchors[name] = place


# coordinates


def _place_x(layers: list[list[_Seat]], channels: list[list[_Segment]]) -> None:
    for sweep in range(SWEEPS):
        upward = sweep % 2 == 0
        indices = range(len(layers)) if upward else range(len(layers) - 1, -1, -1)
        for i in indices:
            # the last two sweeps look one way where they can, which makes lines exactly straight
            both = sweep < SWEEPS - 2
            near, far = (channels[i], channels[i + 1]) if upward else (channels[i + 1], channels[i])
            _settle(layers[i], near, far, both)
        if both:
            _sort_loose(layers, channels)
    for i, layer in enumerate(layers):
        _bring_in(layer, channels[i] + channels[i + 1])
    left = min((seat.x for layer in layers for seat in layer), default=0.0)
    for layer in layers:
        for seat in layer:
            seat.x -= left


def _settle(layer: list[_Seat], near: list[_Segment], far: list[_Segment], both: bool) -> None:
    """Least weighted distances to the wished x, with the order and the gaps kept.

    A seat that nothing pulls through the near channel listens to the far one all the same.
    """
    wishes = _pulls(layer, near)
    for seat, pulls in _pulls(layer, far).items():
        if both or not wishes[seat]:
            wishes[seat] += pulls
    _grant(layer, wishes)


def _bring_in(layer: list[_Seat], segments: list[_Segment]) -> None:
    """Bring what hangs on a single weak line as near as the others, which stay, allow."""
    wishes = _pulls(layer, segments)
    for seat, pulls in wishes.items():
        if len(pulls) != 1 or pulls[0][1] > 1.0:
            wishes[seat] = [(seat.x, 1e6)]
    _grant(layer, wishes)


def _grant(layer: list[_Seat], wishes: dict[_Seat, list[tuple[float, float]]]) -> None:
    offsets: list[float] = []
    offset = 0.0
    # blocks of seats that stand shoulder to shoulder: their wishes less their offsets, their number
    blocks: list[tuple[list[tuple[float, float]], int]] = []
    for seat in layer:
        offsets.append(offset)
        pulls = wishes[seat] or [(seat.x, 0.01)]
        blocks.append(([(x - offset, w) for x, w in pulls], 1))
        while len(blocks) > 1 and _middle(blocks[-2][0]) > _middle(blocks[-1][0]):
            pulls, count = blocks.pop()
            blocks[-1] = (blocks[-1][0] + pulls, blocks[-1][1] + count)
        offset += seat.width + APART
    k = 0
    for pulls, count in blocks:
        start = _middle(pulls)
        for _ in range(count):
            layer[k].x = start + offsets[k]
            k += 1


def _pulls(layer: list[_Seat], segments: list[_Segment]) -> dict[_Seat, list[tuple[float, float]]]:
    """For each seat the (x, weight) at which its lines through a channel would be straight."""
    wishes: dict[_Seat, list[tuple[float, float]]] = {seat: [] for seat in layer}
    for segment in segments:
        for mine, other in (segment.ends, segment.ends[::-1]):
            if mine[0] in wishes:
                x = _reach(other) - (_reach(mine) - mine[0].x)
                # a line that passes the layer is held hardest, so that it stays straight
                wishes[mine[0]].append((x, segment.pull * (1.0 if mine[0].box else 4.0)))
    return wishes


def _middle(wishes: list[tuple[float, float]]) -> float:
    """Weighted median of (x, weight), which leaves the weightiest line straight."""
    half = sum(w for _, w in wishes) / 2
    for x, w in sorted(wishes):
        half -= w
        if half <= 1e-9:
            return x
    return wishes[-1][0]


def _place_y(
    layers: list[list[_Seat]], channels: list[list[_Segment]]
) -> tuple[list[float], float]:
    """Sets y of every box; returns the lower edge of each channel and the total height.

    Built upwards from y = 0 and turned over at the end, as the page counts downwards.
    """
    floors: list[float] = []
    level = 0.0
    for i, channel in enumerate(channels):
        floors.append(level)
        tracks = _assign_tracks(channel)
        outer = i in (0, len(channels) - 1)
        if tracks or not outer:
            level += 2 * CLEAR + max(tracks - 1, 0) * TRACK
        if i < len(layers):
            tall = max((s.box.height for s in layers[i] if s.box), default=0.0)
            for seat in layers[i]:
                if seat.box:
                    seat.box.x = seat.x
                    above = 0.0 if seat.box.low else (tall - seat.box.height) / 2
                    seat.box.y = level + above + seat.box.height
            level += tall
    return floors, level


def _assign_tracks(channel: list[_Segment]) -> int:
    """Gives every bent segment a track, counted from below; returns how many there are."""
    bent = [s for s in channel if abs(s.xs()[0] - s.xs()[1]) > 0.1]
    choices: list[tuple[float, int, int]] = []
    for i, a in enumerate(bent):
        for j in range(i + 1, len(bent)):
            cost = _cost(a, bent[j]) - _cost(bent[j], a)
            if cost:
                choices.append((-abs(cost), *((j, i) if cost < 0 else (i, j))))
    # above[i]: bit set of all that have to run above i, directly or not
    above = [0] * len(bent)
    for _, high, low in sorted(choices):
        # `high` should run above `low`, unless that contradicts a weightier choice
        if above[high] >> low & 1 or above[low] >> high & 1:
            continue
        gained = above[high] | 1 << high
        for k in range(len(bent)):
            if k == low or above[k] >> low & 1:
                above[k] |= gained
    # whoever has more above it comes first, so what must lie below has its track already
    done: dict[int, int] = {}
    for i in sorted(range(len(bent)), key=lambda i: (-above[i].bit_count(), i)):
        track = max((done[k] + 1 for k in done if above[k] >> i & 1), default=0)
        taken = {done[k] for k in done if _overlap(bent[i], bent[k])}
        while track in taken:
            track += 1
        done[i] = bent[i].track = track
    return max(done.values(), default=-1) + 1


def _overlap(a: _Segment, b: _Segment) -> bool:
    (a1, a2), (b1, b2) = sorted(a.xs()), sorted(b.xs())
    return a1 < b2 + 6 and b1 < a2 + 6


def _cost(low: _Segment, high: _Segment) -> float:
    """How bad it is to run `low` on a lower track than `high`: crossings, and 100 when lines would
    lie on each other."""
    cost = 0.0
    left, right = sorted(high.xs())
    for end in low.ends:
        x = _reach(end)
        if not end[2]:  # rises from the low track past the high one
            cost += left - 0.1 < x < right + 0.1
    l_left, l_right = sorted(low.xs())
    for end in high.ends:
        x = _reach(end)
        if end[2]:  # falls from the high track past the low one
            cost += l_left - 0.1 < x < l_right + 0.1
            for other in low.ends:
                if not other[2] and abs(_reach(other) - x) < 5:
                    cost += 100
    return cost


def _finish(
    boxes: Sequence[Box],
    wires: Sequence[Wire],
    chains: list[list[tuple[int, _Segment]]],
    heights: tuple[list[float], float],
) -> Layout:
    floors, total = heights
    for box in boxes:
        box.y = total - box.y
    routes: list[Route] = []
    for wire, chain in zip(wires, chains, strict=True):
        by_name = {box.name: box for box in boxes if box.name in (wire.start[0], wire.end[0])}
        points = [by_name[wire.start[0]].meets(wire.start[1])]
        for channel, segment in chain:
            x1, x2 = segment.xs()
            if abs(x1 - x2) > 0.1:
                y = total - (floors[channel] + CLEAR + segment.track * TRACK)
                points += [(x1, y), (x2, y)]
        points.append(by_name[wire.end[0]].meets(wire.end[1]))
        routes.append(Route(wire, _tidy(points)))
    right = max([box.x + box.width for box in boxes] + [x for r in routes for x, _ in r.points])
    return Layout(list(boxes), routes, right, total)


def _tidy(points: list[Point]) -> tuple[Point, ...]:
    """Leave out points that lie on a straight line between their neighbours."""
    kept: list[Point] = []
    for point in points:
        if kept and point == kept[-1]:
            continue
        while len(kept) > 1 and (
            kept[-2][0] == kept[-1][0] == point[0] or kept[-2][1] == kept[-1][1] == point[1]
        ):
            kept.pop()
        kept.append(point)
    return tuple(kept)
