"""What is written beside a symbol: names of components and the values a reader looks for."""

from __future__ import annotations

import re
from collections.abc import Sequence

from pneumo import units
from pneumo.components.base import Component, kind_of

NAME_SIZE = 11.0
VALUE_SIZE = 10.0
LINE_STEP = 12.5
WRAP = 18
"""Letters after which a name is broken, at an underscore."""


def span(names: Sequence[str]) -> str:
    """Names that differ in one number as "hose_1…8", others one after the other."""
    listed = ", ".join(names)
    parts = [re.split(r"([0-9]+)", name) for name in names]
    if len(parts) < 2 or any(len(part) != len(parts[0]) for part in parts):
        return listed
    moving = [i for i in range(len(parts[0])) if len({part[i] for part in parts}) > 1]
    # odd places are the numbers
    if len(moving) != 1 or moving[0] % 2 == 0:
        return listed
    numbers = [int(part[moving[0]]) for part in parts]
    if numbers != list(range(numbers[0], numbers[0] + len(names))):
        return listed
    at_the_end = parts[0][moving[0] + 1 :] == [""]
    return f"{names[0]}…{numbers[-1] if at_the_end else names[-1]}"


def describe(component: Component, ambient: float) -> str:
    """The one or two values of a component that a reader of the drawing looks for; "" if none."""

    def known(name: str) -> float | None:
        value = getattr(component, name, None)
        return float(value) if isinstance(value, (int, float)) else None

    what = kind_of(component)
    words: list[str] = []
    for name in {
        "ideal_supply": ("pressure",),
        "regulator": ("set_pressure",),
        "relief_valve": ("set_pressure",),
        "pressure_switch": ("set",),
    }.get(what, ()):
        value = known(name)
        if value is not None:
            words.append(units.PRESSURE.text(value, ambient))
    if what in ("receiver", "accumulator"):
        volume = known("volume")
        if volume is not None:
            words.append(units.VOLUME.text(volume))
    bore, length = known("bore"), known("length")
    if what in ("pipe", "hose", "tube") and bore is not None and length is not None:
        words.append(f"⌀{bore * 1e3:g} mm × {length:g} m")
    delivery = known("free_air_delivery")
    if delivery is not None:
        words.append(units.format_flow(delivery))
    feed = getattr(component, "feed", None)
    if feed:
        words.append(f"fed by {feed}")
    return ", ".join(words)


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
