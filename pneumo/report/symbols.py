"""SVG symbols for every component kind, in the spirit of ISO 1219-1, drawn by us.

One row of `_DRAWN` per kind: a function from the component to its `Symbol`. Air enters from below
and leaves upwards, so every port lies on the upper or the lower edge of its symbol. All measures
are in drawing units (one unit is one pixel at natural size); ports lie on a grid of `GRID`.

The brake has no standard symbol; ours shows the fin between two skis, a bladder behind each ski
and the springs with an arrow for the way they push.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Literal

from pneumo.components.base import Component

GRID = 10.0
INK = "#1f2328"
SOFT = "#e9ecef"
SPREAD_KINDS = frozenset({"manifold", "receiver", "accumulator"})
"""Kinds whose ports are interchangeable and may sit anywhere along their length."""

Side = Literal["top", "bottom"]


@dataclass(frozen=True)
class Anchor:
    """Where a line meets a symbol, from the symbol's upper left corner."""

    x: float
    y: float
    side: Side


@dataclass(frozen=True)
class Symbol:
    """A drawing of one component."""

    width: float
    height: float
    ports: dict[str, Anchor]
    body: str
    """SVG fragment; stroke and line width come from the group it is put into."""
    sense: tuple[float, float] | None = None
    """Where the link to a position switch starts, on the upper edge; None: nothing to sense."""


def symbol(component: Component) -> Symbol:
    """The symbol of a component of any kind; a labelled box for a kind without a row."""
    kind: str = getattr(component, "kind", "")
    if kind in SPREAD_KINDS:
        names = [port.name for port in component.ports()]
        return spread(component, top=_spaced(names[1:]), bottom=_spaced(names[:1]))
    return _DRAWN.get(kind, _plain_box)(component)


def drawn_kinds() -> tuple[str, ...]:
    """Every kind with a symbol of its own."""
    return tuple(sorted((*_DRAWN, *SPREAD_KINDS)))


def spread(
    component: Component,
    top: Mapping[str, float],
    bottom: Mapping[str, float],
    width: float = 0.0,
) -> Symbol:
    """A manifold (bar) or vessel (capsule) with its ports at the given x along its edges."""
    kind: str = getattr(component, "kind", "")
    reach = max([*top.values(), *bottom.values()], default=0.0)
    if kind == "manifold":
        wide = max(width, reach + GRID, 3 * GRID)
        ports = {p: Anchor(x, 0.0, "top") for p, x in top.items()}
        ports |= {p: Anchor(x, 10.0, "bottom") for p, x in bottom.items()}
        body = _rect(0, 2, wide, 6, fill=SOFT)
        body += "".join(_dot(a.x, 5) + _line((a.x, 5), (a.x, a.y)) for a in ports.values())
        return Symbol(wide, 10.0, ports, body)
    tall = 40.0 if kind == "receiver" else 30.0
    wide = max(width, reach + 2 * GRID, 8 * GRID if kind == "receiver" else 6 * GRID)
    ports = {p: Anchor(x, 0.0, "top") for p, x in top.items()}
    ports |= {p: Anchor(x, tall, "bottom") for p, x in bottom.items()}
    # the shell stands clear of the edges so that a line ends on it and not in the open
    body = _rect(0, 4, wide, tall - 8, round_by=(tall - 8) / 2, fill="#fff")
    for a in ports.values():
        body += _line((a.x, a.y), (a.x, 4 if a.side == "top" else tall - 4))
    return Symbol(wide, tall, ports, body)


def _spaced(names: Sequence[str]) -> dict[str, float]:
    return {name: 2 * GRID * (i + 1) for i, name in enumerate(names)}


# pen strokes


def _n(value: float) -> str:
    """A number without needless digits, so that the same drawing gives the same bytes."""
    return f"{value:.1f}".removesuffix(".0")


def _line(*points: tuple[float, float], dash: str = "") -> str:
    d = "M" + " L".join(f"{_n(x)} {_n(y)}" for x, y in points)
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="{d}"{dashed}/>'


