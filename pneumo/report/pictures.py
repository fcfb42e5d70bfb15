"""SVG pictures of all components but directional valves, in the spirit of ISO 1219-1, drawn by us.

One row of `PICTURES` for each name a kind's `symbol` may have. Air enters from below and leaves
upwards. All measures are in drawing units; ports lie on a grid of `GRID`.

The brake has no standard symbol; ours shows the fin between two skis, a bladder behind each ski
and the springs with an arrow for the way they push.
"""

from __future__ import annotations

from collections.abc import Callable

from pneumo.components.base import Component
from pneumo.report import valves
from pneumo.report.palette import FILL, INK, PAPER
from pneumo.report.picture import GRID, Picture
from pneumo.report.svg import arrow, circle, dot, head, letter, line, path, rect, zigzag
from pneumo.schematic.sheet import ports_in_order, side_of


def picture(component: Component) -> Picture:
    """The picture of a component; a box with its ports for a kind whose picture we do not have."""
    return PICTURES.get(component.symbol.picture, _plain_box)(component)


def marker() -> Picture:
    """Where a line goes on on another sheet."""
    body = path("M2 2 h16 v10 l-8 6 l-8 -6 Z", fill=PAPER)
    return Picture(20, 20, {"": 10}, {"": 10}, body)


# sources, vessels and conditioning


def _vessel(wide: float, tall: float) -> Picture:
    """A capsule; its shell stands clear of the edges so that a line ends on it."""
    body = rect(0, 4, wide, tall - 8, round_by=(tall - 8) / 2, fill=PAPER)
    middle = GRID * round(wide / 2 / GRID)
    body += line((middle, 0), (middle, 4)) + line((middle, tall), (middle, tall - 4))
    return Picture(wide, tall, {"": middle}, {"": middle}, body)


def _receiver(component: Component) -> Picture:
    return _vessel(80, 40)


def _accumulator(component: Component) -> Picture:
    return _vessel(60, 30)


def _manifold(component: Component) -> Picture:
    """A bar, as long as it has many ports."""
    wide = GRID * max(4, min(len(component.ports()), 12))
    middle = GRID * round(wide / 2 / GRID)
    body = rect(0, 2, wide, 6, fill=FILL) + dot(middle, 5) + line((middle, 0), (middle, 10))
    return Picture(wide, 10, {"": middle}, {"": middle}, body)


def _ideal_supply(component: Component) -> Picture:
    body = path("M10 30 L20 12 L30 30 Z", fill=PAPER) + line((20, 12), (20, 0))
    return Picture(40, 32, {}, {"2": 20}, body)


def _compressor(component: Component) -> Picture:
    body = circle(60, 30, 20, fill=PAPER) + path("M53 22 L60 10 L67 22 Z")
    body += line((28, 28), (40, 28)) + line((28, 32), (40, 32))
    body += circle(15, 30, 13, fill=PAPER) + letter(15, 34, "M")
    body += line((60, 10), (60, 0))
    return Picture(80, 50, {}, {"2": 60}, body)


def _pipe(component: Component) -> Picture:
    body = line((10, 40), (10, 50)) + line((10, 0), (10, 10)) + rect(6, 10, 8, 30, fill=PAPER)
    body += line((3, 10), (17, 10)) + line((3, 40), (17, 40))
    return Picture(20, 50, {"1": 10}, {"2": 10}, body)


def _hose(component: Component) -> Picture:
    body = line((10, 42), (10, 50)) + line((10, 0), (10, 8)) + dot(10, 8) + dot(10, 42)
    body += path("M10 8 C26 16 26 34 10 42")
    return Picture(30, 50, {"1": 10}, {"2": 10}, body)


def _tube(component: Component) -> Picture:
    body = line((10, 40), (10, 50)) + line((10, 0), (10, 10)) + line((10, 12), (10, 38))
    body += circle(10, 10, 3, fill=PAPER) + circle(10, 40, 3, fill=PAPER)
    return Picture(20, 50, {"1": 10}, {"2": 10}, body)


def _filter(component: Component) -> Picture:
    body = path("M20 5 L40 25 L20 45 L0 25 Z", fill=PAPER) + line((0, 25), (40, 25), dash="4 3")
    body += line((20, 0), (20, 5)) + line((20, 45), (20, 50))
    return Picture(40, 50, {"1": 20}, {"2": 20}, body)


def _regulator(component: Component) -> Picture:
    body = rect(10, 10, 30, 30, fill=PAPER) + line((20, 0), (20, 10)) + line((20, 40), (20, 50))
    body += arrow(20, 40, 20, 10)
    body += zigzag(40, 26, 58, 26, swing=5) + arrow(42, 37, 58, 15)
    body += line((20, 4), (4, 4), (4, 25), (10, 25), dash="4 3")
    low = {"1": 20.0}
    if "3" in [port.name for port in component.ports()]:
        low["3"] = 30
        body += line((30, 40), (30, 50))
    return Picture(60, 50, low, {"2": 20}, body)


