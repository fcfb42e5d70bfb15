"""The method: advance the plant until something outside it has to act.

`advance` reads as the method: choose a part, linearise, attempt, keep what is accurate, look for
crossings. It returns when the plant has passed a moment at which something may act: a sensed
crossing gives the controller a scan, a crossing acts on the plant, or the caller's own time has
come. What acts, and how, is decided by the caller (`pneumo.scenario.play`); between two returns
nothing outside the plant changes.
"""

from __future__ import annotations

from math import ceil, inf

import numpy as np

from pneumo.network.network import ACTING, BORDERS, SENSED, WATCHES, Floats, Network
from pneumo.simulation.bends import first_bend
from pneumo.simulation.event import crossing, excess, watch_value
from pneumo.simulation.grip import first_change
from pneumo.simulation.jit import inlined, kernel
from pneumo.simulation.locality import (
    choose,
    correct_flux,
    correct_fluxes,
    cut_shared,
    furthest_behind,
    latest_end,
    step_length,
    undo_if_drawn,
    undo_if_opened,
)
from pneumo.simulation.part import PARTITIONS, Part
from pneumo.simulation.position import (
    ACCEPTED,
    END,
    FAILED_BEFORE,
    FOUND,
    NOW,
    RECORDING,
    REJECTED,
    STEP,
    Grid,
    Position,
    copy_row,
    cut,
    fill_partition,
    sample_partition,
)
from pneumo.simulation.replay import record_step, take_replayed
from pneumo.simulation.solver import (
    Scratch,
    attempt,
    close_ledgers,
    keep_step,
    linearise,
)

STOPPED, EVENT, ENOUGH, FULL, FAILED, STALLED = 0, 1, 2, 3, 4, 5
"""Why `advance` returned: the stop time is reached; there is an event to act on; the wanted time is
reached; there is no room for more crossings; a step fell below what a double can hold; there were
more steps within one STRETCH than the caller has patience for."""

STRETCH = 1e-3
"""Simulated time that counts as progress [s]."""


@kernel
def advance(
    network: Network,
    position: Position,
    part: Part,
    s: Scratch,
    stop: float,
    enough: float,
    scan: float,
    rtol: float,
    patience: float,
    crossings: Floats,
    sample_step: float,
    sample_first: float,
    samples: Floats,
) -> tuple[int, int]:
    """Integrates from `position` until every partition has passed a moment, and makes that moment
    NOW.

    Parameters
    ----------
    network, position
        What is simulated, and where it stands (changed in place).
    part, s
        Room to work in, see `make_part` and `make_scratch`.
    stop : float
        The next command, timer, fault or movement of a spool [s].
    enough : float
        Return at this time [s]. No step is cut short by it, so that a run in pieces takes the same
        steps as the whole run.
    scan : float
        Period of the controller's scan [s]; a sensed crossing ends the advance at the next scan.
    rtol : float
        Relative tolerance of a step.
    patience : float
        Steps tried within one STRETCH after which the run counts as stalled.
    crossings : ndarray, shape (n, 3)
        Receives (time, watch, 1 ON / 0 OFF) in time order.
    sample_step, sample_first : float
        Grid of recorded states [s]; sample_step 0: record nothing.
    samples : ndarray, shape (n, nstate)
        Receives the states on that grid; row number = grid number.

    Returns
    -------
    status, number of crossings : int
    """
    run, partition = position.run, position.partition
    grid = Grid(sample_first, sample_step, samples)
    fresh = True
    mark, tries = -np.inf, 0.0
    while True:
        event = first_event(network, position, scan)
        horizon = min(stop, enough, event)
        first = furthest_behind(position)
        time = partition[first, END]
        tries += 1.0
        if time > mark + STRETCH:
            mark, tries = time, 0.0
        if 2.0 * run[FOUND] > position.found.shape[0] and position.found[0, 0] <= time:
            horizon = min(horizon, time)  # room for those still to come
        if time >= horizon:
            why = STOPPED if horizon == stop else EVENT if horizon == event else ENOUGH
            return hand_over(position, horizon, why, crossings)
        if tries > patience:
            return STALLED, 0
        if position.replayed[first] >= 0:
            fresh = True
            if not replay(network, position, first, time, grid, s):
                return FULL, 0
            continue
        if fresh:
            choose(network, position, first, part, s)
            correct_fluxes(network, position, part, rtol)
            if not linearise(network, part, position, time, s):
                return FAILED, 0
            fresh = False
        h, end = next_step(network, position, part, first, time, s)
        if not attempt(network, part, position, time, h, rtol, s):
            refuse(part, s)
        if keep_accurate(network, position, part, time, h, end, s) == 0:
            run[REJECTED] += 1.0
            if time + 0.01 * h == time:
                return FAILED, 0
            continue
        fresh = True
        if undo_if_opened(network, position, part, time, s) or undo_if_drawn(
            network, position, part, time, s
        ):
            run[REJECTED] += 1.0
            continue
        run[ACCEPTED] += 1.0
        if not look_back(network, position, part, time, grid, s):
            return FULL, 0