def _path(d: str, fill: str = "none") -> str:
    return f'<path d="{d}" fill="{fill}"/>'


def _rect(
    x: float,
    y: float,
    w: float,
    h: float,
    *,
    round_by: float = 0,
    fill: str = "none",
    dash: str = "",
) -> str:
    rounded = f' rx="{_n(round_by)}"' if round_by else ""
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<rect x="{_n(x)}" y="{_n(y)}" width="{_n(w)}" height="{_n(h)}"'
        f'{rounded} fill="{fill}"{dashed}/>'
    )


def _circle(x: float, y: float, r: float, fill: str = "none") -> str:
    return f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(r)}" fill="{fill}"/>'


def _dot(x: float, y: float, r: float = 2.2) -> str:
    return _circle(x, y, r, fill=INK)


def _text(x: float, y: float, words: str, size: float = 11.0) -> str:
    return (
        f'<text x="{_n(x)}" y="{_n(y)}" font-size="{_n(size)}" text-anchor="middle" '
        f'fill="{INK}" stroke="none">{escape(words)}</text>'
    )


def _head(x: float, y: float, dx: float, dy: float, size: float = 5.0) -> str:
    """A filled arrow head with its tip at (x, y), pointing along (dx, dy)."""
    length = (dx * dx + dy * dy) ** 0.5 or 1.0
    ux, uy = dx / length, dy / length
    bx, by = x - ux * size * 1.4, y - uy * size * 1.4
    wx, wy = -uy * size * 0.5, ux * size * 0.5
    return _path(
        f"M{_n(x)} {_n(y)} L{_n(bx + wx)} {_n(by + wy)} L{_n(bx - wx)} {_n(by - wy)} Z", fill=INK
    )


def _arrow(x1: float, y1: float, x2: float, y2: float) -> str:
    return _line((x1, y1), (x2, y2)) + _head(x2, y2, x2 - x1, y2 - y1)


def _zigzag(x1: float, y1: float, x2: float, y2: float, swing: float = 4.0, turns: int = 6) -> str:
    """A spring between two points, horizontal or vertical."""
    points = [(x1, y1)]
    along_x = abs(x2 - x1) >= abs(y2 - y1)
    for i in range(turns):
        f = (i + 0.5) / turns
        off = swing if i % 2 else -swing
        x, y = x1 + f * (x2 - x1), y1 + f * (y2 - y1)
        points.append((x, y + off) if along_x else (x + off, y))
    return _line(*points, (x2, y2))


def _adjusting(x1: float, y1: float, x2: float, y2: float) -> str:
    """The slanted arrow of something that can be set."""
    return _arrow(x1, y1, x2, y2)


# directional valves: a square per position, operators at both ends

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
        return _rect(x, mid - 8, w, 16, fill="#fff") + (
            _line((x + 4, mid + 8), (x + w - 4, mid - 8))
        )
    if name == "spring":
        return _zigzag(x, mid + 4, x + w, mid + 4, swing=5)
    if name == "pilot":
        tip, base = (x + w, x) if left else (x, x + w)
        return _rect(x, mid - 8, w, 16, fill="#fff") + _path(
            f"M{_n(base)} {_n(mid - 5)} L{_n(tip)} {_n(mid)} L{_n(base)} {_n(mid + 5)} Z"
        )
    if name == "lever":
        near, far = (x + w, x + 4) if left else (x, x + w - 4)
        return _line(
            (near, mid + 6), (near + (far - near) * 0.5, mid + 6), (far, mid - 14)
        ) + _circle(far, mid - 15, 2.5, fill="#fff")
    if name == "detent":
        return _line(
            (x, mid + 8), (x + 3, mid + 8), (x + 5, mid + 3), (x + 7, mid + 8), (x + w, mid + 8)
        )
    raise ValueError(f"no operator picture named {name}")


