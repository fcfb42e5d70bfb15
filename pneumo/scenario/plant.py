"""The plant of a run: its network and states, and the only door to the kernels."""

from __future__ import annotations

import copy
from collections.abc import Iterable
from typing import Any

import numpy as np

from pneumo.errors import UnfinishedError
from pneumo.network.compile import Compiled
from pneumo.network.network import Array, Network, copy_for_change
from pneumo.scenario.controls import Controls
from pneumo.scenario.event import Happening
from pneumo.scenario.log import Log
from pneumo.scenario.pressure import node_pressure
from pneumo.scenario.samples import Samples
from pneumo.scenario.trouble import place_of
from pneumo.simulation.advance import (
    FAILED,
    FULL,
    STALLED,
    STRETCH,
    advance,
    read_state,
)
from pneumo.simulation.event import excess_at
from pneumo.simulation.locality import restart
from pneumo.simulation.part import make_part
from pneumo.simulation.position import (
    ACCEPTED,
    END,
    FOUND,
    NOW,
    RECORDING,
    REJECTED,
    STEP,
    Position,
    copied,
    new_position,
)
from pneumo.simulation.solver import make_scratch

RTOL = 3e-5
"""Relative tolerance of a step [-]; see DEVELOPERS.md for the accuracy it gives."""

RESTART_STEP = 2e-4
"""First step after something outside the plant has acted [s]."""

MOST_STEPS = 20_000
"""Steps tried within `STRETCH`, for each partition, before a run counts as stalled: a movement of
the fastest valve takes some dozens."""

MOST_CROSSINGS, CROSSINGS_OF_A_WATCH = 4096, 32
"""Crossings one call of the kernel may report: at least, and for each watch of a large ride."""


class SimulationError(UnfinishedError):
    """The integration could not go on; a defect of pneumo or a circuit outside its model."""


class StalledError(SimulationError):
    """The run went on without coming any further in simulated time."""


