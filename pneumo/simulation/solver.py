"""One step of RODASP: an L-stable, stiffly accurate Rosenbrock method of order 4(3).

Hairer & Wanner, *Solving Ordinary Differential Equations II*, section IV.7, with the coefficients
of Steinebach (1995), made for right-hand sides that depend on time: a small volume follows a valve
that is being opened. From memory, confirmed by the measured order of convergence
(``tests/simulation``). Stages:
(I/(gamma h) - J) k_i = f(y + sum a_ij k_j, t + alpha_i h) + sum (c_ij / h) k_j + h d_i df/dt.

A step is made for one part of the network. Cells outside it that it touches are ahead of it: their
states are known functions of time, the continuous output of their own last step.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from pneumo.network.network import Network
from pneumo.simulation.balance import balances, gas_state, ledger_slope, rates, slopes
from pneumo.simulation.grip import take_grips
from pneumo.simulation.jit import inlined
from pneumo.simulation.linear import factor, solve
from pneumo.simulation.part import CELLS, FOREIGN, Part
from pneumo.simulation.position import (
    END,
    LENGTH,
    START,
    Position,
    dense_rate,
    known,
    theta_at,
)

Array = Any

GAMMA = 0.25
STAGES = 6

A = np.array(
    [
        [0.0, 0.0, 0.0, 0.0, 0.0],
        [3.0, 0.0, 0.0, 0.0, 0.0],
        [1.831036793486759, 0.4955183967433795, 0.0, 0.0, 0.0],
        [2.304376582692669, -0.05249275245743001, -1.176798761832782, 0.0, 0.0],
        [-7.170454962423024, -4.741636671481785, -16.31002631330971, -1.062004044111401, 0.0],
        [-7.170454962423024, -4.741636671481785, -16.31002631330971, -1.062004044111401, 1.0],
    ]
)
C = np.array(
    [
        [0.0, 0.0, 0.0, 0.0, 0.0],
        [-12.0, 0.0, 0.0, 0.0, 0.0],
        [-8.791795173947035, -2.207865586973518, 0.0, 0.0, 0.0],
        [10.81793056857153, 6.780270611428266, 19.53485944642410, 0.0, 0.0],
        [34.19095006749676, 15.49671153725963, 54.74760875964130, 14.16005392148534, 0.0],
        [
            34.62605830930532,
            15.30084976114473,
            56.99955578662667,
            18.40807009793095,
            -5.714285714285717,
        ],
    ]
)
ALPHA = np.array([0.0, 0.75, 0.21, 0.63, 1.0, 1.0])
TIME_SHARE = np.array([0.25, -0.5, -0.023504, -0.0362, 0.0, 0.0])
DENSE = np.array(
    [
        [
            25.09876703708589,
            11.62013104361867,
            28.49148307714626,
            -5.664021568594133,
            0.0,
        ],
        [
            1.638054557396973,
            -0.7373619806678748,
            8.477918219238990,
            15.99253148779520,
            -1.882352941176471,
        ],
    ]
)


class Scratch(NamedTuple):
    """Arrays a step works in; what they hold between two steps means nothing."""

    base: Array  # (nstate,) the part's states at the start of the step, and the foreign ones
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
    near: Array  # (nrestriction,) 1/sqrt(f) of a pipe at the start of the step; 0: not known
    flow: Array  # (nrestriction,) flow at a stage [kg/s]
    carry: Array  # (nrestriction,) temperature carried there [K]
    by_time: Array  # (nstate,)
    stage: Array  # (STAGES, nstate) the k_i
    state: Array  # (nstate,) argument of a stage
    rate: Array  # (nstate,)
    line: Array  # (main,)
    extra: Array  # (nstate,)
    y_new: Array  # (nstate,) result of the step
    error: Array  # (ncell,) estimated error of each cell in multiples of the tolerance


def make_scratch(network: Network) -> Scratch:
    """Scratch arrays for a network."""
    size = int(network.ledger[-1])
    nodes = network.node.shape[0]
    fill = network.column.shape[0]
    paths = network.restriction.shape[0]
    s = Scratch(
        np.zeros(size),
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
        np.zeros((paths, 2, 11)),
        np.zeros(paths, dtype=np.bool_),
        np.zeros(paths),
        np.zeros(paths),
        np.zeros(paths),
        np.zeros(size),
        np.zeros((STAGES, size)),
        np.zeros(size),
        np.zeros(size),
        np.zeros(network.main),
        np.zeros(size),
        np.zeros(size),
        np.zeros(network.state.shape[0] - 1),
    )
    outside = network.node[network.dynamic :]
    for p, t, vol in ((s.start_p, s.start_t, s.start_vol), (s.p, s.t, s.vol)):
        p[network.dynamic :] = outside["pressure"]
        t[network.dynamic :] = outside["temperature"]
        vol[network.dynamic :] = 1.0
    return s


@inlined
def linearise(network: Network, part: Part, position: Position, time: float, s: Scratch) -> bool:
    """Rates, Jacobian and time slope of a part at the start of a step."""
    y, cells, foreign, drift = s.base, part.cells, part.foreign, part.drift
    y_end, y_old, y_new = position.y, position.y_old, position.y_new
    dense_2, dense_3, cell = position.dense_2, position.dense_3, position.cell
    first, ledger, state_cell = network.state, network.ledger, network.state_cell
    for i in range(part.count[CELLS]):
        c = cells[i]
        for q in range(first[c], first[c + 1]):
            y[q] = y_end[q]
        for q in range(ledger[c], ledger[c + 1]):
            y[q] = y_end[q]
    for i in range(part.count[FOREIGN]):
        q = foreign[i]
        c = state_cell[q]
        theta = theta_at(cell, c, time)
        y[q] = known(y_end, y_old, y_new, dense_2, dense_3, theta, q)
        drift[q] = 0.0
        if theta <= 1.0:
            drift[q] = dense_rate(y_old, y_new, dense_2, dense_3, theta, q) / cell[c, LENGTH]
    p, t, vol, area = s.start_p, s.start_t, s.start_vol, s.start_area
    if not gas_state(network, part, y, p, t, vol, area):
        return False
    take_grips(network, part, y, p)
    slopes(
        network,
        part,
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
        s.near,
        s.flow,
        s.carry,
    )
    balances(network, part, y, p, t, vol, area, s.flow, s.carry, s.start_rate)
    return True


@inlined
def attempt(
    network: Network,
    part: Part,
    position: Position,
    time: float,
    h: float,
    rtol: float,
    s: Scratch,
) -> bool:
    """Tries a step of length h of a part, after `linearise`; fills its main states of s.y_new.

    s.error gets the error of each cell, see `error_norms`. False: a stage ran into an impossible
    state.
    """
    cells = part.cells
    ncell = part.count[CELLS]
    first, ledger = network.state, network.ledger
    base, matrix, stage, state, rate = s.base, s.matrix, s.stage, s.state, s.rate
    row, column, place = network.row, network.column, network.diagonal
    by_time, start_rate, line, jacobian = s.by_time, s.start_rate, s.line, s.jacobian
    y_new = s.y_new
    foreign, state_cell, cell = part.foreign, network.state_cell, position.cell
    nforeign = part.count[FOREIGN]
    y_end, y_before, y_after = position.y, position.y_old, position.y_new
    dense_2, dense_3 = position.dense_2, position.dense_3
    diagonal = 1.0 / (GAMMA * h)
    for i in range(ncell):
        c = cells[i]
        for e in range(row[first[c]], row[first[c + 1]]):
            matrix[e] = -jacobian[e]
        for q in range(first[c], first[c + 1]):
            matrix[place[q]] += diagonal
    end = network.own if ncell == 1 else row[1:]
    factor(row, end, column, place, first, cells, ncell, matrix, line)
    for i in range(STAGES):
        k = stage[i]
        if i == 0:
            for m in range(ncell):
                c = cells[m]
                for q in range(first[c], first[c + 1]):
                    k[q] = start_rate[q]
                for q in range(ledger[c], ledger[c + 1]):
                    k[q] = start_rate[q]
        else:
            last = stage[i - 1]
            for m in range(ncell):
                c = cells[m]
                for q in range(first[c], first[c + 1]):
                    k[q] = 0.0
                for j in range(i):
                    b = C[i, j] / h
                    earlier = stage[j]
                    for q in range(first[c], first[c + 1]):
                        k[q] += b * earlier[q]
                if i == STAGES - 1:  # it begins where the one before it ended
                    for q in range(first[c], first[c + 1]):
                        state[q] += last[q]
                    continue
                for q in range(first[c], first[c + 1]):
                    state[q] = base[q]
                for j in range(i):
                    a = A[i, j]
                    earlier = stage[j]
                    for q in range(first[c], first[c + 1]):
                        state[q] += a * earlier[q]
            time_i = time + ALPHA[i] * h
            for m in range(nforeign):
                q = foreign[m]
                theta = theta_at(cell, state_cell[q], time_i)
                state[q] = known(y_end, y_before, y_after, dense_2, dense_3, theta, q)
            if not rates(
                network,
                part,
                state,
                time_i,
                s.p,
                s.t,
                s.vol,
                s.area,
                s.near,
                s.flow,
                s.carry,
                rate,
            ):
                return False
            for m in range(ncell):
                c = cells[m]
                for q in range(first[c], first[c + 1]):
                    k[q] += rate[q]
                for q in range(ledger[c], ledger[c + 1]):
                    k[q] = rate[q]
        share_i = h * TIME_SHARE[i]
        for m in range(ncell):
            c = cells[m]
            for q in range(first[c], first[c + 1]):
                k[q] += share_i * by_time[q]
            for q in range(ledger[c], ledger[c + 1]):
                k[q] += share_i * by_time[q]
        solve(row, end, column, place, first, cells, ncell, matrix, k)
    last = stage[5]
    for i in range(ncell):
        c = cells[i]
        for q in range(first[c], first[c + 1]):
            y_new[q] = state[q] + last[q]
    error_norms(network, part, base, last, rtol, s)
    return True


@inlined
def close_ledgers(network: Network, part: Part, h: float, s: Scratch) -> None:
    """Completes an accepted step by the ledgers, which nothing else depends on.

    `attempt` has left each stage's rates of these states in s.stage; here they become the k_i, by
    the same formula as for the main states, and give s.y_new.
    """
    ledger, cells, ncell = network.ledger, part.cells, part.count[CELLS]
    stage, extra, base, y_new = s.stage, s.extra, s.base, s.y_new
    for i in range(STAGES):
        k = stage[i]
        ledger_slope(
            network,
            part,
            s.base,
            s.start_p,
            s.start_t,
            s.start_vol,
            s.start_area,
            s.flow_slope,
            s.flowing,
            k,
            extra,
        )
        for m in range(ncell):
            c = cells[m]
            for q in range(ledger[c], ledger[c + 1]):
                k[q] += extra[q]
            for j in range(i):
                b = C[i, j] / h
                earlier = stage[j]
                for q in range(ledger[c], ledger[c + 1]):
                    k[q] += b * earlier[q]
            for q in range(ledger[c], ledger[c + 1]):
                k[q] *= GAMMA * h
    for m in range(ncell):
        c = cells[m]
        for q in range(ledger[c], ledger[c + 1]):
            total = base[q] + stage[5, q]
            for j in range(5):
                total += A[5, j] * stage[j, q]
            y_new[q] = total


@inlined
def error_norms(
    network: Network, part: Part, y: Array, error: Array, rtol: float, s: Scratch
) -> None:
    """Error of each cell in multiples of the tolerance, into s.error.

    The largest error / (rtol (scale + |y|)) of its states: an average would hide one that is alone
    in moving.
    """
    first, scale, cells = network.state, network.scale, part.cells
    y_new, norm = s.y_new, s.error
    for i in range(part.count[CELLS]):
        c = cells[i]
        worst = 0.0
        for q in range(first[c], first[c + 1]):
            size = scale[q] + max(abs(y[q]), abs(y_new[q]))
            share = abs(error[q]) / size
            worst = max(worst, share if np.isfinite(share) else np.inf)
        norm[c] = worst / rtol


@inlined
def keep_step(
    network: Network, position: Position, c: int, start: float, h: float, end: float, s: Scratch
) -> None:
    """Makes the step just tried the last step of a cell."""
    stage, base, result = s.stage, s.base, s.y_new
    y, y_old, y_new = position.y, position.y_old, position.y_new
    dense_2, dense_3 = position.dense_2, position.dense_3
    bounds, ledger = network.state, network.ledger
    for half in range(2):
        first = bounds[c] if half == 0 else ledger[c]
        last = bounds[c + 1] if half == 0 else ledger[c + 1]
        for q in range(first, last):
            dense_2[q] = 0.0
            dense_3[q] = 0.0
            y_old[q] = base[q]
            y_new[q] = result[q]
            y[q] = result[q]
        for j in range(5):
            second, third = DENSE[0, j], DENSE[1, j]
            k = stage[j]
            for q in range(first, last):
                dense_2[q] += second * k[q]
                dense_3[q] += third * k[q]
    position.cell[c, START] = start
    position.cell[c, LENGTH] = h
    position.cell[c, END] = end
