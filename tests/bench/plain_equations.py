"""Rates of a plant and their slopes, from the rows of its network as they stand, in plain numpy."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from plain_laws import (
    CONTACT_DAMPING,
    CP,
    CV,
    RHO_ANR,
    SOFT,
    Array,
    K,
    contact,
    stem_speed,
)
from plain_paths import Flows, Paths, Slopes, columns
from plain_pattern import COLUMNS, Numbers, Pattern, of_paths

from pneumo.network.network import ABOVE_HIGH, BELOW_LOW, FORCE, PRESSURE, READING, Network


class Gas(NamedTuple):
    """The air of the nodes."""

    p: Array
    """(nnode,) with the boundary's, which come last [Pa]."""
    t: Array
    """(nnode,) [K]"""
    volume: Array
    """(dynamic,) [m3]"""
    by_x: Array
    """(dynamic,) its slope with the travel of the node's mover [m2]."""
    bend: Array
    """(dynamic,) and the slope of that [m]."""
    per_u: Array
    """(nnode,) slope of the pressure with U; 0 at the boundary [Pa/J]."""
    per_x: Array
    """(nnode,) and with x [Pa/m]."""


class Chambers(NamedTuple):
    """Where air pushes a mover."""

    mover: Array
    node: Array
    way: Array
    area: Array
    slope: Array
    knot: Array
    """(chambers, knots)"""
    bend: Array
    holds: Array
    """Whether the node's volume is that of `count` such chambers, and moves with them."""
    count: Array


