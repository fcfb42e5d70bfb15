"""Double-acting cylinder."""

from __future__ import annotations

import math
from typing import Any, ClassVar, Literal

from pydantic import ValidationInfo, field_validator

from pneumo import air
from pneumo.components.base import (
    Chamber,
    Component,
    FaultMode,
    FaultTarget,
    Lowering,
    Port,
    PressureOpening,
    Quantity,
    Trait,
)
from pneumo.components.common_faults import (
    HOLE,
    burst,
    dragging,
    hole_conductance,
    leak,
    seized,
)
from pneumo.components.fields import (
    MovedMass,
    PartDamping,
    PartForce,
    PistonDiameter,
    PistonStroke,
    at_least_sliding,
    refused,
)
from pneumo.components.fitting import PORT_VOLUME
from pneumo.components.iso13849_2 import B9_BREAKS, B9_LEAKS
from pneumo.components.symbol import Symbol

CLEARANCE = 0.01
"""Length of a chamber, with its cushion, left when the piston is at its end [m]; estimated."""

END_STIFFNESS = 2e9
"""Stiffness of the covers per area of the bore [Pa/m]: they give 0.5 mm at 10 bar."""

MOST_PRESSURE = 2e6
"""Gauge pressure that no plant of this sort exceeds [Pa]: a load must need less."""

PORT_BORE = 0.008
"""Hole left when a fitting breaks off [m]: a G1/8 to G1/4 thread."""

SEAL_HOLE = HOLE.high
"""Hole across the piston that stands for no seal at all [m]."""

USUAL_PRESSURE = 6e5
"""Gauge pressure whose force on the piston the grades of its friction are taken from [Pa]; common
practice, no source."""


class Cylinder(Component):
    """Double-acting cylinder with one rod (ISO 5598), for station air gates.

    Ports cap (extends) and rod (retracts). Modelled as a mover at x from 0 (retracted) to
    `stroke`, with the bore's area pi/4 bore^2 on the cap side and the annulus
    pi/4 (bore^2 - rod_diameter^2) on the rod side; each chamber keeps CLEARANCE of length at its
    end, and the covers give a little (END_STIFFNESS). `load` pushes against extending at all
    times. Not to be confused with the bladder brake: it has no spring and no fin, and stays where
    it is when both sides are vented.

    Labels: mover "piston"; path "seal" (across the piston, closed while the seal is sound).
    """

    title: ClassVar[str] = "double-acting cylinder"
    symbol: ClassVar[Symbol] = Symbol("cylinder")
    traits: ClassVar[frozenset[Trait]] = frozenset({"gate", "repeatable"})
    quantities: ClassVar[tuple[Quantity, ...]] = ("travel",)
    ends: ClassVar[tuple[str, ...]] = ("retracted", "extended")
    kind: Literal["cylinder"] = "cylinder"
    bore: PistonDiameter
    rod_diameter: PistonDiameter
    stroke: PistonStroke
    moving_mass: MovedMass
    friction: PartForce = 40.0
    """Dry friction of seals and guides while it moves."""
    static_friction: PartForce | None = None
    """Dry friction up to which it holds at rest; as large as `friction` unless given."""
    load: PartForce = 0.0
    damping: PartDamping = 200.0
    starts: Literal["retracted", "extended"] = "retracted"

    @field_validator("rod_diameter")
    @classmethod
    def _fits_the_bore(cls, value: float, info: ValidationInfo) -> float:
        bore = info.data.get("bore")
        if bore is not None and value >= bore:
            raise refused(
                "The rod is as thick as the bore or thicker.",
                "Give a rod_diameter smaller than the bore.",
            )
        return value

    @field_validator("load")
    @classmethod
    def _can_be_moved(cls, value: float, info: ValidationInfo) -> float:
        bore = info.data.get("bore")
        if bore is not None and value > MOST_PRESSURE * math.pi / 4.0 * bore**2:
            raise refused(
                f"No usual pressure moves {value:g} N with a bore of {bore * 1e3:g} mm.",
                "Give a smaller load or a wider bore.",
            )
        return value

    _holds = field_validator("static_friction")(at_least_sliding)

    def ports(self) -> tuple[Port, ...]:
        return (Port("cap"), Port("rod"))

    def lower(self, low: Lowering) -> None:
        cap, rod = low.node("cap"), low.node("rod")
        bore_area = math.pi / 4.0 * self.bore**2
        annulus = bore_area - math.pi / 4.0 * self.rod_diameter**2
        low.add_volume(cap, PORT_VOLUME + bore_area * CLEARANCE)
        low.add_volume(rod, PORT_VOLUME + annulus * (CLEARANCE + self.stroke))
        low.mover(
            "piston",
            mass=self.moving_mass,
            chambers=(
                Chamber(cap, bore_area, direction=1.0),
                Chamber(rod, annulus, direction=-1.0),
            ),
            spring_force=-self.load,
            spring_rate=0.0,
            friction=self.friction,
            static_friction=self.static_friction,
            damping=self.damping,
            low=0.0,
            low_stiffness=END_STIFFNESS * bore_area,
            high=self.stroke,
            high_stiffness=END_STIFFNESS * bore_area,
            start=0.0 if self.starts == "retracted" else self.stroke,
        )
        # a sound seal: a path whose opening pressure lies far outside any plant's range
        closed = PressureOpening(hi=rod, lo=cap, threshold=1e9, band=1e5)
        low.restriction(
            "seal", cap, rod, hole_conductance(SEAL_HOLE), air.ORIFICE_CRITICAL, pressure=closed
        )

    def fault_modes(self) -> tuple[FaultMode, ...]:
        return (
            leak("cap", B9_LEAKS),
            burst("cap", hole_conductance(PORT_BORE), B9_BREAKS),
            seized("seized", "Rod jammed: it does not move."),
            dragging(
                "dragging", "Stiff: more friction.", USUAL_PRESSURE * math.pi / 4.0 * self.bore**2
            ),
            FaultMode(
                "piston-seal-leak",
                "Piston seal leaks: air passes from one side to the other.",
                _leak_across,
                HOLE,
                ended_by=("replace",),
            ),
        )


def _leak_across(component: Any, target: FaultTarget, diameter: float) -> None:
    target.hold_open("seal", (diameter / SEAL_HOLE) ** 2)
