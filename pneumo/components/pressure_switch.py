"""Pressure switch."""

from __future__ import annotations

from typing import Any, ClassVar, Literal

from pneumo.components.base import Component, FaultMode, FaultTarget, Lowering, Port, Severity
from pneumo.components.common_faults import burst, hole_conductance, leak
from pneumo.components.fields import Delay, Offset
from pneumo.components.fitting import add_port_volumes
from pneumo.components.gauge import FITTING_BORE
from pneumo.components.iso13849_2 import (
    B10_BREAKS,
    B10_LEAKS,
    B15_SHIFTED,
    B15_WRONG,
)
from pneumo.components.symbol import Symbol
from pneumo.units import Pressure

DRIFT = Severity(unit="bar", low=-1e6, high=1e6, default=1e5, campaign=(-1e5, 1e5))
"""Shift of the switching points [Pa]; above 0: it comes ON only at a higher pressure."""


class PressureSwitch(Component):
    """Pressure switch (ISO 5598): a contact that is ON above a pressure. Port 1.

    It comes ON when the pressure rises above `set` and goes OFF when it falls `hysteresis` below,
    each after `delay`. Not to be confused with the transmitter, which gives a value.

    Labels: contact "contact".
    """

    title: ClassVar[str] = "pressure switch"
    symbol: ClassVar[Symbol] = Symbol("pressure_switch", values=("set",), name="above")
    kind: Literal["pressure_switch"] = "pressure_switch"
    set: Pressure
    hysteresis: Offset = 4e4
    delay: Delay = 0.005

    def ports(self) -> tuple[Port, ...]:
        return (Port("1"),)

    def lower(self, low: Lowering) -> None:
        add_port_volumes(self, low)
        low.pressure_contact(
            "contact",
            low.node("1"),
            makes=self.set,
            breaks=self.set - self.hysteresis,
            delay=self.delay,
        )

    def fault_modes(self) -> tuple[FaultMode, ...]:
        return (
            leak("1", B10_LEAKS),
            burst("1", hole_conductance(FITTING_BORE), B10_BREAKS),
            *contact_faults(),
            FaultMode(
                "drift",
                "Its switching points have moved.",
                _drift,
                DRIFT,
                B15_SHIFTED,
            ),
        )


def contact_faults() -> tuple[FaultMode, ...]:
    """Faults of a contact and its input: always ON, always OFF (words: IEC 61131-2)."""
    return (
        FaultMode(
            "stuck-on",
            "Its contact is welded or bridged: it always reads ON.",
            _stick_on,
            standard=B15_WRONG,
        ),
        FaultMode(
            "stuck-off",
            "Its contact does not close, or its wire is off: it always reads OFF.",
            _stick_off,
            standard=B15_WRONG,
        ),
    )


def _stick_on(component: Any, target: FaultTarget, severity: float) -> None:
    target.hold_contact(True)


def _stick_off(component: Any, target: FaultTarget, severity: float) -> None:
    target.hold_contact(False)


def _drift(component: Any, target: FaultTarget, difference: float) -> None:
    target.shift_contact(difference)
