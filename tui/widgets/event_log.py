"""The events of a run as a list of rows: what belongs together in one row, filtered, kept up to
date at the cost of what is new."""

from __future__ import annotations

import re
from bisect import bisect_right
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from pneumo.scenario.telling import told
from pneumo.zone.event import AlarmRaised
from tui import text

if TYPE_CHECKING:
    from pneumo.live.link import Past
    from pneumo.scenario.event import RunEvent

KINDS: dict[str, tuple[str, ...]] = {
    "all": (),
    "alarms": ("alarm",),
    "states": ("state", "ride"),
    "acts": ("command", "refused", "ride", "fault", "fin"),
    "contacts": ("contact",),
    "plant": ("valve", "compressor"),
}
"""Choice -> kinds of event; () = every kind."""


class EventRow(NamedTuple):
    """One row: contacts of one scan that say the same share it."""

    time: float
    """[s]"""
    kind: str
    where: str
    what: str


class EventLog:
    """Rows of a record that grows, and those of them that a filter lets through."""

    def __init__(self) -> None:
        self.shown: list[EventRow] = []
        """Filtered rows, in order of time."""
        self.kind = "all"
        """A key of KINDS."""
        self.words = ""
        """Each of these words stands somewhere in a shown row."""
        self._rows: list[EventRow] = []
        self._places: list[int] = []
        """Shown row -> its place in `_rows`."""
        self._epoch: int | None = None
        self._taken = 0
        """Events taken from the record."""
        self._names: list[str] = []
        """Subjects of the last row."""
        self._key: tuple[object, ...] = ()

    @property
    def total(self) -> int:
        """Rows, shown or not."""
        return len(self._rows)

    def take(self, past: Past) -> bool:
        """Brings the rows up to date; True when any changed."""
        if past.epoch != self._epoch or len(past.events) < self._taken:
            self._epoch, self._taken = past.epoch, 0
            self._rows, self.shown, self._places = [], [], []
            self._names, self._key = [], ()
        elif len(past.events) == self._taken:
            return False
        first = max(len(self._rows) - 1, 0)
        count = len(past.events)  # it may grow meanwhile
        for event in past.events[self._taken : count]:
            self._add(event)
        self._taken = count
        self._sift(first)
        return True

    def choose(self, kind: str, words: str) -> None:
        """Another filter."""
        self.kind, self.words = kind, words
        self._sift(0)

    def until(self, time: float) -> int:
        """How many shown rows are not later than a time [s]."""
        return bisect_right(self.shown, time + 1e-9, key=lambda row: row.time)

    def _add(self, event: RunEvent) -> None:
        contact = event.kind == "contact"
        who = re.sub(r"[0-9]+$", "", event.subject) if contact else event.subject
        key = (event.time, event.what, who)
        if contact and key == self._key:
            from pneumo.circuit.symmetry import span

            self._names.append(event.subject)
            where = span(sorted(self._names, key=_natural))
            self._rows[-1] = self._rows[-1]._replace(where=where)
            return
        self._key, self._names = key, [event.subject]
        what = event.what
        if isinstance(what, AlarmRaised):
            what = replace(what, sensed=text.together(what.sensed))
        self._rows.append(EventRow(event.time, event.kind, event.subject or "ride", told(what)))

    def _sift(self, first: int) -> None:
        """Filters anew from a row on."""
        while self._places and self._places[-1] >= first:
            self._places.pop()
            self.shown.pop()
        kinds, words = KINDS[self.kind], self.words.lower().split()
        for place in range(first, len(self._rows)):
            row = self._rows[place]
            if kinds and row.kind not in kinds:
                continue
            line = f"{row.where} {row.what} {row.kind}".lower()
            if all(word in line for word in words):
                self._places.append(place)
                self.shown.append(row)


def _natural(name: str) -> list[tuple[int, str]]:
    return [(int(part), "") if part.isdigit() else (-1, part) for part in re.split(r"(\d+)", name)]