class Plant:
    """A network with its states at an instant, what is set from outside, and what has happened.

    Whoever changes a row of the network says so with `restart`: spools, supplies, and for all else
    `faults`, which builds it anew from what stands and what `controls` hold.

    Parameters
    ----------
    compiled
        The circuit.
    rtol
        Relative tolerance of a step.
    """

    def __init__(self, compiled: Compiled, rtol: float = RTOL) -> None:
        self.compiled = compiled
        self.rtol = rtol
        self.most_steps = MOST_STEPS
        self.network: Any = copy_for_change(compiled.network)
        """Its rows as they stand, faults injected."""
        watches = len(compiled.network.watch)
        self.room = max(MOST_CROSSINGS, CROSSINGS_OF_A_WATCH * watches)
        self.position: Position = new_position(compiled.network, compiled.start, rtol, self.room)
        self.on = np.zeros(watches, dtype=np.bool_)
        """What every watch says, as far as its crossings were handed out."""
        self.samples = Samples(rows=np.zeros((0, len(compiled.start))))
        self.controls = Controls.of(compiled)
        self.log = Log()
        self._restarted = np.zeros(len(self.position.partition), dtype=np.bool_)
        self._make_room()

    def _make_room(self) -> None:
        self._part, self._scratch = make_part(self.network), make_scratch(self.network)
        self._buffer: Array = np.zeros((self.room, 3))

    # what can be read

    @property
    def now(self) -> float:
        """Time the plant has come to [s]."""
        return float(self.position.run[NOW])

    @property
    def steps(self) -> tuple[int, int]:
        """Steps accepted and rejected so far."""
        run = self.position.run
        return int(run[ACCEPTED]), int(run[REJECTED])

    def state(self) -> Array:
        """States of the whole plant now [SI], see `Network` for the layout."""
        out: Array = np.empty_like(self.position.y)
        read_state(self.network, self.position, self.now, out)
        return out

    def pressure(self, node: int) -> float:
        """Pressure of a node now [Pa absolute]."""
        return float(node_pressure(self.network, self.state()[None, :], node)[0])

    # moving on

    def integrate(self, stop: float, until: float, scan: float) -> list[tuple[float, int, bool]]:
        """Goes on to `stop`, but not beyond the step that passes `until`; less far when a watch
        crosses before. `scan`: the controller's period, whose ticks are met [s].

        Returns (time, watch, on) of every crossing, in order of time.

        Raises
        ------
        SimulationError
            When no step is short enough; a `StalledError` when the plant comes no further.
        """
        most = self.most_steps * len(self.position.partition)
        status, count = advance(
            self.network,
            self.position,
            self._part,
            self._scratch,
            stop,
            until,
            scan,
            self.rtol,
            most,
            self._buffer,
            self.samples.step,
            self.samples.first,
            self.samples.rows,
        )
        if status == FAILED:
            raise SimulationError(f"{self._stopped_at()}: no step is short enough.")
        if status == STALLED:
            raise StalledError(
                f"{self._stopped_at()}: {most} steps together covered less than "
                f"{STRETCH * 1e3:g} ms."
            )
        if status == FULL:
            raise SimulationError(f"More than {self.room} switching points in one stretch.")
        found = self._buffer[:count].tolist()
        crossings = [(time, int(watch), bool(on)) for time, watch, on in found]
        self.log.crossings += crossings
        for _, watch, on in crossings:
            self.on[watch] = on
        return crossings

    def _stopped_at(self) -> str:
        place = place_of(self.compiled, self.position, self._scratch)
        near = f" near {place}" if place else ""
        return f"The integration stopped at {self.position.partition[:, END].min():.6f} s{near}"

    def restart(self, partitions: Iterable[int]) -> None:
        """Something outside acts on these partitions now: they go on from a fresh, short step."""
        self._restarted[:] = False
        self._restarted[list(partitions)] = True
        restart(self.network, self.position, self._scratch, self._restarted, self.now, RESTART_STEP)

    def say(self, subject: str, what: Happening) -> None:
        """Tells what happens now."""
        self.log.say(self.now, subject, what)

    def record(self, step: float, until: float) -> None:
        """From now on records the states on a grid of `step` [s] until a time [s]."""
        self.samples = Samples.begun(self.network, self.position, step, until)

    # copies

    def snapshot(self) -> Plant:
        """An independent copy that goes on from here exactly; shares what never changes."""
        new = copy.copy(self)
        new.controls, new.log = self.controls.copy(), self.log.copy()
        new.position = _roomy(copied(self.position), self.room)
        new.position.run[RECORDING] = 0.0
        new.network = copy_for_change(self.network)
        new.samples = self.samples.copy()
        new.on = self.on.copy()
        new._restarted = self._restarted.copy()
        new._make_room()
        return new

    def put_away(self, of: Plant, before: Plant | None) -> None:
        """Gives up the room to work in: from now on this one only gives snapshots. It shares what
        happened with the one it is a copy of, and what is alike with one put away before."""
        self.log.put_away(of.log)
        del self._part, self._scratch, self._buffer
        ahead = int(self.position.run[FOUND])
        self.position = self.position._replace(found=self.position.found[:ahead].copy())
        if before is not None:
            self.network = _shared(self.network, before.network)

    # the beginning

    def begin_at_rest(self, duration: float, on: Iterable[int]) -> None:
        """Puts the clock before time zero, by so much [s], and asks every watch anew; those of
        `on` are taken to be ON."""
        self.position.run[NOW] = -duration
        self.position.partition[:, END] = -duration
        self.position.partition[:, STEP] = RESTART_STEP
        for w in range(len(self.network.watch)):
            self.on[w] = excess_at(self.network, w, self.position.y, False) >= 0.0
        self.on[list(on)] = True
        self.position.on[:] = self.on

    def begin_time(self) -> None:
        """Time zero: the plant starts from where it has come to rest."""
        self.restart(range(len(self.position.partition)))
        read_state(self.network, self.position, 0.0, self.position.y)
        self.position.run[ACCEPTED] = self.position.run[REJECTED] = 0.0
        on = self.position.on
        for w in range(len(self.network.watch)):
            # a crossing that is under way when time starts is taken as done
            if excess_at(self.network, w, self.position.y, bool(on[w])) >= 0.0:
                on[w] = not on[w]
        self.on[:] = on
        self.log.clear()
        self.log.crossings += [(0.0, w, bool(each)) for w, each in enumerate(on)]
        self.controls.changed = True


def _roomy(position: Position, most: int) -> Position:
    """The same position with room for the crossings of a call of the kernel."""
    found = position.found
    if len(found) == most:
        return position
    room = np.zeros((most, 3))
    room[: len(found)] = found
    return position._replace(found=room)


def _shared(network: Network, other: Network) -> Network:
    """The same network, with the tables of another one in place of those that are equal."""
    ours, theirs = network._asdict(), other._asdict()
    return network._replace(
        **{
            name: theirs[name]
            for name, table in ours.items()
            if np.array_equal(table, theirs[name])
        }
    )
