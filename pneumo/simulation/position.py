"""Where a run stands: every partition with steps of its own and the trace of its last step."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pneumo.air import GAS_CONSTANT, REFERENCE_DENSITY
from pneumo.network.network import PIPE, Flags, Floats, Ints, Network
from pneumo.simulation.jit import inlined, kernel

NOW, ACCEPTED, REJECTED, FOUND, RECORDING, MOST_DRAWN = range(6)
"""Fields of `Position.run`."""

(
    END,
    STEP,
    START,
    LENGTH,
    LOOK_AHEAD,
    LOOK_AHEAD_ACTED,
    LOOK_AHEAD_MOST,
    ACTED,
    FAILED_BEFORE,
    RESTARTS,
) = range(10)
"""Fields of `Position.partition`."""

FIRST_LOOK_AHEAD, LAST_LOOK_AHEAD = 100.0, 3000.0
"""How far the shared partition may go ahead of a partition at first and at most, per unit of
relative tolerance [s]: what happens within that time comes as a surprise to the shared
partition."""

FIRST_SHARE, LAST_SHARE = 30.0, 1000.0
"""The same as a share of the air at the shared partition's side that the border path could let
through in that time, at its full flow, per unit of tolerance [-]."""


class Trajectory(NamedTuple):
    """The steps of every partition in a run, for another run to take them again, see `replay`.

    A step of no length was taken back.
    """

    step: Floats  # (n, 5) START, LENGTH, END, STEP after it, RESTARTS of the partition before it
    link: Ints  # (n, 2) next step of the same partition, -1: none; place of its values
    value: Floats  # (m,) y_old, y_new, dense_2, dense_3 of the partition's states and ledger
    first: Ints  # (npartition,) first step of each partition, -1: none
    last: Ints  # (npartition,) last step of each partition so far; in a snapshot: where it stands
    begin: (
        Floats  # (npartition, 2) START, LENGTH of the step each partition stood in before its first
    )
    used: Ints  # (2,) steps and values used


class Position(NamedTuple):
    """Where a run stands, as arrays changed in place.

    Every partition has been integrated to its own END, at or after NOW; between the START of its
    last step and its END its states are known by interpolation.
    """

    y: Floats  # (nstate,) states, each at the END of its partition
    y_old: Floats  # (nstate,) states at the start of the last step
    y_new: Floats  # (nstate,) states at the full end of the last step
    dense_2: Floats  # (nstate,) continuous output of the last step
    dense_3: Floats  # (nstate,)
    on: Flags  # (nwatch,) what each watch says at the END of its partition
    run: Floats  # (6,) time now [s], steps accepted, rejected, crossings found ahead of now;
    # 1 while the trajectory is recorded; air that may pass otherwise than on the trajectory [kg]
    partition: Floats  # (npartition, 10) of each, in s: END; STEP to try next; START and LENGTH of
    # the last step; LOOK_AHEAD, how far the shared partition may go ahead of it, the same when
    # something acts on it, and at most; 1 when something has acted while the shared partition was
    # ahead; 1 when the step tried last failed; how often something has acted
    join: Floats  # (nrestriction,) time from which a closed border path may open at once [s]
    found: Floats  # (n, 3) crossings ahead of now: time, watch, 1 ON / 0 OFF, in time order
    replayed: Ints  # (npartition,) step of the trajectory it takes next; -1: it is computed
    trajectory: Trajectory


class Grid(NamedTuple):
    """Where a run is recorded: states at the times first + k step."""

    first: float
    step: float  # 0: nothing is recorded
    rows: Floats  # (n, nstate) row number = grid number


def new_position(network: Network, y: Floats, rtol: float, room: int) -> Position:
    """A position at time 0 for a run at a relative tolerance, with room for that many crossings
    ahead of now."""
    npartition = len(network.state) - 1
    emptying = emptying_times(network)
    partition = np.zeros((npartition, 10))
    partition[:, STEP] = 1e-4
    partition[:, LOOK_AHEAD] = rtol * np.minimum(FIRST_LOOK_AHEAD, FIRST_SHARE * emptying)
    partition[:, LOOK_AHEAD_ACTED] = partition[:, LOOK_AHEAD]
    partition[:, LOOK_AHEAD_MOST] = rtol * np.minimum(LAST_LOOK_AHEAD, LAST_SHARE * emptying)
    return Position(
        y.copy(),
        y.copy(),
        y.copy(),
        np.zeros(len(y)),
        np.zeros(len(y)),
        np.zeros(len(network.watch), dtype=np.bool_),
        np.zeros(6),
        partition,
        np.full(len(network.restriction), -np.inf),
        np.zeros((room, 3)),
        np.full(npartition, -1, dtype=np.int64),
        new_trajectory(partition, 0, 0),
    )


def new_trajectory(partition: Floats, steps: int, values: int) -> Trajectory:
    """Room for the steps of a run whose partitions stand there."""
    return Trajectory(
        np.zeros((steps, 5)),
        np.zeros((steps, 2), dtype=np.int64),
        np.zeros(values),
        np.full(len(partition), -1, dtype=np.int64),
        np.full(len(partition), -1, dtype=np.int64),
        np.ascontiguousarray(partition[:, [START, LENGTH]]),
        np.zeros(2, dtype=np.int64),
    )


def copied(position: Position) -> Position:
    """An independent copy; the steps of the trajectory, which are only read, are shared."""
    fields = position._asdict()
    trajectory = fields.pop("trajectory")
    trajectory = trajectory._replace(last=trajectory.last.copy())
    return Position(**{name: array.copy() for name, array in fields.items()}, trajectory=trajectory)


def emptying_times(network: Network) -> Floats:
    """(npartition,) time in which a partition's border path at full flow would empty the shared
    partition's side of it [s], V / (R T C rho0): at choked flow C rho0 p leaves V p / (R T)."""
    times = np.full(len(network.state) - 1, np.inf)
    rest = len(times) - 1
    for r in np.flatnonzero(network.border[:, 0] >= 0).tolist():
        row = network.restriction[r]
        a, b = int(network.node_partition[row["a"]]), int(network.node_partition[row["b"]])
        node = network.node[row["a"] if a == rest else row["b"]]
        conductance = float(row["conductance"])
        if row["law"] == PIPE:  # of its bore, as if it were a nozzle
            area = 0.25 * np.pi * conductance**2
            conductance = 0.685 * area / (REFERENCE_DENSITY * np.sqrt(GAS_CONSTANT * node["wall"]))
        flow = max(GAS_CONSTANT * node["wall"] * conductance * REFERENCE_DENSITY, 1e-12)
        times[a + b - rest] = min(times[a + b - rest], node["volume"] / flow)
    return times


