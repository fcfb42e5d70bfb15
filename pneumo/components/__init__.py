"""Component kinds. `KINDS` is the table of them all; adding a kind is adding a file and a row."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from importlib import import_module

from pneumo.components.base import Component

_CLASSES = {
    "accumulator": "Accumulator",
    "bladder_brake": "BladderBrake",
    "check_valve": "CheckValve",
    "compressor": "Compressor",
    "cylinder": "Cylinder",
    "dual_pressure": "DualPressure",
    "electrical_feed": "ElectricalFeed",
    "filter": "Filter",
    "flow_control": "FlowControl",
    "gauge": "Gauge",
    "hose": "Hose",
    "ideal_supply": "IdealSupply",
    "jaw_switch": "JawSwitch",
    "manifold": "Manifold",
    "pipe": "Pipe",
    "pressure_switch": "PressureSwitch",
    "quick_exhaust": "QuickExhaust",
    "receiver": "Receiver",
    "regulator": "Regulator",
    "relief_valve": "ReliefValve",
    "shut_off": "ShutOff",
    "shuttle": "Shuttle",
    "silencer": "Silencer",
    "soft_start": "SoftStart",
    "transmitter": "Transmitter",
    "tube": "Tube",
    "valve_2_2": "Valve22",
    "valve_3_2": "Valve32",
    "valve_5_2": "Valve52",
    "valve_5_3": "Valve53",
}
"""Kind, as written in a document and as its file is called, to the name of its class there."""


class _Kinds(Mapping[str, type[Component]]):
    """Imports a kind when it is asked for: a document has few of them."""

    def __getitem__(self, kind: str) -> type[Component]:
        name = _CLASSES[kind]
        found: type[Component] = getattr(import_module(f"{__name__}.{kind}"), name)
        return found

    def __iter__(self) -> Iterator[str]:
        return iter(_CLASSES)

    def __len__(self) -> int:
        return len(_CLASSES)

    def __contains__(self, kind: object) -> bool:
        return kind in _CLASSES


KINDS: Mapping[str, type[Component]] = _Kinds()
"""Kind, as written in a document, to its class; alphabetical."""

__all__ = ["KINDS", "Component"]
