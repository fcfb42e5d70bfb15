"""Tests for pneumo/report/layout.py."""

from __future__ import annotations

from itertools import combinations, pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from pneumo.report.layout import Box, Layout, Wire, arrange
from pneumo.report.symbols import Anchor, Side

SIDES: tuple[Side, ...] = ("top", "bottom")


@st.composite
def graphs(draw: st.DrawFn) -> tuple[list[Box], list[Wire]]:
    """Boxes in random layers; every anchor is used by at most one wire."""
    boxes, free = [], []
    for i in range(draw(st.integers(1, 9))):
        ports = draw(st.lists(st.sampled_from(SIDES), max_size=4))
        count = dict.fromkeys(SIDES, 0)
        anchors = {}
        height = draw(st.sampled_from([10.0, 40.0, 55.0]))
        for p, side in enumerate(ports):
            count[side] += 1
            y = 0.0 if side == "top" else height
            anchors[str(p)] = Anchor(20.0 * count[side], y, side)
            free.append((f"b{i}", str(p)))
        width = 20.0 * (max(count.values()) + 1) + draw(st.sampled_from([0.0, 60.0]))
        boxes.append(
            Box(
                f"b{i}",
                width,
                height,
                anchors,
                draw(st.integers(-2, 3)),
                loose=draw(st.booleans()),
                low=draw(st.booleans()),
            )
        )
    free = draw(st.permutations(free))
    wires = [
        Wire(a, b, pull=draw(st.sampled_from([1.0, 4.0])))
        for a, b in zip(free[0::2], free[1::2], strict=False)
    ]
    return boxes, wires


def _segments(layout: Layout) -> list[tuple[int, float, float, float, float]]:
    return [
        (number, x1, y1, x2, y2)
        for number, route in enumerate(layout.routes)
        for (x1, y1), (x2, y2) in pairwise(route.points)
    ]


@settings(max_examples=60)
@given(graphs())
def test_nothing_overlaps(graph: tuple[list[Box], list[Wire]]) -> None:
    boxes, wires = graph
    layout = arrange(boxes, wires)
    for a, b in combinations(layout.boxes, 2):
        assert (
            a.x + a.width <= b.x + 1e-6
            or b.x + b.width <= a.x + 1e-6
            or a.y + a.height <= b.y + 1e-6
            or b.y + b.height <= a.y + 1e-6
        ), (a, b)
    for box in layout.boxes:
        assert box.x >= -1e-6 and box.x + box.width <= layout.width + 1e-6
        assert box.y >= -1e-6 and box.y + box.height <= layout.height + 1e-6


@settings(max_examples=60)
@given(graphs())
def test_wires_are_orthogonal_join_their_anchors_and_avoid_boxes(
    graph: tuple[list[Box], list[Wire]],
) -> None:
    boxes, wires = graph
    layout = arrange(boxes, wires)
    named = {box.name: box for box in layout.boxes}
    assert [route.wire for route in layout.routes] == wires
    for route in layout.routes:
        assert route.points[0] == named[route.wire.start[0]].meets(route.wire.start[1])
        assert route.points[-1] == named[route.wire.end[0]].meets(route.wire.end[1])
    for _, x1, y1, x2, y2 in _segments(layout):
        assert abs(x1 - x2) < 0.11 or abs(y1 - y2) < 0.11
        for box in layout.boxes:
            apart = (
                max(x1, x2) <= box.x + 1e-6
                or min(x1, x2) >= box.x + box.width - 1e-6
                or max(y1, y2) <= box.y + 1e-6
                or min(y1, y2) >= box.y + box.height - 1e-6
            )
            assert apart, (box, x1, y1, x2, y2)


@settings(max_examples=60)
@given(graphs())
def test_no_two_wires_share_a_horizontal_stretch(graph: tuple[list[Box], list[Wire]]) -> None:
    layout = arrange(*graph)
    level = [s for s in _segments(layout) if abs(s[2] - s[4]) < 0.11 and abs(s[1] - s[3]) > 0.11]
    for a, b in combinations(level, 2):
        if a[0] != b[0] and abs(a[2] - b[2]) < 1:
            assert max(a[1], a[3]) < min(b[1], b[3]) or max(b[1], b[3]) < min(a[1], a[3])


def test_a_chain_is_a_straight_line() -> None:
    def box(name: str, width: float, x: float, layer: int) -> Box:
        anchors = {"in": Anchor(x, 40, "bottom"), "out": Anchor(x, 0, "top")}
        return Box(name, width, 40, anchors, layer)

    boxes = [box("a", 50, 10, 0), box("b", 150, 70, 1), box("c", 30, 20, 2)]
    layout = arrange(boxes, [Wire(("a", "out"), ("b", "in")), Wire(("b", "out"), ("c", "in"))])
    assert [len(route.points) for route in layout.routes] == [2, 2]


def test_crossings_that_can_be_avoided_are() -> None:
    low = Box("low", 70, 10, {str(i): Anchor(10 + 20 * i, 0, "top") for i in range(3)}, 0)
    high = [Box(f"h{i}", 40, 40, {"1": Anchor(20, 40, "bottom")}, 1) for i in range(3)]
    wires = [Wire(("low", str(2 - i)), (f"h{i}", "1")) for i in range(3)]
    layout = arrange([low, *high], wires)
    assert [box.name for box in sorted(high, key=lambda b: b.x)] == ["h2", "h1", "h0"]
    uprights = [s for s in _segments(layout) if s[1] == s[3]]
    levels = [s for s in _segments(layout) if s[1] != s[3]]
    assert not [
        (u, v)
        for u in uprights
        for v in levels
        if min(v[1], v[3]) < u[1] < max(v[1], v[3]) and min(u[2], u[4]) < v[2] < max(u[2], u[4])
    ]


def test_loose_anchors_change_places_and_others_do_not() -> None:
    for loose in (True, False):
        low = Box("low", 60, 10, {"a": Anchor(10, 0, "top"), "b": Anchor(50, 0, "top")}, 0, loose)
        left = Box("left", 40, 40, {"1": Anchor(20, 40, "bottom")}, 1)
        # tied to each other so that their order is given
        right = Box("right", 40, 40, {"1": Anchor(20, 40, "bottom")}, 1)
        layout = arrange(
            [low, left, right],
            [Wire(("low", "b"), ("left", "1")), Wire(("low", "a"), ("right", "1"))],
        )
        by_name = {box.name: box for box in layout.boxes}
        first = low.anchors["b"].x < low.anchors["a"].x
        assert first == (by_name["left"].x < by_name["right"].x)
        if not loose:
            assert low.anchors["a"].x == 10


def test_nothing_gives_an_empty_layout() -> None:
    assert arrange([], []) == Layout([], [], 0.0, 0.0)
