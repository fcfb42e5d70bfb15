"""What is unsafe about a piece of work: records, which need no run."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Exposure = Literal["air", "fitting", "tee", "jaws", "wires", "plug", "live"]
"""What a piece of work opens, loosens slowly, puts a tee in, reaches into, touches, unplugs or
measures live."""

Hazard = Literal[
    "pressure", "held back", "force", "moves", "voltage", "not isolated", "not locked",
    "not proved", "residual", "live wires", "no permit",
]  # fmt: skip
"""`held back`: pressure though a gauge had shown none; `force`: of jaws; `moves`: a cylinder."""


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
        return self.hazard in ("pressure", "held back", "force", "moves", "voltage")
