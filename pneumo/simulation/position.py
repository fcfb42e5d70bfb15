"""Where a run stands: every cell with a clock of its own and the trace of its last step."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pneumo.air import GAS_CONSTANT, REFERENCE_DENSITY
from pneumo.network.network import PIPE, Flags, Floats, Ints, Network
from pneumo.simulation.jit import inlined, kernel

NOW, ACCEPTED, REJECTED, FOUND, RECORDING, MOST_DRAWN = range(6)
"""Fields of `Position.clock`."""

END, STEP, START, LENGTH, REACH, ACT_REACH, MOST_REACH, ACTED, FAILED_BEFORE, TOUCHES = range(10)
"""Fields of `Position.cell`."""

FIRST_REACH, LAST_REACH = 100.0, 3000.0
"""How far the rest of the ride may go ahead of a cell at first and at most, per unit of relative
tolerance [s]: what happens within that time comes as a surprise to the rest."""

FIRST_SHARE, LAST_SHARE = 30.0, 1000.0
"""The same as a share of the air at the rest's side that the border path could let through in that
time, at its full flow, per unit of tolerance [-]."""


class Track(NamedTuple):
    """The steps of every cell in a run, for another run to take them again, see `given`.

    A step of no length was taken back.
    """

    step: Floats  # (n, 5) START, LENGTH, END, STEP after it, TOUCHES of the cell before it
    link: Ints  # (n, 2) next step of the same cell, -1: none; place of its values
    value: Floats  # (m,) y_old, y_new, dense_2, dense_3 of the cell's states and ledger
    first: Ints  # (ncell,) first step of each cell, -1: none
    last: Ints  # (ncell,) last step of each cell so far; in a snapshot: where it stands
    begin: Floats  # (ncell, 2) START, LENGTH of the step each cell stood in before its first
    used: Ints  # (2,) steps and values used


class Position(NamedTuple):
    """Where a run stands, as arrays changed in place.

    Every cell has been integrated to its own END, at or after NOW; between the START of its last
    step and its END its states are known by interpolation.
    """

    y: Floats  # (nstate,) states, each at the END of its cell
    y_old: Floats  # (nstate,) states at the start of the last step
    y_new: Floats  # (nstate,) states at the full end of the last step
    dense_2: Floats  # (nstate,) continuous output of the last step
    dense_3: Floats  # (nstate,)
    made: Flags  # (nwatch,) what each watch says at the END of its cell
    clock: Floats  # (6,) time now [s], steps accepted, rejected, crossings found ahead of now;
    # 1 while the track is recorded; air that may pass otherwise than on the track [kg]
    cell: Floats  # (ncell, 10) per cell, in s: END; STEP to try next; START and LENGTH of the last
    # step; REACH, how far the rest may go ahead of it, the same when something acts on it, and at
    # most; 1 when something has acted while the rest was ahead; 1 when the step tried last failed;
    # how often something has acted
    join: Floats  # (nrestriction,) time from which a shut border path may open at once [s]
    found: Floats  # (n, 3) crossings ahead of now: time, watch, 1 made / 0 broken, in time order
    given: Ints  # (ncell,) step of the track each cell takes next; -1: it is computed
    track: Track


class Grid(NamedTuple):
    """Where a run is recorded: states at the times first + k step."""

    first: float
    step: float  # 0: nothing is recorded
    rows: Floats  # (n, nstate) row number = grid number


def new_position(network: Network, y: Floats, rtol: float, room: int) -> Position:
    """A position at time 0 for a run at a relative tolerance, with room for that many crossings
    ahead of now."""
    ncell = len(network.state) - 1
    emptying = emptying_times(network)
    cell = np.zeros((ncell, 10))
    cell[:, STEP] = 1e-4
    cell[:, REACH] = rtol * np.minimum(FIRST_REACH, FIRST_SHARE * emptying)
    cell[:, ACT_REACH] = cell[:, REACH]
    cell[:, MOST_REACH] = rtol * np.minimum(LAST_REACH, LAST_SHARE * emptying)
    return Position(
        y.copy(),
        y.copy(),
        y.copy(),
        np.zeros(len(y)),
        np.zeros(len(y)),
        np.zeros(len(network.watch), dtype=np.bool_),
        np.zeros(6),
        cell,
        np.full(len(network.restriction), -np.inf),
        np.zeros((room, 3)),
        np.full(ncell, -1, dtype=np.int64),
        new_track(cell, 0, 0),
    )


def new_track(cell: Floats, steps: int, values: int) -> Track:
    """Room for the steps of a run whose cells stand there."""
    return Track(
        np.zeros((steps, 5)),
        np.zeros((steps, 2), dtype=np.int64),
        np.zeros(values),
        np.full(len(cell), -1, dtype=np.int64),
        np.full(len(cell), -1, dtype=np.int64),
        np.ascontiguousarray(cell[:, [START, LENGTH]]),
        np.zeros(2, dtype=np.int64),
    )


def copied(position: Position) -> Position:
    """An independent copy; the steps of the track, which are only read, are shared."""
    fields = position._asdict()
    track = fields.pop("track")
    track = track._replace(last=track.last.copy())
    return Position(**{name: array.copy() for name, array in fields.items()}, track=track)


def emptying_times(network: Network) -> Floats:
    """(ncell,) time in which a cell's border path at full flow would empty the rest's side of it
    [s], V / (R T C rho0): at choked flow C rho0 p leaves V p / (R T)."""
    times = np.full(len(network.state) - 1, np.inf)
    rest = len(times) - 1
    for r in np.flatnonzero(network.border[:, 0] >= 0).tolist():
        row = network.restriction[r]
        a, b = int(network.node_cell[row["a"]]), int(network.node_cell[row["b"]])
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
def theta_at(cell: Floats, c: int, time: float) -> float:
    """Place of a time within the last step of a cell, 0..1; 2 at its END, where y is exact."""
    if time >= cell[c, END]:
        return 2.0
    return min(1.0, max(0.0, (time - cell[c, START]) / cell[c, LENGTH]))


@inlined
def known(position: Position, theta: float, q: int) -> float:
    """State q at a place found by `theta_at`."""
    return position.y[q] if theta > 1.0 else dense(position, theta, q)


@kernel
def fill_cell(network: Network, position: Position, c: int, time: float, out: Floats) -> None:
    """States and ledger of a cell at a time within its last step."""
    theta = theta_at(position.cell, c, time)
    for q in range(network.state[c], network.state[c + 1]):
        out[q] = known(position, theta, q)
    for q in range(network.ledger[c], network.ledger[c + 1]):
        out[q] = known(position, theta, q)


@kernel
def sample_cell(network: Network, position: Position, c: int, after: float, grid: Grid) -> None:
    """Records a cell's states at the times of a grid for `after` < time <= END."""
    if grid.step <= 0.0:
        return
    k = max(0, int((after - grid.first) / grid.step) - 1)
    while k < grid.rows.shape[0]:
        moment = grid.first + k * grid.step
        if moment > position.cell[c, END]:
            return
        if moment > after:
            fill_cell(network, position, c, moment, grid.rows[k])
        k += 1


