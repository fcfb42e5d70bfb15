"""An actor more: a train and a mechanic, each one class, handed to a run."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from math import inf

import numpy as np
from play_toys import bench, same

from pneumo.circuit.action import Action, Command, Fin, HandOverride
from pneumo.scenario.event import Commanded
from pneumo.scenario.plant import Plant
from pneumo.scenario.play import Play

UNTIL = 13.5


@dataclass
class Train:
    """Comes round again and again, and is between the jaws of a zone for a while."""

    zone: str
    lap: float
    """[s]"""
    stays: float
    """[s]"""
    arrives: float
    """[s]"""
    here: bool = field(default=False)

    def copy(self) -> Train:
        return replace(self)

    def next_time(self) -> float:
        return self.arrives + self.stays if self.here else self.arrives

    def act(self, plant: Plant) -> Iterable[Action]:
        if self.here:
            self.arrives += self.lap
        self.here = not self.here
        return (Fin(self.zone, self.here),)


@dataclass
class Mechanic:
    """Holds the override of a valve down, until the gauge tells enough; then says close."""

    valve: str
    node: int
    enough: float
    """[Pa absolute]"""
    looks: float
    """When he looks next [s]."""
    seen: list[float] = field(default_factory=list)

    def copy(self) -> Mechanic:
        return replace(self, seen=list(self.seen))

    def next_time(self) -> float:
        return self.looks

    def act(self, plant: Plant) -> Iterable[Action]:
        self.seen.append(plant.pressure(self.node))
        if len(self.seen) == 1:
            self.looks = plant.now + 0.05
            return (HandOverride(self.valve, "14", True),)
        if self.seen[-1] < self.enough:
            self.looks = plant.now + 0.05
            return ()
        self.looks = inf
        return HandOverride(self.valve, "14", False), Command("block", "close")


def ride(**options: bool) -> Play:
    plan = bench(**options)
    node = plan.parts["manifold"].ports["1"]
    return Play(
        plan,
        actors=[Train("block", 3.0, 1.25, 0.7), Mechanic("valve", node, 4.0e5, 1.003)],
    )


def fins(play: Play) -> list[tuple[float, bool]]:
    return [
        (event.time, event.what.action.present)
        for event in play.plant.log.events
        if isinstance(event.what, Commanded) and isinstance(event.what.action, Fin)
    ]


def mechanic(play: Play) -> Mechanic:
    found = play.actors.further[1]
    assert isinstance(found, Mechanic)
    return found


def test_it_acts_at_its_own_times_and_the_plant_follows() -> None:
    play = ride()
    play.advance(UNTIL)
    expected = [(0.7 + 3.0 * i + stay, here) for i in range(5)
                for stay, here in ((0.0, True), (1.25, False))]  # fmt: skip
    assert np.allclose([t for t, _ in fins(play)], [t for t, _ in expected if t <= UNTIL])
    assert [here for _, here in fins(play)] == [here for t, here in expected if t <= UNTIL]
    assert play.actors.faults.absent_fins == ()
    seen = mechanic(play).seen
    assert seen[0] < 1.1e5 and seen[-2] < 4.0e5 <= seen[-1], "he looked until it was enough"
    assert play.plant.pressure(play.compiled.parts["manifold"].ports["1"]) < 1.1e5, "and let it go"


def test_a_run_in_pieces_and_from_copies_is_the_whole_run() -> None:
    whole = ride()
    whole.advance(UNTIL)
    play = ride()
    copies = []
    for time in (0.5, 0.7, 1.0031, 1.06, 1.95, 5.0, 9.3):
        play.advance(time)
        copies.append(play.snapshot())
    play.advance(UNTIL)
    assert same(play, whole) and mechanic(play) == mechanic(whole)
    for copy in copies:
        assert mechanic(copy) is not mechanic(play)
        copy.advance(UNTIL)
        assert same(copy, whole) and mechanic(copy) == mechanic(whole)


def test_nobody_more_is_the_run_of_before() -> None:
    with_none = Play(bench(), actors=())
    with_none.advance(3.0)
    late = Play(bench(), actors=[Train("block", 3.0, 1.0, 100.0)])
    late.advance(3.0)
    assert same(with_none, late) and not fins(late)
