"""Circuit -> compiled network. The only module that knows both the graph and the arrays."""

from __future__ import annotations

from collections import deque
from collections.abc import Collection
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from pneumo.air import CV, GAS_CONSTANT
from pneumo.circuit.circuit import Circuit, PortRef
from pneumo.circuit.delay import line_delays
from pneumo.circuit.symmetry import Branch, alike
from pneumo.network.builder import (
    Builder,
    ComponentLowering,
    ContactSpec,
    Parts,
    SourceSpec,
    SpoolSpec,
    TransmitterSpec,
)
from pneumo.network.cells import divide
from pneumo.network.network import (
    ABOVE_HIGH,
    FORCE,
    LAG,
    MOVER,
    NODE,
    OBSERVED,
    PRESSURE,
    READING,
    RESTRICTION,
    SENSED,
    SOURCE,
    SPOOL,
    STEM,
    WATCH,
    Array,
    Network,
    node_volume,
)
from pneumo.network.ordering import filled_rows, minimum_degree

SMALLEST_VOLUME = 0.1e-3
"""A net of ports holds at least this much air [m3]: 0.1 L. Smaller dead volumes would set the
step length and decide little. The inner volumes of a line are its own: there are as many as the
document wants, and raised each they would make another line of it."""

RAISED = 0.05
"""Share by which a net must have been raised to be worth a remark [-]."""

ENGAGED = 100.0
"""Normal force above which a brake without a required force counts as clamped [N]."""

SLIPPING = 0.03
"""By how much smaller an error of travel and speed has to be where a mover at rest holds more than
it brakes when it slides [-]."""

LEAK_SLOTS = 8
"""Leaks that may be open at one time, and one more for each zone: paths to the atmosphere kept
ready, shut until used."""


@dataclass(frozen=True)
class BrakeWatch:
    """The watches that judge one brake on what its jaws do, not on what is sensed."""

    component: str
    mover: int
    clamped: int
    """Made while the clamping force is at least the required one."""
    engaged: int
    """Made while the lining presses on the fin at all."""
    clear: int
    """Made while the lining is at least the required clearance away from the fin."""


@dataclass(frozen=True)
class Compiled:
    """A circuit ready to run: the arrays and the names of everything in them."""

    circuit: Circuit
    network: Network
    parts: dict[str, Parts]
    node_names: tuple[str, ...]
    spools: tuple[SpoolSpec, ...]
    contacts: tuple[ContactSpec, ...]
    compressors: tuple[SourceSpec, ...]
    transmitters: tuple[TransmitterSpec, ...]
    low_pressure: dict[str, int]
    """Zone -> watch that is made while its transmitter reads below its limit."""
    brakes: dict[str, tuple[BrakeWatch, ...]]
    """Zone -> its brakes."""
    leak_slots: tuple[int, ...]
    """Restrictions kept ready for leaks."""
    fins: tuple[float, ...]
    """Thickness of the fin at each mover, 0 for one that has none [m]."""
    lumped: frozenset[str]
    """Parts that are integrated for several or by another: no fault may strike them."""
    spool_cells: tuple[tuple[int, ...], ...]
    """Cells whose paths each spool opens."""
    raised: tuple[tuple[str, float], ...]
    """Nets calculated with `SMALLEST_VOLUME`, larger by more than `RAISED` than they are:
    "component.port" of one of their ports, and what they hold [m3]; the smallest first."""
    start: Array
    """(nstate,) first guess of the plant at rest: what the supplies reach at their pressure."""

    @cached_property
    def line_delay(self) -> dict[str, float]:
        """Zone -> time in which news comes through its lines [s]; found when first asked for."""
        return line_delays(self.circuit)