def _valve(
    positions: Sequence[_Position],
    normal: int,
    below: Mapping[str, float],
    above: Mapping[str, float],
    left: Sequence[str],
    right: Sequence[str],
    *,
    square: float = SQUARE,
    pilot_port: str = "",
) -> Symbol:
    """Squares at y 10..40; the ports are drawn at the square the valve rests in."""
    start = sum(_OPERATOR_WIDTH[name] for name in left)
    wide = start + square * len(positions) + sum(_OPERATOR_WIDTH[name] for name in right)
    body = ""
    x = 0.0
    for name in left:
        body += _operator(name, x, left=True)
        x += _OPERATOR_WIDTH[name]
    for i, position in enumerate(positions):
        corner = start + i * square
        body += _rect(corner, 10, square, SQUARE, fill="#fff")
        body += _inside(position, corner, below, above)
    x = start + square * len(positions)
    for name in right:
        body += _operator(name, x, left=False)
        x += _OPERATOR_WIDTH[name]
    origin = start + normal * square
    ports = {p: Anchor(origin + dx, 50.0, "bottom") for p, dx in below.items()}
    ports |= {p: Anchor(origin + dx, 0.0, "top") for p, dx in above.items()}
    for anchor in ports.values():
        edge = 10.0 if anchor.side == "top" else 40.0
        body += _line((anchor.x, anchor.y), (anchor.x, edge))
    if pilot_port:
        ports[pilot_port] = Anchor(GRID, 50.0, "bottom")
        body += _line((GRID, 50), (GRID, 33), dash="4 3")
    return Symbol(wide, 50.0, ports, body)


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
            drawn += _line((x1, y1), (x1, level), (x2, level), (x2, y2))
            drawn += _head(x2, y2, 0, y2 - level)
        else:
            drawn += _arrow(x1, y1, x2, y2)
    for port in position.blocked:
        x, y = place(port)
        inner = y + 7 if y < 25 else y - 7
        drawn += _line((x, y), (x, inner)) + _line((x - 4, inner), (x + 4, inner))
    return drawn


def _coil_operators(component: Component) -> tuple[list[str], list[str], str]:
    """Operators at the left and right end, and the name of an external pilot port."""
    piloted = getattr(component, "operation", "direct") == "pilot"
    coil = ["solenoid", "pilot"] if piloted else ["solenoid"]
    names = [port.name for port in component.ports()]
    outside = "14" if "14" in names else ""
    both = "12" in component.coils() or getattr(component, "memory", "") == "bistable"
    return list(coil), list(reversed(coil)) if both else ["spring"], outside


def _valve_2_2(component: Component) -> Symbol:
    shut, through = _Position((), ("1", "2")), _Position((("1", "2"),))
    opens = getattr(component, "rest", "closed") == "open"
    left, right, pilot = _coil_operators(component)
    return _valve(
        [shut, through] if opens else [through, shut],
        1,
        {"1": 10},
        {"2": 10},
        left,
        right,
        pilot_port=pilot,
    )


def _three_port(opens: bool) -> list[_Position]:
    through, vented = _Position((("1", "2"),), ("3",)), _Position((("2", "3"),), ("1",))
    return [vented, through] if opens else [through, vented]


def _valve_3_2(component: Component) -> Symbol:
    left, right, pilot = _coil_operators(component)
    opens = getattr(component, "rest", "closed") == "open"
    return _valve(
        _three_port(opens), 1, {"1": 10, "3": 20}, {"2": 10}, left, right, pilot_port=pilot
    )


_FIVE_BELOW = {"5": 10.0, "1": 20.0, "3": 30.0}
_FIVE_ABOVE = {"4": 10.0, "2": 30.0}
_SHIFTED = _Position((("1", "4"), ("2", "3")), ("5",))
_RESTING = _Position((("1", "2"), ("4", "5")), ("3",))
_CENTRES = {
    "closed": _Position((), ("1", "2", "3", "4", "5")),
    "exhausted": _Position((("4", "5"), ("2", "3")), ("1",)),
    "pressurised": _Position((("1", "4"), ("1", "2")), ("3", "5")),
}


