"""What is written beside a symbol: names of components and the values a reader looks for."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from pneumo import units
from pneumo.components.base import Component

NAME_SIZE = 11.0
VALUE_SIZE = 10.0
LINE_STEP = 12.5
APART = 8.0
"""Room beside a label."""
WRAP = 18
"""Letters after which a name is broken, at an underscore."""


def describe(component: Component, ambient: float) -> str:
    """The values of a component that a reader of the drawing looks for; "" if none."""
    return ", ".join(filter(None, _values(component, component.symbol.values, ambient)))


def _values(component: Component, fields: Sequence[str], ambient: float) -> Iterator[str]:
    found = {field: getattr(component, field, None) for field in fields}
    bore, length = found.pop("bore", None), found.pop("length", None)
    if bore is not None and length is not None:
        yield f"⌀{bore * 1e3:g} mm × {length:g} m"
    for field, value in found.items():
        if value is None:
            continue
        if field == "volume":
            yield units.VOLUME.text(value)
        elif field == "free_air_delivery":
            yield units.format_flow(value)
        elif field == "feed":
            yield f"fed by {value}"
        else:
            yield units.PRESSURE.text(value, ambient)


def wrapped(name: str) -> list[str]:
    """A name broken after underscores into lines of about WRAP letters."""
    lines = [""]
    for part in re.findall(r"[^_ ]+[_ ]*|[_ ]+", name):
        if lines[-1] and len(lines[-1]) + len(part.rstrip()) > WRAP:
            lines.append("")
        lines[-1] += part
    return [line.strip(" ") for line in lines]


def size(lines: Sequence[tuple[str, str]]) -> tuple[float, float]:
    """Width and height of label lines, each (style, words), estimated on the wide side."""
    widths = [len(words) * (5.9 if style == "value" else 6.7) for style, words in lines]
    return max(widths, default=0.0), LINE_STEP * len(lines)
