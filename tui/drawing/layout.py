"""Where boxes and lines go: whole character cells, columns from left to right, zones as bands.

The steps are those of Sugiyama, Tagawa and Toda (1981) on rows instead of points: a line that
passes a column gets a row of its own there, boxes are ordered by barycentres, set to the median row
of what they are joined to, and in each channel every line has one track for its upright part.

Lines of different numbers never share a cell, but where they cross: there the upright one is drawn
and the level one goes on behind it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from math import inf

from tui.drawing.boxes import MAIN, PLANT, ZONES, Diagram, Side

N, E, S, W = 1, 2, 4, 8
"""Bits of a cell's mask: where its line goes on."""

SWEEPS = 8
TIGHTENINGS = 4
FAULT = 2
"""Cells kept free behind a name, for the mark of a fault before it."""
JOINT = -1
"""Stands for the groups that share channels and columns."""
LEAST_CHANNEL = 6
"""Cells: an arrowhead at each side and room for a number above."""

Cell = tuple[int, int]
"""(x, y)"""


@dataclass(eq=False)
class _Seat:
    """A place in a column: a box, or the row in which a line passes."""

    box: int | None
    line: int
    group: int
    height: int
    back: bool = False
    """Row of the line that leads from the plant back to the start of the main; the lowest."""
    y: int = 0
    left: list[tuple[int, int]] = field(default_factory=list)
    """(line, row within the seat) on its left."""
    right: list[tuple[int, int]] = field(default_factory=list)


@dataclass(frozen=True)
class Place:
    """Where a box stands: its name's row is `y`, its ports' rows follow."""

    x: int
    y: int
    width: int
    height: int


@dataclass(frozen=True)
class Terminal:
    """Where a line meets a box."""

    box: int
    port: str
    """"" for a vessel."""
    side: Side
    cell: Cell
    """The cell beside the box."""


@dataclass
class Track:
    """The cells of one line."""

    cells: dict[Cell, int] = field(default_factory=dict)
    """Cell -> mask."""
    terminals: list[Terminal] = field(default_factory=list)
    level: list[tuple[int, int, int]] = field(default_factory=list)
    """Level stretches as (y, first x, last x)."""


@dataclass
class Layout:
    """A finished drawing."""

    width: int
    height: int
    places: list[Place]
    """Per box."""
    tracks: list[Track]
    """Per line."""
    bridges: dict[Cell, tuple[int, int]]
    """Crossing -> (line drawn upright, line that goes on behind it)."""
    headings: dict[int, Cell]
    """Group -> where its name is written."""
    bands: dict[int, tuple[int, int, int, int]]
    """Group -> x, y, width, height of its boxes with its heading."""


def arrange(diagram: Diagram, widths: Sequence[int]) -> Layout:
    """Places every box, of the given width, and routes every line.

    A name may be longer than its box is wide: it then stands above the line that leaves the box.
    """
    return _Arranger(diagram, widths).run()