def _valve_5_2(component: Component) -> Symbol:
    left, right, pilot = _coil_operators(component)
    return _valve(
        [_SHIFTED, _RESTING],
        1,
        _FIVE_BELOW,
        _FIVE_ABOVE,
        left,
        right,
        square=40,
        pilot_port=pilot,
    )


def _valve_5_3(component: Component) -> Symbol:
    left, right, pilot = _coil_operators(component)
    if "spring" not in right:
        left, right = [*left, "spring"], ["spring", *right]
    centre = _CENTRES[getattr(component, "centre", "closed")]
    return _valve(
        [_SHIFTED, centre, _RESTING],
        1,
        _FIVE_BELOW,
        _FIVE_ABOVE,
        left,
        right,
        square=40,
        pilot_port=pilot,
    )


def _shut_off(component: Component) -> Symbol:
    drawn = _valve(
        _three_port(opens=True), 1, {"1": 10, "3": 20}, {"2": 10}, ["lever", "detent"], []
    )
    # a padlock: it can be locked in the vented position
    lock = _rect(1, 34, 8, 7, fill="#fff") + _path("M2.5 34 v-2.5 a2.5 2.5 0 0 1 5 0 v2.5")
    return Symbol(drawn.width, drawn.height, drawn.ports, drawn.body + lock)


def _soft_start(component: Component) -> Symbol:
    left, right, pilot = _coil_operators(component)
    drawn = _valve(
        _three_port(opens=False), 1, {"1": 10, "3": 20}, {"2": 10}, left, right, pilot_port=pilot
    )
    # the slow path: a throttle mark across the shifted arrow, with a ramp beside it
    x = sum(_OPERATOR_WIDTH[name] for name in left) + 10
    mark = _path(f"M{_n(x - 5)} 20 q4 4 0 9") + _path(f"M{_n(x + 5)} 20 q-4 4 0 9")
    ramp_at = drawn.width - 16
    ramp = _line((ramp_at, 18), (ramp_at + 6, 18), (ramp_at + 12, 10), (ramp_at + 16, 10))
    return Symbol(drawn.width, drawn.height, drawn.ports, drawn.body + mark + ramp)


# sources and conditioning


def _ideal_supply(component: Component) -> Symbol:
    body = _path("M10 30 L20 12 L30 30 Z", fill="#fff") + _line((20, 12), (20, 0))
    return Symbol(40, 32, {"2": Anchor(20, 0, "top")}, body)


def _compressor(component: Component) -> Symbol:
    body = _circle(60, 30, 20, fill="#fff") + _path("M53 22 L60 10 L67 22 Z")
    body += _line((28, 28), (40, 28)) + _line((28, 32), (40, 32))
    body += _circle(15, 30, 13, fill="#fff") + _text(15, 34, "M")
    body += _line((60, 10), (60, 0))
    return Symbol(80, 50, {"2": Anchor(60, 0, "top")}, body)


def _two_port(height: float = 50.0, x: float = 20.0) -> dict[str, Anchor]:
    return {"1": Anchor(x, height, "bottom"), "2": Anchor(x, 0, "top")}


def _pipe(component: Component) -> Symbol:
    body = _line((10, 40), (10, 50)) + _line((10, 0), (10, 10)) + _rect(6, 10, 8, 30, fill="#fff")
    body += _line((3, 10), (17, 10)) + _line((3, 40), (17, 40))
    return Symbol(20, 50, _two_port(x=10), body)


def _hose(component: Component) -> Symbol:
    body = _line((10, 42), (10, 50)) + _line((10, 0), (10, 8)) + _dot(10, 8) + _dot(10, 42)
    body += _path("M10 8 C26 16 26 34 10 42")
    return Symbol(30, 50, _two_port(x=10), body)


def _tube(component: Component) -> Symbol:
    body = _line((10, 40), (10, 50)) + _line((10, 0), (10, 10)) + _line((10, 12), (10, 38))
    body += _circle(10, 10, 3, fill="#fff") + _circle(10, 40, 3, fill="#fff")
    return Symbol(20, 50, _two_port(x=10), body)


