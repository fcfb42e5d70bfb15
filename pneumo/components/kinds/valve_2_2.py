"""2/2 solenoid valve."""

from __future__ import annotations

from typing import ClassVar, Literal

from pneumo.components.base import Port
from pneumo.components.solenoid import Path, SolenoidValve


class Valve22(SolenoidValve):
    """Directional control valve 2/2: passes or closes.

    Ports 1 inlet, 2 outlet. Closed at rest unless `rest` is open. The opening grows evenly over
    the whole travel. Not to be confused with the 3/2 valve: nothing vents its outlet.

    Labels: spool "spool"; path "1-2".
    """

    title: ClassVar[str] = "2/2 solenoid valve"
    kind: Literal["valve_2_2"] = "valve_2_2"
    rest: Literal["closed", "open"] = "closed"
    memory: Literal["monostable", "bistable"] = "monostable"

    def bistable(self) -> bool:
        return self.memory == "bistable"

    def main_ports(self) -> tuple[Port, ...]:
        return (Port("1", "supply"), Port("2", "outlet"))

    def paths(self) -> tuple[Path, ...]:
        actuated = 1.0 if self.rest == "closed" else 0.0
        return (Path("1", "2", closed=1.0 - actuated, open=actuated),)
