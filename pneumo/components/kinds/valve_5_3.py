"""5/3 solenoid valve."""

from __future__ import annotations

from typing import ClassVar, Literal

from pneumo.components.base import Port
from pneumo.components.fields import ValveConductance
from pneumo.components.solenoid import Path, SolenoidValve
from pneumo.components.symbol import Symbol

CENTRES = {
    "closed": (
        Path("1", "2", closed=0.0, open=-1.0),
        Path("2", "3", closed=0.0, open=1.0),
        Path("1", "4", closed=0.0, open=1.0),
        Path("4", "5", closed=0.0, open=-1.0),
    ),
    "exhausted": (
        Path("1", "2", closed=-0.5, open=-1.0),
        Path("2", "3", closed=-0.5, open=0.0),
        Path("1", "4", closed=0.5, open=1.0),
        Path("4", "5", closed=0.5, open=0.0),
    ),
    "pressurised": (
        Path("1", "2", closed=0.5, open=0.0),
        Path("2", "3", closed=0.5, open=1.0),
        Path("1", "4", closed=-0.5, open=0.0),
        Path("4", "5", closed=-0.5, open=-1.0),
    ),
}
"""Paths by what the centre does; -1 is the side of coil 12, 0 the centre, 1 the side of coil 14."""


class Valve53(SolenoidValve):
    """Directional control valve 5/3: as the 5/2, with a spring-centred third position.

    Ports 1 inlet, 2 and 4 outlets, 3 and 5 exhausts (may stay open). Coil 14 joins 1 to 4 and 2
    to 3; coil 12 joins 1 to 2 and 4 to 5. With neither, by `centre`: closed (all closed), exhausted
    (2 to 3 and 4 to 5) or pressurised (1 to 2 and 1 to 4). It rests in the centre and remembers
    nothing.

    Labels: spool "spool"; paths "1-2", "2-3", "1-4", "4-5".
    """

    title: ClassVar[str] = "5/3 solenoid valve"
    symbol: ClassVar[Symbol] = Symbol("spool", values=("feed",), order=("5", "4", "1", "2", "3"))
    kind: Literal["valve_5_3"] = "valve_5_3"
    exhaust_C: ValveConductance | None = None
    """Of the flow paths to an exhaust port. Left out: as large as C."""
    centre: Literal["closed", "exhausted", "pressurised"] = "closed"
    crossover: Literal["closed", "open"] = "closed"
    """What happens while the spool passes from one position to the next. Closed: all ports are
    closed midway, so air is neither lost nor passed. Open: a flow path begins to open as soon as
    the spool moves and the other is closed only when it arrives, so midway both are half open and
    supply, outlet and exhaust are joined. With a closed centre it changes nothing: there no two
    flow paths meet."""

    def exhaust(self) -> float:
        return self.C if self.exhaust_C is None else self.exhaust_C

    def three_positions(self) -> bool:
        return True

    def opens_across(self) -> bool:
        return self.crossover == "open"

    def main_ports(self) -> tuple[Port, ...]:
        return (
            Port("1", "supply"),
            Port("2", "outlet"),
            Port("4", "outlet"),
            Port("3", "exhaust"),
            Port("5", "exhaust"),
        )

    def paths(self) -> tuple[Path, ...]:
        return CENTRES[self.centre]