@inlined
def replay(
    network: Network, position: Position, c: int, time: float, grid: Grid, s: Scratch
) -> bool:
    """Takes a partition's next step from the trajectory, if there is one; False: no room for
    crossings."""
    end = take_replayed(network, position, c)
    if end > time:
        if not find_crossings(network, position, c, s.state):
            return False
        cut(network, position, c, end, 0.0)
        sample_partition(network, position, c, time, grid)
    return True


@inlined
def next_step(
    network: Network, position: Position, part: Part, first: int, time: float, s: Scratch
) -> tuple[float, float]:
    """Length of the next step of a part, and its end."""
    h = step_length(network, position, part)
    end = time + h
    latest = latest_end(network, position, part, time)
    if end >= latest:
        end, h = latest, latest - time
    elif h > 0.5 * (latest - time):
        h = 0.5 * (latest - time)  # two even steps instead of a long and a tiny one
        end = time + h
    if part.counts[PARTITIONS] == 1:
        bend = first_bend(network, s, first, h)
        if bend < h:
            end, h = time + bend, bend
    return h, end


@inlined
def refuse(part: Part, s: Scratch) -> None:
    """A step that ran into an impossible state: no partition came out accurate."""
    for i in range(part.counts[PARTITIONS]):
        s.error[part.partitions[i]] = np.inf


@inlined
def look_back(
    network: Network, position: Position, part: Part, time: float, grid: Grid, s: Scratch
) -> bool:
    """Looks for what happened in the step just kept, partition by partition: a mover that stopped
    or broke away, where the step is cut short, and watches that changed; False: no room for
    crossings."""
    partition = position.partition
    for i in range(part.counts[PARTITIONS]):
        c = part.partitions[i]
        if partition[c, END] <= time:
            continue
        change, mover, speed = first_change(network, position, part, c, s.state, s.gas.p)
        if position.run[RECORDING] > 0.0 and not record_step(network, position, c):
            position.run[RECORDING] = 0.0
        if change < inf:
            if c == partition.shape[0] - 1:
                cut_shared(network, position, change, s)
            else:
                cut(network, position, c, change, 0.0)
            position.y[network.mover[mover].v] = speed
        if not find_crossings(network, position, c, s.state):
            return False
        sample_partition(network, position, c, time, grid)
    return True


