"""Shuttle valve."""

from __future__ import annotations

from typing import ClassVar, Literal

from pneumo.components.symbol import Symbol
from pneumo.components.two_inlets import TwoInlets


class Shuttle(TwoInlets):
    """Shuttle valve (ISO 5598; the OR of two signals): the inlet with the higher pressure passes.

    Ports 1a and 1b inlets, 2 outlet. After the inlet that fed it is vented, that inlet stays the
    higher one as long as air flows back through it, so the outlet empties the way it was filled.
    See `TwoInlets` for the model, the labels and what happens at equal pressures. Not to be
    confused with the dual-pressure valve, which passes the lower.
    """

    title: ClassVar[str] = "shuttle valve"
    symbol: ClassVar[Symbol] = Symbol("or")
    kind: Literal["shuttle"] = "shuttle"

    def passes_higher(self) -> bool:
        return True
