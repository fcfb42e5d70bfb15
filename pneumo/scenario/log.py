"""What a run tells of itself, in order of time."""

from __future__ import annotations

import copy
from collections.abc import Iterator, Sequence
from itertools import islice
from typing import Any, cast

from pneumo.scenario.event import EventKind, Happening, RunEvent, Unlisted

MOST_LISTED = 100
"""Events of one kind about one part within 1 s that are listed one by one."""

_REPEATED: frozenset[EventKind] = frozenset({"contact", "valve", "compressor", "fault"})
"""Kinds of events that a part brings about by itself, again and again."""


class _Counted:
    """Events of one kind about one part: how many since when, and whether they are too many."""

    def __init__(self, since: float) -> None:
        self.since = since
        self.count = 0
        self.too_many = False


class Log:
    """The events of a run and the crossings of its watches."""

    def __init__(self) -> None:
        self.events: list[RunEvent] = []
        self.crossings: list[tuple[float, int, bool]] = []
        """(time, watch, on) of every watch, in order of time."""
        self._counted: dict[tuple[EventKind, str], _Counted] = {}

    def copy(self) -> Log:
        """An independent log that goes on from here."""
        new = copy.copy(self)
        new.events, new.crossings = list(self.events), list(self.crossings)
        new._counted = {key: copy.copy(counted) for key, counted in self._counted.items()}
        return new

    def put_away(self, of: Log) -> None:
        """Shares the lists of the log that this is a copy of, as they are now."""
        self.events = cast(list[RunEvent], _Beginning(of.events))
        self.crossings = cast(list[tuple[float, int, bool]], _Beginning(of.crossings))

    def clear(self) -> None:
        """Nothing has been told yet."""
        self.events.clear()
        self.crossings.clear()
        self._counted.clear()

    def say(self, time: float, subject: str, what: Happening) -> None:
        """Tells what happened at a time [s]; what flickers is not told for ever."""
        if what.kind not in _REPEATED or self._is_listed(time, what.kind, subject):
            self.events.append(RunEvent(time, subject, what))

    def _is_listed(self, time: float, kind: EventKind, subject: str) -> bool:
        """Whether an event is listed: what flickers is a hundred times, then said to flicker, until
        a second has passed in which it did so less often."""
        counted = self._counted.setdefault((kind, subject), _Counted(time))
        if time >= counted.since + 1.0:
            counted.too_many = counted.count > MOST_LISTED and time < counted.since + 2.0
            counted.since, counted.count = time, 0
        counted.count += 1
        if counted.count > MOST_LISTED and not counted.too_many:
            counted.too_many = True
            self.events.append(RunEvent(time, subject, Unlisted(kind, MOST_LISTED)))
        return not counted.too_many


class _Beginning(Sequence[Any]):
    """What a list that only grows holds so far. The list is shared, not copied: of a long run a
    hundred states are put away, and each would hold all that has happened."""

    def __init__(self, grows: list[Any]) -> None:
        self._grows, self._length = grows, len(grows)

    def __len__(self) -> int:
        return self._length

    def __iter__(self) -> Iterator[Any]:
        return islice(self._grows, self._length)

    def __getitem__(self, place: Any) -> Any:
        return self._grows[: self._length][place]
