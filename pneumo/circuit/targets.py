"""What acts at the machine are done to, as sentences name it: coils, jaws, what can be repaired."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import isfinite

from pneumo.components.base import Component, Ending

NOMINAL_VOLTAGE = 24.0
"""Of a coil whose feed the document does not name [V]; an assumption."""


def coils(components: Mapping[str, Component]) -> tuple[str, ...]:
    """Every coil "valve.14", in document order."""
    return tuple(f"{name}.{side}" for name, part in components.items() for side in part.coils())


def coil_voltage(components: Mapping[str, Component], component: str) -> float:
    """What the coils of a component are made for: the voltage of its feed [V]."""
    feed = getattr(components[component], "feed", None)
    voltage = float(getattr(components.get(str(feed)), "voltage", NOMINAL_VOLTAGE))
    return voltage if isfinite(voltage) else NOMINAL_VOLTAGE


def swappable(components: Mapping[str, Component], coil: str = "") -> tuple[str, ...]:
    """Coils whose plugs can be exchanged, with that of one or ("") of any: of one voltage."""
    voltage = {
        each: coil_voltage(components, each.rpartition(".")[0]) for each in coils(components)
    }
    if coil:
        return tuple(e for e, v in voltage.items() if e != coil and v == voltage.get(coil))
    found = list(voltage.values())
    return tuple(each for each, volts in voltage.items() if found.count(volts) > 1)


def brakes(components: Mapping[str, Component]) -> tuple[str, ...]:
    """Every brake, in document order."""
    return tuple(name for name, part in components.items() if "brake" in part.traits)


def repairable(
    components: Mapping[str, Component], by: Ending, names: Iterable[str] | None = None
) -> tuple[str, ...]:
    """Everything, or of some components, that has a fault which such a repair ends: "hose_1", or a
    coil "valve.14"."""
    return tuple(
        f"{name}.{side}" if side else name
        for name in (components if names is None else names)
        for side in components[name].repaired_at(by)
    )
