"""Hand-made components, circuits and verification records for the tests of pneumo/report."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, NamedTuple

from pydantic import ConfigDict

from pneumo.components.base import Component, Port


class Piece(Component):
    """A component of any kind: ports are given, other parameters are free."""

    model_config = ConfigDict(frozen=True, extra="allow")
    kind: str
    port_names: tuple[str, ...] = ()
    coil_names: tuple[str, ...] = ()

    def ports(self) -> tuple[Port, ...]:
        roles = {"1": "supply", "2": "outlet", "4": "outlet", "3": "exhaust", "5": "exhaust",
                 "14": "pilot", "12": "pilot"}
        single = self.kind in {"manifold", "receiver", "accumulator", "silencer", "pressure_switch",
                               "transmitter", "gauge", "bladder_brake", "pipe", "hose", "tube"}
        return tuple(
            Port(n, "both" if single else roles.get(n, "both"))  # type: ignore[arg-type]
            for n in self.port_names
        )

    def coils(self) -> tuple[str, ...]:
        return self.coil_names

    def passages(self) -> tuple[tuple[str, str], ...]:
        return ()


PORTS = {
    "ideal_supply": "2", "compressor": "2", "receiver": "1 2", "accumulator": "1",
    "manifold": "1 2 3", "pipe": "1 2", "hose": "1 2", "tube": "1 2", "filter": "1 2",
    "regulator": "1 2 3", "relief_valve": "1 3", "shut_off": "1 2 3", "soft_start": "1 2 3",
    "check_valve": "1 2", "valve_2_2": "1 2", "valve_3_2": "1 2 3", "valve_5_2": "1 2 4 3 5",
    "valve_5_3": "1 2 4 3 5", "quick_exhaust": "1 2 3", "shuttle": "1a 1b 2",
    "dual_pressure": "1a 1b 2", "flow_control": "1 2", "silencer": "1", "bladder_brake": "1",
    "cylinder": "cap rod", "pressure_switch": "1", "transmitter": "1", "gauge": "1",
    "jaw_switch": "", "electrical_feed": "",
}
"""Every kind with its ports."""

COILS = {"soft_start": ("14",), "valve_2_2": ("14",), "valve_3_2": ("14",), "valve_5_2": ("14",),
         "valve_5_3": ("14", "12")}


def piece(kind: str, ports: int = 0, **parameters: Any) -> Piece:
    """A component of a kind; `ports` sets the number of a manifold's or receiver's ports."""
    names = tuple(str(i + 1) for i in range(ports)) if ports else tuple(PORTS[kind].split())
    if parameters.get("pilot_supply") == "external":
        names += ("14",)
    coils = ("14", "12") if parameters.get("memory") == "bistable" else COILS.get(kind, ())
    return Piece(kind=kind, port_names=names, coil_names=coils, **parameters)
