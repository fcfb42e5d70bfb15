"""The initial operating point: the plant at rest, the zones where they start, at time zero."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pneumo.scenario.play import Play

TO_REST = 60.0
"""Time the plant is given to come to rest before time zero, the zones held where they start [s]."""

REST_SHARE = 0.1
"""Tolerance of a step while the plant comes to rest, as a share of the one afterwards [-]: what a
run begins with should not be the largest error in it."""


def come_to_rest(play: Play, duration: float) -> None:
    """Lets the plant come to rest before time zero, in so much time [s]."""
    plant, actors = play.plant, play.actors
    actors.faults.apply(plant)
    play.obey()
    plant.begin_at_rest(duration, [spec.watch for spec in play.compiled.compressors])
    actors.supplies.begin()
    actors.supplies.drive(plant)
    for _ in range(2):  # once to send them, once more for those that wait for a pilot
        actors.spools.drive(plant)
        actors.spools.put(plant)
    actors.controller.hold = True
    rtol, plant.rtol = plant.rtol, REST_SHARE * plant.rtol
    play.advance(0.0)
    plant.rtol = rtol
    plant.begin_time()
    actors.controller.begin(plant)
