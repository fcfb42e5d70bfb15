"""What an observation says, as numbers that can be compared: one number for each aspect of it.

Everything is a number: a time, a pressure, a class of loudness, a code for a state. `NEVER` stands
for what did not come: an edge of a contact, a ski that does not move.
"""

from __future__ import annotations

from functools import singledispatch
from math import inf
from typing import Any, NamedTuple

from pneumo.drill.entry import Fell
from pneumo.inspection.evidence import (
    Bubbles,
    Card,
    Cycled,
    DrainSeen,
    Element,
    Handle,
    Heard,
    Jaws,
    Leaking,
    Lining,
    Outflow,
    Plugs,
    Pried,
    Pulled,
    Reading,
    Rod,
    Voltage,
    Winding,
)

NEVER = inf
"""In place of a time or a force that there is not."""


class Scale(NamedTuple):
    """How near two numbers of an aspect must be to be taken as the same."""

    least: float
    """Spread of one reading [in its unit]."""
    share: float = 0.0
    """What comes on top, as a share of the number."""
    smooth: bool = False
    """It changes gradually with how bad a fault is; else it jumps."""


class Mark(NamedTuple):
    """One number of an observation."""

    aspect: str
    """What of it: "shown", "exhaust 3"."""
    value: float
    scale: Scale
    usual: float = 0.0
    """What it is where an observation does not mention it."""


CODE = Scale(0.1)
"""Of a class or a state, which is one or another."""
PRESSURE = Scale(0.05e5, 0.01, True)
"""Of a gauge: one of its steps, and 1 % for the gauge itself; common practice, no source."""
LOUDNESS = Scale(0.35, 0.0, True)
"""Of a hiss, in classes; estimated."""
WAY = Scale(0.7e-3, 0.0, True)
"""Of a distance that is read to the millimetre [m]."""
CALLIPERS = Scale(0.1e-3, 0.0, True)
"""Of a distance that is read to a tenth of it [m]."""
FORCE = Scale(60.0, 0.03, True)
"""Of a load cell that is read to 50 N; estimated."""
VOLTS = Scale(1.0, 0.03)
OHMS = Scale(1.0, 0.05)

LOUD = {"faint": 1.0, "clear": 2.0, "loud": 3.0}
_JAWS = {"closed": 0.0, "between": 1.0, "open": 2.0}
_ROD = {"in": 0.0, "between": 1.0, "out": 2.0}
_DIRT = {"clean": 0.0, "dirty": 1.0, "clogged": 2.0}


@singledispatch
def marks(found: Any) -> tuple[Mark, ...]:
    """The numbers of what a test has given. That a test was idle nobody at the ride sees, so it is
    none of them."""
    raise TypeError(f"{found!r} is no result of a test")


@marks.register
def _reading(found: Reading) -> tuple[Mark, ...]:
    return (Mark("shown", found.shown, PRESSURE),)


@marks.register
def _fell(found: Fell) -> tuple[Mark, ...]:
    return (
        Mark("shown", found.first.shown, PRESSURE),
        Mark("shown at the end", found.last.shown, PRESSURE),
        # what a gauge has lost does not depend on how it is set
        Mark("fall", found.first.shown - found.last.shown, Scale(0.05e5, 0.03, True)),
    )


def _place(found: Outflow | Leaking) -> str:
    return f"{found.where} {found.port}".strip()


@marks.register
def _heard(found: Heard) -> tuple[Mark, ...]:
    return (
        *(Mark(_place(out), LOUD[out.loudness], LOUDNESS) for out in found.outflows),
        *(Mark(f"beside {name}", 1.0, CODE) for name in found.beside),
        Mark("pumping", float(bool(found.pumping)), CODE),
        Mark("pumping nearby", float(found.pumping_nearby), CODE),
    )


@marks.register
def _bubbles(found: Bubbles) -> tuple[Mark, ...]:
    return tuple(Mark(_place(place), 1.0, CODE) for place in found.at)


@marks.register
def _jaws(found: Jaws) -> tuple[Mark, ...]:
    return (
        Mark("state", _JAWS[found.state], CODE),
        Mark("distance", found.distance, WAY),
        Mark("springs broken", float(found.springs_broken), CODE),
        Mark("blocked", float(found.blocked), CODE),
    )


@marks.register
def _lining(found: Lining) -> tuple[Mark, ...]:
    return (Mark("travel", found.travel, CALLIPERS),)


@marks.register
def _rod(found: Rod) -> tuple[Mark, ...]:
    return (Mark("state", _ROD[found.state], CODE), Mark("out", found.out, WAY))


@marks.register
def _plugs(found: Plugs) -> tuple[Mark, ...]:
    return tuple(
        mark
        for plug in found.plugs
        for mark in (
            Mark(f"lamp {plug.coil}", float(plug.lamp), CODE),
            Mark(f"held {plug.coil}", float(plug.held), CODE),
        )
    )


@marks.register
def _handle(found: Handle) -> tuple[Mark, ...]:
    return (Mark("in service", float(found.in_service), CODE),)


@marks.register
def _drain(found: DrainSeen) -> tuple[Mark, ...]:
    return (Mark("open", float(found.open), CODE),)


@marks.register
def _element(found: Element) -> tuple[Mark, ...]:
    return (Mark("dirt", _DIRT[found.dirt], LOUDNESS),)


@marks.register
def _pulled(found: Pulled) -> tuple[Mark, ...]:
    return (
        Mark("moves", NEVER if found.moves is None else found.moves, FORCE),
        Mark("returns", NEVER if found.returns is None else found.returns, FORCE),
    )


@marks.register
def _pried(found: Pried) -> tuple[Mark, ...]:
    return (Mark("moved", found.moved, WAY),)


@marks.register
def _voltage(found: Voltage) -> tuple[Mark, ...]:
    return (Mark("volts", found.volts, VOLTS),)


@marks.register
def _winding(found: Winding) -> tuple[Mark, ...]:
    ohms = NEVER if found.ohms is None else found.ohms
    return (Mark("ohms", ohms, OHMS), Mark("live", float(found.live), CODE))


@marks.register
def _card(found: Card) -> tuple[Mark, ...]:
    return (Mark("lamp", float(found.lamp), CODE), Mark("volts", found.volts, VOLTS))


@marks.register
def _cycled(found: Cycled) -> tuple[Mark, ...]:
    return (
        Mark("lamp", float(found.lamp), CODE),
        Mark("clicked", float(found.clicked), CODE),
        Mark("switched", float(found.switched), CODE),
        *(Mark(f"blew {name}", 1.0, CODE) for name in found.blew),
    )
