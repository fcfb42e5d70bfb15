"""A second plant in plain Python that stands in for `pneumo.scenario.plant.Plant` in a `Play`.

It shares the rows of the network with pneumo, which faults, hands and actors change, and none of
its kernels: laws (`plain_laws`), rates and slopes (`plain_equations`), method, friction, events are
written anew. It takes one step for the whole ride, is good for about 1 % and a few milliseconds,
and needs about as long as it simulates. What it is for: readings from a ride that is not to the
last digit the one that is reasoned with. `deviated` makes such a ride, whose walls, friction, areas
and restrictions are others.

Method: Rodas3, linearly implicit, L-stable, order 3(2) (Sandu et al., "Benchmarking stiff ODE
solvers for atmospheric chemistry problems II", Atmospheric Environment 31 (1997), coefficients from
memory; its order is tested).
"""

from __future__ import annotations

import copy
import sys
from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import ceil, inf
from pathlib import Path
from typing import Any

sys.path.append(str(Path(__file__).parent))

import numpy as np
from plain_equations import Equations
from plain_laws import Array
from scipy.sparse.linalg import splu

from pneumo.network.compile import Compiled
from pneumo.network.network import ACTING, SENSED, chamber, copy_for_change
from pneumo.scenario.controls import Controls
from pneumo.scenario.log import Log
from pneumo.scenario.plant import Plant, SimulationError, StalledError
from pneumo.scenario.play import Play
from pneumo.scenario.samples import Samples

TOLERANCE = 1e-3
"""Error of a step, relative to each pressure [-]."""

TRAVEL, SPEED, STEM = 2e-2, 20.0, 300.0
"""Errors of travel [m], speed [m/s] and stem [-] that count as much as all of a pressure."""

FIRST_STEP, LONGEST_STEP, SHORTEST_STEP = 2e-4, 5.0, 1e-9

MOST_STEPS, STRETCH = 2000, 1e-3
"""Steps within so much simulated time [s] before a run counts as stalled."""

STILL = 1e-6
"""Speed below which a mover is at rest [m/s]."""

LATE = 5e-4
"""A mover may be found to break away so much later than it does [s], or"""

UNMOVED = 2e-5
"""at any time before it would have gone so far against its springs and contacts [m]: at rest on a
contact it slips all the time while the pressure still creeps."""

GAMMA = 0.5
STAGES = (
    (0.0, (), (), 0.5),
    (0.0, (), (4.0,), 1.5),
    (1.0, (2.0, 0.0), (1.0, -1.0), 0.0),
    (1.0, (2.0, 0.0, 1.0), (1.0, -1.0, -8.0 / 3.0), 0.0),
)
"""Of each stage: its time, what of the increments before it goes into its state (nothing: the rates
are those of the start), what of them per step into its right-hand side, share of df/dt."""


@dataclass(frozen=True)
class Deviations:
    """Factors on rows of a network: numbers for all, or one for each row."""

    heat: Any = 1.0
    """On the conductance of every node's wall."""
    friction: Any = 1.0
    """On sliding and static friction of every mover."""
    area: Any = 1.0
    """On the effective areas of every mover's chambers."""
    conductance: Any = 1.0
    """On the conductance of every restriction; of a line it is the bore whose fifth half power the
    flow goes with."""

    @staticmethod
    def drawn(compiled: Compiled, seed: int, spread: float = 0.1) -> Deviations:
        """Each factor by itself, evenly within 1 - spread .. 1 + spread."""
        random, network = np.random.default_rng(seed), compiled.network
        tables = (network.node, network.mover, network.mover, network.restriction)
        return Deviations(*(random.uniform(1.0 - spread, 1.0 + spread, len(t)) for t in tables))


