"""One component in words: what it is, what it does now, its ports, its parameters."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Any

from pneumo.circuit.circuit import PortRef
from pneumo.components.base import Component, kind_of
from pneumo.live.frame import Frame
from pneumo.live.lookup import OPEN, joints
from pneumo.live.plant import Plant
from pneumo.units import QUANTITIES, QUANTITY_MARK, format_flow
from tui import text

FREE_AIR = 1.185
"""Density of free air, ISO 8778 (20 C, 1 bar, 65 %) [kg/m3]."""

Row = tuple[str, str]
"""(what, value)"""


def heading(plant: Plant, members: tuple[str, ...]) -> str:
    """Its name and its kind in plain words."""
    component = plant.circuit.components[members[0]]
    title = component.title or kind_of(component)
    zone = plant.circuit.zone_of(members[0])
    of = f", zone {zone}" if zone else ""
    if len(members) == 1:
        return f"{members[0]} · {title}{of}"
    return f"{members[0]} … {members[-1]} · {len(members)} alike: {title}{of}"


def now(plant: Plant, frame: Frame, name: str) -> list[Row]:
    """What it shows or does at this instant."""
    return list(_now(plant, frame, name))


def ports(plant: Plant, frame: Frame, name: str) -> list[Row]:
    """Its ports: pressure, flow, and what they are joined to."""
    component = plant.circuit.components[name]
    to = joints(plant.circuit)
    place = {port: i for i, port in enumerate(plant.ports)}
    rows = []
    for port in component.ports():
        ref = PortRef(name, port.name)
        net = plant.net_of[ref]
        words = [text.pressure(frame.pressures[net])]
        flow = frame.flows[place[ref]]
        if flow is not None:
            way = "in" if flow > 0.0 else "out"
            amount = format_flow(abs(flow) / FREE_AIR)
            words.append(f"{amount} {way}" if float(amount.split()[0]) else "no flow")
        if net in frame.trapped:
            words.append("~ trapped")
        words.append(f"→ {to.get(ref, OPEN)}")
        rows.append((f"port {port.name}", "  ".join(words)))
    return rows


def parameters(plant: Plant, name: str) -> list[Row]:
    """Its parameters in the units people use."""
    component = plant.circuit.components[name]
    ambient = plant.circuit.ambient.pressure
    rows = []
    for field, quantity in _quantities(type(component)):
        value = getattr(component, field)
        if value is None:
            continue
        if quantity in QUANTITIES and isinstance(value, (int, float)):
            words = QUANTITIES[quantity].text(float(value), ambient)
        else:
            words = {True: "yes", False: "no"}.get(value, str(value))
        rows.append((field.replace("_", " "), words))
    return rows


@cache
def _quantities(kind: type[Component]) -> tuple[tuple[str, str], ...]:
    """Fields of a kind with the names of their quantities, "" for words."""
    found: dict[str, Any] = kind.model_json_schema(by_alias=False)["properties"]

    def quantity(schema: dict[str, Any]) -> str:
        inner = (schema, *schema.get("anyOf", ()), *schema.get("allOf", ()))
        return next((str(s[QUANTITY_MARK]) for s in inner if QUANTITY_MARK in s), "")

    return tuple((field, quantity(schema)) for field, schema in found.items() if field not in _TOLD)


_TOLD = ("kind", "about", "feed")
"""Fields that the heading or a row of its own tells, or that are prose."""


def _now(plant: Plant, frame: Frame, name: str) -> Iterator[Row]:
    component = plant.circuit.components[name]
    for fault in frame.faults:
        if fault.component == name and fault.present:
            yield "x fault", fault.sentence
    if name in plant.valves:
        yield "position", _position(component, frame.positions[plant.valves.index(name)])
    yield from _coils(plant, frame, name)
    if feed := getattr(component, "feed", None):
        yield "fed by", feed  # what is to be locked before its wires are touched
    for names, what, words in (
        (frame.isolated, "handle", "turned out of service"),
        (frame.drained, "drain", "open"),
        (frame.switched_off, "power", "switched off"),
        (frame.blocked, "jaws", "blocked"),
    ):
        if name in names:
            yield what, words
    yield from _measured(plant, frame, name)
    for i, contact in enumerate(plant.inputs):
        of = getattr(plant.circuit.components[contact.name], "of", "")
        if name in (contact.name, of):
            words = text.state(frame.inputs[i]) + (", F forced" if frame.forced_inputs[i] else "")
            what = "contact" if contact.name == name else f"switch {contact.name}"
            yield f"{what} ({contact.reads})", words


def _coils(plant: Plant, frame: Frame, name: str) -> Iterator[Row]:
    for i, coil in enumerate(plant.outputs):
        if coil.component == name:
            # what the controller commands: whether the coil has its current is not seen
            words = f"command {text.state(frame.outputs[i])}"
            if frame.forced_outputs[i]:
                words += ", F forced"
            words += "".join(
                f", plug of {crossed.output} on it"
                for crossed in frame.swapped
                if crossed.coil == coil.name
            )
            if coil.name in frame.overridden:
                words += ", M held by its manual override"
            yield f"coil {coil.side} ({coil.when})", words


def _measured(plant: Plant, frame: Frame, name: str) -> Iterator[Row]:
    """What can be read off it, or measured at it."""
    if name in plant.supplies:
        yield "delivers", "yes" if frame.supplying[plant.supplies.index(name)] else "no"
    if name in plant.meters:
        yield "reading", text.pressure(frame.readings[plant.meters.index(name)])
    if name in plant.brakes:
        i = plant.brakes.index(name)
        yield "gap, each lining", text.gap(frame.gaps[i])
        yield "force of one ski", text.force(frame.forces[i])
    if name in plant.cylinders:
        yield "travel", text.gap(frame.travels[plant.cylinders.index(name)])


def _position(component: Component, position: float | None) -> str:
    if position is None:
        return "not seen"
    hand = "turnable" in component.traits
    if abs(position - round(position)) > 0.02:
        return f"moving, {position:.0%} of its travel"
    if hand:
        return "in service" if position > 0.5 else "isolated"
    return {0: "at rest", 1: "actuated by coil 14", -1: "actuated by coil 12"}[round(position)]