def _filter(component: Component) -> Symbol:
    body = _path("M20 5 L40 25 L20 45 L0 25 Z", fill="#fff") + _line((0, 25), (40, 25), dash="4 3")
    body += _line((20, 0), (20, 5)) + _line((20, 45), (20, 50))
    return Symbol(40, 50, _two_port(), body)


def _regulator(component: Component) -> Symbol:
    body = _rect(10, 10, 30, 30, fill="#fff") + _line((20, 0), (20, 10)) + _line((20, 40), (20, 50))
    body += _arrow(20, 40, 20, 10)
    body += _zigzag(40, 26, 58, 26, swing=5) + _adjusting(42, 37, 58, 15)
    body += _line((20, 4), (4, 4), (4, 25), (10, 25), dash="4 3")
    ports = _two_port()
    if "3" in [port.name for port in component.ports()]:
        ports["3"] = Anchor(30, 50, "bottom")
        body += _line((30, 40), (30, 50))
    return Symbol(60, 50, ports, body)


def _relief_valve(component: Component) -> Symbol:
    body = _rect(10, 10, 30, 30, fill="#fff") + _arrow(26, 40, 26, 10)
    body += _line((20, 50), (20, 40)) + _line((20, 10), (20, 0))
    body += _zigzag(40, 26, 58, 26, swing=5) + _adjusting(42, 37, 58, 15)
    body += _line((20, 46), (4, 46), (4, 25), (10, 25), dash="4 3")
    ports = {"1": Anchor(20, 50, "bottom")}
    if "3" in [port.name for port in component.ports()]:
        ports["3"] = Anchor(20, 0, "top")
    return Symbol(60, 50, ports, body)


def _silencer(component: Component) -> Symbol:
    body = _rect(4, 10, 22, 28, fill="#fff") + _line((15, 10), (15, 0))
    body += "".join(_line((4, y), (26, y), dash="3 2") for y in (17, 24, 31))
    body += _path("M11 38 L15 46 L19 38 Z")
    return Symbol(30, 46, {"1": Anchor(15, 0, "top")}, body)


# logic and speed


def _check_valve(component: Component) -> Symbol:
    body = _line((20, 50), (20, 34)) + _line((20, 16), (20, 0))
    body += _line((8, 22), (20, 34), (32, 22)) + _circle(20, 24, 7, fill="#fff")
    if getattr(component, "cracking", 0.0):
        body += _zigzag(20, 17, 20, 7, swing=4, turns=4) + _line((14, 7), (26, 7))
    return Symbol(40, 50, _two_port(), body)


def _flow_control(component: Component) -> Symbol:
    bypass = getattr(component, "bypass_C", None) is not None
    body = _line((20, 0), (20, 50)) + _path("M12 16 q7 9 0 18") + _path("M28 16 q-7 9 0 18")
    body += _adjusting(6, 36, 34, 12)
    if bypass:
        # free flow from 2 back to 1: the ball lifts off the seat above it
        body += _line((20, 5), (50, 5), (50, 20)) + _line((50, 34), (50, 45), (20, 45))
        body += _line((41, 30), (50, 20), (59, 30)) + _circle(50, 28, 5.5, fill="#fff")
        body += _dot(20, 5) + _dot(20, 45)
    return Symbol(60 if bypass else 40, 50, _two_port(), body)


def _quick_exhaust(component: Component) -> Symbol:
    body = _rect(5, 8, 50, 34, fill="#fff", dash="8 3 2 3")
    body += _line((20, 50), (20, 38), (20, 34)) + _line((13, 34), (27, 34))
    body += _circle(20, 27, 6, fill="#fff") + _line((20, 21), (20, 0))
    body += _line((20, 14), (40, 14), (40, 22)) + _line((34, 22), (46, 22))
    body += _dot(20, 14) + _arrow(40, 24, 40, 42) + _line((40, 42), (40, 50))
    ports = _two_port()
    ports["3"] = Anchor(40, 50, "bottom")
    return Symbol(60, 50, ports, body)