def compile_circuit(
    circuit: Circuit, apart: Collection[str] | None = None, *, local: bool = True
) -> Compiled:
    """Lowers every component and lays the states out for the solver.

    Parameters
    ----------
    circuit
        What to compile.
    apart
        Components that must be integrated on their own, because a fault will strike them: their
        branch is not lumped with its twins. None: nothing is lumped.
    local
        Whether every zone may be stepped with a clock of its own; False: one clock for all.

    Raises
    ------
    ValueError
        When a component lowers wrongly: a defect of pneumo, not of the document.
    """
    build = Builder(circuit.ambient.pressure, circuit.ambient.temperature, SMALLEST_VOLUME)
    lumps = _Lumps(() if apart is None else alike(circuit, apart))
    ports = _port_nodes(circuit, build, lumps)
    for name, component in circuit.components.items():
        if name in lumps.stands_in:
            continue
        own = {p.name: ports[PortRef(name, p.name)] for p in component.ports()}
        count = lumps.count.get(name, 1.0)
        shared = dict.fromkeys(
            (build.atmosphere, *(_vessel_node(circuit, ports, v) for v in lumps.vessels(name))),
            count,
        )
        lowering = ComponentLowering(build, name, own, shared, count)
        component.lower(lowering)
    for name, leader in lumps.stands_in.items():
        build.parts[name] = build.parts[leader]
    for _, target, row in build.positions:
        row["index"] = build.parts[target].mover
    build.share_watches(apart)
    low_pressure = _add_low_pressure(circuit, build)
    brakes = _add_brake_watches(circuit, build)
    slots = tuple(
        build.add_path(a=build.atmosphere, b=build.atmosphere, open_max=0.0)
        for _ in range(LEAK_SLOTS + len(circuit.zones))
    )
    return _Layout(circuit, build, local).finish(low_pressure, brakes, slots, lumps)


class _Lumps:
    """Who is integrated for whom."""

    def __init__(self, groups: tuple[tuple[Branch, ...], ...]) -> None:
        self.stands_in: dict[str, str] = {}
        """Part of a branch -> the part that is integrated for it."""
        self.count: dict[str, float] = {}
        """Part that is integrated for several -> for how many."""
        self._vessels: dict[str, tuple[str, ...]] = {}
        for leader, *others in groups:
            for name in leader.parts:
                self.count[name] = float(len(others) + 1)
                self._vessels[name] = leader.vessels
            for branch in others:
                self.stands_in.update(zip(branch.parts, leader.parts, strict=True))

    def vessels(self, name: str) -> tuple[str, ...]:
        """Vessels a part that is integrated for several shares with its twins."""
        return self._vessels.get(name, ())


def _vessel_node(circuit: Circuit, ports: dict[PortRef, int], vessel: str) -> int:
    return ports[PortRef(vessel, circuit.components[vessel].ports()[0].name)]


def _port_nodes(circuit: Circuit, build: Builder, lumps: _Lumps) -> dict[PortRef, int]:
    """Node of every port: connected ports share one; open exhausts are the atmosphere."""
    parent: dict[PortRef, PortRef] = {}
    outside = PortRef("", "atmosphere")

    def root(port: PortRef) -> PortRef:
        while parent.setdefault(port, port) != port:
            port = parent[port]
        return port

    def join(a: PortRef, b: PortRef) -> None:
        ra, rb = root(a), root(b)
        if ra == outside:
            ra, rb = rb, ra
        parent[ra] = rb

    root(outside)
    used: set[PortRef] = set()
    for connection in circuit.connections:
        used.add(connection.a)
        if connection.b is not None:
            used.add(connection.b)
            join(connection.a, connection.b)
        elif connection.end == "atmosphere":
            join(connection.a, outside)
    for name, component in circuit.components.items():
        for group in component.merged_ports():
            for port in group[1:]:
                join(PortRef(name, group[0]), PortRef(name, port))
        for port_def in component.ports():
            ref = PortRef(name, port_def.name)
            if port_def.role == "exhaust" and ref not in used:
                join(ref, outside)
    nodes: dict[PortRef, int] = {root(outside): build.atmosphere}
    result: dict[PortRef, int] = {}
    for name, component in circuit.components.items():
        if name in lumps.stands_in:
            continue
        for port_def in component.ports():
            ref = PortRef(name, port_def.name)
            top = root(ref)
            if top not in nodes:
                nodes[top] = build.add_node(f"{name}.{port_def.name}")
            result[ref] = nodes[top]
    return result


def _add_low_pressure(circuit: Circuit, build: Builder) -> dict[str, int]:
    """A sensed watch per zone whose transmitter guards it: made while the reading is low."""
    result: dict[str, int] = {}
    for name, zone in circuit.zones.items():
        if zone.low_pressure is None:
            continue
        lag = build.parts[zone.low_pressure.transmitter].lag
        below = zone.low_pressure.below
        result[name] = build.add_watch(
            signal=READING,
            index=lag,
            gain=-1.0,
            makes=-below,
            breaks=-below - 0.02 * (below - build.pressure),
            role=SENSED,
        )
    return result


