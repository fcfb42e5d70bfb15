"""What is unsafe about a piece of work: records, which need no run."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Exposure = Literal["air", "jaws", "wires", "live"]
"""What a piece of work opens, reaches into, touches or measures live."""

Hazard = Literal[
    "pressure", "force", "voltage", "not isolated", "not locked", "not proved", "residual",
    "no permit",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Danger:
    """Something unsafe about a piece of work."""

    hazard: Hazard
    component: str
    value: float = 0.0
    """Pressure [Pa above the surroundings], force [N] or voltage [V]."""
    names: tuple[str, ...] = ()
    """From where it comes."""

    @property
    def injures(self) -> bool:
        """Somebody would have been hurt: the drill stops."""
        return self.hazard in ("pressure", "force", "voltage")
