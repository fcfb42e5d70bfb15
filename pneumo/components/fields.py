"""Types of parameters with the limits of their kind of part.

The limits are wide: common practice, no source. They keep out slips of a unit or of a zero, and
what no brake circuit has and this model says nothing about. A value that divides is never zero.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import ValidationError, ValidationInfo
from pydantic_core import InitErrorDetails, PydanticCustomError

from pneumo.quantity import QuantityError
from pneumo.units import (
    Area,
    Conductance,
    Damping,
    Distance,
    Duration,
    FlowRate,
    Force,
    HeatConductance,
    Length,
    Mass,
    PressureDifference,
    SpringRate,
    Stiffness,
    Volume,
    Within,
    as_pydantic,
)


def refused(found: str, wanted: str) -> PydanticCustomError:
    """The error for a value that fits its unit but not the component; raise it in a validator."""
    return as_pydantic(QuantityError(found, wanted))


def refused_at(place: str, found: str, wanted: str) -> ValidationError:
    """The same for one field, raised in a validator of the whole, or for one entry of a field."""
    error = InitErrorDetails(type=refused(found, wanted), loc=(place,), input=None)
    return ValidationError.from_exception_data("component", [error])


def at_least_sliding(value: float | None, info: ValidationInfo) -> float | None:
    """Validator of `static_friction`: at rest friction holds no less than it brakes in motion."""
    sliding = info.data.get("friction")
    if value is not None and sliding is not None and value < sliding:
        raise refused(
            f"At rest it holds {value:g} N, less than the friction of {sliding:g} N in motion.",
            f"Give {sliding:g} N or more, or leave it out.",
        )
    return value


Band = Annotated[PressureDifference, Within("pressure_difference", "0.001 bar", "10 bar")]
"""Pressure difference over which something opens [Pa], above 0."""

Offset = Annotated[PressureDifference, Within("pressure_difference", "0 bar", "10 bar")]
"""Pressure difference at which something begins, or by which it returns [Pa]."""

TravelTime = Annotated[Duration, Within("duration", "0.1 ms", "60 s")]
"""Time of a movement or a lag [s], above 0."""

Delay = Annotated[Duration, Within("duration", "0 s", "60 s")]
"""Time before something acts [s]."""

LineLength = Annotated[Length, Within("length", "10 mm", "2000 m", "5 m")]
"""Length of a pipe, hose or tube [m]."""

LineBore = Annotated[Length, Within("length", "0.5 mm", "500 mm")]
"""Inner diameter of a pipe, hose or tube [m]."""

Roughness = Annotated[Distance, Within("distance", "0 mm", "5 mm", "0.05 mm")]
"""Height of the roughness of a line's wall [m]."""

VesselVolume = Annotated[Volume, Within("volume", "0.001 L", "50000 L")]
"""Volume of a receiver or accumulator [m3]."""

SmallVolume = Annotated[Volume, Within("volume", "0.001 L", "500 L", "0.2 L")]
"""Volume inside a fitting, a filter or a bladder [m3]."""

WallHeat = Annotated[HeatConductance, Within("heat_conductance", "0 W/K", "20000 W/K")]
"""Heat conductance of a vessel's wall [W/K]."""

ValveConductance = Annotated[
    Conductance, Within("conductance", "0.0001 L/(s·bar)", "1000 L/(s·bar)")
]
"""Sonic conductance C of one path [m3/(s Pa)]."""

Delivery = Annotated[FlowRate, Within("flow_rate", "0.1 L/min", "200000 L/min")]
"""Free air delivered by a compressor [m3/s]."""

BLADDER_AREA = Within("area", "0.5 cm2", "5000 cm2")
BladderArea = Annotated[Area, BLADDER_AREA]
"""Area on which a bladder pushes [m2]."""

BLADDER_STROKE = Within("distance", "0 mm", "500 mm", "10 mm")
BladderStroke = Annotated[Distance, BLADDER_STROKE]
"""Way of a ski that has been pushed by its bladder [m], from the bladder's shortest."""

JawTravel = Annotated[Length, Within("length", "0.1 mm", "500 mm")]
"""A way, a gap or a thickness at the jaws [m]."""

PistonDiameter = Annotated[Length, Within("length", "1 mm", "1000 mm", "50 mm")]
"""Diameter of a piston or its rod [m]."""

PistonStroke = Annotated[Length, Within("length", "1 mm", "10 m", "200 mm")]
"""Stroke of a cylinder [m]."""

SwitchReach = Annotated[Length, Within("length", "0.01 mm", "500 mm")]
"""Distance from its end at which a switch reads [m]."""

MovedMass = Annotated[Mass, Within("mass", "0.01 kg", "20000 kg")]
"""Mass of a ski or of what a piston moves [kg]."""

PartForce = Annotated[Force, Within("force", "0 N", "500 kN")]
"""A spring's or a load's force, or friction, at one part [N]."""

PartSpringRate = Annotated[SpringRate, Within("spring_rate", "0 N/mm", "20 kN/mm")]
"""Rate of a spring [N/m]."""

ContactStiffness = Annotated[Stiffness, Within("stiffness", "0.02 kN/mm", "500 kN/mm")]
"""Stiffness of a lining on the fin [N/m]."""

PartDamping = Annotated[Damping, Within("damping", "0 N·s/m", "1000 kN·s/m")]
"""Force per speed [N s/m]."""
