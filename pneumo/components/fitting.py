"""What small fittings and valves have in common: the air in their ports, and passages both ways."""

from __future__ import annotations

from pneumo.components.base import Component, Lowering

PORT_VOLUME = 5e-6
"""Air in one port of a valve or small fitting with its thread and passage [m3]: 5 mL, estimated."""

INSTRUMENT_BORE = 0.006
"""Hole left when an instrument breaks off its fitting [m]."""


def add_port_volumes(component: Component, low: Lowering) -> None:
    """Adds `PORT_VOLUME` to the node of every port; an open end ignores it."""
    for port in component.ports():
        low.add_volume(low.node(port.name), PORT_VOLUME)


def both_ways(*pairs: tuple[str, str]) -> tuple[tuple[str, str], ...]:
    """The pairs, each followed by its reverse."""
    return tuple(way for a, b in pairs for way in ((a, b), (b, a)))
