"""3/2 solenoid valve."""

from __future__ import annotations

from typing import ClassVar, Literal

from pneumo.components.base import Port
from pneumo.components.fields import ValveConductance
from pneumo.components.solenoid import Path, SolenoidValve


class Valve32(SolenoidValve):
    """Directional control valve 3/2: charges its outlet or vents it.

    Ports 1 inlet, 2 outlet, 3 exhaust (may stay open). Rest closed: 2 vents to 3, coil 14 joins 1
    to 2. Rest open: the other way round. Bistable: stays where the last of coils 14 and 12 put it.

    Labels: spool "spool"; paths "1-2", "2-3".
    """

    title: ClassVar[str] = "3/2 solenoid valve"
    kind: Literal["valve_3_2"] = "valve_3_2"
    exhaust_C: ValveConductance | None = None
    """Of the flow paths to an exhaust port. Left out: as large as C."""
    rest: Literal["closed", "open"] = "closed"
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
        return (Port("1", "supply"), Port("2", "outlet"), Port("3", "exhaust"))

    def paths(self) -> tuple[Path, ...]:
        actuated = 1.0 if self.rest == "closed" else 0.0
        return (
            Path("1", "2", closed=0.5, open=actuated),
            Path("2", "3", closed=0.5, open=1.0 - actuated),
        )
