"""One step of RODASP: an L-stable, stiffly accurate Rosenbrock method of order 4(3).

Hairer & Wanner, *Solving Ordinary Differential Equations II*, section IV.7, with the coefficients
of Steinebach (1995), made for right-hand sides that depend on time: a small volume follows a valve
that is being opened. From memory, confirmed by the measured order of convergence
(``tests/simulation``). Stages:
(I/(gamma h) - J) k_i = f(y + sum a_ij k_j, t + alpha_i h) + sum (c_ij / h) k_j + h d_i df/dt.

A step is made for one part of the network. Partitions outside it that it touches are ahead of it:
their states are known functions of time, the continuous output of their own last step.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pneumo.network.network import Floats, Network
from pneumo.simulation.balance import balances, gas_state, rates
from pneumo.simulation.grip import take_grips
from pneumo.simulation.jacobian import BY_TIME, ledger_slope, slopes
from pneumo.simulation.jit import inlined
from pneumo.simulation.laws import Flows, Gas
from pneumo.simulation.linear import Rows, factor, solve
from pneumo.simulation.part import FOREIGN, PARTITIONS, Part
from pneumo.simulation.position import (
    END,
    LENGTH,
    START,
    Position,
    dense_rate,
    known,
    theta_at,
)

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

    base: Floats  # (nstate,) the part's states at the start of the step, and the foreign ones
    start: Gas  # at the start of the step
    start_rate: Floats  # (nstate,) rates there
    gas: Gas  # at a stage
    flows: Flows  # at a stage
    jacobian: Floats  # (nfill,)
    matrix: Floats  # (nfill,)
    by_time: Floats  # (nstate,)
    stage: Floats  # (STAGES, nstate) the k_i
    state: Floats  # (nstate,) argument of a stage
    rate: Floats  # (nstate,)
    line: Floats  # (main,)
    extra: Floats  # (nstate,)
    y_new: Floats  # (nstate,) result of the step
    error: Floats  # (npartition,) estimated error of each partition in multiples of the tolerance


def make_scratch(network: Network) -> Scratch:
    """Scratch arrays for a network."""
    size, fill = int(network.ledger[-1]), len(network.column)
    return Scratch(
        base=np.zeros(size),
        start=make_gas(network),
        start_rate=np.zeros(size),
        gas=make_gas(network),
        flows=make_flows(network),
        jacobian=np.zeros(fill),
        matrix=np.zeros(fill),
        by_time=np.zeros(size),
        stage=np.zeros((STAGES, size)),
        state=np.zeros(size),
        rate=np.zeros(size),
        line=np.zeros(network.main),
        extra=np.zeros(size),
        y_new=np.zeros(size),
        error=np.zeros(len(network.state) - 1),
    )


def make_gas(network: Network) -> Gas:
    """Room for the air in every node, boundary nodes filled in."""
    gas = Gas(*(np.zeros(len(network.node)) for _ in Gas._fields))
    outside = network.node[network.dynamic :]
    gas.p[network.dynamic :] = outside["pressure"]
    gas.t[network.dynamic :] = outside["temperature"]
    gas.vol[network.dynamic :] = 1.0
    return gas


def make_flows(network: Network) -> Flows:
    """Room for what passes through every path."""
    paths = len(network.restriction)
    return Flows(
        flow=np.zeros(paths),
        carry=np.zeros(paths),
        near=np.zeros(paths),
        flowing=np.zeros(paths, dtype=np.bool_),
        slope=np.zeros((paths, 2, BY_TIME + 1)),
    )


@inlined
def linearise(network: Network, part: Part, position: Position, time: float, s: Scratch) -> bool:
    """Rates, Jacobian and time slope of a part at the start of a step."""
    y, partitions, first, ledger = s.base, part.partitions, part.first, part.ledger
    y_end, partition, drift = position.y, position.partition, part.drift
    for i in range(part.counts[PARTITIONS]):
        c = partitions[i]
        for q in range(first[c], first[c + 1]):
            y[q] = y_end[q]
        for q in range(ledger[c], ledger[c + 1]):
            y[q] = y_end[q]
    for i in range(part.counts[FOREIGN]):
        q = part.foreign[i]
        c = network.state_partition[q]
        theta = theta_at(partition, c, time)
        y[q] = known(position, theta, q)
        drift[q] = 0.0
        if theta <= 1.0:
            drift[q] = dense_rate(position, theta, q) / partition[c, LENGTH]
    if not gas_state(network, part, y, s.start):
        return False
    take_grips(network, part, y, s.start.p)
    slopes(network, part, y, time, s.start, s.flows, s.jacobian, s.by_time)
    balances(network, part, y, s.start, s.flows, s.start_rate)
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

    s.error gets the error of each partition, see `error_norms`. False: a stage ran into an
    impossible state.
    """
    number = part.counts[PARTITIONS]
    end = network.own if number == 1 else network.row[1:]
    rows = Rows(
        network.row, end, network.column, network.diagonal, network.state, part.partitions, number
    )
    fill_matrix(rows, h, s.jacobian, s.matrix)
    factor(rows, s.matrix, s.line)
    for i in range(STAGES):
        rate = s.start_rate
        combine_stages(part, i, h, s.base, s.stage, s.state)
        if i > 0:
            rate, moment = s.rate, time + ALPHA[i] * h
            follow_neighbours(network, part, position, moment, s.state)
            if not rates(network, part, s.state, moment, s.gas, s.flows, rate):
                return False
        add_rates(part, rate, h * TIME_SHARE[i], s.by_time, s.stage[i])
        solve(rows, s.matrix, s.stage[i])
    finish_stages(part, s.state, s.stage[5], s.y_new)
    error_norms(part, network.scale, s.base, s.y_new, s.stage[5], rtol, s.error)
    return True


