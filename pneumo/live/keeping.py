"""What is kept of a ride in its record, while it can be written."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from typing import Any

from pneumo.circuit.action import Action
from pneumo.drill.entry import Entry
from pneumo.drill.review import Review
from pneumo.errors import InputError
from pneumo.live.journal import Act
from pneumo.live.link import Past
from pneumo.live.plant import Plant
from pneumo.live.request import Seat
from pneumo.live.seat import SeenPast


class Keeping:
    """Writes into the record of a run (`pneumo.record`), which may be none; what cannot be written
    is said once, and the ride goes on without its record.

    Parameters
    ----------
    record
        Where to keep it; None: nowhere.
    plant
        Of the ride.
    kept_for
        The seat whose record it is; a trainee's holds no more than the trainee sees.
    say
        Called with the sentence that tells that nothing is kept any more.
    """

    def __init__(
        self, record: Any, plant: Plant, kept_for: Seat, say: Callable[[str], None]
    ) -> None:
        self._record, self._say = record, say
        self._seen = SeenPast(plant) if kept_for == "trainee" else None

    @property
    def keeps(self) -> bool:
        """Whether anything is kept, still."""
        return self._record is not None

    def acts(self, journal: Sequence[Act]) -> None:
        """The journal as it is now."""
        self._write(lambda record: record.acts(journal))

    def rows(self, past: Past, hidden: Collection[tuple[float, Action]], newest: float) -> None:
        """What is new of channels and events; `hidden`: acts that a trainee does not see,
        `newest`: how far the run has come [s]."""
        if self._record is not None:
            kept = past if self._seen is None else self._seen(past, hidden)
            self._write(lambda record: record.rows(kept, newest))

    def work(self, entry: Entry) -> None:
        """What was done in a drill."""
        self._write(lambda record: record.work(entry))

    def review(self, review: Review) -> None:
        """What a diagnostician makes of the drill, which is over."""
        self._write(lambda record: record.review(review))

    def close(self) -> None:
        """The run was left by its people."""
        self._write(lambda record: record.close())

    def _write(self, write: Callable[[Any], None]) -> None:
        if self._record is None:
            return
        try:
            write(self._record)
        except InputError as error:
            self._record = None
            self._say(str(error))
