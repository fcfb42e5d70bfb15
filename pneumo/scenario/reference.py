"""Steps of another run that a run takes over where nothing differs: its reference trajectory."""

from __future__ import annotations

import numpy as np

from pneumo.scenario.plant import Plant
from pneumo.simulation.given import join_track
from pneumo.simulation.position import (
    LENGTH,
    MOST_DRAWN,
    RECORDING,
    START,
    Track,
    new_track,
)

FOLLOWED_SHARE = 1e-3
"""A run follows another as long as no zone has drawn more or less air than this share of what the
rest of the ride holds [-]."""


def record(plant: Plant, steps: int = 40_000, values: int = 8_000_000) -> None:
    """From now on every step of a run is recorded, for `follow`; up to so many steps and values."""
    plant.position = plant.position._replace(track=new_track(plant.position.cell, steps, values))
    plant.position.clock[RECORDING] = 1.0


def recorded(plant: Plant) -> Track:
    """The steps recorded so far."""
    track = plant.position.track
    steps, values = track.used.tolist()
    return track._replace(
        step=track.step[:steps].copy(),
        link=track.link[:steps].copy(),
        value=track.value[:values].copy(),
        first=track.first.copy(),
        last=track.last.copy(),
        used=track.used.copy(),
    )


def follow(plant: Plant, track: Track, share: float = FOLLOWED_SHARE) -> None:
    """A run takes the steps of every cell from another, which it was a snapshot of, as long as
    nothing acts otherwise than there and no zone has drawn more or less air than `share` of the
    air that the rest of the ride holds."""
    network, cell = plant.network, plant.position.cell
    given = np.full(len(cell), -1, dtype=np.int64)
    for c, place in enumerate(plant.position.track.last.tolist()):
        if place < 0:
            stands_in, following = track.begin[c], track.first[c]
        elif place < len(track.step):
            stands_in, following = track.step[place, :2], track.link[place, 0]
        else:
            continue
        if np.array_equal(stands_in, cell[c, [START, LENGTH]]):
            given[c] = following
    if given[-1] < 0:
        return
    own = np.flatnonzero(network.node_cell == len(cell) - 1)
    held = network.node[own]["count"] * plant.position.y[network.node[own]["mass"]]
    plant.position = plant.position._replace(track=track, given=given)
    join_track(network, plant.position)
    plant.position.clock[MOST_DRAWN] = share * float(held.sum())


def follows(plant: Plant) -> bool:
    """Whether the part that all zones share still takes the steps of another run."""
    return bool(plant.position.given[-1] >= 0)
