"""What is seen from beside a part, and what callipers measure at a lining.

Everything is read off the plant as it stands, never from a fault: a lining that is worn, a filter
that is blocked shows whatever made it so.
"""

from __future__ import annotations

from math import ceil
from typing import Literal

from pneumo.errors import InputError
from pneumo.inspection.evidence import (
    DrainSeen,
    Element,
    Evidence,
    Handle,
    Jaws,
    Lining,
    Plug,
    Plugs,
    Rod,
)
from pneumo.inspection.moment import Moment
from pneumo.inspection.target import brake_of, component_of, kind_told
from pneumo.network.compile import Compiled

TOUCHES = 0.2e-3
"""A gap that no eye sees [m]; invented."""

AT_END = 2e-3
"""A rod this near its end is taken to be there [m]; invented."""

RETRACTED = 0.5e-3
"""A ski this near its stop is taken to be there [m]; invented."""

EYE_STEP = 1e-3
"""A distance is seen to this [m]; invented."""

CALLIPER_STEP = 1e-4
"""Callipers are read to this [m]: common practice, no source."""

DIRT = ((0.95, "clean"), (0.4, "dirty"))
"""Share of an element that is still open, from which on it is called so; below: clogged;
invented."""


def look_at(at: Moment, target: str) -> Evidence:
    """What can be seen of a part. Raises InputError when there is nothing to see."""
    compiled = at.compiled
    component = component_of(compiled, target)
    part = compiled.circuit.components[component]
    if "brake" in part.traits:
        return _jaws(at, component)
    if "gate" in part.traits:
        return _rod(at, component)
    if part.coils():
        return Plugs(component, tuple(_plug(at, component, side) for side in part.coils()))
    if "turnable" in part.traits:
        return Handle(component, component not in at.isolated)
    if elements := _elements(compiled, component):
        return _element(at, component, elements)
    if "drainable" in part.traits:
        return DrainSeen(component, component in at.play.actors.faults.drained)
    raise InputError(
        f"{component} is {kind_told(compiled, component)}: there is nothing to see on it. Look at "
        "a brake, a cylinder, a valve with a coil or a handle, a silencer, a filter, or a vessel "
        "with a drain."
    )


def lining(at: Moment, target: str) -> Lining:
    """Callipers at the linings of a brake. Raises InputError when it is none."""
    component = brake_of(at.compiled, target)
    mover = at.compiled.parts[component].mover
    # a fin that is absent moves the contact by half its thickness, and wears nothing
    away = 0.0
    zone = at.compiled.circuit.zone_of(component)
    if zone in at.fins_absent:
        away = 0.5 * at.compiled.fins[mover]
    now = float(at.play.plant.network.mover[mover]["high"]) - away
    new = float(at.compiled.network.mover[mover]["high"])
    return Lining(component, _to(now, CALLIPER_STEP), _to(new, CALLIPER_STEP))


def _jaws(at: Moment, component: str) -> Jaws:
    compiled = at.compiled
    travel, row = at.moved(component)
    distance = float(row["high"]) - travel
    linings = int(getattr(compiled.circuit.components[component], "bladders", 1))
    fin = compiled.circuit.zone_of(component) not in at.fins_absent
    blocked = component in at.play.actors.faults.blocked
    broken = _springs_broken(at, component)
    apart = distance if fin else linings * distance
    if apart < TOUCHES:
        return Jaws(component, "closed", 0.0, linings, fin, blocked, broken)
    state: Literal["open", "between"] = "open" if travel <= RETRACTED else "between"
    return Jaws(component, state, _by_eye(apart), linings, fin, blocked, broken)


def _springs_broken(at: Moment, component: str) -> int:
    """Springs of a ski that are broken, counted in whole ones: one that is broken in part is."""
    mover = at.compiled.parts[component].mover
    share = at.play.plant.controls.overrides.springs_broken.get(mover, 0.0)
    springs = int(getattr(at.compiled.circuit.components[component], "springs", 1))
    return ceil(share * springs - 1e-9)


def _rod(at: Moment, component: str) -> Rod:
    travel, row = at.moved(component)
    if travel <= AT_END:
        return Rod(component, "in", 0.0)
    if travel >= float(row["high"]) - AT_END:
        return Rod(component, "out", _by_eye(travel))
    return Rod(component, "between", _by_eye(travel))


def _plug(at: Moment, component: str, side: str) -> Plug:
    controls = at.play.plant.controls
    coil = f"{component}.{side}"
    return Plug(coil, controls.has_voltage((component, side)), coil in controls.overridden)


def _elements(compiled: Compiled, component: str) -> tuple[int, ...]:
    """Paths of a silencer or of a filter: what dirt settles on."""
    traits = compiled.circuit.components[component].traits
    if "store" in traits or not traits & {"outside", "drainable"}:
        return ()
    return tuple(compiled.parts[component].restrictions.values())


def _element(at: Moment, component: str, paths: tuple[int, ...]) -> Element:
    table, new = at.play.plant.network.restriction, at.compiled.network.restriction
    share = min(float(table[r]["open_max"]) / float(new[r]["open_max"]) for r in paths)
    dirt = next((word for least, word in DIRT if share >= least), "clogged")
    return Element(component, dirt)  # type: ignore[arg-type]


def _by_eye(distance: float) -> float:
    """A distance [m] as an eye gives it: to the millimetre, and half of one below that."""
    return _to(distance, EYE_STEP) or 0.5 * EYE_STEP


def _to(distance: float, step: float) -> float:
    return round(round(distance / step) * step, 6)