@kernel
def cut(network: Network, position: Position, c: int, time: float, restart: float) -> None:
    """Takes back what a cell was computed beyond a time within its last step, and lets it go on
    with a step of `restart` at most (0: as before)."""
    if position.cell[c, END] > time:
        fill_cell(network, position, c, time, position.y)
        position.cell[c, END] = time
        if position.clock[RECORDING] > 0.0 and position.track.last[c] >= 0:
            position.track.step[position.track.last[c], 2] = time
        drop_crossings(network, position, c, time)
    if restart > 0.0:
        position.cell[c, STEP] = min(position.cell[c, STEP], restart)


@kernel
def drop_crossings(network: Network, position: Position, c: int, time: float) -> None:
    """Forgets the crossings of a cell's watches after a time."""
    kept = 0
    for e in range(int(position.clock[FOUND])):
        w = int(position.found[e, 1])
        if position.found[e, 0] > time and network.watch_cell[w] == c:
            position.made[w] = not position.made[w]
        else:
            copy_row(position.found, e, position.found, kept)
            kept += 1
    position.clock[FOUND] = kept


@inlined
def copy_row(source: Floats, i: int, target: Floats, j: int) -> None:
    """Row i of one record of crossings becomes row j of another."""
    for k in range(3):
        target[j, k] = source[i, k]
