"""The greys of the report: one hue, by one rule, told apart by their lightness alone."""

from __future__ import annotations

from colorsys import hls_to_rgb

HUE, SATURATION = 0.11, 0.09
"""A warm grey."""


def grey(lightness: float) -> str:
    """A grey as "#rrggbb"; lightness from 0 (black) to 1 (white)."""
    return "#" + "".join(f"{round(255 * part):02x}" for part in hls_to_rgb(HUE, lightness,
                                                                           SATURATION))  # fmt: skip


INK = grey(0.11)
"""Text and lines."""
SOFT = grey(0.36)
"""Text of second rank."""
EDGE = grey(0.60)
"""Frames, and curves behind others; never text."""
LINE = grey(0.82)
"""Rules of tables and charts."""
FILL = grey(0.92)
"""Solid parts of a symbol."""
PALE = grey(0.97)
"""Ground of headings and code."""
PAPER = "#ffffff"