class _Arranger:
    def __init__(self, diagram: Diagram, widths: Sequence[int]) -> None:
        self.diagram = diagram
        self.widths = widths
        self.columns: list[list[_Seat]] = []
        # channel -> line -> [(seat, row)] on the channel's left and on its right
        self.channels: list[dict[int, tuple[list[tuple[_Seat, int]], list[tuple[_Seat, int]]]]] = []
        self.seat_of: dict[int, _Seat] = {}

    def run(self) -> Layout:
        self._seats()
        self._order()
        self._rows()
        self._legalise()
        self._tighten()
        return self._draw()

    # seats

    def _seats(self) -> None:
        boxes, lines = self.diagram.boxes, self.diagram.lines
        count = max((box.column for box in boxes), default=0) + 1
        self.columns = [[] for _ in range(count)]
        for i, box in enumerate(boxes):
            rows = max(1, len(box.left), len(box.right))
            seat = _Seat(i, -1, box.group, 1 + rows)
            self.seat_of[i] = seat
            self.columns[box.column].append(seat)
        self.channels = [{} for _ in range(count + 1)]
        for number, line in enumerate(lines):
            goals: dict[int, list[int]] = {}
            for end in line.ends:
                box = boxes[end.box]
                channel = box.column + (end.side == "right")
                goals.setdefault(channel, []).append(box.group)
                seat = self.seat_of[end.box]
                ports = seat.left if end.side == "left" else seat.right
                at = 1 + (box.left if end.side == "left" else box.right).index(end.port)
                if (number, at) not in ports:
                    ports.append((number, at))
            if not goals:
                continue
            for passed in range(min(goals), max(goals)):
                further = [g for c, found in goals.items() if c > passed for g in found]
                before = [g for c, found in goals.items() if c <= passed for g in found]
                group = min(further) if min(further) == max(further) else min(before + further)
                back = group == PLANT and any(boxes[end.box].group == MAIN for end in line.ends)
                seat = _Seat(None, number, group, 1, back, 0, [(number, 0)], [(number, 0)])
                self.columns[passed].append(seat)
        for c, column in enumerate(self.columns):
            for seat in column:
                for number, row in seat.left:
                    self.channels[c].setdefault(number, ([], []))[1].append((seat, row))
                for number, row in seat.right:
                    self.channels[c + 1].setdefault(number, ([], []))[0].append((seat, row))

    # order within the columns

    def _order(self) -> None:
        self._pack()
        best, kept = self._crossings(), [list(column) for column in self.columns]
        for sweep in range(2 * SWEEPS):
            rightward = sweep % 2 == 0
            indices = range(len(self.columns))
            for c in indices if rightward else reversed(indices):
                column = self.columns[c]
                wishes = {}
                for seat in column:
                    near = self._neighbours(seat, c, rightward) or self._neighbours(
                        seat, c, not rightward
                    )
                    wishes[seat] = sum(near) / len(near) if near else inf
                column.sort(key=lambda seat: (*self._fixed(seat), wishes[seat]))
                _pack(column)
            self._sort_ports()
            now = self._crossings()
            if now < best:
                best, kept = now, [list(column) for column in self.columns]
            if not best:
                break
        self.columns = kept
        self._pack()
        self._sort_ports()

    def _pack(self) -> None:
        for column in self.columns:
            column.sort(key=self._fixed)
            _pack(column)

    def _fixed(self, seat: _Seat) -> tuple[int, int, bool]:
        """What of the order in a column is given: groups, and the places along the main."""
        along = None if seat.box is None else self.diagram.boxes[seat.box].along
        return seat.group, along if along is not None and seat.group == MAIN else 0, seat.back

    def _neighbours(self, seat: _Seat, column: int, leftward: bool) -> list[float]:
        """Rows at which the seat would be level with what it is joined to on one side."""
        found: list[float] = []
        ports = seat.left if leftward else seat.right
        channel = self.channels[column if leftward else column + 1]
        for number, row in ports:
            ends = channel[number]
            others = ends[0] if leftward else ends[1]
            same = ends[1] if leftward else ends[0]
            if not others:
                others = [(s, r) for s, r in same if s is not seat]
            found += [s.y + r - row for s, r in others]
        return found

    def _sort_ports(self) -> None:
        """Gives the ports on one side of a box the order of what they lead to."""
        for c, column in enumerate(self.columns):
            for seat in column:
                if seat.box is None:
                    continue
                box = self.diagram.boxes[seat.box]
                for ports, names, channel, far in (
                    (seat.left, box.left, self.channels[c], 0),
                    (seat.right, box.right, self.channels[c + 1], 1),
                ):
                    if len(ports) < 2 or len({number for number, _ in ports}) < len(ports):
                        continue
                    goal = {}
                    for number, _ in ports:
                        ends = channel[number]
                        others = ends[far] or [e for e in ends[1 - far] if e[0] is not seat]
                        rows = [s.y + r for s, r in others]
                        goal[number] = sum(rows) / len(rows) if rows else 0.0
                    ordered = sorted(ports, key=lambda p: (goal[p[0]], p[1]))
                    if [p[0] for p in ordered] == [p[0] for p in sorted(ports, key=lambda p: p[1])]:
                        continue
                    names[:] = [names[row - 1] for _, row in ordered]
                    new = {number: i + 1 for i, (number, _) in enumerate(ordered)}
                    for number, old in list(ports):
                        mine = channel[number][1 - far]
                        mine[mine.index((seat, old))] = (seat, new[number])
                    ports[:] = [(number, new[number]) for number, _ in ordered]

    def _crossings(self) -> int:
        """Pairs of lines that have to cross, channel by channel, whatever tracks they get."""
        total = 0
        for channel in self.channels:
            ways = [
                [(a.y + i, b.y + j) for a, i in left for b, j in right]
                for left, right in channel.values()
                if left and right
            ]
            for i, one in enumerate(ways):
                for other in ways[i + 1 :]:
                    total += any((a - c) * (b - d) < 0 for a, b in one for c, d in other)
        return total

    # rows

    def _rows(self) -> None:
        groups = self._zone_groups()
        for group in (PLANT, *groups):
            self._settle(self._members(group), within=True)
        plant = [s for column in self._members(PLANT) for s in column]
        floor = max((s.y + s.height for s in plant if not s.back), default=0)
        for seat in plant:
            if seat.back:
                seat.y = floor
        self._stack()
        for group in self._beside():
            self._settle(self._members(group), within=False)
        self._stack()

    def _beside(self) -> tuple[int, ...]:
        """Groups that share no column with a zone: they stand level with what they feed."""
        zones = [c for c, column in enumerate(self.columns) for s in column if s.group >= ZONES]
        plant = [c for c, column in enumerate(self._members(PLANT)) if column]
        return (MAIN,) if plant and zones and max(plant) >= min(zones) else (PLANT, MAIN)

    def _members(self, group: int) -> list[list[_Seat]]:
        return [[s for s in column if s.group == group] for column in self.columns]

    def _zone_groups(self) -> list[int]:
        return sorted({s.group for column in self.columns for s in column if s.group >= ZONES})

    def _stack(self) -> None:
        """Sets plant and zones under each other, with a row for the heading of each zone."""
        beside = self._beside()
        top = 0
        for group in (PLANT, *self._zone_groups()):
            seats = [s for column in self._members(group) for s in column]
            if not seats or group in beside:
                continue
            head = group >= ZONES
            low = min(s.y for s in seats)
            for seat in seats:
                seat.y += top + head - low
            top = max(s.y + s.height for s in seats) + 1
        # the main runs beside the zones, below a plant that stands above them
        plant = [s for column in self._members(PLANT) for s in column if PLANT not in beside]
        floor = max((s.y + s.height for s in plant), default=0)
        for column in self._members(MAIN) if plant else []:
            for seat in column:
                seat.y = max(seat.y, floor)
        self._clear()

    def _clear(self) -> None:
        """Moves down what stands on what is above it in its column."""
        for column in self.columns:
            for above, below in pairwise(column):
                below.y = max(below.y, above.y + above.height)

    def _settle(self, parts: Sequence[Sequence[_Seat]], within: bool) -> None:
        """Sets each seat to the median row of what it is joined to, its order kept.

        within: only what is in these parts counts; else what stands already counts most.
        """
        members = {s for part in parts for s in part}
        for part in parts:
            _pack(part)
        for sweep in range(2 * SWEEPS):
            rightward = sweep % 2 == 0
            last = sweep >= 2 * SWEEPS - 2
            indices = range(len(parts))
            for c in indices if rightward else reversed(indices):
                wishes = []
                for seat in parts[c]:
                    near = self._pulls(seat, c, rightward, members, within)
                    far = self._pulls(seat, c, not rightward, members, within)
                    if last:
                        # what hangs on one line comes to it, the others stay
                        alone = len(near + far) == 1
                        wishes.append(near + far if alone else [float(seat.y)] * 9)
                    else:
                        wishes.append(near + far or [float(seat.y)])
                _grant(parts[c], wishes)

    def _pulls(
        self, seat: _Seat, column: int, leftward: bool, members: set[_Seat], within: bool
    ) -> list[float]:
        found: list[float] = []
        channel = self.channels[column if leftward else column + 1]
        for number, row in seat.left if leftward else seat.right:
            ends = channel[number]
            for other, at in ends[0] if leftward else ends[1]:
                if other in members:
                    found.append(other.y + at - row)
                elif not within:
                    found += [other.y + at - row] * 9
        return found

    # no two lines on each other

    def _legalise(self) -> None:
        """Moves boxes down until every channel has an order of tracks without overlap."""
        for _ in range(400):
            culprit = next(
                (found for channel in self.channels if (found := _tangle(channel))), None
            )
            if culprit is None:
                break
            self._push(culprit)
        else:
            self._spread()
        low = min((s.y for column in self.columns for s in column), default=0)
        for column in self.columns:
            for seat in column:
                seat.y -= low

    def _push(self, culprit: _Seat) -> None:
        """One row down, and whatever stands in the way with it."""
        culprit.y += 1
        self._clear()
        self._stack()

    def _tighten(self) -> None:
        """Moves boxes, alone or with what they are level with, where lines get shorter."""
        place = {s: (c, i) for c, column in enumerate(self.columns) for i, s in enumerate(column)}
        for _ in range(TIGHTENINGS):
            moved = False
            for seat in place:
                if seat.group != MAIN and not seat.back:
                    moved |= self._shift([seat], place)
                    moved |= self._shift(self._level_with(seat, place), place)
            if not moved:
                break

    def _level_with(self, seat: _Seat, place: dict[_Seat, tuple[int, int]]) -> list[_Seat]:
        """A seat and those of its group that straight lines join to it."""
        found = [seat]
        for one in found:
            c = place[one][0]
            for channel, ports in ((self.channels[c], one.left), (self.channels[c + 1], one.right)):
                for number, row in ports:
                    left, right = channel[number]
                    found += [
                        s for s, r in (*left, *right)
                        if s not in found and s.y + r == one.y + row and s.group == seat.group
                        and not s.back
                    ]  # fmt: skip
        return found

    def _room(self, seat: _Seat, place: dict[_Seat, tuple[int, int]]) -> tuple[int, int]:
        """Rows by which a seat may go up and down between its neighbours, within its band."""
        c, i = place[seat]
        column = self.columns[c]
        band = [s for part in self._members(seat.group) for s in part]
        low = min(s.y for s in band)
        high = max(s.y + s.height for s in band) - seat.height
        if i and column[i - 1].group == seat.group:
            low = max(low, column[i - 1].y + column[i - 1].height)
        if i + 1 < len(column) and column[i + 1].group == seat.group:
            high = min(high, column[i + 1].y - seat.height)
        return low - seat.y, high - seat.y

    def _shift(self, seats: Sequence[_Seat], place: dict[_Seat, tuple[int, int]]) -> bool:
        rooms = [self._room(seat, place) for seat in seats]
        near = {place[seat][0] + k: None for seat in seats for k in (0, 1)}
        starts = [seat.y for seat in seats]

        def length() -> float:
            return sum(self._length(seat, place[seat][0]) for seat in seats)

        best, found = length(), 0
        for step in range(max(low for low, _ in rooms), min(high for _, high in rooms) + 1):
            for seat, start in zip(seats, starts, strict=True):
                seat.y = start + step
            now = length()
            if now < best - 1e-9 and not any(_tangle(self.channels[c]) for c in near):
                best, found = now, step
        for seat, start in zip(seats, starts, strict=True):
            seat.y = start + found
        return found != 0

    def _length(self, seat: _Seat, c: int) -> float:
        """Upright length of the lines at a seat, and 2 for each that is not straight; higher
        places break ties."""
        total = seat.y * 1e-3
        for channel, ports in ((self.channels[c], seat.left), (self.channels[c + 1], seat.right)):
            for number, row in ports:
                left, right = channel[number]
                ys = [s.y + r for s, r in (*left, *right)]
                total += max(ys) - min(ys)
                others = right if ports is seat.right else left
                total += 2.0 * all(s.y + r != seat.y + row for s, r in others)
        return total

    def _spread(self) -> None:
        """Last resort: no row is used on both sides of any channel."""
        y = 0
        for column in self.columns:
            for seat in column:
                seat.y = y
                y += seat.height

    # cells

    def _draw(self) -> Layout:
        boxes, lines = self.diagram.boxes, self.diagram.lines
        tracks_of = [_assign(channel) for channel in self.channels]
        apart = self._apart()
        lefts, xs, width = self._spacing(tracks_of, apart)

        def of_line(number: int, c: int) -> int:
            """The band whose columns a line keeps to in a channel."""
            band = self.channels[c][number][0] + self.channels[c][number][1]
            group = band[0][0].group
            return group if c >= apart[group] else JOINT

        def of_seat(seat: _Seat, c: int) -> tuple[int, int]:
            """First and last cell of a seat's column."""
            start = xs[seat.group][c]
            after = lefts[seat.group][c + 1]
            return start, after - 1

        places = [
            Place(of_seat(self.seat_of[i], box.column)[0], self.seat_of[i].y, self.widths[i],
                  self.seat_of[i].height)
            for i, box in enumerate(boxes)
        ]  # fmt: skip
        tracks = [Track() for _ in lines]
        owner: dict[Cell, int] = {}
        bridges: dict[Cell, tuple[int, int]] = {}
        for c, channel in enumerate(self.channels):
            for number, (left_ends, right_ends) in channel.items():
                ys = [s.y + r for s, r in left_ends + right_ends]
                if min(ys) < max(ys):
                    at = lefts[of_line(number, c)][c] + 1 + tracks_of[c][number]
                    for y in range(min(ys), max(ys) + 1):
                        mask = (N if y > min(ys) else 0) | (S if y < max(ys) else 0)
                        tracks[number].cells[at, y] = mask
                        owner[at, y] = number
        for c, channel in enumerate(self.channels):
            for number, (left_ends, right_ends) in channel.items():
                band = of_line(number, c)
                right = xs[band][c] - 1
                ys = [s.y + r for s, r in left_ends + right_ends]
                straight = min(ys) == max(ys)
                at = right if straight else lefts[band][c] + 1 + tracks_of[c][number]
                for seat, row in left_ends:
                    start = lefts[band][c]
                    if seat.box is not None:
                        start = places[seat.box].x + places[seat.box].width
                    stop = right if straight and right_ends else at
                    if straight and not right_ends:
                        stop = start
                    self._level(tracks, owner, bridges, number, seat.y + row, start, stop,
                                W, 0 if straight else W)  # fmt: skip
                for seat, row in right_ends:
                    start = at if not straight else right
                    if straight and left_ends:
                        continue
                    self._level(tracks, owner, bridges, number, seat.y + row, start, right,
                                0 if straight else E, E)  # fmt: skip
                if straight and left_ends and right_ends:
                    y = ys[0]
                    tracks[number].cells[right, y] |= E
        for c, column in enumerate(self.columns):
            for seat in column:
                if seat.box is None:
                    first, last = of_seat(seat, c)
                    for at in range(first, last + 1):
                        tracks[seat.line].cells[at, seat.y] = E | W
                        owner[at, seat.y] = seat.line
                    tracks[seat.line].level.append((seat.y, first, last))
        for number, line in enumerate(lines):
            for end in line.ends:
                place, seat = places[end.box], self.seat_of[end.box]
                names = boxes[end.box].left if end.side == "left" else boxes[end.box].right
                y = seat.y + 1 + names.index(end.port)
                at = place.x - 1 if end.side == "left" else place.x + place.width
                terminal = Terminal(end.box, end.port, end.side, (at, y))
                if terminal not in tracks[number].terminals:
                    tracks[number].terminals.append(terminal)
        height = max((p.y + p.height for p in places), default=0)
        height = max(height, max((y for t in tracks for _, y in t.cells), default=0) + 1)
        bands = self._bands(places)
        headings = {g: (band[0], band[1]) for g, band in bands.items() if g >= ZONES}
        return Layout(width, height, places, tracks, bridges, headings, bands)

    def _apart(self) -> dict[int, int]:
        """Group -> the first channel from which on it has columns of its own width: no line of
        others is among its boxes and rows from there on."""
        seats = [(s, c) for c, column in enumerate(self.columns) for s in column]
        rows: dict[int, tuple[int, int]] = {}
        for seat, _ in seats:
            low, high = rows.get(seat.group, (seat.y, seat.y))
            rows[seat.group] = min(low, seat.y), max(high, seat.y + seat.height)
        never = len(self.channels)
        found = {g: never if g == MAIN or g in self._beside() else 0 for g in rows}
        for c, channel in enumerate(self.channels):
            for left, right in channel.values():
                ends = (*left, *right)
                groups = {s.group for s, _ in ends}
                ys = [s.y + r for s, r in ends]
                for group, (low, high) in rows.items():
                    mixed = len(groups) > 1 or groups != {group}
                    if mixed and (group in groups or (min(ys) <= high and max(ys) >= low)):
                        found[group] = max(found[group], c + 1)
        return found

    def _spacing(
        self, tracks_of: Sequence[Mapping[int, int]], apart: Mapping[int, int]
    ) -> tuple[dict[int, list[int]], dict[int, list[int]], int]:
        """Per group the x of each channel and of each column, and the width of all. `JOINT`: of
        the channels that groups share."""
        count = len(self.columns)
        lefts: dict[int, list[int]] = {JOINT: []}
        xs: dict[int, list[int]] = {JOINT: []}

        def lay(key: int, groups: set[int], first: int, x: int) -> int:
            """Channels from `first` on, for the lines and boxes of some groups."""
            for c in range(first, count + 1):
                mine = [
                    track for number, track in tracks_of[c].items()
                    if any(s.group in groups for side in self.channels[c][number] for s, _ in side)
                ]  # fmt: skip
                lefts[key].append(x)
                used = any(s.group in groups for ends in self.channels[c].values()
                           for side in ends for s, _ in side)  # fmt: skip
                if used or c not in (0, count):
                    x += max(max(mine, default=-1) + 3, LEAST_CHANNEL)
                xs[key].append(x)
                if c < count:
                    members = [s for s in self.columns[c] if s.group in groups]
                    x += max(map(self._breadth, members), default=1)
                    if key == JOINT:
                        groups = {g for g in groups if apart[g] > c + 1}
                        if not groups:
                            break
            return x

        width = lay(JOINT, {g for g, c in apart.items() if c > 0}, 0, 0)
        for group, first in apart.items():
            lefts[group], xs[group] = lefts[JOINT][:first], xs[JOINT][:first]
            x = 0
            if first:
                last = [s for s in self.columns[first - 1] if s.group == group] if (
                    first <= count) else []  # fmt: skip
                x = xs[JOINT][first - 1] + max(map(self._breadth, last), default=1)
            if first <= count:
                width = max(width, lay(group, {group}, first, x))
        return lefts, xs, width

    def _breadth(self, seat: _Seat) -> int:
        if seat.box is None:
            return 1
        return max(self.widths[seat.box], len(self.diagram.boxes[seat.box].label) + FAULT)

    @staticmethod
    def _level(
        tracks: Sequence[Track],
        owner: dict[Cell, int],
        bridges: dict[Cell, tuple[int, int]],
        number: int,
        y: int,
        start: int,
        stop: int,
        first: int,
        last: int,
    ) -> None:
        """A level stretch; `first`/`last`: how its end cells go on beyond it.

        W at the start of a stretch that leaves a box, E at the end of one that reaches a box.
        """
        cells = tracks[number].cells
        tracks[number].level.append((y, start, stop))
        for x in range(start, stop + 1):
            if owner.get((x, y), number) != number:
                bridges[x, y] = (owner[x, y], number)
                continue
            mask = 0
            if x > start:
                mask |= W
            if x < stop:
                mask |= E
            if x == start and first == W:
                mask |= W
            if x == stop and last == E:
                mask |= E
            cells[x, y] = cells.get((x, y), 0) | mask
            owner[x, y] = number

    def _bands(self, places: Sequence[Place]) -> dict[int, tuple[int, int, int, int]]:
        bands = {}
        for group in {box.group for box in self.diagram.boxes}:
            found = [p for box, p in zip(self.diagram.boxes, places, strict=True)
                     if box.group == group]  # fmt: skip
            x, y = min(p.x for p in found), min(p.y for p in found)
            y -= 1 if group >= ZONES else 0
            right, low = max(p.x + p.width for p in found), max(p.y + p.height for p in found)
            bands[group] = (x, y, right - x, low - y)
        return bands


