"""Parameter types that are stricter than their quantity: values that divide must not be zero."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator
from pydantic_core import PydanticCustomError

from pneumo.units import Duration, PressureDifference, QuantityError, as_pydantic


def refused(found: str, wanted: str) -> PydanticCustomError:
    """The error for a value that fits its unit but not the component; raise it in a validator."""
    return as_pydantic(QuantityError(found, wanted))


def _above_zero(value: float) -> float:
    if value <= 0.0:
        raise refused("It is zero.", "Give a value above zero, however small.")
    return value


Band = Annotated[PressureDifference, AfterValidator(_above_zero)]
"""Pressure difference over which something opens [Pa], above 0."""

TravelTime = Annotated[Duration, AfterValidator(_above_zero)]
"""Time of a movement or a lag [s], above 0."""
