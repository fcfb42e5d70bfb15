"""How drawings show a kind: the trait that every pen reads, so that none lists kinds by name."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Symbol:
    """What is drawn for a component, by ISO 1219-1 where that has a picture."""

    picture: str
    """Which picture: each pen has one for every name in use, and a plain box for another."""

    values: tuple[str, ...] = ()
    """Parameters whose values are written beside it."""

    order: tuple[str, ...] = ()
    """Its ports from one side to the other, where `ports()` has another order."""

    high: tuple[str, ...] = ()
    """Ports on the side of its outlets whose role does not tell."""

    name: Literal["beside", "above", "below"] = "beside"
    """Where its name is written when there is room around the picture."""
