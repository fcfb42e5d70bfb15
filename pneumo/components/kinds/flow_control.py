"""Flow control valve."""

from __future__ import annotations

from typing import Any, ClassVar, Literal

from pneumo.components.base import (
    Component,
    FaultMode,
    FaultTarget,
    Lowering,
    Port,
    PressureOpening,
    Severity,
    Trait,
)
from pneumo.components.common_faults import blocked, burst, leak
from pneumo.components.fields import ValveConductance
from pneumo.components.fitting import add_port_volumes, both_ways
from pneumo.components.iso13849_2 import B5_BREAKS, B5_FLOW, B5_SETTING, B9_LEAKS
from pneumo.components.symbol import Symbol
from pneumo.units import CriticalRatio

BYPASS_BAND = 1e4
"""Pressure over which the check valve of the bypass opens fully [Pa]; estimated."""

SETTING = Severity(unit="x", low=0.0, high=20.0, default=0.5, campaign=(0.3, 3.0), none=1.0)
"""Factor on the set conductance: below 1 screwed in, above 1 screwed out."""


class FlowControl(Component):
    """Throttle, with a check valve around it if `bypass_C` is given (ISO 5598 flow control valve).

    Ports 1 inlet, 2 outlet. C is the throttle as set, which passes both ways. The bypass passes
    freely from 2 to 1 only, in parallel with the throttle. Mind its direction: turned round, it
    throttles the other stroke.

    Labels: paths "1-2" and, with a bypass, "2-1".
    """

    title: ClassVar[str] = "flow control valve"
    symbol: ClassVar[Symbol] = Symbol("throttle")
    traits: ClassVar[frozenset[Trait]] = frozenset({"repeatable"})
    kind: Literal["flow_control"] = "flow_control"
    C: ValveConductance
    """The throttle as set, both ways."""
    b: CriticalRatio
    bypass_C: ValveConductance | None = None
    """Of the check valve beside the throttle, which passes from 2 to 1 only, so that air from 1 to
    2 is throttled. Left out: no bypass, throttled both ways."""

    def ports(self) -> tuple[Port, ...]:
        return (Port("1"), Port("2"))

    def passages(self) -> tuple[tuple[str, str], ...]:
        return both_ways(("1", "2"))

    def lower(self, low: Lowering) -> None:
        add_port_volumes(self, low)
        inlet, outlet = low.node("1"), low.node("2")
        low.restriction("1-2", inlet, outlet, self.C, self.b)
        if self.bypass_C is not None:
            opening = PressureOpening(hi=outlet, lo=inlet, threshold=0.0, band=BYPASS_BAND)
            low.restriction("2-1", outlet, inlet, self.bypass_C, self.b, pressure=opening)

    def fault_modes(self) -> tuple[FaultMode, ...]:
        paths = ("1-2",) if self.bypass_C is None else ("1-2", "2-1")
        return (
            leak("2", B9_LEAKS),
            burst("2", 2.0 * max(self.C, self.bypass_C or 0.0), B5_BREAKS),
            blocked(paths, B5_FLOW),
            FaultMode(
                "setting-changed",
                "Setting screw has turned: it passes more or less than it was set to.",
                _turn,
                SETTING,
                B5_SETTING,
                ended_by=("adjust", "replace"),
            ),
        )


def _turn(component: Any, target: FaultTarget, factor: float) -> None:
    target.throttle("1-2", 1.0 - factor)
