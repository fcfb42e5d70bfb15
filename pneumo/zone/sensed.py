"""What a zone's logic may know: its settings, what it senses at a scan, and its timers.

Nothing here, and nothing that is decided from it, looks at the true state of the air or the jaws.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

Spring = Literal["open", "close"]
Side = Literal["open", "closed"]

SLACK = 1e-9
"""[s] A tick written as a binary fraction may fall this much short of the instant it stands for."""


def due(since: float, limit: float) -> float:
    """Instant [s] from which a timer started at `since` with `limit` counts as over."""
    return since + limit - SLACK


@dataclass(frozen=True)
class ZoneSettings:
    """What is fixed about one zone. Raises ValueError for settings no zone can have."""

    name: str
    spring: Spring
    """What the springs do: "open" (air closes the jaws) or "close" (air opens them)."""
    safe_state: Side
    brakes: tuple[str, ...]
    """Names, in document order; at least one."""
    pressure_switches: tuple[str, ...] = ()
    """Names; ON = zone charged. Empty: no such switch, the zone goes by jaws and timers."""
    supply_switches: tuple[str, ...] = ()
    """Names; OFF = low supply. Empty: low supply is never seen at this zone."""
    close: float = 3.0
    """Longest closing [s]; of a spring-close zone counted from the end of venting."""
    open: float = 3.0
    """Longest opening [s]; of a spring-open zone counted from the start of venting."""
    vent: float = 3.0
    """Longest time from the start of venting until no pressure is sensed [s]."""
    discrepancy: float = 0.5
    """Longest time that both jaw switches of one brake may be ON together [s]."""
    starts: Side | None = None
    """State at time zero, which the caller has brought about; None: the safe state."""

    def __post_init__(self) -> None:
        if self.spring not in ("open", "close"):
            raise ValueError(f"zone {self.name}: spring is {self.spring!r}, not open or close")
        if self.safe_state not in ("open", "closed"):
            raise ValueError(
                f"zone {self.name}: safe state {self.safe_state!r}, not open or closed"
            )
        if self.starts not in ("open", "closed", None):
            raise ValueError(f"zone {self.name}: starts {self.starts!r}, not open or closed")
        if not self.brakes:
            raise ValueError(f"zone {self.name} has no brakes; list at least one")
        for field in ("close", "open", "vent", "discrepancy"):
            if not 0.0 < getattr(self, field) < float("inf"):
                raise ValueError(
                    f"zone {self.name}: limit {field} is {getattr(self, field)} s; "
                    "it must be longer than 0 s and finite"
                )

    @property
    def safe_charged(self) -> bool:
        """True when the safe state is held by air and not by the springs."""
        return (self.spring == "open") == (self.safe_state == "closed")

    @property
    def safe_limit(self) -> float:
        """Longest way to the safe state from wherever the zone is [s]."""
        if self.safe_state == "open":
            return self.open
        return self.close if self.spring == "open" else self.vent + self.close


class Sensed(NamedTuple):
    """What the controller reads about one zone at one scan."""

    pressure_on: tuple[bool, ...]
    """As ZoneSettings.pressure_switches; True = ON."""
    supply_ok: tuple[bool, ...]
    """As ZoneSettings.supply_switches; False = OFF, low supply."""
    low_pressure: bool | None
    """Low contact of the zone's transmitter; None = the zone has none."""
    closed: tuple[bool | None, ...]
    """Closed switch of each brake, True = ON; None = that brake has none."""
    open: tuple[bool | None, ...]
    """Open switch of each brake, True = ON; None = that brake has none."""


class Timers(NamedTuple):
    """Instants in simulated time [s] that a guard may compare."""

    time: float
    """This scan."""
    entered: float
    """When the present state was entered."""
    discrepancy_since: float
    """When the longest standing switch disagreement began; infinity = none stands."""
