"""Compressor with load and unload control."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, ClassVar, Literal

from pydantic import ValidationInfo, field_validator

from pneumo.components.base import (
    Component,
    FaultMode,
    FaultTarget,
    Lowering,
    Port,
    Remark,
    Severity,
    Trait,
)
from pneumo.components.common_faults import burst, hole_conductance, leak
from pneumo.components.fields import Delivery, refused
from pneumo.components.iso13849_2 import B7_JOINT, B7_LEAKS
from pneumo.components.symbol import Symbol
from pneumo.units import PerPressure, Pressure, Temperature

DISCHARGE_VOLUME = 1e-3
"""Air in the discharge pipe and after-cooler [m3]: 1 L, estimated."""

DISCHARGE_BORE = 0.025
"""Bore of the discharge pipe [m], for the fault that tears it off."""

NARROW_BAND = 0.1e5
"""Between loading and unloading [Pa]: about what a check valve takes to open and to pass its flow;
estimated."""


class Compressor(Component):
    """A compressor that loads below one pressure and unloads (idles) above another.

    Port 2 outlet. Modelled as a source of air at `delivery_temperature`, with a free-air
    delivery (air as taken in from the surroundings) that may fall with the outlet pressure:
    delivery (1 - delivery_fall (p - rated_at)). It reads its own outlet for loading, so a check
    valve and a receiver belong behind it. Not to be confused with the ideal supply, which is
    never exhausted.

    Labels: source "air end".
    """

    title: ClassVar[str] = "compressor"
    symbol: ClassVar[Symbol] = Symbol("compressor", values=("free_air_delivery", "feed"))
    traits: ClassVar[frozenset[Trait]] = frozenset({"supply", "shared", "switchable", "pumping"})
    kind: Literal["compressor"] = "compressor"
    free_air_delivery: Delivery
    load_at: Pressure
    unload_at: Pressure
    delivery_temperature: Temperature = 323.15
    delivery_fall: PerPressure = 0.0
    rated_at: Pressure | None = None
    """None: the pressure at which it loads."""
    feed: str | None = None
    """Electrical feed it stops without; None: never without power."""

    @field_validator("unload_at")
    @classmethod
    def _unloads_above_load(cls, value: float, info: ValidationInfo) -> float:
        load_at = info.data.get("load_at")
        if load_at is not None and value <= load_at:
            raise refused(
                "It unloads at or below the pressure at which it loads.",
                "Give unload_at a higher pressure than load_at, usually 1 bar or more above.",
            )
        return value

    def remarks(self, ambient: float) -> Iterator[Remark]:
        band = self.unload_at - self.load_at
        if band < NARROW_BAND:
            yield Remark(
                "unload_at",
                f"It unloads {band / 1e5:.3g} bar above the pressure at which it loads: the flow "
                "through its check valve alone makes it load and unload many times a second.",
                "Give unload_at a pressure 0.2 bar or more above load_at, usually 1 bar.",
            )

    def ports(self) -> tuple[Port, ...]:
        return (Port("2", "outlet"),)

    def supplied(self) -> tuple[float, float]:
        return self.load_at, self.unload_at

    def lower(self, low: Lowering) -> None:
        outlet = low.node("2")
        low.add_volume(outlet, DISCHARGE_VOLUME)
        low.source(
            "air end",
            outlet,
            delivery=self.free_air_delivery,
            rated_at=self.load_at if self.rated_at is None else self.rated_at,
            fall=self.delivery_fall,
            temperature=self.delivery_temperature,
            load_at=self.load_at,
            unload_at=self.unload_at,
            feed=self.feed,
        )

    def fault_modes(self) -> tuple[FaultMode, ...]:
        return (
            leak("2", B7_LEAKS),
            burst("2", hole_conductance(DISCHARGE_BORE), B7_JOINT),
            FaultMode("stopped", "Stopped: it delivers no air.", _stop, ended_by=("replace",)),
            FaultMode(
                "weak",
                "Worn valves or blocked intake: it delivers less air than rated.",
                _weaken,
                Severity(unit="", low=0.0, high=1.0, default=0.5, campaign=(0.5,)),
                ended_by=("clean", "replace"),
            ),
            FaultMode(
                "never-unloads",
                "Does not unload: the pressure rises until the relief valve opens.",
                _never_unload,
                ended_by=("replace",),
            ),
        )


def _stop(component: Any, target: FaultTarget, severity: float) -> None:
    target.switch_off()


def _weaken(component: Any, target: FaultTarget, fraction: float) -> None:
    target.scale_delivery(1.0 - fraction)


def _never_unload(component: Any, target: FaultTarget, severity: float) -> None:
    target.never_unload()
