"""Parameter types that are stricter than their quantity: values that divide must not be zero."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, ValidationInfo
from pydantic_core import PydanticCustomError

from pneumo.units import Duration, PressureDifference, QuantityError, as_pydantic


def refused(found: str, wanted: str) -> PydanticCustomError:
    """The error for a value that fits its unit but not the component; raise it in a validator."""
    return as_pydantic(QuantityError(found, wanted))


def _above_zero(value: float) -> float:
    if value <= 0.0:
        raise refused("It is zero.", "Give a value above zero, however small.")
    return value


def at_least_sliding(value: float | None, info: ValidationInfo) -> float | None:
    """Validator of `static_friction`: at rest friction holds no less than it brakes in motion."""
    sliding = info.data.get("friction")
    if value is not None and sliding is not None and value < sliding:
        raise refused(
            f"At rest it holds {value:g} N, less than the friction of {sliding:g} N in motion.",
            f"Give {sliding:g} N or more, or leave it out.",
        )
    return value


Band = Annotated[PressureDifference, AfterValidator(_above_zero)]
"""Pressure difference over which something opens [Pa], above 0."""

TravelTime = Annotated[Duration, AfterValidator(_above_zero)]
"""Time of a movement or a lag [s], above 0."""