def deviated(compiled: Compiled, by: Deviations) -> Compiled:
    """A ride with other numbers, whatever plant it is played on: faults, hands and instruments then
    find these, too."""
    network = copy_for_change(compiled.network)
    _keep_dead_volumes(network, by)
    network.node["heat"] *= by.heat
    for name in ("friction", "static"):
        network.mover[name] *= by.friction
    for name in ("area_0", "slope_0", "area_1", "slope_1"):
        network.mover[name] *= by.area
    network.mover["bend"] *= np.reshape(by.area, (-1, 1))
    row = network.restriction
    row["conductance"] *= np.where(row["law"] == 0, by.conductance, np.power(by.conductance, 0.4))
    return replace(compiled, network=network)


def _keep_dead_volumes(network: Any, by: Deviations) -> None:
    """A chamber that a mover empties keeps what is left in it at the end of the way, whatever its
    area: with more of it, it holds more at the beginning."""
    factor = np.broadcast_to(by.area, len(network.mover))
    for node in network.node[: network.dynamic]:
        if node["mover"] >= 0:
            mover = network.mover.view(np.recarray)[node["mover"]]
            count, _, _, swept = chamber(mover, int(node["chamber"]), float(mover.high))
            node["volume"] += (factor[node["mover"]] - 1.0) * count * max(-swept, 0.0)


def plain_play(compiled: Compiled, *, tolerance: float = TOLERANCE) -> Play:
    """A run on this plant, from rest at time zero."""
    return Play(compiled, rtol=tolerance, plant=PlainPlant)


@dataclass
class _Place:
    """What others ask of `Plant.position`: how many partitions there are, and that none replays."""

    partition: Array
    replayed: Array


