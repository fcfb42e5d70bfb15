"""The method: advance the plant until something outside it has to act.

`advance` reads as the method: linearise, attempt, accept, look for crossings, record. It returns
when the stop time is reached, when a sensed crossing gives the controller a scan to act on, when
a crossing acts on the plant, or when enough has been simulated. What acts, and how, is decided by
the caller (`pneumo.scenario.play`); between two returns nothing outside the plant changes.
"""

from __future__ import annotations

from math import ceil
from typing import Any, NamedTuple

import numpy as np

from pneumo.network.network import Network
from pneumo.simulation.event import crossing, excess, watch_value
from pneumo.simulation.jit import kernel
from pneumo.simulation.solver import (
    attempt,
    close_balances,
    dense,
    dense_coefficients,
    linearise,
    make_scratch,
)

Array = Any

STOPPED, EVENT, ENOUGH, FULL, FAILED = 0, 1, 2, 3, 4
"""Why `advance` returned: stop time reached; an event to act on; the wanted time is passed; the
record is full; the step size fell below what a double can hold."""

LONGEST = 100.0
"""Longest step [s]."""


class Position(NamedTuple):
    """Where a run stands, as arrays changed in place, so that a step leaves a trace to go back on.

    `clock`: time now, next step length, start of the last step, its length, and counters of
    accepted steps, rejected steps and of records written  (7,).
    """

    y: Array  # (nstate,) state now
    y_old: Array  # (nstate,) state at the start of the last step
    y_new: Array  # (nstate,) state at the full end of the last step
    dense_2: Array  # (nstate,) continuous output of the last step
    dense_3: Array  # (nstate,)
    made: Array  # (nwatch,) bool: what each watch last said
    clock: Array  # (7,) float


NOW, STEP, OLD, LENGTH, ACCEPTED, REJECTED, RECORDED = 0, 1, 2, 3, 4, 5, 6
"""Fields of `Position.clock`."""


@kernel
def interpolate(position: Position, time: float, out: Array) -> None:
    """State at a time inside the last step; exact copies at its ends."""
    start = position.clock[OLD]
    length = position.clock[LENGTH]
    if length <= 0.0 or time >= start + length:
        out[:] = position.y_new
        return
    theta = max(0.0, (time - start) / length)
    for q in range(out.shape[0]):
        out[q] = dense(position.y_old, position.y_new, position.dense_2, position.dense_3, theta, q)


@kernel
def advance(
    network: Network,
    position: Position,
    stop: float,
    enough: float,
    scan: float,
    rtol: float,
    shortest: float,
    crossings: Array,
    sample_step: float,
    sample_first: float,
    samples: Array,
) -> tuple[int, int]:
    """Integrates from `position` until `stop` at the latest.

    Parameters
    ----------
    network, position
        What is simulated, and where it stands (changed in place).
    stop : float
        Never stepped over [s]: the next command, timer, fault or end of a spool's movement.
    enough : float
        Return after the first step that ends at or beyond this time [s]. The step is not cut
        short, so that a run in pieces takes the same steps as the whole run.
    scan : float
        Period of the controller's scan [s]; a sensed crossing stops the run at the next scan.
    rtol : float
        Relative tolerance of a step.
    shortest : float
        Step length to restart with after something outside has acted; 0: go on as before.
    crossings : ndarray, shape (n, 3)
        Receives (time, watch, 1 made / 0 broken) in time order.
    sample_step, sample_first : float
        Grid of recorded states [s]; sample_step 0: record nothing.
    samples : ndarray, shape (n, nstate)
        Receives the states on that grid; row number = grid number - first.

    Returns
    -------
    status, number of crossings : int
    """
    size = position.y.shape[0]
    scratch = make_scratch(network, size)
    state = np.zeros(size)
    clock = position.clock
    y = position.y
    y_new = position.y_new
    watches = network.watch
    nodes = network.node
    movers = network.mover
    lags = network.lag
    ncross = 0
    pending = stop  # a sensed crossing may bring the stop forward
    if shortest > 0.0:
        clock[STEP] = min(clock[STEP], shortest)
    fresh = True
    while True:
        now = clock[NOW]
        if now >= pending:
            return (EVENT if pending < stop else STOPPED), ncross
        if now >= enough:
            return ENOUGH, ncross
        if fresh:
            if not linearise(network, y, now, scratch):
                return FAILED, ncross
            fresh = False
        h = min(clock[STEP], LONGEST)
        whole = h >= pending - now
        if whole:
            h = pending - now
        elif h > 0.5 * (pending - now):
            h = 0.5 * (pending - now)  # two even steps instead of a long and a tiny one
        error = attempt(network, y, now, h, rtol, scratch, y_new)
        factor = 6.0 if error == 0.0 else min(6.0, max(0.2, 0.9 * error**-0.25))
        if error > 1.0:
            clock[REJECTED] += 1.0
            clock[STEP] = h * min(factor, 0.9)
            if now + clock[STEP] * 0.01 == now:
                return FAILED, ncross
            continue
        clock[ACCEPTED] += 1.0
        close_balances(network, y, h, scratch, y_new)
        if h < clock[STEP] and factor >= 1.0:
            clock[STEP] = max(clock[STEP], h * factor)  # cut short by the stop, not by the error
        else:
            clock[STEP] = h * factor
        dense_coefficients(scratch, position.dense_2, position.dense_3)
        position.y_old[:] = y
        clock[OLD] = now
        clock[LENGTH] = h
        end = pending if whole else now + h
        # crossings of this step, in time order; the first to act decides how far the step counts
        first = ncross
        for w in range(watches.shape[0]):
            made = position.made[w]
            value = watch_value(watches[w], nodes, movers, lags, network.dynamic, y_new)
            if excess(watches[w], value, made) >= 0.0:
                if ncross >= crossings.shape[0]:
                    return FULL, first
                theta = crossing(
                    network, w, made, y, y_new, position.dense_2, position.dense_3, state
                )
                e = ncross
                moment = now + theta * h
                while e > first and crossings[e - 1, 0] > moment:
                    crossings[e] = crossings[e - 1]
                    e -= 1
                crossings[e, 0] = moment
                crossings[e, 1] = w
                crossings[e, 2] = 0.0 if made else 1.0
                ncross += 1
        cut = end
        kept = first
        while kept < ncross and crossings[kept, 0] <= cut:
            w = int(crossings[kept, 1])
            moment = crossings[kept, 0]
            watch = watches[w]
            if watch.role == 2:
                cut = min(cut, max(moment, now))
                pending = min(pending, cut)
            elif watch.role == 1:
                tick = max(ceil((moment + watch.delay) / scan - 1e-9) * scan, now)
                if tick < pending:
                    pending = tick
                    cut = min(cut, tick)
            position.made[w] = not position.made[w]
            kept += 1
        ncross = kept
        if cut < end:
            interpolate(position, cut, state)
            y[:] = state
            clock[NOW] = cut
        else:
            y[:] = y_new
            clock[NOW] = end
        if sample_step > 0.0:
            while True:
                number = clock[RECORDED]
                moment = sample_first + number * sample_step
                if moment > clock[NOW] or int(number) >= samples.shape[0]:
                    break
                interpolate(position, moment, samples[int(number)])
                clock[RECORDED] += 1.0
        fresh = True
