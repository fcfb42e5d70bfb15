"""Compiles every kernel that runs call, by running each on the smallest network there is."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from pneumo.network.network import (
    LAG,
    MOVER,
    NODE,
    RESTRICTION,
    SOURCE,
    SPOOL,
    STEM,
    WATCH,
    Array,
    Network,
)
from pneumo.simulation import cache
from pneumo.simulation.advance import advance, read_state, sample_all
from pneumo.simulation.event import excess_at
from pneumo.simulation.jit import remark, watched
from pneumo.simulation.locality import restart
from pneumo.simulation.look import look
from pneumo.simulation.part import make_part
from pneumo.simulation.position import NOW, new_position
from pneumo.simulation.replay import join_trajectory
from pneumo.simulation.solver import make_scratch


def prepare(report: Callable[[int, int], None], waiting: Callable[[], None]) -> str:
    """Sees to it that every kernel is kept, unless one that ran before has.

    Parameters
    ----------
    report
        Called whenever a kernel has been compiled: how many of how many there are.
    waiting
        Called when another process compiles them and this one waits for it.

    Returns
    -------
    What is to be said of the kernels, once they have been compiled; "" when nothing is.
    """
    with cache.alone("all", waiting):
        if cache.is_complete():
            return ""
        with watched(report):
            compile_kernels()
        cache.complete()
    return remark()


def compile_kernels() -> None:
    """Loads the kernels from the cache, or compiles them into it."""
    network = _smallest()
    position = new_position(network, _state(), 1e-5, 4)
    part, scratch = make_part(network), make_scratch(network)
    advance(network, position, part, scratch, 1e-3, 1e-3, 0.02, 1e-5, 1e3, np.zeros((4, 3)), 0.0,
            0.0, np.zeros((0, 6)))  # fmt: skip
    restart(network, position, scratch, np.ones(1, dtype=np.bool_), position.run[NOW], 1e-4)
    sample_all(network, position, 0.0, np.zeros((0, 6)))
    read_state(network, position, position.run[NOW], _state())
    excess_at(network, 0, position.y, False)
    join_trajectory(network, position)
    look(network, _state(), 0.0, np.zeros(2), np.zeros(2), np.zeros(0), np.zeros(0))


def _state() -> Array:
    return np.array([1e-3, 250.0, 0.0, 0.0, 0.0, 0.0])


def _smallest() -> Network:
    """One vessel and the atmosphere, nothing between them."""
    node = np.zeros(2, dtype=NODE)
    node["volume"], node["wall"], node["mover"] = 1e-3, 293.15, -1
    node["pressure"], node["temperature"] = 1e5, 293.15
    node["mass"], node["energy"] = [0, 0], [1, 1]
    watch = np.zeros(1, dtype=WATCH)
    watch["gain"], watch["on_at"], watch["off_at"] = 1.0, 1e9, 1e8
    slots = np.full((2, 2, 4), -1, dtype=np.int64)
    slots[0, 0, :2], slots[0, 1, :2] = [0, 1], [2, 3]
    return Network(
        node=node,
        restriction=np.zeros(0, dtype=RESTRICTION),
        mover=np.zeros(0, dtype=MOVER),
        stem=np.zeros(0, dtype=STEM),
        lag=np.zeros(0, dtype=LAG),
        source=np.zeros(0, dtype=SOURCE),
        spool=np.zeros(0, dtype=SPOOL),
        watch=watch,
        dynamic=1,
        main=2,
        heat=2,
        work=3,
        scale=np.array([1e-3, 250.0]),
        state=np.array([0, 2]),
        ledger=np.array([2, 6]),
        node_partition=np.array([0, -1]),
        state_partition=np.zeros(2, dtype=np.int64),
        watch_partition=np.zeros(1, dtype=np.int64),
        member=np.array([0, 0]),
        members=np.array([[0, 1], *[[1, 1]] * 6, [1, 2], [2, 2]]),
        border=np.zeros((0, 2), dtype=np.int64),
        loose=np.zeros(0, dtype=np.int64),
        row=np.array([0, 2, 4]),
        column=np.array([0, 1, 0, 1]),
        diagonal=np.array([0, 3]),
        own=np.array([2, 4]),
        slot_restriction=np.zeros((0, 4, 11), dtype=np.int64),
        column_restriction=np.zeros((0, 11), dtype=np.int64),
        slot_node=slots,
        slot_mover=np.zeros((0, 2, 6), dtype=np.int64),
        slot_stem=np.zeros((0, 4), dtype=np.int64),
        slot_lag=np.zeros((0, 4), dtype=np.int64),
    )
