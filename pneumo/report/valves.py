"""SVG pictures of directional valves: a square for each position, operators at both ends.

By ISO 1219-1; the ports are drawn at the square in which the valve rests. What each square lets
through is read off the valve's own paths.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from pneumo.components.base import Component
from pneumo.components.solenoid import SolenoidValve
from pneumo.report.palette import PAPER
from pneumo.report.picture import GRID, Picture
from pneumo.report.svg import arrow, circle, head, line, number, path, rect, zigzag
from pneumo.schematic.sheet import ports_in_order, side_of

SQUARE = 30.0
_OPERATOR_WIDTH = {
    "solenoid": 20.0,
    "spring": 20.0,
    "pilot": 10.0,
    "lever": 20.0,
    "detent": 10.0,
}


@dataclass(frozen=True)
class _Position:
    """One square: arrows as (from, to) and blocked ports."""

    flows: tuple[tuple[str, str], ...]
    blocked: tuple[str, ...] = ()


def _operator(name: str, x: float, left: bool) -> str:
    """An operator's picture in its own box, x to x + width, centred on the squares."""
    w = _OPERATOR_WIDTH[name]
    mid = 25.0
    if name == "solenoid":
        return rect(x, mid - 8, w, 16, fill=PAPER) + (line((x + 4, mid + 8), (x + w - 4, mid - 8)))
    if name == "spring":
        return zigzag(x, mid + 4, x + w, mid + 4, swing=5)
    if name == "pilot":
        tip, base = (x + w, x) if left else (x, x + w)
        return rect(x, mid - 8, w, 16, fill=PAPER) + path(
            f"M{base:g} {mid - 5:g} L{tip:g} {mid:g} L{base:g} {mid + 5:g} Z"
        )
    if name == "lever":
        near, far = (x + w, x + 4) if left else (x, x + w - 4)
        return line(
            (near, mid + 6), (near + (far - near) * 0.5, mid + 6), (far, mid - 14)
        ) + circle(far, mid - 15, 2.5, fill=PAPER)
    if name == "detent":
        return line(
            (x, mid + 8), (x + 3, mid + 8), (x + 5, mid + 3), (x + 7, mid + 8), (x + w, mid + 8)
        )
    raise ValueError(f"no operator picture named {name}")


def _drawn(
    component: Component,
    positions: Sequence[_Position],
    left: Sequence[str],
    right: Sequence[str],
) -> Picture:
    """Squares at y 10..40, the second of them at rest; air pilots a coil through a dashed line."""
    names = ports_in_order(component)
    pilots = {port.name for port in component.ports() if port.role == "pilot"}
    below = [n for n in names if side_of(component, n) == "low" and n not in pilots]
    above = [n for n in names if side_of(component, n) == "high"]
    square = max(SQUARE, GRID * (len(below) + 1))
    lower = {n: GRID * (k + 1) for k, n in enumerate(below)}
    gap = (square - 2 * GRID) / max(len(above) - 1, 1)
    upper = {n: GRID + gap * k for k, n in enumerate(above)}
    start = sum(_OPERATOR_WIDTH[name] for name in left)
    body = ""
    x = 0.0
    for name in left:
        body += _operator(name, x, left=True)
        x += _OPERATOR_WIDTH[name]
    for position in positions:
        body += rect(x, 10, square, SQUARE, fill=PAPER) + _inside(position, x, lower, upper)
        x += square
    for name in right:
        body += _operator(name, x, left=False)
        x += _OPERATOR_WIDTH[name]
    origin = start + square
    low = {n: origin + dx for n, dx in lower.items()}
    high = {n: origin + dx for n, dx in upper.items()}
    body += "".join(line((at, 50), (at, 40)) for at in low.values())
    body += "".join(line((at, 0), (at, 10)) for at in high.values())
    for n in pilots:
        low = {n: GRID} | low
        body += line((GRID, 50), (GRID, 33), dash="4 3")
    return Picture(x, 50.0, low, high, body)


def _inside(
    position: _Position, corner: float, below: Mapping[str, float], above: Mapping[str, float]
) -> str:
    def place(port: str) -> tuple[float, float]:
        if port in above:
            return corner + above[port], 10.0
        return corner + below[port], 40.0

    drawn = ""
    for origin, goal in position.flows:
        (x1, y1), (x2, y2) = place(origin), place(goal)
        if y1 == y2:
            # a flow between two ports of one edge turns round inside the square
            level = y1 - 12 if y1 > 25 else y1 + 12
            drawn += line((x1, y1), (x1, level), (x2, level), (x2, y2))
            drawn += head(x2, y2, 0, y2 - level)
        else:
            drawn += arrow(x1, y1, x2, y2)
    for port in position.blocked:
        x, y = place(port)
        inner = y + 7 if y < 25 else y - 7
        drawn += line((x, y), (x, inner)) + line((x - 4, inner), (x + 4, inner))
    return drawn


_CHARGES = _Position((("1", "2"),), ("3",))
_VENTS = _Position((("2", "3"),), ("1",))


def spool(component: Component) -> Picture:
    """Any solenoid valve."""
    assert isinstance(component, SolenoidValve)
    coil = ["solenoid", "pilot"] if component.operation == "pilot" else ["solenoid"]
    left, right = list(coil), ["spring"]
    places = [1.0, 0.0]
    if component.three_positions():
        left, right = [*coil, "spring"], ["spring", *reversed(coil)]
        places.append(-1.0)
    elif component.bistable():
        right = list(reversed(coil))
    names = [port.name for port in component.main_ports()]
    positions = []
    for place in places:
        flows = tuple((p.a, p.b) for p in component.paths() if abs(place - p.open) < 0.01)
        used = {name for flow in flows for name in flow}
        positions.append(_Position(flows, tuple(name for name in names if name not in used)))
    return _drawn(component, positions, left, right)


def hand_valve(component: Component) -> Picture:
    """Turned by hand, drawn in service, with a padlock: it can be locked in the vented position."""
    drawn = _drawn(component, [_VENTS, _CHARGES], ["lever", "detent"], [])
    lock = rect(1, 34, 8, 7, fill=PAPER) + path("M2.5 34 v-2.5 a2.5 2.5 0 0 1 5 0 v2.5")
    return replace(drawn, body=drawn.body + lock)


def soft_start(component: Component) -> Picture:
    """As a 3/2 valve, with its slow path: a throttle across the actuated arrow, a ramp beside
    it."""
    drawn = _drawn(component, [_CHARGES, _VENTS], ["solenoid"], ["spring"])
    x = _OPERATOR_WIDTH["solenoid"] + 10
    mark = path(f"M{number(x - 5)} 20 q4 4 0 9") + path(f"M{number(x + 5)} 20 q-4 4 0 9")
    at = drawn.width - 16
    ramp = line((at, 18), (at + 6, 18), (at + 12, 10), (at + 16, 10))
    return replace(drawn, body=drawn.body + mark + ramp)
