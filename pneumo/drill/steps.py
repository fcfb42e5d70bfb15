"""Small machines made of rows: in these states, by this step, go there.

The table is ours; `transitions` refuses every other edge. It is given no model of its own, so that
nothing is added to an object at run time.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Generic, NamedTuple, TypeVar

from transitions import Machine

S = TypeVar("S", bound=str)
T = TypeVar("T", bound=str)


class Row(NamedTuple, Generic[S, T]):
    """One row of a table."""

    step: T
    sources: tuple[S, ...]
    destination: S


class _Stands(Generic[S]):
    """What the library moves."""

    def __init__(self, state: S) -> None:
        self.state = state


class Steps(Generic[S, T]):
    """Where something stands in a table of rows."""

    def __init__(self, table: Iterable[Row[S, T]], first: S) -> None:
        self._table = tuple(table)
        states = dict.fromkeys(s for row in self._table for s in (*row.sources, row.destination))
        self._machine = Machine(
            model=None,
            states=list(states),
            initial=None,
            auto_transitions=False,
            transitions=[
                {"trigger": row.step, "source": list(row.sources), "dest": row.destination}
                for row in self._table
            ],
        )
        self._at = _Stands(first)

    @property
    def state(self) -> S:
        """Where it stands."""
        return self._at.state

    def may(self, step: T) -> bool:
        """Whether a row leads on from here by this step."""
        return any(row.step == step and self.state in row.sources for row in self._table)

    def take(self, step: T) -> None:
        """Goes on by a step. Raises transitions.MachineError where no row does."""
        self._machine.events[step].trigger(self._at)