def _relief_valve(component: Component) -> Picture:
    body = rect(10, 10, 30, 30, fill=PAPER) + arrow(26, 40, 26, 10)
    body += line((20, 50), (20, 40)) + line((20, 10), (20, 0))
    body += zigzag(40, 26, 58, 26, swing=5) + arrow(42, 37, 58, 15)
    body += line((20, 46), (4, 46), (4, 25), (10, 25), dash="4 3")
    return Picture(60, 50, {"1": 20}, {"3": 20}, body)


def _silencer(component: Component) -> Picture:
    body = rect(4, 10, 22, 28, fill=PAPER) + line((15, 10), (15, 0))
    body += "".join(line((4, y), (26, y), dash="3 2") for y in (17, 24, 31))
    body += path("M11 38 L15 46 L19 38 Z")
    return Picture(30, 46, {}, {"1": 15}, body)


# logic and speed


def _check_valve(component: Component) -> Picture:
    body = line((20, 50), (20, 34)) + line((20, 16), (20, 0))
    body += line((8, 22), (20, 34), (32, 22)) + circle(20, 24, 7, fill=PAPER)
    if getattr(component, "cracking", 0.0):
        body += zigzag(20, 17, 20, 7, swing=4, turns=4) + line((14, 7), (26, 7))
    return Picture(40, 50, {"1": 20}, {"2": 20}, body)


def _flow_control(component: Component) -> Picture:
    bypass = getattr(component, "bypass_C", None) is not None
    body = line((20, 0), (20, 50)) + path("M12 16 q7 9 0 18") + path("M28 16 q-7 9 0 18")
    body += arrow(6, 36, 34, 12)
    if bypass:
        # free flow from 2 back to 1: the ball lifts off the seat above it
        body += line((20, 5), (50, 5), (50, 20)) + line((50, 34), (50, 45), (20, 45))
        body += line((41, 30), (50, 20), (59, 30)) + circle(50, 28, 5.5, fill=PAPER)
        body += dot(20, 5) + dot(20, 45)
    return Picture(60 if bypass else 40, 50, {"1": 20}, {"2": 20}, body)


def _quick_exhaust(component: Component) -> Picture:
    body = rect(5, 8, 50, 34, fill=PAPER, dash="8 3 2 3")
    body += line((20, 50), (20, 38), (20, 34)) + line((13, 34), (27, 34))
    body += circle(20, 27, 6, fill=PAPER) + line((20, 21), (20, 0))
    body += line((20, 14), (40, 14), (40, 22)) + line((34, 22), (46, 22))
    body += dot(20, 14) + arrow(40, 24, 40, 42) + line((40, 42), (40, 50))
    return Picture(60, 50, {"1": 20, "3": 40}, {"2": 20}, body)


def _two_inlets(middle: str) -> Picture:
    body = rect(5, 12, 50, 24, fill=PAPER) + middle
    body += line((10, 50), (10, 24)) + line((50, 50), (50, 24)) + line((30, 12), (30, 0))
    return Picture(60, 50, {"1a": 10, "1b": 50}, {"2": 30}, body)


def _shuttle(component: Component) -> Picture:
    seats = line((20, 17), (14, 24), (20, 31)) + line((40, 17), (46, 24), (40, 31))
    return _two_inlets(
        seats
        + circle(22, 24, 5.5, fill=PAPER)
        + line((10, 24), (14, 24))
        + line((46, 24), (50, 24))
    )


def _dual_pressure(component: Component) -> Picture:
    return _two_inlets(
        line((20, 18), (20, 30))
        + line((40, 18), (40, 30))
        + line((20, 24), (40, 24))
        + line((10, 24), (14, 24))
        + line((46, 24), (50, 24))
    )


# actuators


def _bladder_brake(component: Component) -> Picture:
    opens = getattr(component, "spring", "open") == "open"
    one = getattr(component, "bladders", 2) in (1, "1")
    body = rect(48, 4, 4, 54, fill=INK)
    body += _half_brake(opens)
    feed = [(50.0, 70.0), (50.0, 64.0), (22.0, 64.0), (22.0, 53.0)]
    body += line(*feed)
    if one:
        # the jaw opposite a single bladder is fixed to the frame
        body += (
            rect(56, 10, 6, 44, fill=PAPER)
            + line((62, 16), (94, 16))
            + (line((62, 48), (94, 48)))
            + _frame(94)
        )
    else:
        body += f'<g transform="translate(100 0) scale(-1 1)">{_half_brake(opens)}</g>'
        body += line((50, 64), (78, 64), (78, 53)) + dot(50, 64)
    return Picture(100, 70, {"1": 50}, {}, body, sense=40)


def _frame(x: float) -> str:
    """A frame plate seen from the side, hatched on the outer side."""
    out = -4 if x < 50 else 4
    return line((x, 8), (x, 58)) + "".join(
        line((x, y), (x + out, y + 5)) for y in (10, 20, 30, 40, 50)
    )


