"""A brake's jaws in characters: two linings and the fin between them, to the scale of the gap."""

from __future__ import annotations

from pneumo.live.places import Jaws
from tui.judgement import TOUCHING

FIN, NO_FIN, ARM = "┃", "·", "─"


def picture(gap: float | None, full: float, cells: int, fin: bool = True) -> str:
    """Jaws with room for a gap of `full` [m] in `cells` cells on each side of the fin; 2 cells + 3
    wide: "█   ┃   █" open, "───█┃█───" closed. A lining that does not touch shows at least half a
    cell of gap. None: no linings."""
    between = FIN if fin else NO_FIN
    if gap is None:
        return between.center(2 * cells + 3)
    share = gap / full if full > 0.0 else 1.0
    halves = round(min(max(share, 0.0), 1.0) * 2 * cells)
    if gap >= TOUCHING:
        halves = max(halves, 1)
    whole, half = divmod(halves, 2)
    lining, away = ("▐▌", " " * whole) if half else ("█", " " * whole)
    return (
        f"{(lining + away).rjust(cells + 1, ARM)}{between}{(away + lining).ljust(cells + 1, ARM)}"
    )


def letter(jaws: Jaws) -> str:
    """What the switches of a brake say: c closed, o open, - neither, ! both, · no switch."""
    if jaws.closed is None and jaws.open is None:
        return "·"
    if jaws.closed and jaws.open:
        return "!"
    return "c" if jaws.closed else ("o" if jaws.open else "-")
