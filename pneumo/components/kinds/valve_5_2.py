"""5/2 solenoid valve."""

from __future__ import annotations

from typing import ClassVar, Literal

from pneumo.components.base import Port
from pneumo.components.fields import ValveConductance
from pneumo.components.solenoid import Path, SolenoidValve
from pneumo.components.symbol import Symbol


class Valve52(SolenoidValve):
    """Directional control valve 5/2: charges one of two outlets and vents the other.

    Ports 1 inlet, 2 and 4 outlets, 3 and 5 exhausts (may stay open). At rest 1 to 2 and 4 to 5;
    coil 14 joins 1 to 4 and 2 to 3. Bistable: stays where the last of coils 14
    and 12 put it.

    Labels: spool "spool"; paths "1-2", "2-3", "1-4", "4-5".
    """

    title: ClassVar[str] = "5/2 solenoid valve"
    symbol: ClassVar[Symbol] = Symbol("spool", values=("feed",), order=("5", "4", "1", "2", "3"))
    kind: Literal["valve_5_2"] = "valve_5_2"
    exhaust_C: ValveConductance | None = None
    """Of the flow paths to an exhaust port. Left out: as large as C."""
    memory: Literal["monostable", "bistable"] = "monostable"
    crossover: Literal["closed", "open"] = "closed"
    """What happens while the spool passes from one position to the next. Closed: all ports are
    closed midway, so air is neither lost nor passed. Open: a flow path begins to open as soon as
    the spool moves and the other is closed only when it arrives, so midway both are half open and
    supply, outlet and exhaust are joined."""

    def exhaust(self) -> float:
        return self.C if self.exhaust_C is None else self.exhaust_C

    def bistable(self) -> bool:
        return self.memory == "bistable"

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
        return (
            Path("1", "2", closed=0.5, open=0.0),
            Path("2", "3", closed=0.5, open=1.0),
            Path("1", "4", closed=0.5, open=1.0),
            Path("4", "5", closed=0.5, open=0.0),
        )
