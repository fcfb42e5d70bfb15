"""The few SVG elements that a drawing is made of."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from pneumo.report.symbols import INK

DASHES = {"": "", "pilot": "5 3", "link": "8 2 1.5 2", "working": ""}
"""Style of a line -> its dash pattern."""


def words(
    x: float,
    y: float,
    words: str,
    size: float,
    *,
    bold: bool = False,
    soft: bool = False,
    anchor: str = "start",
) -> str:
    """Escaped text with its base line at y; `anchor` as in SVG."""
    colour = "#57606a" if soft else INK
    weight = ' font-weight="600"' if bold else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" text-anchor="{anchor}" '
        f'fill="{colour}" stroke="none"{weight}>{escape(words)}</text>'
    )


def stroke(points: Sequence[tuple[float, float]], style: str = "") -> str:
    """A line through points, in one of the styles of DASHES."""
    d = "M" + " L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    dash = f' stroke-dasharray="{DASHES[style]}"' if DASHES[style] else ""
    return f'<path d="{d}"{dash}/>'


def moved(body: str, x: float, y: float) -> str:
    """A fragment at another place; nothing stays nothing."""
    return f'<g transform="translate({x:.1f} {y:.1f})">{body}</g>' if body else ""


def document(width: float, height: float, body: str, title: str) -> str:
    """A whole SVG document around a fragment."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.0f}" height="{height:.0f}" '
        f'viewBox="0 0 {width:.0f} {height:.0f}" role="img" '
        'font-family="DejaVu Sans, Verdana, Helvetica, Arial, sans-serif">'
        f"<title>{escape(title)}</title>"
        f'<rect width="100%" height="100%" fill="#fff"/>'
        f'<g fill="none" stroke="{INK}" stroke-width="1.3" stroke-linejoin="round">{body}</g>'
        "</svg>\n"
    )