@inlined
def keep_accurate(
    network: Network, position: Position, part: Part, time: float, h: float, end: float, s: Scratch
) -> int:
    """Keeps the step of every partition that came out accurate, none if the shared partition did
    not; sets each partition's next step.

    Returns how many were kept.
    """
    partition, partitions, errors = position.partition, part.partitions, s.error
    kept = 0
    shared = partition.shape[0] - 1
    wrong = part.inside[shared] and not errors[shared] <= 1.0
    for i in range(part.counts[PARTITIONS]):
        if errors[partitions[i]] <= 1.0 and not wrong:
            kept += 1
    if kept > 0:
        close_ledgers(network, part, h, s)
    for i in range(part.counts[PARTITIONS]):
        c = partitions[i]
        error = errors[c]
        factor = 6.0 if error == 0.0 else min(6.0, max(0.2, 0.9 * error**-0.25))
        if error <= 1.0 and wrong:
            continue
        if error <= 1.0:
            keep_step(network, position, c, time, h, end, s)
            if partition[c, FAILED_BEFORE] > 0.0:
                factor = min(factor, 1.0)  # what failed would fail again
                partition[c, FAILED_BEFORE] = 0.0
            if h < partition[c, STEP] and factor >= 1.0:
                partition[c, STEP] = max(
                    partition[c, STEP], h * factor
                )  # cut short, not by the error
            else:
                partition[c, STEP] = h * factor
        else:
            # a partition that was tried with more than its own step may still be right about that
            partition[c, STEP] = min(partition[c, STEP], h * min(factor, 0.9))
            partition[c, FAILED_BEFORE] = 1.0
            for k in range(s.stage.shape[0]):
                s.stage[k, network.state[c] : network.state[c + 1]] = 0.0
    return kept


@inlined
def find_crossings(network: Network, position: Position, c: int, state: Floats) -> bool:
    """Puts the crossings of a partition's last step among those found, in time order; False: no
    room."""
    found, says, y = position.found, position.on, position.y
    member, members, watches = network.member, network.members, network.watch
    nodes, movers, lags, dynamic = network.node, network.mover, network.lag, network.dynamic
    for m in range(members[WATCHES, c], members[WATCHES, c + 1]):
        w = member[m]
        on = says[w]
        value = watch_value(watches[w], nodes, movers, lags, dynamic, y)
        if excess(watches[w], value, on) >= 0.0:
            count = int(position.run[FOUND])
            if count >= found.shape[0]:
                return False
            moment = crossing(network, position, c, w, on, state)
            e = count
            while e > 0 and found[e - 1, 0] > moment:
                copy_row(found, e - 1, found, e)
                e -= 1
            found[e, 0] = moment
            found[e, 1] = w
            found[e, 2] = 0.0 if on else 1.0
            says[w] = not on
            position.run[FOUND] += 1.0
    return True


@inlined
def first_event(network: Network, position: Position, scan: float) -> float:
    """When the crossings found first let something act: the controller at a scan, or the plant."""
    first = np.inf
    found, watches, now = position.found, network.watch, position.run[NOW]
    for e in range(int(position.run[FOUND])):
        moment = found[e, 0]
        watch = watches[int(found[e, 1])]
        if watch.role == ACTING:
            first = min(first, max(moment, now))
        elif watch.role == SENSED:
            # what crosses just after a tick is within the rounding of it: never before it happens
            tick = ceil((moment + watch.delay) / scan - 1e-9) * scan
            first = min(first, max(tick, moment, now))
    return first


@inlined
def hand_over(position: Position, until: float, why: int, crossings: Floats) -> tuple[int, int]:
    """Makes a time NOW and hands over the crossings up to it; returns what `advance` does."""
    position.run[NOW] = until
    found = position.found
    total = int(position.run[FOUND])
    count = 0
    while count < total and found[count, 0] <= until:
        if count >= crossings.shape[0]:
            return FULL, 0
        copy_row(found, count, crossings, count)
        count += 1
    for e in range(count, total):
        copy_row(found, e, found, e - count)
    position.run[FOUND] = total - count
    return why, count


@kernel
def read_state(network: Network, position: Position, time: float, out: Floats) -> None:
    """State of the whole plant at a time within every partition's last step, its fluxes
    corrected."""
    for c in range(position.partition.shape[0]):
        fill_partition(network, position, c, time, out)
        for m in range(network.members[BORDERS, c], network.members[BORDERS, c + 1]):
            r = network.member[m]
            row = network.restriction[r]
            if max(network.node_partition[row.a], network.node_partition[row.b]) == c:
                correct_flux(network, out, r)


@kernel
def sample_all(network: Network, position: Position, sample_step: float, samples: Floats) -> None:
    """Begins a record at NOW with what is known already."""
    now = position.run[NOW]
    grid = Grid(now, sample_step, samples)
    for c in range(position.partition.shape[0]):
        sample_partition(network, position, c, now - 0.5 * sample_step, grid)
