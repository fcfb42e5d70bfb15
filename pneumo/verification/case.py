"""What is tried on a ride, as records; their words are made in `wording`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from pneumo.circuit.action import FaultSpec

Condition = Literal["open", "to closed", "closed", "to open"]
"""What was asked of the zones when something is injected: to be there, or on the way."""

CONDITIONS: tuple[Condition, ...] = get_args(Condition)

LossOf = Literal["supply stopped", "header vented", "feed cut", "power", "air and power"]
LOSSES: tuple[LossOf, ...] = get_args(LossOf)

Kind = Literal["none", "loss", "fault"]


@dataclass(frozen=True)
class Loss:
    """A loss of air or power."""

    what: LossOf
    zone: str = ""
    """The zone whose feed is cut; "" where the whole ride is concerned."""


@dataclass(frozen=True)
class Injection:
    """What befalls a ride at one instant: a loss, or faults in this order; neither: nothing does,
    and the ride stop that follows is all."""

    loss: Loss | None = None
    faults: tuple[FaultSpec, ...] = ()

    @property
    def kind(self) -> Kind:
        """Which of them."""
        if self.loss is not None:
            return "loss"
        return "fault" if self.faults else "none"