class Equations:
    """dy/dt and its slopes until something outside the plant changes a row.

    `y` has the main states of the network in its numbering. `way` is the way each mover slides: 1,
    -1, and 0 while friction holds it.
    """

    def __init__(self, network: Network, time: float) -> None:
        node, dynamic = network.node, network.dynamic
        own = node[:dynamic]
        if own["isothermal"].any():
            raise ValueError("a node held at the temperature of its wall is for checks of pneumo")
        self.dynamic, self.size = dynamic, network.main
        self.outside = float(node["pressure"][dynamic])
        self.m, self.u, self._volume, self._heat, self._wall, self._node_mover = columns(
            own, "mass", "energy", "volume", "heat", "wall", "mover"
        )
        self._edge_p, self._edge_t = columns(node[dynamic:], "pressure", "temperature")
        self.mover, self._stem, self._lag, self._source, self.watch = (
            np.array(table)
            for table in (network.mover, network.stem, network.lag, network.source, network.watch)
        )
        self.x, self.v = columns(self.mover, "x", "v")
        self.z, self.r = columns(self._stem, "z")[0], columns(self._lag, "r")[0]
        self._chambers = _chambers(network)
        self.paths = Paths(network, time)
        self.pattern = self._pattern()

    # air

    def gas(self, y: Array) -> Gas:
        """Pressures, temperatures and volumes; of an impossible state some are not above zero."""
        d, c = self.dynamic, self._chambers
        volume, by_x, bend = self._volume.copy(), np.zeros(d), np.zeros(d)
        if len(c.mover):
            h = c.holds
            area, slope, swept = self._areas(y)
            volume[c.node[h]] += (c.count * swept)[h]
            by_x[c.node[h]] = (c.count * area)[h]
            bend[c.node[h]] = (c.count * slope)[h]
        energy = y[self.u]
        p = (K - 1.0) * energy / volume
        edge = np.zeros(len(self._edge_p))
        return Gas(
            np.concatenate((p, self._edge_p)),
            np.concatenate((energy / (y[self.m] * CV), self._edge_t)),
            volume, by_x, bend,
            np.concatenate(((K - 1.0) / volume, edge)),
            np.concatenate((-p * by_x / volume, edge)),
        )  # fmt: skip

    def possible(self, y: Array, gas: Gas) -> bool:
        """Whether there is air in every volume."""
        return bool(min(gas.volume.min(), y[self.m].min(), y[self.u].min()) > 0.0)

    def _areas(self, y: Array) -> tuple[Array, Array, Array]:
        """Of each chamber: area towards larger x [m2], its slope [m] and what it has gained since
        x = 0 [m3]."""
        c = self._chambers
        x = y[self.x][c.mover]
        area, slope, swept = c.area + c.slope * x, c.slope, x * (c.area + 0.5 * c.slope * x)
        if c.knot.shape[1]:
            past = np.maximum(x[:, None] - c.knot, 0.0)
            area = area + (c.bend * past).sum(axis=1)
            slope = slope + (c.bend * (past > 0.0)).sum(axis=1)
            swept = swept + 0.5 * (c.bend * past**2).sum(axis=1)
        return c.way * area, c.way * slope, c.way * swept

    def _sources(self, p: Array) -> tuple[Array, Array]:
        """What compressors deliver [kg/s], and its slope with the pressure."""
        source = self._source
        full = source["on"] * RHO_ANR * source["delivery"]
        share = 1.0 - source["fall"] * (p[source["node"]] - source["rated_at"])
        return full * np.maximum(share, 0.0), -full * source["fall"] * (share > 0.0)

    def _stems(self, p: Array, z: Array) -> tuple[Array, Array, Array]:
        """Speed of the regulators' stems [1/s] and its slopes with pressure and stem."""
        stem = self._stem
        aim = (stem["setting"] - p[stem["node"]]) / stem["band"]
        inside = (aim > stem["low"]) & (aim < stem["high"])
        aim = np.minimum(np.maximum(aim, stem["low"]), stem["high"])
        speed, slope = stem_speed(aim, z, stem["dead_band"], stem["response"])
        return speed, -slope * inside / stem["band"], -slope

    # movers

    def load(self, y: Array, gas: Gas) -> Array:
        """Force on each mover but for friction and dampers [N]: what friction has to hold."""
        mover, x, c = self.mover, y[self.x], self._chambers
        push = self._areas(y)[0] * (gas.p[c.node] - self.outside)
        high = contact(x - mover["high"], mover["high_stiffness"])[0]
        low = contact(mover["low"] - x, mover["low_stiffness"])[0]
        springs = mover["spring_force"] - mover["spring_rate"] * x
        force: Array = np.bincount(c.mover, push, len(mover)) + springs - high + low
        return force

    def _damping(self, y: Array) -> tuple[Array, Array, Array]:
        """Damping of each mover with that of its contacts [N s/m], its slope with x, and the
        stiffness of the contacts [N/m]."""
        mover, x = self.mover, y[self.x]
        total, rise, stiff = mover["damping"].copy(), np.zeros(len(x)), np.zeros(len(x))
        for sign, at, by in ((1.0, "high", "high_stiffness"), (-1.0, "low", "low_stiffness")):
            _, slope, closed = contact(sign * (x - mover[at]), mover[by])
            full = 2.0 * CONTACT_DAMPING * np.sqrt(mover[by] * mover["mass"])
            total += full * closed
            rise += sign * full * ((closed > 0.0) & (closed < 1.0)) * 0.5 / SOFT
            stiff += slope
        return total, rise, stiff

    def stiffness(self, y: Array) -> Array:
        """Of each mover's springs and contacts [N/m]."""
        stiff: Array = self.mover["spring_rate"] + self._damping(y)[2]
        return stiff

    def _of_node(self, of_mover: Array) -> Array:
        """What belongs to each node's mover; 0 of a node without."""
        return np.append(of_mover, 0.0)[self._node_mover]

    # all together

    def rates(self, time: float, y: Array, way: Array) -> Array | None:
        """dy/dt (size,); None: the state is impossible."""
        gas = self.gas(y)
        if not self.possible(y, gas):
            return None
        return self._balances(y, way, gas, self.paths.flows(time, gas.p, gas.t, y[self.z]))

    def _balances(self, y: Array, way: Array, gas: Gas, flows: Flows) -> Array:
        p, d, mover = gas.p, self.dynamic, self.mover
        delivered = self._sources(p)[0]
        out = np.zeros(self.size)
        out[self.m] = self._into(flows.flow, delivered)
        energy = CP * flows.carried * flows.flow
        out[self.u] = self._into(energy, CP * self._source["temperature"] * delivered)
        free = way != 0.0
        v = y[self.v] * free
        out[self.u] += self._heat * (self._wall - gas.t[:d]) - p[:d] * gas.by_x * self._of_node(v)
        total = self.load(y, gas) - way * mover["friction"] - self._damping(y)[0] * v
        out[self.x] = v
        out[self.v] = free * total / mover["mass"]
        out[self.z] = self._stems(p, y[self.z])[0]
        out[self.r] = (p[self._lag["node"]] - y[self.r]) / self._lag["lag"]
        return out

    def _into(self, passing: Array, delivered: Array) -> Array:
        """Sum of what comes into each dynamic node."""
        n, paths = self.dynamic + len(self._edge_p), self.paths
        into = np.bincount(paths.b, paths.weight_b * passing, n)
        into -= np.bincount(paths.a, paths.weight_a * passing, n)
        into += np.bincount(self._source["node"], delivered, n)
        return into[: self.dynamic]

    def linearised(self, time: float, y: Array, way: Array) -> tuple[Array, Array] | None:
        """dy/dt and the entries of its slopes with y, see `pattern`; None: the state is
        impossible."""
        gas = self.gas(y)
        if not self.possible(y, gas):
            return None
        flows, slopes = self.paths.slopes(time, gas.p, gas.t, y[self.z])
        return self._balances(y, way, gas, flows), self._slopes(y, way, gas, flows, slopes)

    def _slopes(self, y: Array, way: Array, gas: Gas, flows: Flows, slopes: Slopes) -> Array:
        """The blocks in the order of `_pattern`."""
        p, t, d = gas.p[: self.dynamic], gas.t[: self.dynamic], self.dynamic
        free = (way != 0.0) * 1.0
        v = self._of_node(y[self.v] * free)
        at = self._source["node"]
        rise = self._sources(gas.p)[1] * gas.per_u[at]
        _, by_p, by_z = self._stems(gas.p, y[self.z])
        stem, lag, per_lag = self._stem["node"], self._lag["node"], 1.0 / self._lag["lag"]
        return self.pattern.gathered([
            self._path_slopes(y, gas, flows, slopes),
            self._heat * t / y[self.m],
            -self._heat * t / y[self.u] - gas.per_u[:d] * gas.by_x * v,
            -(gas.per_x[:d] * gas.by_x + p * gas.bend) * v,
            -p * gas.by_x * self._of_node(free),
            *self._mover_slopes(y, gas, free),
            rise, CP * self._source["temperature"] * rise,
            by_p * gas.per_u[stem], by_p * gas.per_x[stem], by_z,
            per_lag * gas.per_u[lag], per_lag * gas.per_x[lag], -per_lag,
        ])  # fmt: skip

    def _path_slopes(self, y: Array, gas: Gas, flows: Flows, slopes: Slopes) -> Array:
        """Slopes of what paths give to m and U at a and b, path by path in each."""
        paths = self.paths
        passing = np.zeros((COLUMNS, len(paths.row)))
        nodes = (paths.a, paths.b, paths.row["hi"], paths.row["lo"])
        for n, by_p, at in zip(nodes, slopes.by_p, (1, 4, 6, 8), strict=True):
            passing[at], passing[at + 1] = by_p * gas.per_u[n], by_p * gas.per_x[n]
        passing[10] = slopes.by_z
        warmth = self._warmth(y, gas, flows)
        passing += slopes.by_t * warmth
        energy = CP * (flows.carried * passing + flows.flow * warmth)
        a, b = paths.weight_a, paths.weight_b
        return np.stack((-a * passing, -a * energy, b * passing, b * energy)).ravel()

    def _warmth(self, y: Array, gas: Gas, flows: Flows) -> Array:
        """Slopes of the temperature carried."""
        paths = self.paths
        found = np.zeros((COLUMNS, len(paths.row)))
        n = np.where(flows.ahead, paths.a, paths.b)
        inside = np.flatnonzero(n < self.dynamic)
        at, n = np.where(flows.ahead, 0, 3)[inside], n[inside]
        found[at, inside] = -gas.t[n] / y[self.m][n]
        found[at + 1, inside] = gas.t[n] / y[self.u][n]
        return found

    def _mover_slopes(self, y: Array, gas: Gas, free: Array) -> list[Array]:
        c, mover = self._chambers, self.mover
        damping, rise, stiff = self._damping(y)
        per_mass = free / mover["mass"]
        area, slope, _ = self._areas(y)
        by_travel = slope * (gas.p[c.node] - self.outside) + area * gas.per_x[c.node] * c.holds
        by_x = np.bincount(c.mover, by_travel, len(mover)) - mover["spring_rate"] - stiff
        by_x -= rise * y[self.v]
        by_u = per_mass[c.mover] * area * gas.per_u[c.node]
        return [free, per_mass * by_x, -per_mass * damping, by_u]

    def _pattern(self) -> Pattern:
        none = np.full(1, -1)
        x, v = (np.append(each, -1)[np.append(self._node_mover, -1)] for each in (self.x, self.v))
        n = Numbers(np.append(self.m, none), np.append(self.u, none), x, v, self.size)
        inner = np.arange(self.dynamic)
        stem, lag, chamber = (
            np.minimum(each, self.dynamic)
            for each in (self._stem["node"], self._lag["node"], self._chambers.node)
        )
        source, moved = self._source["node"], self.v[self._chambers.mover]
        path_rows, path_cols = of_paths(self.paths.row, n, self.z)
        blocks = [
            (path_rows, path_cols),
            *((self.u, each[inner]) for each in (n.m, n.u, n.x, n.v)),
            (self.x, self.v), (self.v, self.x), (self.v, self.v), (moved, n.u[chamber]),
            (n.m[source], n.u[source]), (n.u[source], n.u[source]),
            (self.z, n.u[stem]), (self.z, n.x[stem]), (self.z, self.z),
            (self.r, n.u[lag]), (self.r, n.x[lag]), (self.r, self.r),
        ]  # fmt: skip
        return Pattern(self.size, [rows for rows, _ in blocks], [cols for _, cols in blocks])

    def watch_values(self, y: Array) -> Array:
        """Value of every watch, see `network.WATCH`."""
        watch, p, x, mover = self.watch, self.gas(y).p, y[self.x], self.mover
        signal = np.zeros(len(watch))

        def closed(i: Array) -> Array:
            return contact(x[i] - mover["high"][i], mover["high_stiffness"][i])[0]

        for kind, found in (
            (PRESSURE, lambda i: p[i]),
            (ABOVE_HIGH, lambda i: x[i] - mover["high"][i]),
            (BELOW_LOW, lambda i: mover["low"][i] - x[i]),
            (READING, lambda i: y[self.r[i]]),
            (FORCE, closed),
        ):
            of = watch["signal"] == kind
            if of.any():
                signal[of] = found(watch["index"][of])
        value: Array = watch["gain"] * signal + watch["offset"]
        return value


def _chambers(network: Network) -> Chambers:
    mover, node = network.mover, network.node
    most = int(mover["knots"].max()) if len(mover) else 0
    found: dict[str, list[Any]] = {name: [] for name in Chambers._fields}
    for j, row in enumerate(mover):
        for which in (0, 1):
            n = int(row[f"node_{which}"])
            if n < 0:
                continue
            holds = n < network.dynamic and node[n]["mover"] == j and node[n]["chamber"] == which
            knots = int(row["knots"]) if which == 0 else 0
            bend = np.where(np.arange(most) < knots, row["bend"][:most], 0.0)
            values = (
                j, n, row[f"direction_{which}"], row[f"area_{which}"], row[f"slope_{which}"],
                row["knot"][:most].copy(), bend, holds, row[f"count_{which}"],
            )  # fmt: skip
            for name, value in zip(Chambers._fields, values, strict=True):
                found[name].append(value)
    whole = {"mover": np.int64, "node": np.int64, "holds": np.bool_}
    arrays = {
        name: np.array(values, dtype=whole.get(name, np.float64)) for name, values in found.items()
    }
    for name in ("knot", "bend"):
        arrays[name] = arrays[name].reshape(len(found["mover"]), most)
    return Chambers(**arrays)