@inlined
def fill_matrix(rows: Rows, h: float, jacobian: Floats, matrix: Floats) -> None:
    """I / (gamma h) - J."""
    row, first, partitions, place = rows.row, rows.first, rows.partitions, rows.diagonal
    share = 1.0 / (GAMMA * h)
    for i in range(rows.number):
        c = partitions[i]
        for e in range(row[first[c]], row[first[c + 1]]):
            matrix[e] = -jacobian[e]
        for q in range(first[c], first[c + 1]):
            matrix[place[q]] += share


@inlined
def combine_stages(
    part: Part, i: int, h: float, base: Floats, stage: Floats, state: Floats
) -> None:
    """What stage i takes over from those before: sum c_ij k_j / h in its k, and its state."""
    first, partitions = part.first, part.partitions
    k, last = stage[i], stage[STAGES - 2]
    for m in range(part.counts[PARTITIONS]):
        c = partitions[m]
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


@inlined
def follow_neighbours(
    network: Network, part: Part, position: Position, time: float, state: Floats
) -> None:
    """Fills the states outside the part that it depends on, at a time."""
    foreign, partition, state_partition = part.foreign, position.partition, network.state_partition
    for m in range(part.counts[FOREIGN]):
        q = foreign[m]
        state[q] = known(position, theta_at(partition, state_partition[q], time), q)


@inlined
def add_rates(part: Part, rate: Floats, share: float, by_time: Floats, k: Floats) -> None:
    """Adds the rates at a stage and a share of df/dt; `close_ledgers` completes the ledgers."""
    first, ledger, partitions = part.first, part.ledger, part.partitions
    for m in range(part.counts[PARTITIONS]):
        c = partitions[m]
        for q in range(first[c], first[c + 1]):
            k[q] = k[q] + rate[q] + share * by_time[q]
        for q in range(ledger[c], ledger[c + 1]):
            k[q] = rate[q] + share * by_time[q]


@inlined
def finish_stages(part: Part, state: Floats, last: Floats, y_new: Floats) -> None:
    """The result of the step: the method is stiffly accurate, so that the last stage ends it."""
    first, partitions = part.first, part.partitions
    for i in range(part.counts[PARTITIONS]):
        c = partitions[i]
        for q in range(first[c], first[c + 1]):
            y_new[q] = state[q] + last[q]


@inlined
def close_ledgers(network: Network, part: Part, h: float, s: Scratch) -> None:
    """Completes an accepted step by the ledgers, which nothing else depends on.

    `attempt` has left each stage's rates of these states in s.stage; here they become the k_i, by
    the same formula as for the main states, and give s.y_new.
    """
    ledger, partitions, npartition = network.ledger, part.partitions, part.counts[PARTITIONS]
    stage, extra, base, y_new = s.stage, s.extra, s.base, s.y_new
    for i in range(STAGES):
        k = stage[i]
        ledger_slope(network, part, s.base, s.start, s.flows, k, extra)
        for m in range(npartition):
            c = partitions[m]
            for q in range(ledger[c], ledger[c + 1]):
                k[q] += extra[q]
            for j in range(i):
                b = C[i, j] / h
                earlier = stage[j]
                for q in range(ledger[c], ledger[c + 1]):
                    k[q] += b * earlier[q]
            for q in range(ledger[c], ledger[c + 1]):
                k[q] *= GAMMA * h
    for m in range(npartition):
        c = partitions[m]
        for q in range(ledger[c], ledger[c + 1]):
            total = base[q] + stage[5, q]
            for j in range(5):
                total += A[5, j] * stage[j, q]
            y_new[q] = total


@inlined
def error_norms(
    part: Part, scale: Floats, y: Floats, y_new: Floats, error: Floats, rtol: float, norm: Floats
) -> None:
    """Error of each partition in multiples of the tolerance.

    The largest error / (rtol (scale + |y|)) of its states: an average would hide one that is alone
    in moving.
    """
    first, partitions = part.first, part.partitions
    for i in range(part.counts[PARTITIONS]):
        c = partitions[i]
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
    """Makes the step just tried the last step of a partition."""
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
    position.partition[c, START] = start
    position.partition[c, LENGTH] = h
    position.partition[c, END] = end
