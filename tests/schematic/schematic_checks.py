"""What every drawing of a circuit must keep to, checked from its cells alone."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence

from pneumo.circuit.circuit import Circuit, PortRef
from pneumo.schematic.arrange import Arrangement, Cell, Pitch, Shape, arrange
from pneumo.schematic.cells import AFTER, BACK, BEFORE, ON, crossings, masks
from pneumo.schematic.sheet import Box, Fold, Sheet, sheets

STEPS = {BEFORE: (0, -1, AFTER), ON: (1, 0, BACK), AFTER: (0, 1, BEFORE), BACK: (-1, 0, ON)}

Joint = tuple[str, str]
"""Box and port; "" for all ports of a vessel or a marker."""


def shape(box: Box, depth: int = 9, size: int = 0) -> Shape:
    """A box of 9 cells along, with room for its ports across, as the terminal draws it."""
    rows = 1 + max(1, len(box.low), len(box.high))
    low = {port: 1 + k for k, port in enumerate(box.low)}
    high = {port: 1 + k for k, port in enumerate(box.high)}
    return Shape(depth, rows + size, low, high)


def check(
    circuit: Circuit,
    folded: Sequence[Fold] | None = None,
    *,
    most: int = 100,
    shaped: Callable[[Box], Shape] = shape,
) -> list[Arrangement]:
    """Checks the schematic of a circuit, and how it is arranged."""
    found = sheets(circuit, folded)
    check_whole(circuit, found)
    laid = []
    for sheet in found:
        shapes = [shaped(box) for box in sheet.boxes]
        laid.append(arrange(sheet, shapes, Pitch(6, most)))
        check_arrangement(laid[-1], shapes)
    return laid


def check_whole(circuit: Circuit, found: Sequence[Sheet]) -> None:
    """Every component is drawn once, every connection by one line, or by one to a marker on each
    of two sheets; and nothing is joined that is not."""
    shown = [name for sheet in found for box in sheet.boxes for name in box.represents]
    assert sorted(shown) == sorted(circuit.components)
    hidden = {n for s in found for box in s.boxes if not box.marker for n in box.members[1:]}
    markers = Counter(box.name for sheet in found for box in sheet.boxes if box.marker)
    for i, link in enumerate(circuit.connections):
        if link.b is None or {link.a.component, link.b.component} & hidden:
            continue
        lines = [_line_at(sheet, port) for sheet in found for port in (link.a, link.b)
                 if _box_of(sheet, port.component)]  # fmt: skip
        if markers.pop(f"link {i}", 0):
            assert len(lines) == 2 and all(lines), link
        else:
            same = (
                link.a.component == link.b.component
                and circuit.components[link.a.component].merged_ports()
            )
            assert same or lines[0] & lines[1], link
    assert not markers
    nets = _nets(circuit)
    for sheet in found:
        for line in sheet.lines:
            joined = {nets[line.port]}
            for end in line.ends:
                box = sheet.boxes[end.box]
                if not box.marker:
                    port = end.port or circuit.components[box.name].ports()[0].name
                    joined.add(nets[PortRef(box.name, port)])
            assert len(joined) == 1, line


def _box_of(sheet: Sheet, name: str) -> Box | None:
    return next((box for box in sheet.boxes if box.name == name), None)


def _line_at(sheet: Sheet, port: PortRef) -> set[int]:
    """Lines that meet a port; of a vessel, any of its sides."""
    return {
        number
        for number, line in enumerate(sheet.lines)
        for end in line.ends
        if sheet.boxes[end.box].name == port.component and end.port in ("", port.port)
    }


def _nets(circuit: Circuit) -> dict[PortRef, int]:
    """Port -> number of the pipework it belongs to; the ports of a vessel are one."""
    net = {
        PortRef(name, port.name): i
        for i, (name, port) in enumerate(
            (name, port) for name, c in circuit.components.items() for port in c.ports()
        )
    }
    pairs = [(link.a, link.b) for link in circuit.connections if link.b is not None]
    for name, component in circuit.components.items():
        for group in component.merged_ports():
            pairs += [(PortRef(name, group[0]), PortRef(name, other)) for other in group[1:]]
    for a, b in pairs:
        old, new = net[b], net[a]
        net = {port: new if number == old else number for port, number in net.items()}
    return net


def check_arrangement(found: Arrangement, shapes: Sequence[Shape]) -> None:
    """Boxes lie apart, lines touch nothing but what they join, and join all they should."""
    sheet = found.sheet
    filled: dict[Cell, int] = {}
    for i, (place, form) in enumerate(zip(found.places, shapes, strict=True)):
        for a in range(place.along, place.along + form.depth):
            for b in range(place.across, place.across + form.size):
                assert filled.setdefault((a, b), i) == i, f"two boxes at {a}, {b}"
        assert place.along >= 0 and place.along + form.depth <= found.length
        assert place.across >= 0 and place.across + form.size <= found.breadth
    cells = [masks(route) for route in found.routes]
    for (a, b), (upright, level) in crossings(cells).items():
        assert cells[upright][a, b] == BEFORE | AFTER, f"lines touch at {a}, {b}"
        assert cells[level][a, b] == ON | BACK, f"lines touch at {a}, {b}"
    for number, (mine, line) in enumerate(zip(cells, sheet.lines, strict=True)):
        for cell in mine:
            assert cell not in filled, f"line {number} runs through a box at {cell}"
            assert 0 <= cell[0] < found.length and 0 <= cell[1] < found.breadth
        ends = {(t.box, t.port, t.side): t.cell for t in found.routes[number].terminals}
        assert set(ends) == set(line.ends)
        for (box, _, side), cell in ends.items():
            place = found.places[box]
            beside = place.along - 1 if side == "low" else place.along + place.depth
            assert cell[0] == beside and place.across <= cell[1] < place.across + place.size
        _check_one_piece(mine, set(ends.values()))


def _check_one_piece(cells: dict[Cell, int], ends: set[Cell]) -> None:
    """A line hangs together, and ends in boxes only."""
    start = min(cells)
    seen, waiting = {start}, [start]
    while waiting:
        cell = waiting.pop()
        for bit, (da, db, back) in STEPS.items():
            if not cells[cell] & bit:
                continue
            to = cell[0] + da, cell[1] + db
            if to in cells:
                assert cells[to] & back, f"the line at {cell} ends at {to}"
                if to not in seen:
                    seen.add(to)
                    waiting.append(to)
            else:
                assert cell in ends, f"the line at {cell} ends in nothing"
    assert seen == set(cells)