def _half_brake(opens: bool) -> str:
    """The left ski with its spring above and its bladder below."""
    body = _frame(6) + rect(37, 10, 6, 44, fill=PAPER)
    body += zigzag(6, 20, 37, 20, swing=5, turns=8)
    body += (
        head(8, 30, -1, 0) + line((8, 30), (18, 30))
        if opens
        else (head(32, 30, 1, 0) + line((22, 30), (32, 30)))
    )
    if opens:
        return body + rect(8, 36, 28, 17, round_by=7, fill=FILL)
    # air opens: the bladder pushes an arm of the ski away from a fixed post
    body += line((37, 33), (11, 33), (11, 56)) + rect(12, 36, 19, 17, round_by=7, fill=FILL)
    return body + path("M32 35 h3 v20 h-3 Z", fill=INK)


def _cylinder(component: Component) -> Picture:
    extended = getattr(component, "starts", "retracted") == "extended"
    piston = 46.0 if extended else 16.0
    body = rect(5, 10, 60, 24, fill=PAPER) + rect(piston, 10, 6, 24, fill=FILL)
    body += line((piston + 6, 20), (88, 20)) + line((piston + 6, 24), (88, 24))
    body += line((88, 17), (88, 27)) + line((10, 34), (10, 50)) + line((60, 34), (60, 50))
    body += line((80, 0), (80, 19), dash="6 3 1 3")
    return Picture(90, 50, {"cap": 10, "rod": 60}, {}, body, sense=80)


# instruments and electrics


def _contact(x: float, y: float) -> str:
    return (
        line((x, y), (x + 5, y))
        + line((x + 5, y), (x + 15, y - 6))
        + line((x + 16, y), (x + 22, y))
    )


def _pressure_switch(component: Component) -> Picture:
    body = rect(4, 4, 32, 32, fill=PAPER) + _contact(9, 16) + line((20, 36), (20, 50))
    body += zigzag(12, 27, 28, 27, swing=3, turns=6) + path("M16 36 L20 31 L24 36 Z")
    return Picture(40, 50, {"1": 20}, {}, body)


def _transmitter(component: Component) -> Picture:
    body = rect(4, 4, 32, 32, fill=PAPER) + line((4, 36), (36, 4)) + line((20, 36), (20, 50))
    body += letter(13, 17, "p", 10) + letter(28, 32, "I", 10)
    return Picture(40, 50, {"1": 20}, {}, body)


def _gauge(component: Component) -> Picture:
    body = circle(20, 20, 16, fill=PAPER) + arrow(12, 28, 29, 11) + line((20, 36), (20, 50))
    return Picture(40, 50, {"1": 20}, {}, body)


def _jaw_switch(component: Component) -> Picture:
    body = rect(4, 2, 32, 22, fill=PAPER) + _contact(9, 17)
    body += circle(20, 32, 4, fill=PAPER) + line((20, 24), (20, 28)) + line((20, 36), (20, 40))
    return Picture(40, 40, {}, {}, body)


def _electrical_feed(component: Component) -> Picture:
    body = circle(20, 20, 16, fill=PAPER) + line((13, 18), (27, 18))
    body += line((13, 23), (27, 23), dash="4 2")
    return Picture(40, 40, {}, {}, body)


def _plain_box(component: Component) -> Picture:
    names = ports_in_order(component)
    low, high = (
        {n: GRID * (k + 1) for k, n in enumerate(n for n in names if side_of(component, n) == side)}
        for side in ("low", "high")
    )
    wide = GRID * (max(len(low), len(high), 3) + 1)
    body = rect(0, 10, wide, 30, fill=PAPER)
    body += "".join(line((x, 50), (x, 40)) for x in low.values())
    body += "".join(line((x, 0), (x, 10)) for x in high.values())
    return Picture(wide, 50, low, high, body)


PICTURES: dict[str, Callable[[Component], Picture]] = {
    "accumulator": _accumulator,
    "and": _dual_pressure,
    "check": _check_valve,
    "compressor": _compressor,
    "cylinder": _cylinder,
    "feed": _electrical_feed,
    "filter": _filter,
    "gauge": _gauge,
    "hand_valve": valves.hand_valve,
    "hose": _hose,
    "jaws": _bladder_brake,
    "manifold": _manifold,
    "or": _shuttle,
    "pipe": _pipe,
    "position_switch": _jaw_switch,
    "pressure_switch": _pressure_switch,
    "quick_exhaust": _quick_exhaust,
    "receiver": _receiver,
    "regulator": _regulator,
    "relief": _relief_valve,
    "silencer": _silencer,
    "soft_start": valves.soft_start,
    "spool": valves.spool,
    "supply": _ideal_supply,
    "throttle": _flow_control,
    "transmitter": _transmitter,
    "tube": _tube,
}
