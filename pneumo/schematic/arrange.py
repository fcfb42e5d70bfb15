"""Where a sheet's boxes and lines stand, in whole cells along and across.

A sheet too long for its page is cut between ranks, and the pieces stand beside each other. A line
that is cut goes round: on beyond the end of its piece, back between the two, and on before the
beginning of the next.

Lines never share a cell, but where one that runs along crosses one that runs across.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple

from pneumo.schematic.grid import Ends, Grid, Seat, grid, packed, passing
from pneumo.schematic.sheet import Sheet, Side
from pneumo.schematic.straight import straightened
from pneumo.schematic.tracks import tracks

Cell = tuple[int, int]
"""(along, across)"""


class Shape(NamedTuple):
    """How large a pen draws a box, with the room it wants around it."""

    depth: int
    """Along."""
    size: int
    """Across."""
    low: Mapping[str, int]
    """Port -> place across within the box where a line meets its low side; "" of a vessel."""
    high: Mapping[str, int]
    room: int = 0
    """Along, for what stands over its edge; lines still begin at the box."""


class Pitch(NamedTuple):
    """What a pen wants of the arrangement."""

    channel: int
    """Least cells along between two ranks."""
    most: int
    """Cells along that a piece should not exceed."""
    apart: int = 1
    """Cells across between two pieces, beside those of the lines that go round."""


class Place(NamedTuple):
    """Where a box stands: its first cell along and across."""

    along: int
    across: int
    depth: int
    size: int


class Terminal(NamedTuple):
    """Where a line meets a box."""

    box: int
    port: str
    side: Side
    cell: Cell
    """The cell beside the box."""


class Stretch(NamedTuple):
    """Cells in a row, along or across, both ends included."""

    start: Cell
    end: Cell


class Route(NamedTuple):
    """The cells of one line."""

    stretches: tuple[Stretch, ...]
    terminals: tuple[Terminal, ...]


class Arrangement(NamedTuple):
    """A sheet with a place for everything."""

    sheet: Sheet
    places: tuple[Place, ...]
    """Per box."""
    routes: tuple[Route, ...]
    """Per line."""
    length: int
    """Cells along."""
    breadth: int
    """Cells across."""


def arrange(sheet: Sheet, shapes: Sequence[Shape], pitch: Pitch) -> Arrangement:
    """Places for all boxes, as large as the shapes say, and all lines of a sheet."""
    whole = _sized(sheet.grid, shapes)
    depths = [max((_room(whole.seats[s], shapes) for s in rank), default=1) for rank in whole.ranks]
    most = pitch.most
    while True:
        pieces = _pieces(whole, _cuts(whole, depths, pitch.channel, most))
        found = _composed(sheet, shapes, pitch, [_Laid(p, shapes, pitch.channel) for p in pieces])
        over = found.length - pitch.most
        if over <= 0 or len(pieces) >= len(whole.ranks):
            return found
        # it came out longer than was thought: room for what goes round, tracks side by side
        most -= over


def _sized(found: Grid, shapes: Sequence[Shape]) -> Grid:
    """Seats as large as the pen draws their boxes; a line keeps its order at a box."""
    seats = []
    for seat in found.seats:
        if seat.box < 0:
            seats.append(seat)
            continue
        shape = shapes[seat.box]
        low = zip(seat.low, sorted(shape.low.values()), strict=True)
        high = zip(seat.high, sorted(shape.high.values()), strict=True)
        seats.append(seat._replace(
            size=shape.size,
            low=tuple((line, at) for (line, _), at in low),
            high=tuple((line, at) for (line, _), at in high),
        ))  # fmt: skip
    return grid(seats, found.ranks)


def _room(seat: Seat, shapes: Sequence[Shape]) -> int:
    """Cells along that a seat takes."""
    return 1 if seat.box < 0 else max(shapes[seat.box].depth, shapes[seat.box].room)


# cutting


def _cut_lines(channel: Mapping[int, Ends]) -> list[int]:
    """Lines that go from below a channel to above it."""
    return [line for line, (lower, upper) in channel.items() if lower and upper]


def _cuts(found: Grid, depths: Sequence[int], channel: int, most: int) -> list[int]:
    """Channels to cut: as few as fit, then through as few lines as possible, then even pieces."""
    count = len(depths)
    steps = [depth + max(channel, len(found.channels[c]) + 2) for c, depth in enumerate(depths)]
    best: list[tuple[int, int, int, tuple[int, ...]]] = [(0, 0, 0, ())]
    for end in range(1, count + 1):
        options = []
        for start in range(end):
            length = sum(steps[start:end])
            if length > most and end - start > 1:
                continue
            pieces, lines, square, cuts = best[start]
            lines += len(_cut_lines(found.channels[start])) if start else 0
            options.append((pieces + 1, lines, square + length * length, (*cuts, start)))
        best.append(min(options))
    return [cut for cut in best[count][3] if cut]


def _pieces(found: Grid, cuts: Sequence[int]) -> list[Grid]:
    """The grid in pieces; lines that are cut leave through seats of their own in a last rank and
    come in through others in a first rank, in the same order."""
    at = packed(found.seats, found.ranks)
    pieces = []
    borders = [0, *cuts, len(found.ranks)]
    for start, end in pairwise(borders):
        seats: list[Seat] = []
        rows: list[list[int]] = []

        def row(members: Iterable[Seat], seats: list[Seat] = seats) -> list[int]:
            first = len(seats)
            seats.extend(members)
            return list(range(first, len(seats)))

        def border(c: int) -> list[int]:
            channel = found.channels[c]
            middle = {
                line: [at[s] + i for s, i in (*channel[line][0], *channel[line][1])]
                for line in _cut_lines(channel)
            }
            return sorted(middle, key=lambda line: (sum(middle[line]) / len(middle[line]), line))

        if start:
            rows.append(row(passing(line)._replace(low=()) for line in border(start)))
        rows += [row(found.seats[s] for s in rank) for rank in found.ranks[start:end]]
        if end < len(found.ranks):
            rows.append(row(passing(line)._replace(high=()) for line in border(end)))
        pieces.append(grid(seats, rows))
    return pieces


# laying out one piece


class _Laid:
    """A piece with a place for every seat and a track for every line."""

    def __init__(self, piece: Grid, shapes: Sequence[Shape], channel: int) -> None:
        self.piece = piece
        self.at = straightened(piece)
        self.tracks = [tracks(ends, self.at) for ends in piece.channels]
        self.channels: list[int] = []
        """First cell along of each channel."""
        self.ranks: list[int] = []
        """First cell along of each rank; last, the end of the last channel."""
        along = 0
        for c, ends in enumerate(piece.channels):
            self.channels.append(along)
            if ends:
                along += max(max(self.tracks[c].values(), default=-1) + 3, channel)
            self.ranks.append(along)
            if c < len(piece.ranks):
                seats = [piece.seats[s] for s in piece.ranks[c]]
                along += max((_room(seat, shapes) for seat in seats), default=1)
        self.length = along
        self.breadth = max((a + s.size for a, s in zip(self.at, piece.seats, strict=True)),
                           default=0)  # fmt: skip

    def stretches(self, shapes: Sequence[Shape]) -> dict[int, list[Stretch]]:
        """Line -> its cells, from the first cell along and across of the piece on."""
        found: dict[int, list[Stretch]] = {}
        for c, channel in enumerate(self.piece.channels):
            for line, (lower, upper) in channel.items():
                begins = {self.at[s] + i: self._begin(s, c, shapes) for s, i in lower}
                stops = {self.at[s] + i: self._stop(s, c) for s, i in upper}
                places = {*begins, *stops}
                low, high = min(places), max(places)
                mine = found.setdefault(line, [])
                if low == high:
                    begin = begins.get(low, stops.get(low, 0))
                    mine.append(Stretch((begin, low), (stops.get(low, begin), low)))
                    continue
                track = self.channels[c] + 1 + self.tracks[c][line]
                mine.append(Stretch((track, low), (track, high)))
                mine += [Stretch((begin, at), (track, at)) for at, begin in begins.items()]
                mine += [Stretch((track, at), (stop, at)) for at, stop in stops.items()]
        for c, rank in enumerate(self.piece.ranks):
            for seat, place in ((self.piece.seats[s], self.at[s]) for s in rank):
                if seat.box < 0:
                    end = self.channels[c + 1] - 1
                    passed = Stretch((self.ranks[c], place), (end, place))
                    found.setdefault(seat.line, []).append(passed)
        return found

    def _begin(self, seat: int, c: int, shapes: Sequence[Shape]) -> int:
        """The cell from which a line comes into channel c: beside a box, or within a room."""
        box = self.piece.seats[seat].box
        return self.channels[c] - 1 if box < 0 else self.ranks[c - 1] + shapes[box].depth

    def _stop(self, seat: int, c: int) -> int:
        return self.ranks[c] if self.piece.seats[seat].box < 0 else self.ranks[c] - 1

    def borders(self, last: bool) -> list[tuple[int, int]]:
        """Lines that leave through the last rank, or come in through the first, with their places
        across."""
        rank = self.piece.ranks[-1 if last else 0]
        seats = [(s, self.piece.seats[s]) for s in rank]
        return [
            (seat.line, self.at[s])
            for s, seat in seats
            if seat.box < 0 and not (seat.high if last else seat.low)
        ]


# putting the pieces together


def _composed(
    sheet: Sheet, shapes: Sequence[Shape], pitch: Pitch, laid: Sequence[_Laid]
) -> Arrangement:
    before = max((len(piece.borders(last=False)) for piece in laid), default=0)
    after = max((len(piece.borders(last=True)) for piece in laid), default=0)
    longest = max((piece.length for piece in laid), default=0)
    places: list[Place | None] = [None] * len(sheet.boxes)
    stretches: list[list[Stretch]] = [[] for _ in sheet.lines]
    across = 0
    for number, piece in enumerate(laid):
        for c, rank in enumerate(piece.piece.ranks):
            for seat in rank:
                box = piece.piece.seats[seat].box
                if box >= 0:
                    depth, size = shapes[box].depth, shapes[box].size
                    along = before + piece.ranks[c]
                    places[box] = Place(along, across + piece.at[seat], depth, size)
        for line, mine in piece.stretches(shapes).items():
            stretches[line] += [
                Stretch((before + a, across + b), (before + c, across + d))
                for (a, b), (c, d) in mine
            ]
        leaving = piece.borders(last=True)
        gutter = across + piece.breadth
        if number + 1 < len(laid):
            following = gutter + len(leaving) + pitch.apart
            entering = dict(laid[number + 1].borders(last=False))
            for k, (line, place) in enumerate(leaving):
                back = len(leaving) - k
                out, between, into = before + longest + back, gutter + back - 1, before - back
                start, end = across + place, following + entering[line]
                stretches[line] += [
                    Stretch((before + piece.length - 1, start), (out, start)),
                    Stretch((out, start), (out, between)),
                    Stretch((into, between), (out, between)),
                    Stretch((into, between), (into, end)),
                    Stretch((into, end), (before, end)),
                ]
            across = following
        else:
            across = gutter
    done = tuple(place for place in places if place is not None)
    assert len(done) == len(places)
    routes = tuple(
        Route(tuple(mine), tuple(_terminals(sheet, shapes, done, number)))
        for number, mine in enumerate(stretches)
    )
    return Arrangement(sheet, done, routes, before + longest + after + bool(after), across)


def _terminals(
    sheet: Sheet, shapes: Sequence[Shape], places: Sequence[Place], number: int
) -> Iterable[Terminal]:
    for end in sheet.lines[number].ends:
        place, shape = places[end.box], shapes[end.box]
        at = (shape.low if end.side == "low" else shape.high)[end.port]
        along = place.along - 1 if end.side == "low" else place.along + place.depth
        yield Terminal(end.box, end.port, end.side, (along, place.across + at))
