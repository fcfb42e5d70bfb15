"""The picture of one component, and the grid on which its ports lie."""

from __future__ import annotations

from dataclasses import dataclass

GRID = 10.0
"""Drawing units of a cell of the schematic."""


@dataclass(frozen=True)
class Picture:
    """A picture from its upper left corner, air entering at its lower edge and leaving at the
    upper one."""

    width: float
    height: float
    low: dict[str, float]
    """Port on the lower edge -> its x; "" of a vessel."""
    high: dict[str, float]
    body: str
    """SVG fragment; stroke and line width come from the group it is put into."""
    sense: float | None = None
    """x on the upper edge from where a position switch sees it."""

    def upside_down(self) -> Picture:
        """The picture turned by 180 degrees."""
        w, h = self.width, self.height
        low = {port: w - x for port, x in self.high.items()}
        high = {port: w - x for port, x in self.low.items()}
        turn = f'<g transform="rotate(180 {w / 2:g} {h / 2:g})">{self.body}</g>'
        return Picture(w, h, low, high, turn)
