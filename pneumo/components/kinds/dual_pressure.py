"""Dual-pressure valve."""

from __future__ import annotations

from typing import ClassVar, Literal

from pneumo.components.symbol import Symbol
from pneumo.components.two_inlets import TwoInlets


class DualPressure(TwoInlets):
    """Dual-pressure valve (ISO 5598; the AND of two signals): the lower inlet passes.

    Ports 1a and 1b inlets, 2 outlet. The higher inlet holds itself closed, so the outlet is charged
    only when both are, and empties when either is vented. See `TwoInlets` for the model, the
    labels and what happens at equal pressures. Not to be confused with the shuttle valve, which
    passes the higher.
    """

    title: ClassVar[str] = "dual-pressure valve"
    symbol: ClassVar[Symbol] = Symbol("and")
    kind: Literal["dual_pressure"] = "dual_pressure"

    def passes_higher(self) -> bool:
        return False
