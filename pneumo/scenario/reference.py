"""Steps of another run that a run takes over where nothing differs: its reference trajectory."""

from __future__ import annotations

import numpy as np

from pneumo.scenario.plant import Plant
from pneumo.simulation.position import (
    LENGTH,
    MOST_DRAWN,
    RECORDING,
    START,
    Trajectory,
    new_trajectory,
)
from pneumo.simulation.replay import join_trajectory

REPLAYED_SHARE = 1e-3
"""A run replays another as long as no zone has drawn more or less air than this share of what the
shared partition holds [-]."""


def record(plant: Plant, steps: int = 40_000, values: int = 8_000_000) -> None:
    """From now on every step of a run is recorded, for `replay`; up to so many steps and values."""
    plant.position = plant.position._replace(
        trajectory=new_trajectory(plant.position.partition, steps, values)
    )
    plant.position.run[RECORDING] = 1.0


def recorded(plant: Plant) -> Trajectory:
    """The steps recorded so far."""
    trajectory = plant.position.trajectory
    steps, values = trajectory.used.tolist()
    return trajectory._replace(
        step=trajectory.step[:steps].copy(),
        link=trajectory.link[:steps].copy(),
        value=trajectory.value[:values].copy(),
        first=trajectory.first.copy(),
        last=trajectory.last.copy(),
        used=trajectory.used.copy(),
    )


def replay(plant: Plant, trajectory: Trajectory, share: float = REPLAYED_SHARE) -> None:
    """A run takes the steps of every partition from another, which it was a snapshot of, as long as
    nothing acts otherwise than there and no zone has drawn more or less air than `share` of the
    air that the shared partition holds."""
    network, partition = plant.network, plant.position.partition
    replayed = np.full(len(partition), -1, dtype=np.int64)
    for c, place in enumerate(plant.position.trajectory.last.tolist()):
        if place < 0:
            stands_in, following = trajectory.begin[c], trajectory.first[c]
        elif place < len(trajectory.step):
            stands_in, following = trajectory.step[place, :2], trajectory.link[place, 0]
        else:
            continue
        if np.array_equal(stands_in, partition[c, [START, LENGTH]]):
            replayed[c] = following
    if replayed[-1] < 0:
        return
    own = np.flatnonzero(network.node_partition == len(partition) - 1)
    held = network.node[own]["count"] * plant.position.y[network.node[own]["mass"]]
    plant.position = plant.position._replace(trajectory=trajectory, replayed=replayed)
    join_trajectory(network, plant.position)
    plant.position.run[MOST_DRAWN] = share * float(held.sum())


def replays(plant: Plant) -> bool:
    """Whether the part that all zones share still takes the steps of another run."""
    return bool(plant.position.replayed[-1] >= 0)
