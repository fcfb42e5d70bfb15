"""The same equations, handed to other solvers: right-hand side, Jacobian and outside events.

A run of ours is watched once. Between two instants at which something outside the plant acted (a
spool, a compressor, a fault) the network is constant: a *stretch*. A rival is given the stretches
and has no events to find. Its states are the main ones only, since the balances of the
surroundings follow from them.

The kernels are compiled to plain machine functions that read a network from an address, so that
no interpreter runs inside a rival's steps.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any, NamedTuple

import numba
import numpy as np
from numba.core import types
from numba.extending import intrinsic
from numpy.typing import NDArray

from pneumo.network.compile import Compiled
from pneumo.network.network import Network, copy_for_change
from pneumo.scenario.play import Play
from pneumo.simulation.balance import rates as part_rates
from pneumo.simulation.jacobian import slopes
from pneumo.simulation.jit import compiling
from pneumo.simulation.laws import Flows, Gas
from pneumo.simulation.part import Part, hold_all, make_part
from pneumo.simulation.solver import make_flows, make_gas

Array = NDArray[Any]

ROOM = 1 << 14
"""Bytes that the description of a network (addresses and sizes of its arrays) may take."""

SHORTEST = 1e-9
"""Shorter stretches are left out [s]."""


class Stretch(NamedTuple):
    """A time in which nothing outside the plant acts."""

    start: float
    end: float
    network: Network


class Problem(NamedTuple):
    """An initial value problem in stretches."""

    start: Array  # (main,) states at the start of the first stretch
    stretches: tuple[Stretch, ...]
    scale: Array  # (main,) size of each state, for absolute tolerances
    indptr: Array  # (main + 1,) Jacobian in compressed columns
    indices: Array  # (nnz,) row of each entry
    place: Array  # (nnz,) where the kernel's Jacobian has this entry
    size: int  # states of the kernel, the balances of the surroundings included


class Work(NamedTuple):
    """Arrays that an evaluation works in."""

    part: Part
    gas: Gas
    flows: Flows
    rate: Array
    jacobian: Array
    by_time: Array
    place: Array


class WatchedPlay(Play):
    """A play that notes the network at every instant at which something acted on the plant."""

    acts: list[tuple[float, Network]]

    def _take_turns(self) -> None:
        super()._take_turns()
        network = self.plant.network
        if not hasattr(self, "acts"):
            self.acts = []
        if not self.acts or _differ(self.acts[-1][1], network):
            self.acts.append((self.now, copy_for_change(network)))


def frictionless(compiled: Compiled) -> Compiled:
    """The same plant without dry friction, whose every stop and breakaway the other solvers would
    have to be told; changed in place."""
    compiled.network.mover["friction"] = compiled.network.mover["static"] = 0.0
    return compiled


def problem_of(play: WatchedPlay, start: Array, until: float) -> Problem:
    """The problem that a finished play has solved from its state at time zero on."""
    stretches: list[Stretch] = []
    begun, network = 0.0, play.acts[0][1]
    for moment, changed in play.acts:
        # two acts at what should be the same instant may be a rounding apart
        if moment - begun > SHORTEST and moment < until:
            stretches.append(Stretch(begun, moment, network))
            begun = moment
        if moment < until:
            network = changed
    stretches.append(Stretch(begun, until, network))
    return Problem(
        start,
        tuple(stretches),
        network.scale,
        *_pattern(stretches),
        len(play.plant.samples.rows[0]),
    )


def _differ(a: Network, b: Network) -> bool:
    tables = ("source", "restriction", "node", "mover", "stem", "lag")
    moves = ("position", "rate", "since", "until")
    return any(getattr(a, name).tobytes() != getattr(b, name).tobytes() for name in tables) or any(
        (a.spool[name] != b.spool[name]).any() for name in moves
    )


def _pattern(stretches: list[Stretch]) -> tuple[Array, Array, Array]:
    """Entries of the Jacobian that can differ from zero, without those that elimination fills."""
    network = stretches[0].network
    main = network.main
    used = np.zeros(len(network.column), dtype=bool)
    used[network.diagonal] = True
    for stretch in stretches:
        for name in ("restriction", "node", "mover", "stem", "lag"):
            slots = getattr(stretch.network, f"slot_{name}")
            used[slots[slots >= 0]] = True
    rows = np.repeat(np.arange(main), np.diff(network.row))
    place = np.flatnonzero(used)
    place = place[np.lexsort((rows[place], network.column[place]))]
    count = np.bincount(network.column[place], minlength=main)
    indptr = np.concatenate(([0], np.cumsum(count)))
    return indptr.astype(np.int32), rows[place].astype(np.int32), place


@numba.njit(error_model="numpy")
def prepare(network: Any, work: Any, time: float) -> None:
    """What stays the same within a stretch."""
    hold_all(network, time, work.part)
    work.part.grip[:] = 1.0  # nothing is held, see `frictionless`


@numba.njit(error_model="numpy")
def rates(network: Any, work: Any, y: Array, time: float) -> bool:
    """dy/dt into work.rate; False: an impossible state. Knows the kernel's signature."""
    return part_rates(network, work.part, y, time, work.gas, work.flows, work.rate)


