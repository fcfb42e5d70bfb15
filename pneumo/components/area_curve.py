"""Effective area of a bladder over its stroke, as makers of bladders and air springs publish it.

That the area falls as a bladder lengthens: Quaglia and Guala, "Evaluation and validation of an air
spring analytical model", International Journal of Fluid Power 4 (2003), whose model of a bellows
gives the effective area over its height (title from memory, abstract read); rescue services know
that a lifting bag bears the less the higher it has lifted, since less of it lies against the load.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from math import sqrt
from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler, TypeAdapter
from pydantic_core import core_schema

from pneumo.components.fields import (
    BLADDER_AREA,
    BLADDER_STROKE,
    BladderArea,
    BladderStroke,
    refused,
    refused_at,
)
from pneumo.quantity import QuantityError
from pneumo.units import AREA, LENGTH

EXAMPLE = {"0 mm": "262 cm2", "10 mm": "250 cm2", "25 mm": "224 cm2"}

FEWEST_POINTS, MOST_POINTS = 2, 16
"""Points of a curve; as many as a network row has room for."""

STEEPEST = 10.0
"""Loss of area per stroke, over the root of the area, beyond which a curve is a slip [-].

Computed: a flat bag whose edges bulge into half circles is pi/2 narrower for each length it fills,
which is 2.8 for a round one and 7 for one that is twenty times as long as it is wide.
"""


class AreaCurve(tuple[tuple[float, float], ...]):
    """Points (stroke [m], effective area [m2]) from stroke 0 on, with straight lines between them.

    Below stroke 0 the first line goes on: there is no kink where a bladder is pressed a little
    flatter than its shortest. Beyond the last point the area stays what it is there.
    """

    @property
    def longest(self) -> float:
        """Stroke of the last point [m]."""
        return self[-1][0]

    def area_at(self, stroke: float) -> float:
        """Effective area at a stroke [m2]."""
        if stroke >= self.longest:
            return self[-1][1]
        start, area, slope = self._line(stroke)
        return area + slope * (stroke - start)

    def slope_at(self, stroke: float) -> float:
        """Change of the area with the stroke, at a point that of the line before it [m]."""
        return 0.0 if stroke > self.longest else self._line(stroke)[2]

    def volume_to(self, stroke: float) -> float:
        """What a bladder takes in from stroke 0 to another [m3]: the integral of its area."""
        marks = sorted({0.0, stroke, *(s for s, _ in self if 0.0 < s < stroke)})
        parts = [
            0.5 * (self.area_at(a) + self.area_at(b)) * (b - a) for a, b in pairwise(marks)
        ]  # straight between the marks
        return sum(parts) if stroke >= 0.0 else -sum(parts)

    def bends(self) -> tuple[tuple[float, float], ...]:
        """(stroke [m], change of the slope there [m]) of every point behind the first."""
        slopes = [*(slope for *_, slope in self._lines()), 0.0]
        return tuple(
            (stroke, after - before)
            for (stroke, _), (before, after) in zip(self[1:], pairwise(slopes), strict=True)
        )

    def __str__(self) -> str:
        return ", ".join(f"{LENGTH.text(stroke)}: {AREA.text(area)}" for stroke, area in self)

    def _line(self, stroke: float) -> tuple[float, float, float]:
        """Start, area there and slope of the line at a stroke before the end."""
        *_, found = (
            line for i, line in enumerate(self._lines()) if i == 0 or line[0] < stroke
        )  # fmt: skip
        return found

    def _lines(self) -> Iterator[tuple[float, float, float]]:
        for (s, area), (following, then) in pairwise(self):
            yield s, area, (then - area) / (following - s)

    @classmethod
    def __get_pydantic_core_schema__(
        cls, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(_read)

    @classmethod
    def __get_pydantic_json_schema__(
        cls, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        stroke, area = (TypeAdapter(kind).json_schema() for kind in (BladderStroke, BladderArea))
        return {
            "type": "object",
            "patternProperties": {stroke["pattern"]: area},
            "additionalProperties": False,
            "minProperties": FEWEST_POINTS,
            "maxProperties": MOST_POINTS,
            "description": f"stroke: area, {FEWEST_POINTS} to {MOST_POINTS} of them, like "
            f"{_EXAMPLE}, the strokes {BLADDER_STROKE.quantity.described()}",
            "examples": [EXAMPLE],
        }


_EXAMPLE = "{" + ", ".join(f"{stroke}: {area}" for stroke, area in EXAMPLE.items()) + "}"


def _read(value: object) -> AreaCurve:
    """A mapping of texts, stroke: area; raises what pydantic takes, at the point that is wrong."""
    if isinstance(value, AreaCurve):
        return value
    if not isinstance(value, dict):
        found = "Found a list" if isinstance(value, list) else "Found a single value"
        raise refused(f"{found} where a curve belongs.", f"Write it like {_EXAMPLE}.")
    if not FEWEST_POINTS <= len(value) <= MOST_POINTS:
        raise refused(
            f"The curve has {len(value)} point{'' if len(value) == 1 else 's'}.",
            f"Give {FEWEST_POINTS} to {MOST_POINTS}, like {_EXAMPLE}.",
        )
    points: list[tuple[float, float]] = []
    for key, text in value.items():
        try:
            point = (BLADDER_STROKE.read(key), BLADDER_AREA.read(text))
            _follows(points, point)
        except QuantityError as error:
            if "" in value.values():
                error = QuantityError(
                    error.found, "Inside braces a comma ends a value: use a decimal point."
                )
            raise refused_at(key, error.found, error.wanted) from None
        points.append(point)
    return AreaCurve(points)


def _follows(points: list[tuple[float, float]], point: tuple[float, float]) -> None:
    """Raises QuantityError when a point cannot be the next one of a curve."""
    stroke, area = point
    here = LENGTH.text(stroke)
    if not points:
        if stroke > 0.0:
            raise QuantityError(
                f"The curve begins at {here}.", "Begin at 0 mm, the bladder's shortest stroke."
            )
        return
    before, larger = points[-1]
    if stroke <= before:
        raise QuantityError(
            f"{here} comes after {LENGTH.text(before)}.",
            "Write the points in order of stroke, each once.",
        )
    if area > larger:
        raise QuantityError(
            f"The area rises from {AREA.text(larger)} at {LENGTH.text(before)} to "
            f"{AREA.text(area)} at {here}.",
            "A bladder loses area as it fills: count its stroke from the shortest, 0 mm.",
        )
    most = STEEPEST * sqrt(larger)
    if larger - area > most * (stroke - before):
        raise QuantityError(
            f"The area falls from {AREA.text(larger)} at {LENGTH.text(before)} to "
            f"{AREA.text(area)} at {here}.",
            f"A bladder of that size loses at most {10.0 * most:.3g} cm2 in each mm: check units "
            "and decimal points.",
        )