class PlainPlant(Plant):
    """The plant of a run, without the kernels. Its ledgers stay zero."""

    def __init__(self, compiled: Compiled, rtol: float = TOLERANCE) -> None:
        self.compiled, self.rtol = compiled, rtol
        self.network = copy_for_change(compiled.network)
        size = compiled.network.main
        watches = len(compiled.network.watch)
        partitions = len(compiled.network.state) - 1
        self.position: Any = _Place(np.zeros((partitions, 1)), np.full(1, -1))
        self.on = np.zeros(watches, dtype=np.bool_)
        self.samples = Samples(rows=np.zeros((0, len(compiled.start))))
        self.controls, self.log = Controls.of(compiled), Log()
        self._ledger = len(compiled.start) - size
        self._now = self._start = self._end = 0.0
        self._y = compiled.start[:size].copy()
        self._y_old = self._y
        self._jacobian: Array | None = None
        self._way = np.zeros(len(compiled.network.mover))
        self._step = FIRST_STEP
        self._says = self.on.copy()
        self._found: list[tuple[float, int, bool]] = []
        self._stale = True
        self._equations = Equations(self.network, 0.0)
        self._steps = [0, 0]
        self._mark = (-inf, 0)
        self.most_steps = MOST_STEPS

    @property
    def now(self) -> float:
        """Time the plant has come to [s]."""
        return self._now

    @property
    def steps(self) -> tuple[int, int]:
        """Steps accepted and rejected so far."""
        return self._steps[0], self._steps[1]

    def state(self) -> Array:
        """States of the whole plant now [SI], see `Network` for the layout."""
        return np.append(self._at(self._now), np.zeros(self._ledger))

    def _at(self, time: float) -> Array:
        """Main states at a time within the last step."""
        if time >= self._end:
            return self._y
        h = self._end - self._start
        return _between((time - self._start) / h, self._y_old, self._y, *self._slopes_at_ends(h))

    def _slopes_at_ends(self, h: float) -> tuple[Array, Array]:
        e = self._equations
        ends = ((self._start, self._y_old), (self._end, self._y))
        found = [e.rates(time, y, self._way) for time, y in ends]
        first, last = (np.zeros_like(self._y) if each is None else h * each for each in found)
        return first, last

    # moving on

    def integrate(self, stop: float, until: float, scan: float) -> list[tuple[float, int, bool]]:
        """See `Plant.integrate`."""
        while True:
            event = min((self._acts_at(*each, scan) for each in self._found), default=inf)
            horizon = min(stop, until, event)
            if self._end >= horizon:
                return self._handed_over(horizon)
            if self._stale:
                self._equations = Equations(self.network, self._end)
                self._stale = False
            self._go_on(min(stop, event))

    def _acts_at(self, moment: float, watch: int, on: bool, scan: float) -> float:
        """When a crossing lets something act [s]."""
        row = self.network.watch[watch]
        if row["role"] == ACTING:
            return max(moment, self._now)
        if row["role"] == SENSED:
            tick = ceil((moment + float(row["delay"])) / scan - 1e-9) * scan
            return max(tick, moment, self._now)
        return inf

    def _handed_over(self, horizon: float) -> list[tuple[float, int, bool]]:
        self._now = horizon
        crossings = [each for each in self._found if each[0] <= horizon]
        self._found = self._found[len(crossings) :]
        self.log.crossings += crossings
        for _, watch, on in crossings:
            self.on[watch] = on
        return crossings

    def restart(self, partitions: Iterable[int]) -> None:
        """See `Plant.restart`: what was computed beyond now is taken back."""
        if not list(partitions):
            return
        if self._end > self._now:
            for _, watch, on in self._found:
                self._says[watch] = not on
            self._found = []
            h = self._now - self._start
            # the step again, only shorter: exact, where a state in between is not
            after, error = self._tried(h) if h > SHORTEST_STEP else (self._y, inf)
            self._y = self._at(self._now) if error == inf else self._settled(h, after)
            self._end = self._now
        self._step = min(self._step, FIRST_STEP)
        self._stale = True

    def _go_on(self, stop: float) -> None:
        """One step of the whole plant, which ends at `stop` at the latest."""
        self._start, self._y_old = self._end, self._y
        self._jacobian = None
        self._must_come_on()
        self._take_ways()
        rest = stop - self._start
        h = min(self._step, LONGEST_STEP)
        cut, failed = h >= rest, False
        h = rest if cut else min(h, max(0.5 * rest, SHORTEST_STEP))
        while True:
            after, error = self._tried(h)
            if error <= 1.0:
                late = self._late(h, after)
                if late is None:
                    break
                h, cut = late, False
                continue
            self._steps[1] += 1
            h, cut, failed = h * max(0.2, 0.8 * error ** (-1 / 3)), False, True
            if h < SHORTEST_STEP:
                raise SimulationError(f"no step is short enough at {self._start:.6f} s")
        self._steps[0] += 1
        growth = min(1.0 if failed else 4.0, 0.85 * max(error, 1e-6) ** (-1 / 3))
        self._step = max(h * growth, self._step if cut else 0.0)
        self._end = stop if cut else self._start + h
        self._y = self._settled(h, after)
        self._look_for_crossings()
        self._fill_samples()

    def _must_come_on(self) -> None:
        """Stops a run that comes no further in simulated time."""
        if self._start > self._mark[0] + STRETCH:
            self._mark = self._start, self._steps[0]
        elif self._steps[0] > self._mark[1] + self.most_steps:
            raise StalledError(f"{self.most_steps} steps at {self._start:.6f} s")

    def _tried(self, h: float) -> tuple[Array, float]:
        """States after a step from the start of this one, and its error against what is allowed;
        infinity: a state in it is impossible."""
        e, time, y, way = self._equations, self._start, self._y_old, self._way
        if self._jacobian is None:
            self._linearise()
        with np.errstate(all="ignore"):  # what comes of an impossible state is refused
            solve = splu(e.pattern.shifted(self._jacobian, 1.0 / (GAMMA * h))).solve
            found: list[Array] = []
            rates: Array | None = self._first
            for at, before, per_step, drift in STAGES:
                if before:
                    inner = y + sum(a * k for a, k in zip(before, found, strict=True))
                    rates = e.rates(time + at * h, inner, way)
                    if rates is None:
                        return y, inf
                right = rates + drift * h * self._drift
                for c, k in zip(per_step, found, strict=True):
                    right = right + c / h * k
                found.append(solve(right))
            after = y + 2.0 * found[0] + found[2] + found[3]
            if not np.isfinite(after).all() or not e.possible(after, e.gas(after)):
                return y, inf
            return after, float(np.abs(found[3] / (self.rtol * self._allowed(y, after))).max())

    def _linearise(self) -> None:
        """Rates and slopes at the start of the step."""
        e, time, y, way = self._equations, self._start, self._y_old, self._way
        found = e.linearised(time, y, way)
        if found is None:
            raise SimulationError(f"an impossible state at {time:.6f} s")
        self._first, self._jacobian = found
        self._drift = np.zeros_like(self._first)
        if e.paths.moving:
            nudged: Any = e.rates(time + 1e-7, y, way)
            self._drift = (nudged - self._first) / 1e-7

    def _allowed(self, y: Array, after: Array) -> Array:
        """Size of each state."""
        e = self._equations
        size = np.maximum(np.abs(y), np.abs(after))
        size[e.x], size[e.v], size[e.z] = TRAVEL, SPEED, STEM
        return size

    # friction: which way each mover slides is decided at the start of a step

    def _take_ways(self) -> None:
        e = self._equations
        mover = e.mover
        if not len(mover):
            return
        y = self._y_old.copy()
        v, static = y[e.v], mover["static"]
        slides = (np.abs(v) > STILL) & (static < inf)
        y[e.v] = np.where(slides | (static == 0.0), v, 0.0)
        load = e.load(y, e.gas(y))
        driven = np.where(np.abs(load) > static, np.sign(load), 0.0)
        self._way = np.where(slides, np.sign(v), driven)
        self._way[static == 0.0] = 1.0
        self._y_old = y

    def _late(self, h: float, after: Array) -> float | None:
        """A shorter step, where a mover that was held has broken away long before the end of this
        one, and would have gone some way by then."""
        e = self._equations
        held = (self._way == 0.0) & (e.mover["static"] < inf)
        if not held.any() or h <= LATE:
            return None
        static = e.mover["static"]
        end = np.abs(e.load(after, e.gas(after)))
        over = held & (end - static > UNMOVED * e.stiffness(after))
        if not over.any():
            return None
        begin = np.abs(e.load(self._y_old, e.gas(self._y_old)))
        share = (static - begin)[over] / (end - begin)[over]
        first = max(float(share.min()), 0.0) * h + 0.5 * LATE
        return first if first < h - LATE else None

    def _settled(self, h: float, after: Array) -> Array:
        """The end of a step of which a mover that would have turned back has stopped."""
        e = self._equations
        if not len(self._way):
            return after
        before, speed = self._y_old[e.v], after[e.v]
        stops = (self._way * speed < 0.0) & (e.mover["static"] > 0.0)
        if stops.any():
            after = after.copy()
            share = before / np.where(stops, before - speed, 1.0)
            furthest = 0.5 * np.abs(before) * np.maximum(share, 0.0) * h
            gone = np.maximum(self._way * (after[e.x] - self._y_old[e.x]), furthest)
            x = self._y_old[e.x] + self._way * np.maximum(gone, 0.0)
            after[e.x[stops]], after[e.v[stops]] = x[stops], 0.0
        return after

    # watches

    def _over(self, values: Array, says: Array) -> Array:
        """Above zero where a watch with these values should change."""
        watch = self._equations.watch
        return np.where(says, watch["off_at"] - values, values - watch["on_at"])

    def _look_for_crossings(self) -> None:
        e, h = self._equations, self._end - self._start
        values = e.watch_values(self._y)
        crossed = np.flatnonzero(self._over(values, self._says) >= 0.0)
        if not len(crossed):
            return
        small = 1e-6
        ends = []
        for y, way, value in (
            (self._y_old, -1.0, e.watch_values(self._y_old)), (self._y, 1.0, values)
        ):  # fmt: skip
            rates = e.rates(self._start, y, self._way)
            moved = value if rates is None else e.watch_values(y + way * small * h * rates)
            ends.append((value, way * (moved - value) / small))
        (old, first), (new, last) = ends
        edge = np.where(self._says, e.watch["off_at"], e.watch["on_at"])
        share = _reached(*(each[crossed] for each in (edge, old, new, first, last)))
        self._says[crossed] ^= True
        for w, moment in zip(crossed.tolist(), (self._start + h * share).tolist(), strict=True):
            self._found.append((min(moment, self._end), w, bool(self._says[w])))
        self._found.sort(key=lambda each: each[0])

    def _fill_samples(self) -> None:
        samples = self.samples
        if samples.step <= 0.0:
            return
        size = len(self._y)
        k = max(0, ceil((self._start - samples.first) / samples.step - 1e-9))
        while k < len(samples.rows) and (at := samples.first + k * samples.step) <= self._end:
            samples.rows[k, :size] = self._at(at)
            k += 1

    def record(self, step: float, until: float) -> None:
        """See `Plant.record`."""
        count = int((until - self._now) / step + 1e-9) + 1
        self.samples = Samples(step, self._now, np.zeros((count, len(self.compiled.start))))
        self._fill_samples()
        self.samples.rows[0] = self.state()

    # copies

    def snapshot(self) -> PlainPlant:
        """See `Plant.snapshot`."""
        new = copy.copy(self)
        new.controls, new.log = self.controls.copy(), self.log.copy()
        new.network = copy_for_change(self.network)
        new.samples, new.on, new._says = self.samples.copy(), self.on.copy(), self._says.copy()
        new._found, new._steps = self._found.copy(), self._steps.copy()
        return new

    def put_away(self, of: Plant, before: Plant | None) -> None:
        """See `Plant.put_away`; it keeps the room it has."""
        self.log.put_away(of.log)

    # the beginning

    def begin_at_rest(self, duration: float, on: Iterable[int]) -> None:
        """See `Plant.begin_at_rest`."""
        self._now = self._start = self._end = -duration
        self._step = FIRST_STEP
        self._equations = Equations(self.network, self._now)
        self.on[:] = (
            self._over(self._equations.watch_values(self._y), np.zeros_like(self.on)) >= 0.0
        )
        self.on[list(on)] = True
        self._says = self.on.copy()

    def begin_time(self) -> None:
        """See `Plant.begin_time`."""
        self.restart(range(len(self.position.partition)))
        self._equations = Equations(self.network, 0.0)
        self._steps, self._mark = [0, 0], (-inf, 0)
        self._says ^= self._over(self._equations.watch_values(self._y), self._says) >= 0.0
        self.on[:] = self._says
        self.log.clear()
        self.log.crossings += [(0.0, w, bool(each)) for w, each in enumerate(self.on)]
        self.controls.changed = True


def _between(theta: Any, old: Array, new: Array, first: Array, last: Array) -> Array:
    """A place 0..1 on the way from old to new, whose slopes at both ends are taken no steeper than
    keeps it monotone (Fritsch and Carlson 1980, from memory)."""
    change = new - old
    most = 3.0 * np.abs(change)
    ahead = np.sign(change)
    first = ahead * np.minimum(np.maximum(ahead * first, 0.0), most)
    last = ahead * np.minimum(np.maximum(ahead * last, 0.0), most)
    bent = (1.0 - theta) * (first - change) - theta * (last - change)
    return old + theta * (change + (1.0 - theta) * bent)


def _reached(edge: Array, old: Array, new: Array, first: Array, last: Array) -> Array:
    """Places 0..1 at which such ways pass their edges."""
    rising = new >= old
    low, high = np.zeros_like(edge), np.ones_like(edge)
    for _ in range(30):
        middle = 0.5 * (low + high)
        beyond = (_between(middle, old, new, first, last) >= edge) == rising
        low, high = np.where(beyond, low, middle), np.where(beyond, middle, high)
    return high
