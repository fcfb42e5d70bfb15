"""Sums over the ledgers of a state, for tests of what is kept."""

from __future__ import annotations

from pneumo.network.network import Array, Network


def ledger_total(network: Network, y: Array, place: int) -> float:
    """Sum of one place of the ledgers over all partitions, for instance the heat received."""
    return float(sum(y[first + place] for first in network.ledger[:-1]))