def _two_inlets(middle: str) -> Symbol:
    body = _rect(5, 12, 50, 24, fill="#fff") + middle
    body += _line((10, 50), (10, 24)) + _line((50, 50), (50, 24)) + _line((30, 12), (30, 0))
    ports = {
        "1a": Anchor(10, 50, "bottom"),
        "1b": Anchor(50, 50, "bottom"),
        "2": Anchor(30, 0, "top"),
    }
    return Symbol(60, 50, ports, body)


def _shuttle(component: Component) -> Symbol:
    seats = _line((20, 17), (14, 24), (20, 31)) + _line((40, 17), (46, 24), (40, 31))
    return _two_inlets(
        seats
        + _circle(22, 24, 5.5, fill="#fff")
        + _line((10, 24), (14, 24))
        + _line((46, 24), (50, 24))
    )


def _dual_pressure(component: Component) -> Symbol:
    return _two_inlets(
        _line((20, 18), (20, 30))
        + _line((40, 18), (40, 30))
        + _line((20, 24), (40, 24))
        + _line((10, 24), (14, 24))
        + _line((46, 24), (50, 24))
    )


# actuators


def _bladder_brake(component: Component) -> Symbol:
    opens = getattr(component, "spring", "open") == "open"
    one = getattr(component, "bladders", 2) in (1, "1")
    body = _rect(48, 4, 4, 54, fill=INK)
    body += _half_brake(opens)
    feed = [(50.0, 70.0), (50.0, 64.0), (22.0, 64.0), (22.0, 53.0)]
    body += _line(*feed)
    if one:
        # the jaw opposite a single bladder is fixed to the frame
        body += (
            _rect(56, 10, 6, 44, fill="#fff")
            + _line((62, 16), (94, 16))
            + (_line((62, 48), (94, 48)))
            + _frame(94)
        )
    else:
        body += f'<g transform="translate(100 0) scale(-1 1)">{_half_brake(opens)}</g>'
        body += _line((50, 64), (78, 64), (78, 53)) + _dot(50, 64)
    return Symbol(100, 70, {"1": Anchor(50, 70, "bottom")}, body, sense=(40, 0))


def _frame(x: float) -> str:
    """A frame plate seen from the side, hatched on the outer side."""
    out = -4 if x < 50 else 4
    return _line((x, 8), (x, 58)) + "".join(
        _line((x, y), (x + out, y + 5)) for y in (10, 20, 30, 40, 50)
    )


def _half_brake(opens: bool) -> str:
    """The left ski with its spring above and its bladder below."""
    body = _frame(6) + _rect(37, 10, 6, 44, fill="#fff")
    body += _zigzag(6, 20, 37, 20, swing=5, turns=8)
    body += (
        _head(8, 30, -1, 0) + _line((8, 30), (18, 30))
        if opens
        else (_head(32, 30, 1, 0) + _line((22, 30), (32, 30)))
    )
    if opens:
        return body + _rect(8, 36, 28, 17, round_by=7, fill=SOFT)
    # air opens: the bladder pushes an arm of the ski away from a fixed post
    body += _line((37, 33), (11, 33), (11, 56)) + _rect(12, 36, 19, 17, round_by=7, fill=SOFT)
    return body + _path("M32 35 h3 v20 h-3 Z", fill=INK)


def _cylinder(component: Component) -> Symbol:
    extended = getattr(component, "starts", "retracted") == "extended"
    piston = 46.0 if extended else 16.0
    body = _rect(5, 10, 60, 24, fill="#fff") + _rect(piston, 10, 6, 24, fill=SOFT)
    body += _line((piston + 6, 20), (88, 20)) + _line((piston + 6, 24), (88, 24))
    body += _line((88, 17), (88, 27)) + _line((10, 34), (10, 50)) + _line((60, 34), (60, 50))
    ports = {"cap": Anchor(10, 50, "bottom"), "rod": Anchor(60, 50, "bottom")}
    body += _line((80, 0), (80, 19), dash="6 3 1 3")
    return Symbol(90, 50, ports, body, sense=(80, 0))


