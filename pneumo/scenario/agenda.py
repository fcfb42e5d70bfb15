"""What is to be done at a time: actions of a scenario, of people, and of faults that change."""

from __future__ import annotations

from bisect import insort
from collections.abc import Callable
from dataclasses import dataclass, field
from math import inf
from typing import Any

from pneumo.scenario.plant import Plant


@dataclass(order=True)
class _Due:
    time: float
    number: int
    what: Any = field(compare=False)


@dataclass
class Agenda:
    """Entries in order of time; those of one instant keep the order in which they were put."""

    _due: list[_Due] = field(default_factory=list)
    _number: int = 0

    def copy(self) -> Agenda:
        """An independent agenda with the same entries."""
        return Agenda(list(self._due), self._number)

    def next_time(self) -> float:
        """When the first entry is due [s]; infinity: there is none."""
        return self._due[0].time if self._due else inf

    def put(self, time: float, what: Any) -> None:
        """Adds an entry [s]."""
        self._number += 1
        insort(self._due, _Due(time, self._number, what))

    def take(self) -> Any:
        """The first entry, which is then no longer there."""
        return self._due.pop(0).what

    def act(self, plant: Plant) -> tuple[Any, ...]:
        """The first entry, which is due: to be done now."""
        return (self.take(),)

    def drop(self, concerned: Callable[[Any], bool]) -> None:
        """Takes out every entry that is concerned."""
        self._due = [due for due in self._due if not concerned(due.what)]
