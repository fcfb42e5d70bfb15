"""Replayed steps: a run that differs from another in one zone takes the others from it.

While the run is under way it is watched whether that still holds. A partition on which something
acts that did not act on the trajectory, or does not act that did, is computed from there on. When
more or less air has passed to a computed zone than on the trajectory, by more than is allowed, the
shared partition and every zone are computed from there on.
"""

from __future__ import annotations

import numpy as np

from pneumo.network.network import Floats, Ints, Network
from pneumo.simulation.jit import inlined, kernel
from pneumo.simulation.position import (
    END,
    LENGTH,
    RESTARTS,
    START,
    STEP,
    Position,
    cut,
)


@inlined
def compute(position: Position, c: int) -> None:
    """From now on a partition is computed; without the shared partition none is replayed."""
    position.replayed[c] = -1
    if c == position.replayed.shape[0] - 1:
        for other in range(c):
            position.replayed[other] = -1


@kernel
def join_trajectory(network: Network, position: Position) -> None:
    """Takes a partition that is further ahead than the trajectory went on its present step back to
    where that step ended there."""
    step, link, replayed = position.trajectory.step, position.trajectory.link, position.replayed
    for c in range(replayed.shape[0]):
        k = next_step(step, link, replayed[c])
        replayed[c] = k
        if k >= 0 and step[k, 0] < position.partition[c, END]:
            cut(network, position, c, step[k, 0], 0.0)
    if replayed[replayed.shape[0] - 1] < 0:
        compute(position, replayed.shape[0] - 1)


@inlined
def next_step(step: Floats, link: Ints, k: int) -> int:
    """The first step from number k on that was not taken back; -1: there is none."""
    while k >= 0 and step[k, 2] <= step[k, 0]:
        k = link[k, 0]
    return k


@kernel
def take_replayed(network: Network, position: Position, c: int) -> float:
    """Takes a partition's next step from the trajectory, as it was before anything cut it short.

    Returns the time at which it was cut short, its end if it was not; minus infinity when there is
    no step to take and the partition is computed from now on.
    """
    trajectory, replayed, partition = position.trajectory, position.replayed, position.partition
    step, link, value = trajectory.step, trajectory.link, trajectory.value
    k = next_step(step, link, replayed[c])
    if k < 0 or step[k, 0] != partition[c, END] or step[k, 4] != partition[c, RESTARTS]:
        compute(position, c)
        return -np.inf
    size_main = network.state[c + 1] - network.state[c]
    size = size_main + network.ledger[c + 1] - network.ledger[c]
    at = link[k, 1]
    for i in range(size):
        q = network.state[c] + i if i < size_main else network.ledger[c] + i - size_main
        position.y_old[q] = value[at + i]
        position.y_new[q] = value[at + size + i]
        position.y[q] = position.y_new[q]
        position.dense_2[q] = value[at + 2 * size + i]
        position.dense_3[q] = value[at + 3 * size + i]
    partition[c, START], partition[c, LENGTH] = step[k, 0], step[k, 1]
    partition[c, STEP] = step[k, 3]
    partition[c, END] = max(step[k, 0] + step[k, 1], step[k, 2])
    replayed[c] = link[k, 0]
    end: float = step[k, 2]
    return end


@kernel
def record_step(network: Network, position: Position, c: int) -> bool:
    """Adds a partition's last step to the trajectory; False: no room."""
    trajectory, partition = position.trajectory, position.partition
    k, at = trajectory.used[0], trajectory.used[1]
    size_main = network.state[c + 1] - network.state[c]
    size = size_main + network.ledger[c + 1] - network.ledger[c]
    if k >= trajectory.step.shape[0] or at + 4 * size > trajectory.value.shape[0]:
        return False
    for i in range(size):
        q = network.state[c] + i if i < size_main else network.ledger[c] + i - size_main
        trajectory.value[at + i] = position.y_old[q]
        trajectory.value[at + size + i] = position.y_new[q]
        trajectory.value[at + 2 * size + i] = position.dense_2[q]
        trajectory.value[at + 3 * size + i] = position.dense_3[q]
    trajectory.step[k, 0], trajectory.step[k, 1] = partition[c, START], partition[c, LENGTH]
    trajectory.step[k, 2], trajectory.step[k, 3] = partition[c, END], partition[c, STEP]
    trajectory.step[k, 4] = partition[c, RESTARTS]
    trajectory.link[k, 0], trajectory.link[k, 1] = -1, at
    if trajectory.last[c] >= 0:
        trajectory.link[trajectory.last[c], 0] = k
    else:
        trajectory.first[c] = k
    trajectory.last[c] = k
    trajectory.used[0] += 1
    trajectory.used[1] += 4 * size
    return True
