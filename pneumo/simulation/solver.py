"""One step of Rodas4: an L-stable, stiffly accurate Rosenbrock method of order 4(3).

Hairer & Wanner, *Solving Ordinary Differential Equations II*, section IV.7; coefficients from
memory, confirmed by the measured order of convergence (``tests/simulation``). Stages:
(I/(gamma h) - J) k_i = f(y + sum a_ij k_j, t + alpha_i h) + sum (c_ij / h) k_j + h d_i df/dt.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from pneumo.network.network import Network
from pneumo.simulation.balance import boundary_slope, live_paths, live_rates, slopes
from pneumo.simulation.jit import kernel
from pneumo.simulation.linear import factor, solve

Array = Any

GAMMA = 0.25
STAGES = 6

A = np.array(
    [
        [0.0, 0.0, 0.0, 0.0, 0.0],
        [1.544000000000000, 0.0, 0.0, 0.0, 0.0],
        [0.9466785280815826, 0.2557011698983284, 0.0, 0.0, 0.0],
        [3.314825187068521, 2.896124015972201, 0.9986419139977817, 0.0, 0.0],
        [1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950, 0.0],
        [1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950, 1.0],
    ]
)
C = np.array(
    [
        [0.0, 0.0, 0.0, 0.0, 0.0],
        [-5.668800000000000, 0.0, 0.0, 0.0, 0.0],
        [-2.430093356833875, -0.2063599157091915, 0.0, 0.0, 0.0],
        [-0.1073529058151375, -9.594562251023355, -20.47028614809616, 0.0, 0.0],
        [7.496443313967647, -10.24680431464352, -33.99990352819905, 11.70890893206160, 0.0],
        [
            8.083246795921522,
            -7.981132988064893,
            -31.52159432874371,
            16.31930543123136,
            -6.058818238834054,
        ],
    ]
)
ALPHA = np.array([0.0, 0.386, 0.21, 0.63, 1.0, 1.0])
TIME_SHARE = np.array([0.25, -0.1043, 0.1035, -0.0362, 0.0, 0.0])
DENSE = np.array(
    [
        [
            10.12623508344586,
            -7.487995877610167,
            -34.80091861555747,
            -7.992771707568823,
            1.025137723295662,
        ],
        [
            -0.6762803392806898,
            6.087714651680015,
            16.43084320892478,
            24.76722511418386,
            -6.594389125716872,
        ],
    ]
)


class Scratch(NamedTuple):
    """Arrays a step works in; made once per call of the kernel."""

    start_p: Array  # (nnode,) pressure at the start of the step
    start_t: Array  # (nnode,) temperature
    start_vol: Array  # (nnode,) volume
    start_area: Array  # (nnode,) dV/dx
    start_rate: Array  # (nstate,) rates
    p: Array  # (nnode,) the same at a stage
    t: Array  # (nnode,)
    vol: Array  # (nnode,)
    area: Array  # (nnode,)
    jacobian: Array  # (nfill,)
    matrix: Array  # (nfill,)
    flow_slope: Array  # (nrestriction, 2, 11)
    flowing: Array  # (nrestriction,) bool
    live: Array  # (nrestriction,) paths that may pass air in this step
    alive: Array  # (1,) how many they are
    fixed: Array  # (nrestriction,) their openings; -1: changes within the step
    by_time: Array  # (nstate,)
    stage: Array  # (STAGES, nstate) the k_i
    state: Array  # (nstate,) argument of a stage
    rate: Array  # (nstate,)
    line: Array  # (main,)
    extra: Array  # (nstate,)


@kernel
def make_scratch(network: Network, size: int) -> Scratch:
    """Scratch arrays for a network with `size` states."""
    nodes = network.node.shape[0]
    fill = network.column.shape[0]
    return Scratch(
        np.zeros(nodes),
        np.zeros(nodes),
        np.zeros(nodes),
        np.zeros(nodes),
        np.zeros(size),
        np.zeros(nodes),
        np.zeros(nodes),
        np.zeros(nodes),
        np.zeros(nodes),
        np.zeros(fill),
        np.zeros(fill),
        np.zeros((network.restriction.shape[0], 2, 11)),
        np.zeros(network.restriction.shape[0], dtype=np.bool_),
        np.zeros(network.restriction.shape[0], dtype=np.int64),
        np.zeros(1, dtype=np.int64),
        np.zeros(network.restriction.shape[0]),
        np.zeros(size),
        np.zeros((STAGES, size)),
        np.zeros(size),
        np.zeros(size),
        np.zeros(network.main),
        np.zeros(size),
    )


@kernel
def linearise(network: Network, y: Array, time: float, s: Scratch) -> bool:
    """Rates, Jacobian and time slope at the start of a step."""
    p, t, vol, area = s.start_p, s.start_t, s.start_vol, s.start_area
    count = live_paths(network, time, s.live, s.fixed)
    s.alive[0] = count
    if not live_rates(network, s.live, count, s.fixed, y, time, p, t, vol, area, s.start_rate):
        return False
    slopes(
        network,
        s.live,
        count,
        s.fixed,
        y,
        time,
        p,
        t,
        vol,
        area,
        s.jacobian,
        s.flow_slope,
        s.flowing,
        s.by_time,
    )
    return True


@kernel
def attempt(
    network: Network, y: Array, time: float, h: float, rtol: float, s: Scratch, y_new: Array
) -> float:
    """Tries a step of length h from y, after `linearise`; fills the main states of y_new.

    Returns the error as a multiple of the tolerance: the largest over the zones of the root mean
    square over the zone's states (an average over everything would hide a zone); infinity when a
    stage ran into an impossible state.
    """
    main = network.main
    size = y.shape[0]
    matrix, stage, state, rate = s.matrix, s.stage, s.state, s.rate
    row, column, place = network.row, network.column, network.diagonal
    diagonal = 1.0 / (GAMMA * h)
    for e in range(matrix.shape[0]):
        matrix[e] = -s.jacobian[e]
    for i in range(main):
        matrix[place[i]] += diagonal
    factor(row, column, place, matrix, s.line)
    for i in range(STAGES):
        k = stage[i]
        k[:] = 0.0
        if i == 0:
            rate[:] = s.start_rate
        else:
            state[:] = y
            for j in range(i):
                a, c = A[i, j], C[i, j] / h
                earlier = stage[j]
                for q in range(main):
                    state[q] += a * earlier[q]
                    k[q] += c * earlier[q]
            time_i = time + ALPHA[i] * h
            if not live_rates(
                network, s.live, s.alive[0], s.fixed, state, time_i, s.p, s.t, s.vol, s.area, rate
            ):
                return np.inf
        share = h * TIME_SHARE[i]
        for q in range(size):
            k[q] += rate[q] + share * s.by_time[q]
        solve(row, column, place, matrix, k)
    last = stage[5]
    for q in range(main):
        y_new[q] = state[q] + last[q]
    return error_norm(network, y, y_new, last, rtol)


@kernel
def close_balances(network: Network, y: Array, h: float, s: Scratch, y_new: Array) -> None:
    """Completes an accepted step by the boundary's balances, which nothing else depends on.

    `attempt` has left each stage's rates of these states in s.stage; here they become the k_i, by
    the same formula as for the main states, and give y_new.
    """
    size = y.shape[0]
    for i in range(STAGES):
        k = s.stage[i]
        boundary_slope(
            network,
            y,
            s.start_p,
            s.start_t,
            s.start_vol,
            s.start_area,
            s.flow_slope,
            s.flowing,
            k,
            s.extra,
        )
        for q in range(network.main, size):
            total = k[q] + s.extra[q]
            for j in range(i):
                total += C[i, j] / h * s.stage[j, q]
            k[q] = GAMMA * h * total
    for q in range(network.main, size):
        total = y[q] + s.stage[5, q]
        for j in range(5):
            total += A[5, j] * s.stage[j, q]
        y_new[q] = total


@kernel
def error_norm(network: Network, y: Array, y_new: Array, error: Array, rtol: float) -> float:
    """Largest over the groups of the RMS of error / (rtol (scale + |y|))."""
    total = np.zeros(network.ngroup)
    count = np.zeros(network.ngroup)
    for q in range(network.main):
        if not np.isfinite(y_new[q]):
            return np.inf
        size = rtol * (network.scale[q] + max(abs(y[q]), abs(y_new[q])))
        g = network.group[q]
        total[g] += (error[q] / size) ** 2
        count[g] += 1.0
    worst = 0.0
    for g in range(network.ngroup):
        if count[g] > 0.0:
            worst = max(worst, total[g] / count[g])
    return np.sqrt(worst)


@kernel
def dense(y: Array, y_new: Array, dense_2: Array, dense_3: Array, theta: float, q: int) -> float:
    """State q inside the last step, theta 0..1 (order 3 continuous output of Rodas4)."""
    rest = 1.0 - theta
    return y[q] * rest + theta * (y_new[q] + rest * (dense_2[q] + theta * dense_3[q]))


@kernel
def dense_coefficients(s: Scratch, dense_2: Array, dense_3: Array) -> None:
    """Fills the coefficients of the continuous output from the stages of the last step."""
    for q in range(dense_2.shape[0]):
        second = 0.0
        third = 0.0
        for j in range(5):
            second += DENSE[0, j] * s.stage[j, q]
            third += DENSE[1, j] * s.stage[j, q]
        dense_2[q] = second
        dense_3[q] = third
