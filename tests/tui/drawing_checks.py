"""What every drawing of a circuit must keep to, checked from its cells alone."""

from __future__ import annotations

from collections.abc import Collection

from pneumo.circuit.circuit import Circuit, PortRef
from pneumo.live.plant import Plant, plant_of
from tui.drawing.boxes import Diagram, Fold, diagram
from tui.drawing.layout import Cell, E, Layout, N, S, W, arrange

STEPS = {N: (0, -1, S), E: (1, 0, W), S: (0, 1, N), W: (-1, 0, E)}


def drawn(circuit: Circuit, folded: Collection[Fold] = ()) -> tuple[Plant, Diagram, Layout]:
    """A circuit laid out with boxes of 9 cells."""
    plant = plant_of(circuit)
    found = diagram(circuit, plant.net_of, folded)
    return plant, found, arrange(found, [9] * len(found.boxes))


def check(circuit: Circuit, folded: Collection[Fold] = ()) -> Layout:
    """Checks the drawing of a circuit."""
    plant, boxes, layout = drawn(circuit, folded)
    check_drawing(circuit, plant, boxes, layout)
    return layout


def check_drawing(circuit: Circuit, plant: Plant, boxes: Diagram, layout: Layout) -> None:
    """Fails when lines touch, boxes overlap or a port is not reached by its line alone."""
    owner: dict[Cell, int] = {}
    for number, track in enumerate(layout.tracks):
        for cell in track.cells:
            assert owner.setdefault(cell, number) == number, f"two lines at {cell}"
    filled: dict[Cell, str] = {}
    for box, place in zip(boxes.boxes, layout.places, strict=True):
        width = max(place.width, len(box.label))
        cells = {(place.x + i, place.y) for i in range(len(box.label))}
        cells |= {(place.x + i, place.y + row)
                  for i in range(place.width) for row in range(1, place.height)}  # fmt: skip
        for cell in cells:
            assert filled.setdefault(cell, box.name) == box.name, f"two boxes at {cell}"
            assert cell not in owner, f"a line runs through {box.name} at {cell}"
        assert place.x >= 0 and place.x + width <= layout.width + 1, box.name
        assert place.y >= 0 and place.y + place.height <= layout.height, box.name
    for group, (x, y) in layout.headings.items():
        for i in range(len(boxes.groups[group])):
            assert (x + i, y) not in filled, f"the heading of {boxes.groups[group]} is covered"
    reached = _ports_reached(boxes, layout)
    hidden = {name for box in boxes.boxes for name in box.members[1:]}
    for link in circuit.connections:
        if link.b is None or link.a.component in hidden or link.b.component in hidden:
            continue
        assert reached[_end(link.a, boxes)] == reached[_end(link.b, boxes)], f"{link.a} - {link.b}"
    # and nothing is joined that is not one net
    nets: dict[int, set[int]] = {}
    for (name, port), place in reached.items():
        first = circuit.components[name].ports()[0].name
        nets.setdefault(place, set()).add(plant.net_of[PortRef(name, port or first)])
    assert all(len(found) == 1 for found in nets.values())


def _end(port: PortRef, boxes: Diagram) -> tuple[str, str]:
    vessel = next(box.vessel for box in boxes.boxes if box.name == port.component)
    return port.component, "" if vessel else port.port


def _ports_reached(boxes: Diagram, layout: Layout) -> dict[tuple[str, str], int]:
    """Port -> number of the piece of drawing it belongs to; "" for all ports of a vessel.

    Follows the masks from cell to cell, straight on behind crossings, and through vessels.
    """
    masks = {cell: mask for track in layout.tracks for cell, mask in track.cells.items()}
    at: dict[Cell, list[tuple[str, str]]] = {}
    for track in layout.tracks:
        for terminal in track.terminals:
            # a line ends beside its box, and points at it
            mask = masks[terminal.cell]
            assert mask & (E if terminal.side == "left" else W), boxes.boxes[terminal.box].name
            place = layout.places[terminal.box]
            beside = place.x - 1 if terminal.side == "left" else place.x + place.width
            assert terminal.cell[0] == beside
            assert place.y < terminal.cell[1] < place.y + place.height
            end = boxes.boxes[terminal.box].name, terminal.port
            at.setdefault(terminal.cell, []).append(end)
    vessels: dict[tuple[str, str], list[Cell]] = {}
    for cell, ends in at.items():
        for end in ends:
            if not end[1]:
                vessels.setdefault(end, []).append(cell)
    found: dict[tuple[str, str], int] = {}
    piece_of: dict[Cell, int] = {}
    for number, start in enumerate(sorted(masks)):
        if start in piece_of:
            continue
        waiting = [start]
        piece_of[start] = number
        while waiting:
            cell = waiting.pop()
            following = []
            for bit, (dx, dy, back) in STEPS.items():
                if not masks[cell] & bit:
                    continue
                to = cell[0] + dx, cell[1] + dy
                while to in layout.bridges and dy == 0:
                    to = to[0] + dx, to[1] + dy
                if to in masks:
                    assert masks[to] & back, f"the line at {cell} ends at {to}"
                    following.append(to)
                else:
                    assert cell in at, f"the line at {cell} ends in nothing"
            for end in at.get(cell, ()):
                found[end] = number
                following += vessels.get(end, [])
            for to in following:
                if to not in piece_of:
                    piece_of[to] = number
                    waiting.append(to)
    return found