@inlined
def dense(position: Position, theta: float, q: int) -> float:
    """State q inside the last step, theta 0..1 (order 3 continuous output of the method); what does
    not change in the step is the same to the last digit."""
    y = position.y_old[q]
    bent = position.dense_2[q] + theta * position.dense_3[q]
    change = position.y_new[q] - y + (1.0 - theta) * bent
    return y + theta * change


@inlined
def dense_rate(position: Position, theta: float, q: int) -> float:
    """d/dtheta of `dense`."""
    rest = 1.0 - theta
    third = position.dense_3[q]
    bent = position.dense_2[q] + theta * third
    change = position.y_new[q] - position.y_old[q]
    return change + (rest - theta) * bent + theta * rest * third


@inlined
def theta_at(partition: Floats, c: int, time: float) -> float:
    """Place of a time within the last step of a partition, 0..1; 2 at its END, where y is exact."""
    if time >= partition[c, END]:
        return 2.0
    return min(1.0, max(0.0, (time - partition[c, START]) / partition[c, LENGTH]))


@inlined
def known(position: Position, theta: float, q: int) -> float:
    """State q at a place found by `theta_at`."""
    return position.y[q] if theta > 1.0 else dense(position, theta, q)


@kernel
def fill_partition(network: Network, position: Position, c: int, time: float, out: Floats) -> None:
    """States and ledger of a partition at a time within its last step."""
    theta = theta_at(position.partition, c, time)
    for q in range(network.state[c], network.state[c + 1]):
        out[q] = known(position, theta, q)
    for q in range(network.ledger[c], network.ledger[c + 1]):
        out[q] = known(position, theta, q)


@kernel
def sample_partition(
    network: Network, position: Position, c: int, after: float, grid: Grid
) -> None:
    """Records a partition's states at the times of a grid for `after` < time <= END."""
    if grid.step <= 0.0:
        return
    k = max(0, int((after - grid.first) / grid.step) - 1)
    while k < grid.rows.shape[0]:
        moment = grid.first + k * grid.step
        if moment > position.partition[c, END]:
            return
        if moment > after:
            fill_partition(network, position, c, moment, grid.rows[k])
        k += 1


@kernel
def cut(network: Network, position: Position, c: int, time: float, first_step: float) -> None:
    """Takes back what a partition was computed beyond a time within its last step, and lets it go
    on with a step of `restart` at most (0: as before)."""
    if position.partition[c, END] > time:
        fill_partition(network, position, c, time, position.y)
        position.partition[c, END] = time
        if position.run[RECORDING] > 0.0 and position.trajectory.last[c] >= 0:
            position.trajectory.step[position.trajectory.last[c], 2] = time
        drop_crossings(network, position, c, time)
    if first_step > 0.0:
        position.partition[c, STEP] = min(position.partition[c, STEP], first_step)


@kernel
def drop_crossings(network: Network, position: Position, c: int, time: float) -> None:
    """Forgets the crossings of a partition's watches after a time."""
    kept = 0
    for e in range(int(position.run[FOUND])):
        w = int(position.found[e, 1])
        if position.found[e, 0] > time and network.watch_partition[w] == c:
            position.on[w] = not position.on[w]
        else:
            copy_row(position.found, e, position.found, kept)
            kept += 1
    position.run[FOUND] = kept


@inlined
def copy_row(source: Floats, i: int, target: Floats, j: int) -> None:
    """Row i of one record of crossings becomes row j of another."""
    for k in range(3):
        target[j, k] = source[i, k]
