"""Steps that are given: a run that differs from another in one zone takes the rest from it.

While the run is under way it is watched whether that still holds. A cell on which something acts
that did not act on the track, or does not act that did, is computed from there on. When more or
less air has passed to a computed zone than on the track, by more than is allowed, the rest of the
ride and every zone are computed from there on.
"""

from __future__ import annotations

import numpy as np

from pneumo.network.network import Floats, Ints, Network
from pneumo.simulation.jit import inlined, kernel
from pneumo.simulation.position import (
    END,
    LENGTH,
    START,
    STEP,
    TOUCHES,
    Position,
    cut,
)


@inlined
def compute(position: Position, c: int) -> None:
    """From now on a cell is computed; without the rest of the ride no cell is given."""
    position.given[c] = -1
    if c == position.given.shape[0] - 1:
        for other in range(c):
            position.given[other] = -1


@kernel
def join_track(network: Network, position: Position) -> None:
    """Takes a cell that is further ahead than the track went on its present step back to where
    that step ended there."""
    step, link, given = position.track.step, position.track.link, position.given
    for c in range(given.shape[0]):
        k = next_step(step, link, given[c])
        given[c] = k
        if k >= 0 and step[k, 0] < position.cell[c, END]:
            cut(network, position, c, step[k, 0], 0.0)
    if given[given.shape[0] - 1] < 0:
        compute(position, given.shape[0] - 1)


@inlined
def next_step(step: Floats, link: Ints, k: int) -> int:
    """The first step from number k on that was not taken back; -1: there is none."""
    while k >= 0 and step[k, 2] <= step[k, 0]:
        k = link[k, 0]
    return k


@kernel
def take_given(network: Network, position: Position, c: int) -> float:
    """Takes a cell's next step from the track, as it was before anything cut it short.

    Returns the time at which it was cut short, its end if it was not; minus infinity when there is
    no step to take and the cell is computed from now on.
    """
    track, given, cell = position.track, position.given, position.cell
    step, link, value = track.step, track.link, track.value
    k = next_step(step, link, given[c])
    if k < 0 or step[k, 0] != cell[c, END] or step[k, 4] != cell[c, TOUCHES]:
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
    cell[c, START], cell[c, LENGTH] = step[k, 0], step[k, 1]
    cell[c, STEP] = step[k, 3]
    cell[c, END] = max(step[k, 0] + step[k, 1], step[k, 2])
    given[c] = link[k, 0]
    end: float = step[k, 2]
    return end


@kernel
def record_step(network: Network, position: Position, c: int) -> bool:
    """Adds a cell's last step to the track; False: no room."""
    track, cell = position.track, position.cell
    k, at = track.used[0], track.used[1]
    size_main = network.state[c + 1] - network.state[c]
    size = size_main + network.ledger[c + 1] - network.ledger[c]
    if k >= track.step.shape[0] or at + 4 * size > track.value.shape[0]:
        return False
    for i in range(size):
        q = network.state[c] + i if i < size_main else network.ledger[c] + i - size_main
        track.value[at + i] = position.y_old[q]
        track.value[at + size + i] = position.y_new[q]
        track.value[at + 2 * size + i] = position.dense_2[q]
        track.value[at + 3 * size + i] = position.dense_3[q]
    track.step[k, 0], track.step[k, 1] = cell[c, START], cell[c, LENGTH]
    track.step[k, 2], track.step[k, 3] = cell[c, END], cell[c, STEP]
    track.step[k, 4] = cell[c, TOUCHES]
    track.link[k, 0], track.link[k, 1] = -1, at
    if track.last[c] >= 0:
        track.link[track.last[c], 0] = k
    else:
        track.first[c] = k
    track.last[c] = k
    track.used[0] += 1
    track.used[1] += 4 * size
    return True