def _add_brake_watches(circuit: Circuit, build: Builder) -> dict[str, tuple[BrakeWatch, ...]]:
    result: dict[str, tuple[BrakeWatch, ...]] = {}
    known: dict[tuple[int, float, float], BrakeWatch] = {}
    for name, zone in circuit.zones.items():
        force = max(zone.requirement.clamping_force or 0.0, ENGAGED)
        clearance = zone.requirement.clearance or 0.0
        watches = []
        for brake in zone.brakes:
            mover = build.parts[brake].mover
            twin = known.get((mover, force, clearance))
            if twin is not None:
                watches.append(replace(twin, component=brake))
                continue
            watch = BrakeWatch(
                brake,
                mover,
                clamped=build.add_watch(signal=FORCE, index=mover, makes=force,
                                        breaks=force * (1 - 1e-6), role=OBSERVED),
                engaged=build.add_watch(signal=FORCE, index=mover, makes=ENGAGED,
                                        breaks=ENGAGED * (1 - 1e-6), role=OBSERVED),
                clear=build.add_watch(signal=ABOVE_HIGH, index=mover, gain=-1.0,
                                      makes=clearance, breaks=clearance - 1e-6, role=OBSERVED),
            )  # fmt: skip
            known[mover, force, clearance] = watch
            watches.append(watch)
        result[name] = tuple(watches)
    return result


