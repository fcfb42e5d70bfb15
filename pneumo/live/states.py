"""States of a ride put away on its way, to go back to; the further back, the fewer."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from math import floor, log2

from pneumo.errors import InputError
from pneumo.live.acts import Acts, LeftOut
from pneumo.scenario.plant import SimulationError
from pneumo.scenario.play import Play

STORE_EVERY = 2.0
"""A state is stored so often [s of simulated time]; further back they are thinned out."""

SPACINGS = ((60.0, STORE_EVERY), (600.0, 10.0), (3600.0, 60.0))
"""(how far back, distance between the states kept there) [s]."""

FARTHER = (3600.0, 300.0)
"""The same for what lies further back; twice as far back it is twice the distance, so that a day
keeps half as many states again as an hour [s]."""


@dataclass(frozen=True)
class Stored:
    """A state to go on from, and how many acts of the journal it knows."""

    time: float
    play: Play
    acts: int


class States:
    """Those of one ride, in order of time; there is always one once it has begun."""

    def __init__(self) -> None:
        self.kept: list[Stored] = []

    @property
    def latest(self) -> Stored:
        """The last one."""
        return self.kept[-1]

    def begin(self, play: Play) -> None:
        """A ride begins, and nothing else is known."""
        self.kept = []
        self.put(play, 0)

    def put(self, play: Play, acts: int) -> None:
        """Puts away where a ride stands; `acts`: of the journal that it knows."""
        before = self.kept[-1].play if self.kept else None
        self.kept.append(Stored(play.now, play.kept(before), acts))
        self.kept = [self.kept[i] for i in thinned([stored.time for stored in self.kept])]

    def due(self, now: float, apart: float = STORE_EVERY) -> bool:
        """Whether it is time for another one, so far from the last [s]."""
        return now >= self.latest.time + apart

    def before(self, time: float) -> Stored:
        """The last one at or before a time [s]."""
        return self.kept[bisect_right(self.kept, time, key=lambda stored: stored.time) - 1]

    def at(self, time: float, acts: Acts, left_out: LeftOut) -> tuple[Play, int]:
        """The ride at a time [s], played from the last one before it, and the acts it knows."""
        stored, journal = self.before(time), acts.journal
        play, known = stored.play.snapshot(), stored.acts
        while known < len(journal) and journal[known].entered <= time:
            play.schedule([acts.event(journal[known])])
            known += 1
        while play.now < time:
            try:
                play.advance(time)
            except SimulationError:
                raise
            except InputError as error:
                left_out.add(play.now, error)
        return play, known

    def cut(self, time: float, acts: int) -> None:
        """Forgets those after a time [s], and those that know more acts."""
        self.kept = [s for s in self.kept if s.time <= time and s.acts <= acts]

    def take_latest(self) -> Stored:
        """The last one, which is then forgotten, unless it is the first."""
        return self.kept.pop() if len(self.kept) > 1 else self.kept[0]


def thinned(times: Sequence[float]) -> list[int]:
    """Which of the states stored at some times [s], ascending, are kept: places of them."""
    last = len(times) - 1
    kept = [0]
    for place in range(1, last):
        if times[place] - times[kept[-1]] >= _spacing(times[last] - times[place]) - 1e-3:
            kept.append(place)
    return [*kept, last] if last > 0 else kept


def _spacing(back: float) -> float:
    """Between the states that are kept so far back [s]."""
    near = next((gap for reach, gap in SPACINGS if back <= reach), None)
    reach, gap = FARTHER
    return near or gap * 2.0 ** floor(log2(back / reach))
