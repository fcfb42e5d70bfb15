"""Faults that come and go so fast that a run takes long: foreseen before anything is calculated."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from pneumo.circuit.action import Clear, Inject
from pneumo.circuit.circuit import Event

MOST_CHANGES = 100.0
"""Changes of the plant within a second from which on a storm is said to come [1/s]: as many of one
part are told one by one."""

EACH_CHANGE = 4e-4
"""What a change takes to calculate [s of one processor]: measured on 2026-11-28 with a coil that
flickers every 1 to 20 ms, on a circuit of one zone and on Sand Martin: 0.15 to 0.9 ms, about this
on average."""


@dataclass(frozen=True)
class Storm:
    """The most that intermittent faults change in one second of a ride."""

    changes: float
    """[1/s]"""
    fastest: Event
    """Where the fastest of them is injected."""
    faults: int
    """How many of them stand at one time."""

    @property
    def work(self) -> float:
        """What a second of the ride takes to calculate for that alone [s of one processor]."""
        return self.changes * EACH_CHANGE


def storm(events: Iterable[Event]) -> Storm | None:
    """The storm that events bring about, in whatever order they are given; None: a fault comes and
    goes seldom enough, or none does."""
    standing: dict[tuple[str, str], tuple[float, Event]] = {}
    worst: Storm | None = None
    for event in sorted(events, key=lambda event: event.time):
        if isinstance(event.action, Clear):
            standing.pop((event.action.component, event.action.mode), None)
        if not isinstance(event.action, Inject):
            continue
        fault = event.action.fault
        standing.pop((fault.component, fault.mode), None)
        if fault.every is None:
            continue
        standing[fault.component, fault.mode] = 2.0 / fault.every, event
        changes = sum(rate for rate, _ in standing.values())
        if changes > MOST_CHANGES * (1.0 + 1e-9) and (worst is None or changes > worst.changes):
            fastest = max(standing.values(), key=lambda entry: entry[0])[1]
            worst = Storm(changes, fastest, len(standing))
    return worst