# instruments and electrics


def _contact(x: float, y: float) -> str:
    return (
        _line((x, y), (x + 5, y))
        + _line((x + 5, y), (x + 15, y - 6))
        + _line((x + 16, y), (x + 22, y))
    )


def _pressure_switch(component: Component) -> Symbol:
    body = _rect(4, 4, 32, 32, fill="#fff") + _contact(9, 16) + _line((20, 36), (20, 50))
    body += _zigzag(12, 27, 28, 27, swing=3, turns=6) + _path("M16 36 L20 31 L24 36 Z")
    return Symbol(40, 50, {"1": Anchor(20, 50, "bottom")}, body)


def _transmitter(component: Component) -> Symbol:
    body = _rect(4, 4, 32, 32, fill="#fff") + _line((4, 36), (36, 4)) + _line((20, 36), (20, 50))
    body += _text(13, 17, "p", 10) + _text(28, 32, "I", 10)
    return Symbol(40, 50, {"1": Anchor(20, 50, "bottom")}, body)


def _gauge(component: Component) -> Symbol:
    body = _circle(20, 20, 16, fill="#fff") + _arrow(12, 28, 29, 11) + _line((20, 36), (20, 50))
    return Symbol(40, 50, {"1": Anchor(20, 50, "bottom")}, body)


def _jaw_switch(component: Component) -> Symbol:
    body = _rect(4, 2, 32, 22, fill="#fff") + _contact(9, 17)
    body += _circle(20, 32, 4, fill="#fff") + _line((20, 24), (20, 28)) + _line((20, 36), (20, 40))
    return Symbol(40, 40, {}, body, sense=(20, 40))


def _electrical_feed(component: Component) -> Symbol:
    body = _circle(20, 20, 16, fill="#fff") + _line((13, 18), (27, 18))
    body += _line((13, 23), (27, 23), dash="4 2")
    return Symbol(40, 40, {}, body)


def _plain_box(component: Component) -> Symbol:
    """For a kind without a picture: a box, supply ports below, the others above."""
    below = [p.name for p in component.ports() if p.role in ("supply", "exhaust", "pilot")]
    above = [p.name for p in component.ports() if p.name not in below]
    wide = 2 * GRID * (max(len(below), len(above), 1) + 1)
    ports = {p: Anchor(x, 50.0, "bottom") for p, x in _spaced(below).items()}
    ports |= {p: Anchor(x, 0.0, "top") for p, x in _spaced(above).items()}
    body = _rect(0, 10, wide, 30, fill="#fff")
    body += _stubs(ports.values())
    return Symbol(wide, 50.0, ports, body)


def _stubs(anchors: Iterable[Anchor]) -> str:
    return "".join(_line((a.x, a.y), (a.x, 10.0 if a.side == "top" else 40.0)) for a in anchors)


_DRAWN: dict[str, Callable[[Component], Symbol]] = {
    "ideal_supply": _ideal_supply,
    "compressor": _compressor,
    "pipe": _pipe,
    "hose": _hose,
    "tube": _tube,
    "filter": _filter,
    "regulator": _regulator,
    "relief_valve": _relief_valve,
    "shut_off": _shut_off,
    "soft_start": _soft_start,
    "check_valve": _check_valve,
    "valve_2_2": _valve_2_2,
    "valve_3_2": _valve_3_2,
    "valve_5_2": _valve_5_2,
    "valve_5_3": _valve_5_3,
    "quick_exhaust": _quick_exhaust,
    "shuttle": _shuttle,
    "dual_pressure": _dual_pressure,
    "flow_control": _flow_control,
    "silencer": _silencer,
    "bladder_brake": _bladder_brake,
    "cylinder": _cylinder,
    "pressure_switch": _pressure_switch,
    "transmitter": _transmitter,
    "gauge": _gauge,
    "jaw_switch": _jaw_switch,
    "electrical_feed": _electrical_feed,
}