@numba.njit(error_model="numpy")
def jacobian(network: Any, work: Any, y: Array, time: float) -> bool:
    """Jacobian into work.jacobian, as the kernel lays it out. Knows the kernel's signature."""
    if not rates(network, work, y, time):
        return False
    slopes(network, work.part, y, time, work.gas, work.flows, work.jacobian, work.by_time)
    return True


def make_work(problem: Problem) -> Work:
    """Arrays for the evaluations of a problem."""
    network = problem.stretches[0].network
    return Work(
        make_part(network),
        make_gas(network),
        make_flows(network),
        np.zeros(problem.size),
        np.zeros(len(network.column)),
        np.zeros(problem.size),
        problem.place,
    )


class Machine(NamedTuple):
    """Compiled functions that find network and work at an address."""

    put: Callable[..., None]  # (address, (network, work)): describes and holds them there
    drop: Callable[..., None]  # (address): lets go of what is held there
    rates: Callable[..., bool]  # (address, time, y's address, dy/dt's address, main)
    jacobian: Callable[..., bool]  # (address, time, y's address, entries' address, main)


class Equations:
    """Right-hand side and Jacobian of a problem, one stretch at a time."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.size = len(problem.start)
        self._work = make_work(problem)
        self._room = np.zeros(ROOM, dtype=np.uint8)
        self._networks = [stretch.network._replace(main=self.size) for stretch in problem.stretches]
        self.address: int = self._room.ctypes.data
        self._held = False
        self.machine = machine(numba.typeof((self._networks[0], self._work)))

    def enter(self, number: int) -> None:
        """From now on the equations are those of a stretch."""
        network = self._networks[number]
        prepare(network, self._work, self.problem.stretches[number].start)
        if self._held:
            self.machine.drop(self.address)
        self.machine.put(self.address, (network, self._work))
        self._held = True

    def rates(self, time: float, y: Array) -> Array:
        """dy/dt, nan at an impossible state."""
        out = np.empty(self.size)
        y = np.ascontiguousarray(y)
        if not self.machine.rates(self.address, time, _at(y), _at(out), self.size):
            out[:] = np.nan
        return out

    def entries(self, time: float, y: Array) -> Array:
        """The Jacobian's entries in compressed columns."""
        out = np.empty(len(self.problem.place))
        y = np.ascontiguousarray(y)
        if not self.machine.jacobian(self.address, time, _at(y), _at(out), self.size):
            out[:] = np.nan
        return out


def _at(array: Array) -> int:
    return int(array.__array_interface__["data"][0])


@intrinsic
def _store(typing: Any, address: Any, value: Any) -> Any:
    """Writes the description of a value (not its arrays) at an address, and holds the arrays."""

    def code(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        kind = context.get_value_type(value)
        if context.get_abi_sizeof(kind) > ROOM:
            raise ValueError("the room for the description of a network is too small")
        context.nrt.incref(builder, value, arguments[1])
        builder.store(arguments[1], builder.inttoptr(arguments[0], kind.as_pointer()))
        return context.get_dummy_value()

    return types.void(address, value), code


def _pointer(kind: Any) -> Any:
    @intrinsic
    def pointer(typing: Any, address: Any) -> Any:
        def code(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
            return builder.inttoptr(arguments[0], context.get_value_type(signature.return_type))

        return types.CPointer(kind)(address), code

    return pointer


as_doubles, as_integers = _pointer(types.float64), _pointer(types.int32)
"""Pointers from an address."""


@lru_cache(maxsize=2)
@compiling()
def machine(kind: Any) -> Machine:
    """Functions for networks and work arrays of a numba type; the same for every circuit."""

    def loader(*, shared: bool) -> Any:
        @intrinsic
        def load(typing: Any, address: Any) -> Any:
            def code(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
                pointer = context.get_value_type(kind).as_pointer()
                value = builder.load(builder.inttoptr(arguments[0], pointer))
                if shared:
                    context.nrt.incref(builder, kind, value)
                return value

            return kind(address), code

        return load

    load, take = loader(shared=True), loader(shared=False)

    @numba.njit(types.void(types.intp, kind))
    def put(address: int, value: Any) -> None:
        _store(address, value)

    @numba.njit(types.void(types.intp))
    def drop(address: int) -> None:
        take(address)

    at = types.intp

    @numba.njit(types.boolean(at, types.float64, at, at, types.int64), error_model="numpy")
    def rates_at(address: int, time: float, y_at: int, out_at: int, size: int) -> bool:
        network, work = load(address)
        y = numba.carray(as_doubles(y_at), (size,))
        out = numba.carray(as_doubles(out_at), (size,))
        if not rates(network, work, y, time):
            return False
        for q in range(size):
            out[q] = work.rate[q]
        return True

    @numba.njit(types.boolean(at, types.float64, at, at, types.int64), error_model="numpy")
    def jacobian_at(address: int, time: float, y_at: int, out_at: int, size: int) -> bool:
        network, work = load(address)
        y = numba.carray(as_doubles(y_at), (size,))
        out = numba.carray(as_doubles(out_at), (work.place.shape[0],))
        if not jacobian(network, work, y, time):
            return False
        for e in range(work.place.shape[0]):
            out[e] = work.jacobian[work.place[e]]
        return True

    return Machine(put, drop, rates_at, jacobian_at)