def _pack(column: Sequence[_Seat]) -> None:
    y = 0
    for seat in column:
        seat.y = y
        y += seat.height


def _grant(column: Sequence[_Seat], wishes: Sequence[list[float]]) -> None:
    """Least distances to the wished rows, order and room kept (pool adjacent violators)."""
    blocks: list[tuple[list[float], int]] = []
    offsets: list[int] = []
    offset = 0
    for seat, rows in zip(column, wishes, strict=True):
        offsets.append(offset)
        blocks.append(([row - offset for row in rows], 1))
        while len(blocks) > 1 and _median(blocks[-2][0]) > _median(blocks[-1][0]):
            rows, count = blocks.pop()
            blocks[-1] = (blocks[-1][0] + rows, blocks[-1][1] + count)
        offset += seat.height
    k = 0
    for rows, count in blocks:
        start = int(_median(rows) // 1)
        for _ in range(count):
            column[k].y = start + offsets[k]
            k += 1


def _median(rows: Sequence[float]) -> float:
    ordered = sorted(rows)
    return ordered[(len(ordered) - 1) // 2]


# tracks


_Ends = tuple[list[tuple[_Seat, int]], list[tuple[_Seat, int]]]


def _rows_of(ends: _Ends) -> tuple[set[int], set[int]]:
    return {s.y + r for s, r in ends[0]}, {s.y + r for s, r in ends[1]}


def _firsts(channel: dict[int, _Ends]) -> dict[int, dict[int, int]]:
    """Line -> the lines that must run right of it, each with the row they share."""
    rows = {number: _rows_of(ends) for number, ends in channel.items()}
    by_right: dict[int, list[int]] = {}
    for number, (_, right) in rows.items():
        for y in right:
            by_right.setdefault(y, []).append(number)
    return {
        number: {b: y for y in sorted(left) for b in by_right.get(y, ()) if b != number}
        for number, (left, _) in rows.items()
    }


def _tangle(channel: dict[int, _Ends]) -> _Seat | None:
    """A seat right of the channel to be moved because lines would lie on each other."""
    after = _firsts(channel)
    state: dict[int, int] = {}

    def visit(number: int) -> tuple[int, int] | None:
        state[number] = 1
        for following, y in after[number].items():
            if state.get(following) == 1:
                return following, y
            if following not in state:
                found = visit(following)
                if found:
                    return found
        state[number] = 2
        return None

    for number in channel:
        if number not in state and (found := visit(number)):
            line, y = found
            return next(s for s, r in channel[line][1] if s.y + r == y)
    return None


def _assign(channel: dict[int, _Ends]) -> dict[int, int]:
    """Track of every bent line, counted from the left."""
    rows = {n: _rows_of(ends) for n, ends in channel.items()}
    spans = {n: (min(a | b), max(a | b)) for n, (a, b) in rows.items()}
    bent = [n for n in channel if spans[n][0] < spans[n][1]]
    place = {n: i for i, n in enumerate(bent)}
    must = _firsts(channel)
    choices: list[tuple[float, int, int]] = []
    for i, a in enumerate(bent):
        for b in must[a]:
            if b in place:
                choices.append((-1e6, i, place[b]))
        for b in bent[i + 1 :]:
            cost = _cost(rows, spans, a, b) - _cost(rows, spans, b, a)
            if cost:
                first, second = (a, b) if cost < 0 else (b, a)
                choices.append((-abs(cost), place[first], place[second]))
    before = [0] * len(bent)
    for _, i, j in sorted(choices):
        # i runs left of j, unless that contradicts a weightier choice
        if before[i] >> j & 1 or before[j] >> i & 1:
            continue
        gained = before[i] | 1 << i
        for k in range(len(bent)):
            if k == j or before[k] >> j & 1:
                before[k] |= gained
    done: dict[int, int] = {}
    for i in sorted(range(len(bent)), key=lambda i: (before[i].bit_count(), i)):
        track = max((done[k] + 1 for k in done if before[i] >> k & 1), default=0)
        low, high = spans[bent[i]]
        taken = {
            done[k] for k in done if spans[bent[k]][0] <= high + 1 and low <= spans[bent[k]][1] + 1
        }
        while track in taken:
            track += 1
        done[i] = track
    return {bent[i]: track for i, track in done.items()}


def _cost(
    rows: dict[int, tuple[set[int], set[int]]],
    spans: dict[int, tuple[int, int]],
    a: int,
    b: int,
) -> float:
    """Crossings when line `a` runs left of line `b`."""
    low, high = spans[b]
    cost = sum(low <= y <= high for y in rows[a][1])
    low, high = spans[a]
    return float(cost + sum(low <= y <= high for y in rows[b][0]))
