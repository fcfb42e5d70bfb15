"""Watches of the zones: what low pressure is, and whether a brake clamps or is clear."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from pneumo.circuit.circuit import Zone
from pneumo.network.builder import Builder
from pneumo.network.network import ABOVE_HIGH, FORCE, OBSERVED, READING, SENSED

ENGAGED = 100.0
"""Normal force above which a brake without a required force counts as clamped [N]."""


@dataclass(frozen=True)
class BrakeWatch:
    """The watches that judge one brake on what its jaws do, not on what is sensed."""

    component: str
    mover: int
    clamped: int
    """Made while the clamping force is at least the required one."""
    engaged: int
    """Made while the lining presses on the fin at all."""
    clear: int
    """Made while the lining is at least the required clearance away from the fin."""


def add_low_pressure(zones: Mapping[str, Zone], build: Builder) -> dict[str, int]:
    """Zone whose transmitter guards it -> its watch, sensed: made while the reading is low."""
    result: dict[str, int] = {}
    for name, zone in zones.items():
        if zone.low_pressure is None:
            continue
        below = zone.low_pressure.below
        result[name] = build.add_watch(
            signal=READING,
            index=build.parts[zone.low_pressure.transmitter].lag,
            gain=-1.0,
            on_at=-below,
            off_at=-below - 0.02 * (below - build.pressure),
            role=SENSED,
        )
    return result


def add_brake_watches(
    zones: Mapping[str, Zone], build: Builder
) -> dict[str, tuple[BrakeWatch, ...]]:
    """Zone -> its brakes; those that are integrated as one and judged alike share their watches."""
    result: dict[str, tuple[BrakeWatch, ...]] = {}
    known: dict[tuple[int, float, float], BrakeWatch] = {}
    for name, zone in zones.items():
        force = max(zone.requirement.clamping_force or 0.0, ENGAGED)
        clearance = zone.requirement.clearance or 0.0
        watches = []
        for brake in zone.brakes:
            key = (build.parts[brake].mover, force, clearance)
            if key not in known:
                known[key] = _brake_watch(build, brake, *key)
            watches.append(replace(known[key], component=brake))
        result[name] = tuple(watches)
    return result


def _brake_watch(
    build: Builder, brake: str, mover: int, force: float, clearance: float
) -> BrakeWatch:
    def pressed(force: float) -> int:
        return build.add_watch(
            signal=FORCE, index=mover, on_at=force, off_at=force * (1 - 1e-6), role=OBSERVED
        )

    return BrakeWatch(
        brake,
        mover,
        clamped=pressed(force),
        engaged=pressed(ENGAGED),
        clear=build.add_watch(
            signal=ABOVE_HIGH,
            index=mover,
            gain=-1.0,
            on_at=clearance,
            off_at=clearance - 1e-6,
            role=OBSERVED,
        ),
    )
