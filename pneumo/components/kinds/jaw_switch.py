"""Jaw position switch."""

from __future__ import annotations

from typing import ClassVar, Literal

from pneumo.components.base import Component, FaultMode, Lowering, Trait
from pneumo.components.common_faults import contact_faults
from pneumo.components.fields import Delay, SwitchReach
from pneumo.components.symbol import Symbol

END: dict[str, Literal["low", "high"]] = {
    "open": "low",
    "retracted": "low",
    "closed": "high",
    "extended": "high",
}


class JawSwitch(Component):
    """Position switch on a brake's jaw or on a cylinder. No air ports.

    ON while the mover of the component named by `of` is within a distance of one end: a ski of
    its stop (open) or of the fin (closed), a piston of its covers (retracted, extended). It reads
    the position, not the pressure and not the force.

    Labels: contact "contact".
    """

    title: ClassVar[str] = "jaw position switch"
    symbol: ClassVar[Symbol] = Symbol("position_switch", name="above")
    traits: ClassVar[frozenset[Trait]] = frozenset({"watcher", "contact"})
    kind: Literal["jaw_switch"] = "jaw_switch"
    of: str
    """Name of the bladder brake or cylinder."""
    reads: Literal["open", "closed", "retracted", "extended"]
    within: SwitchReach = 1e-3
    delay: Delay = 0.005

    def lower(self, low: Lowering) -> None:
        low.position_contact(
            "contact", self.of, end=END[self.reads], within=self.within, delay=self.delay
        )

    def fault_modes(self) -> tuple[FaultMode, ...]:
        return contact_faults()
