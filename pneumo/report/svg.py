"""The few SVG elements that a drawing is made of; one drawing unit is a pixel at natural size."""

from __future__ import annotations

from html import escape

from pneumo.report.palette import INK, PAPER, SOFT

DASHES = {"": "", "working": "", "pilot": "5 3", "link": "8 2 1.5 2"}
"""Style of a line -> its dash pattern."""

Point = tuple[float, float]


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
    weight = ' font-weight="600"' if bold else ""
    return (
        f'<text x="{number(x)}" y="{number(y)}" font-size="{number(size)}" text-anchor="{anchor}" '
        f'fill="{SOFT if soft else INK}" stroke="none"{weight}>{escape(words)}</text>'
    )


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
        f'<rect width="100%" height="100%" fill="{PAPER}"/>'
        f'<g fill="none" stroke="{INK}" stroke-width="1.3" stroke-linejoin="round">{body}</g>'
        "</svg>\n"
    )


def number(value: float) -> str:
    """A number without needless digits, so that the same drawing gives the same bytes."""
    return f"{value:.1f}".removesuffix(".0")


def line(*points: tuple[float, float], dash: str = "") -> str:
    d = "M" + " L".join(f"{number(x)} {number(y)}" for x, y in points)
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="{d}"{dashed}/>'


def path(d: str, fill: str = "none") -> str:
    return f'<path d="{d}" fill="{fill}"/>'


def rect(
    x: float,
    y: float,
    w: float,
    h: float,
    *,
    round_by: float = 0,
    fill: str = "none",
    dash: str = "",
) -> str:
    rounded = f' rx="{number(round_by)}"' if round_by else ""
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<rect x="{number(x)}" y="{number(y)}" width="{number(w)}" height="{number(h)}"'
        f'{rounded} fill="{fill}"{dashed}/>'
    )


def circle(x: float, y: float, r: float, fill: str = "none") -> str:
    return f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(r)}" fill="{fill}"/>'


def dot(x: float, y: float, r: float = 2.2) -> str:
    return circle(x, y, r, fill=INK)


def letter(x: float, y: float, text: str, size: float = 11.0) -> str:
    """A letter within a symbol, its middle at x."""
    return words(x, y, text, size, anchor="middle")


def head(x: float, y: float, dx: float, dy: float, size: float = 5.0) -> str:
    """A filled arrow head with its tip at (x, y), pointing along (dx, dy)."""
    length = (dx * dx + dy * dy) ** 0.5 or 1.0
    ux, uy = dx / length, dy / length
    bx, by = x - ux * size * 1.4, y - uy * size * 1.4
    wx, wy = -uy * size * 0.5, ux * size * 0.5
    points = ((x, y), (bx + wx, by + wy), (bx - wx, by - wy))
    return path("M" + " L".join(f"{number(a)} {number(b)}" for a, b in points) + " Z", fill=INK)


def arrow(x1: float, y1: float, x2: float, y2: float) -> str:
    return line((x1, y1), (x2, y2)) + head(x2, y2, x2 - x1, y2 - y1)


def zigzag(x1: float, y1: float, x2: float, y2: float, swing: float = 4.0, turns: int = 6) -> str:
    """A spring between two points, horizontal or vertical."""
    points = [(x1, y1)]
    along_x = abs(x2 - x1) >= abs(y2 - y1)
    for i in range(turns):
        f = (i + 0.5) / turns
        off = swing if i % 2 else -swing
        x, y = x1 + f * (x2 - x1), y1 + f * (y2 - y1)
        points.append((x, y + off) if along_x else (x + off, y))
    return line(*points, (x2, y2))