class _Layout:
    """Numbers the nodes and states and fills the arrays."""

    def __init__(self, circuit: Circuit, build: Builder, local: bool) -> None:
        self.circuit = circuit
        self.build = build
        order = [i for i, row in enumerate(build.nodes) if not row["boundary"]]
        self.dynamic = len(order)
        order += [i for i, row in enumerate(build.nodes) if row["boundary"]]
        self.number = {old: new for new, old in enumerate(order)}
        self.rows = [build.nodes[i] for i in order]
        raised = []
        for row in self.rows[: self.dynamic]:
            if row["volume"] < build.smallest_volume and not row["own"]:
                if row["volume"] * (1.0 + RAISED) < build.smallest_volume:
                    raised.append((row["name"], row["volume"]))
                row["volume"] = build.smallest_volume
        self.raised = tuple(sorted(raised, key=lambda net: net[1]))
        self._renumber()
        self.cell_of = self._divide() if local else [0] * self.dynamic
        self.ncell = max(self.cell_of, default=0) + 1
        self._number_states()

    def _renumber(self) -> None:
        build, number = self.build, self.number
        for row in build.restrictions:
            for key in ("a", "b", "hi", "lo"):
                if row[key] >= 0:
                    row[key] = number[row[key]]
        for row in build.movers:
            for key in ("node_0", "node_1"):
                if row[key] >= 0:
                    row[key] = number[row[key]]
        for row in (*build.stems, *build.lags, *build.sources):
            row["node"] = number[row["node"]]
        for row in build.watches:
            if row["signal"] == 0:
                row["index"] = number[row["index"]]
        # components integrated by another share its parts, which are numbered once
        for parts in {id(parts): parts for parts in build.parts.values()}.values():
            parts.ports = {port: number[n] for port, n in parts.ports.items()}
            parts.nodes = {label: number[n] for label, n in parts.nodes.items()}

    # states in a provisional numbering: (kind, index) keys
    def _node_keys(self, n: int) -> list[tuple[str, int]]:
        """Keys of m, U and x of a node; fewer for a node without a mover or a boundary."""
        if n < 0 or n >= self.dynamic:
            return []
        keys = [("m", n), ("u", n)]
        if self.rows[n]["mover"] >= 0:
            keys.append(("x", self.rows[n]["mover"]))
        return keys

    def _couplings(self) -> list[tuple[list[tuple[str, int]], list[tuple[str, int]]]]:
        """(rows, columns) blocks of the Jacobian."""
        build = self.build
        blocks = []
        for r in build.restrictions:
            rows = self._node_keys(r["a"])[:2] + self._node_keys(r["b"])[:2]
            columns = self._node_keys(r["a"]) + self._node_keys(r["b"])
            if r["hi"] >= 0:
                columns += self._node_keys(r["hi"])[1:] + self._node_keys(r["lo"])[1:]
            if r["stem"] >= 0:
                columns.append(("z", r["stem"]))
            blocks.append((rows, columns))
        for n in range(self.dynamic):
            keys = self._node_keys(n)
            if len(keys) == 3:
                keys.append(("v", keys[2][1]))
            blocks.append((keys[:2], keys))
        for j, mover in enumerate(build.movers):
            own = [("x", j), ("v", j)]
            air = [key for k in range(2) for key in self._node_keys(mover[f"node_{k}"])[:2]]
            blocks.append((own, own + air))
        for k, stem in enumerate(build.stems):
            blocks.append(([("z", k)], [*self._node_keys(stem["node"]), ("z", k)]))
        for k, lag in enumerate(build.lags):
            blocks.append(([("r", k)], [*self._node_keys(lag["node"]), ("r", k)]))
        return blocks

    def _divide(self) -> list[int]:
        """Cell of every dynamic node."""
        build = self.build
        ties = [[mover["node_0"], mover["node_1"]] for mover in build.movers]
        supplied = [source["node"] for source in build.sources]
        for path in build.restrictions:
            if path["hi"] >= 0:
                ties += [[n, path["a"]] for n in (path["hi"], path["lo"])
                         if n not in (path["a"], path["b"])]  # fmt: skip
            if path["stem"] >= 0 and build.stems[path["stem"]]["node"] not in (
                path["a"],
                path["b"],
            ):
                ties.append([build.stems[path["stem"]]["node"], path["a"]])
            ends = path["a"], path["b"]
            if max(ends) > self.dynamic:  # beyond the atmosphere: a supply
                supplied.append(min(ends))
        groups = [*(zone.brakes for zone in self.circuit.zones.values()),
                  *(gates.cylinders for gates in self.circuit.gates.values())]  # fmt: skip
        owners = []
        for group in groups:
            movers = [build.movers[build.parts[name].mover] for name in group]
            owners.append(
                sorted({m[key] for m in movers for key in ("node_0", "node_1")
                        if 0 <= m[key] < self.dynamic})
            )  # fmt: skip
        ties = [[n for n in nodes if 0 <= n < self.dynamic] for nodes in ties]
        volumes = [row["volume"] for row in self.rows[: self.dynamic]]
        return divide(self.dynamic, build.restrictions, volumes, owners, ties, supplied)

    def _cell(self, n: int, otherwise: int = -1) -> int:
        """Cell of a node; of a boundary node: `otherwise`."""
        return self.cell_of[n] if 0 <= n < self.dynamic else otherwise

    def _mover_cell(self, mover: dict[str, Any]) -> int:
        return max(self._cell(mover["node_0"]), self._cell(mover["node_1"]), 0)

    def _stem_cell(self, stem: int) -> int:
        """Cell of a regulator's stem: where its pressure is, else where its path is."""
        found = self._cell(self.build.stems[stem]["node"])
        for path in self.build.restrictions:
            if found < 0 and path["stem"] == stem:
                found = max(self._cell(path["a"]), self._cell(path["b"]))
        return max(found, 0)

    def _number_states(self) -> None:
        """States cell by cell, those of a cell in the order in which they are best eliminated."""
        build = self.build
        cell: dict[tuple[str, int], int] = {}
        for n in range(self.dynamic):
            cell["m", n] = cell["u", n] = self.cell_of[n]
        for j, mover in enumerate(build.movers):
            cell["x", j] = cell["v", j] = self._mover_cell(mover)
        for k in range(len(build.stems)):
            cell["z", k] = self._stem_cell(k)
        for k, lag in enumerate(build.lags):
            cell["r", k] = self._cell(lag["node"], 0)
        keys = list(cell)
        place = {key: i for i, key in enumerate(keys)}
        near: list[set[int]] = [set() for _ in keys]
        blocks = self._couplings()
        for rows, columns in blocks:
            for row in rows:
                for column in columns:
                    i, j = place[row], place[column]
                    if i != j:
                        near[i].add(j)
                        near[j].add(i)
        order = minimum_degree(near, [cell[key] for key in keys])
        self.state = {keys[old]: new for new, old in enumerate(order)}
        self.main = len(keys)
        self.state_cell = np.array([cell[keys[old]] for old in order], dtype=np.int64)
        entries: list[set[int]] = [{i} for i in range(self.main)]
        for rows, columns in blocks:
            for row in rows:
                entries[self.state[row]].update(self.state[c] for c in columns)
        filled = filled_rows(entries)
        self.row = np.zeros(self.main + 1, dtype=np.int64)
        self.row[1:] = np.cumsum([len(columns) for columns in filled])
        self.column = np.array([c for columns in filled for c in columns], dtype=np.int64)
        self.slot = {
            (i, c): int(self.row[i]) + e
            for i, columns in enumerate(filled)
            for e, c in enumerate(columns)
        }
        self.diagonal = np.array([self.slot[i, i] for i in range(self.main)], dtype=np.int64)
        cells = self.state_cell
        self.own = np.array(
            [
                self.row[i] + sum(cells[c] <= cells[i] for c in columns)
                for i, columns in enumerate(filled)
            ],
            dtype=np.int64,
        )
        boundaries = len(self.rows) - self.dynamic
        self.heat = 2 * boundaries
        self._lay_out_ledgers()

    def _lay_out_ledgers(self) -> None:
        """A ledger for each cell: boundary nodes, heat, work, then its side of each border path."""
        self.border = np.full((len(self.build.restrictions), 2), -1, dtype=np.int64)
        self.ledger = np.zeros(self.ncell + 1, dtype=np.int64)
        at = self.main
        of_cell: list[list[tuple[int, int]]] = [[] for _ in range(self.ncell)]
        for r, path in enumerate(self.build.restrictions):
            sides = self._cell(path["a"]), self._cell(path["b"])
            if min(sides) >= 0 and sides[0] != sides[1]:
                for side, c in enumerate(sides):
                    of_cell[c].append((r, side))
        for c, own in enumerate(of_cell):
            self.ledger[c] = at
            at += self.heat + 2
            for r, side in own:
                self.border[r, side] = at
                at += 2
        self.ledger[self.ncell] = self.size = at

    def _members(self, spool_cells: tuple[tuple[int, ...], ...]) -> tuple[Array, Array]:
        """What belongs to each cell, see `Network.member`."""
        build = self.build
        cells: list[list[tuple[int, ...]]] = [
            [(c,) for c in self.cell_of],
            [],
            [],
            [(self._mover_cell(row),) for row in build.movers],
            [(self._stem_cell(k),) for k in range(len(build.stems))],
            [(self._cell(row["node"], 0),) for row in build.lags],
            [(self._cell(row["node"], 0),) for row in build.sources],
            [(c,) for c in self._watch_cells()],
            list(spool_cells),
        ]
        for path in build.restrictions:
            sides = {self._cell(path["a"]), self._cell(path["b"])} - {-1}
            cells[1].append(tuple(sides) if len(sides) == 1 else ())
            cells[2].append(tuple(sorted(sides)) if len(sides) == 2 else ())
        member: list[int] = []
        members = np.zeros((len(cells), self.ncell + 1), dtype=np.int64)
        for kind, of in enumerate(cells):
            own: list[list[int]] = [[] for _ in range(self.ncell)]
            for i, mine in enumerate(of):
                for c in mine:
                    own[c].append(i)
            for c in range(self.ncell):
                members[kind, c] = len(member)
                member += own[c]
            members[kind, self.ncell] = len(member)
        return np.array(member, dtype=np.int64), members

    def _watch_cells(self) -> list[int]:
        return [self._watch_cell(row) for row in self.build.watches]

    def _watch_cell(self, watch: dict[str, Any]) -> int:
        if watch["signal"] == PRESSURE:
            return self._cell(watch["index"], 0)
        if watch["signal"] == READING:
            return self._cell(self.build.lags[watch["index"]]["node"], 0)
        return self._mover_cell(self.build.movers[watch["index"]])

    def _spool_cells(self) -> tuple[tuple[int, ...], ...]:
        cells: list[set[int]] = [set() for _ in self.build.spools]
        for path in self.build.restrictions:
            if path["spool"] >= 0:
                cells[path["spool"]] |= {self._cell(path["a"]), self._cell(path["b"])} - {-1}
        return tuple(tuple(sorted(own)) for own in cells)

    def _mass(self, n: int) -> int:
        if n < self.dynamic:
            return self.state["m", n]
        return 2 * (n - self.dynamic)

    def _energy(self, n: int) -> int:
        return self.state["u", n] if n < self.dynamic else self._mass(n) + 1

    def _balance_rows(self, n: int) -> list[int]:
        """Matrix rows of a node's mass and energy, -1 for a boundary node."""
        return [self._mass(n), self._energy(n)] if n < self.dynamic else [-1, -1]

    def _states_of(self, n: int) -> list[int]:
        """State indices m, U, x of a node, -1 where it has none."""
        found = [self.state[key] for key in self._node_keys(n)]
        return found + [-1] * (3 - len(found))

    def _slots(self, rows: list[int], columns: list[int]) -> list[list[int]]:
        return [
            [self.slot.get((i, c), -1) if 0 <= i < self.main and c >= 0 else -1 for c in columns]
            for i in rows
        ]

    def _table(self, dtype: np.dtype[Any], rows: list[dict[str, Any]]) -> Array:
        table = np.zeros(len(rows), dtype=dtype)
        for i, row in enumerate(rows):
            for name in dtype.names or ():
                table[name][i] = row[name]
        return table

    def finish(
        self,
        low_pressure: dict[str, int],
        brakes: dict[str, tuple[BrakeWatch, ...]],
        leak_slots: tuple[int, ...],
        lumps: _Lumps,
    ) -> Compiled:
        build = self.build
        for n, row in enumerate(self.rows):
            row.update(mass=self._mass(n), energy=self._energy(n))
        for j, row in enumerate(build.movers):
            row.update(x=self.state["x", j], v=self.state["v", j])
        for k, row in enumerate(build.stems):
            row.update(z=self.state["z", k])
        for k, row in enumerate(build.lags):
            row.update(r=self.state["r", k])
        spools = np.zeros(len(build.spools), dtype=SPOOL)
        spools["position"] = [s.start for s in build.spools]
        spools["since"] = spools["until"] = -1e9  # at rest since long ago
        spools["next"] = np.inf
        columns = []
        slots = []
        for r in build.restrictions:
            hi = self._states_of(r["hi"]) if r["hi"] >= 0 else [-1, -1, -1]
            lo = self._states_of(r["lo"]) if r["hi"] >= 0 else [-1, -1, -1]
            z = self.state["z", r["stem"]] if r["stem"] >= 0 else -1
            own = [*self._states_of(r["a"]), *self._states_of(r["b"]), *hi[1:], *lo[1:], z]
            columns.append(own)
            rows = [s for n in (r["a"], r["b"]) for s in self._balance_rows(n)]
            slots.append(self._slots(rows, own))
        node_slots = []
        for n in range(len(self.rows)):
            own = self._states_of(n)
            v = self.state["v", self.rows[n]["mover"]] if own[2] >= 0 else -1
            node_slots.append(self._slots(self._balance_rows(n), [*own, v]))
        mover_slots = []
        for row in build.movers:
            air = [s for k in range(2) for s in self._states_of(row[f"node_{k}"])[:2]]
            mover_slots.append(self._slots([row["x"], row["v"]], [row["x"], row["v"], *air]))
        stem_slots = [
            self._slots([row["z"]], [*self._states_of(row["node"]), row["z"]])[0]
            for row in build.stems
        ]
        lag_slots = [
            self._slots([row["r"]], [*self._states_of(row["node"]), row["r"]])[0]
            for row in build.lags
        ]
        spool_cells = self._spool_cells()
        member, members = self._members(spool_cells)
        first = np.searchsorted(self.state_cell, np.arange(self.ncell + 1))
        network = Network(
            node=self._table(NODE, self.rows),
            restriction=self._table(RESTRICTION, build.restrictions),
            mover=self._table(MOVER, build.movers),
            stem=self._table(STEM, build.stems),
            lag=self._table(LAG, build.lags),
            source=self._table(SOURCE, build.sources),
            spool=spools,
            watch=self._table(WATCH, build.watches),
            dynamic=self.dynamic,
            main=self.main,
            heat=self.heat,
            work=self.heat + 1,
            scale=self._scales(),
            state=first,
            ledger=self.ledger,
            node_cell=np.array([self._cell(n) for n in range(len(self.rows))], dtype=np.int64),
            state_cell=self.state_cell,
            watch_cell=np.array(self._watch_cells(), dtype=np.int64),
            member=member,
            members=members,
            border=self.border,
            loose=np.array(leak_slots, dtype=np.int64),
            row=self.row,
            column=self.column,
            diagonal=self.diagonal,
            own=self.own,
            slot_restriction=np.array(slots, dtype=np.int64).reshape(-1, 4, 11),
            column_restriction=np.array(columns, dtype=np.int64).reshape(-1, 11),
            slot_node=np.array(node_slots, dtype=np.int64).reshape(-1, 2, 4),
            slot_mover=np.array(mover_slots, dtype=np.int64).reshape(-1, 2, 6),
            slot_stem=np.array(stem_slots, dtype=np.int64).reshape(-1, 4),
            slot_lag=np.array(lag_slots, dtype=np.int64).reshape(-1, 4),
        )
        return Compiled(
            circuit=self.circuit,
            network=network,
            parts=build.parts,
            node_names=tuple(row["name"] for row in self.rows),
            spools=tuple(build.spools),
            contacts=tuple(build.contacts),
            compressors=tuple(build.compressors),
            transmitters=tuple(build.transmitters),
            low_pressure=low_pressure,
            brakes=brakes,
            leak_slots=leak_slots,
            fins=tuple(build.fins),
            spool_cells=spool_cells,
            raised=self.raised,
            start=self._start(network),
            lumped=frozenset((*lumps.stands_in, *lumps.count)),
        )

    def _scales(self) -> Array:
        """Size of each state below which its error is judged absolutely: about what it is where
        something happens, so that all are judged alike there."""
        scale = np.zeros(self.main)
        pressure = 0.3 * self.build.pressure
        for n in range(self.dynamic):
            volume = self.rows[n]["volume"]
            scale[self._mass(n)] = pressure * volume / (GAS_CONSTANT * 293.15)
            scale[self._energy(n)] = pressure * volume * CV / GAS_CONSTANT
        for j, mover in enumerate(self.build.movers):
            # where friction holds more than it brakes, a small error sets off the next slip too
            # early or too late
            slips = SLIPPING if mover["static"] > mover["friction"] else 1.0
            scale[self.state["x", j]] = 5e-3 * slips
            # an error of the speed matters only through the travel it leads to
            scale[self.state["v", j]] = 5.0 * slips
        for k in range(len(self.build.stems)):
            # what it lets through goes with its opening: a small one has to be right as well
            scale[self.state["z", k]] = 0.1
        for k in range(len(self.build.lags)):
            scale[self.state["r", k]] = pressure
        return scale

    def _start(self, network: Network) -> Array:
        """Pressures that the supplies reach through what is open, everything at ambient heat."""
        pressure = [self.build.pressure] * self.dynamic + [
            row["pressure"] for row in self.rows[self.dynamic :]
        ]
        queue: deque[int] = deque(range(self.dynamic + 1, len(self.rows)))
        for source in self.build.compressors:
            node = self.build.sources[source.source]["node"]
            pressure[node] = max(pressure[node], source.unload_at)
            queue.append(node)
        ways: list[list[tuple[int, float]]] = [[] for _ in self.rows]
        for r in self.build.restrictions:
            if r["spool"] >= 0:
                at = self.build.spools[r["spool"]].start
                if self.build.spools[r["spool"]].standing:
                    at = self.build.spools[r["spool"]].at_14
                if (at - r["spool_shut"]) / (r["spool_open"] - r["spool_shut"]) <= 0.0:
                    continue
            limit = 1e30
            one_way = False
            if r["stem"] >= 0:
                if r["stem_open"] < r["stem_shut"]:
                    continue
                limit = self.build.stems[r["stem"]]["setting"]
                one_way = True
            if r["hi"] >= 0:
                if r["hi"] != r["a"]:
                    continue
                one_way = True
            ways[r["a"]].append((r["b"], limit))
            if not one_way:
                ways[r["b"]].append((r["a"], limit))
        while queue:
            n = queue.popleft()
            for other, limit in ways[n]:
                reached = min(pressure[n], limit)
                if other < self.dynamic and reached > pressure[other] + 1.0:
                    pressure[other] = reached
                    queue.append(other)
        y = np.zeros(self.size)
        for j, x in enumerate(self.build.starts):
            y[self.state["x", j]] = x
        for n in range(self.dynamic):
            mass, energy = self._mass(n), self._energy(n)
            y[mass], y[energy] = 1.0, 1.0
            volume = float(node_volume(network, y, n))
            y[energy] = pressure[n] * volume * CV / GAS_CONSTANT
            y[mass] = pressure[n] * volume / (GAS_CONSTANT * self.build.temperature)
        for k, lag in enumerate(self.build.lags):
            y[self.state["r", k]] = pressure[lag["node"]]
        return y
