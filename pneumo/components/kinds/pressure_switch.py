"""Pressure switch."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, ClassVar, Literal

from pneumo.components.base import (
    Component,
    FaultMode,
    FaultTarget,
    Lowering,
    Port,
    Remark,
    Severity,
    Trait,
)
from pneumo.components.common_faults import burst, contact_faults, hole_conductance, leak
from pneumo.components.fields import Delay, Offset
from pneumo.components.fitting import INSTRUMENT_BORE, add_port_volumes
from pneumo.components.iso13849_2 import (
    B10_BREAKS,
    B10_LEAKS,
    B15_SHIFTED,
)
from pneumo.components.symbol import Symbol
from pneumo.units import Pressure, format_pressure

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
    traits: ClassVar[frozenset[Trait]] = frozenset({"pressure contact", "contact"})
    kind: Literal["pressure_switch"] = "pressure_switch"
    set: Pressure
    hysteresis: Offset = 4e4
    delay: Delay = 0.005

    def ports(self) -> tuple[Port, ...]:
        return (Port("1"),)

    def remarks(self, ambient: float) -> Iterator[Remark]:
        off_at = self.set - self.hysteresis
        if off_at <= ambient:
            yield Remark(
                "set",
                f"It never goes OFF: its OFF point is {format_pressure(off_at, ambient)}.",
                "Raise set, or make the hysteresis smaller.",
                is_error=True,
            )

    def remarks_under(self, most: Mapping[str, float], ambient: float) -> Iterator[Remark]:
        if "1" in most and self.set >= most["1"]:
            yield Remark(
                "set",
                f"It never comes ON: it is set to {format_pressure(self.set, ambient)}, the "
                f"pressure there is at most {format_pressure(most['1'], ambient)}.",
                "Set it below the pressure it watches.",
            )

    def lower(self, low: Lowering) -> None:
        add_port_volumes(self, low)
        low.pressure_contact(
            "contact",
            low.node("1"),
            on_at=self.set,
            off_at=self.set - self.hysteresis,
            delay=self.delay,
        )

    def fault_modes(self) -> tuple[FaultMode, ...]:
        return (
            leak("1", B10_LEAKS),
            burst("1", hole_conductance(INSTRUMENT_BORE), B10_BREAKS),
            *contact_faults(),
            FaultMode(
                "drift",
                "Switching points have drifted.",
                _drift,
                DRIFT,
                B15_SHIFTED,
                ended_by=("adjust", "replace"),
            ),
        )


def _drift(component: Any, target: FaultTarget, difference: float) -> None:
    target.shift_contact(difference)
