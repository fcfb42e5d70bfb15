"""Collects what the components ask for while a circuit is compiled (see `components.base`)."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np

from pneumo.components.base import (
    Chamber,
    Pilot,
    PressureOpening,
    SpoolOpening,
    StemOpening,
)
from pneumo.errors import InputError
from pneumo.network.network import (
    ABOVE_HIGH,
    ACTING,
    BELOW_LOW,
    MOST_KNOTS,
    ORIFICE,
    PIPE,
    PRESSURE,
    SENSED,
)

WALL_TRANSFER = 15.0
"""Heat transfer from a vessel's wall to the air inside [W/(m2 K)]: free convection in a vessel at
rest, order of magnitude of heat-transfer texts, from memory. A vessel may state its own."""

PILOT_HYSTERESIS = 0.1
"""A pilot is lost this share below the pressure at which it suffices [-]; an assumption."""

Row = dict[str, Any]


@dataclass(frozen=True)
class SpoolSpec:
    """What moves a spool, outside the kernel. Positions as in `Lowering.spool`, times in s."""

    component: str
    rest: float
    at_14: float
    at_12: float | None
    memory: bool
    start: float
    switch_on: float
    switch_off: float
    travel: float
    feed: str | None
    pilot_watch: int
    """Watch that is made while the pilot suffices; -1: none needed."""
    pilot: Pilot | None
    """What it says of pressures; its node is that of the watch."""
    standing: bool
    by_hand: bool


@dataclass(frozen=True)
class ContactSpec:
    """A switch the controller reads: its watch."""

    component: str
    watch: int


@dataclass(frozen=True)
class SourceSpec:
    """A compressor: its source and the watch on its delivery pressure (made: unload)."""

    component: str
    source: int
    watch: int
    feed: str | None
    load_at: float
    unload_at: float


@dataclass(frozen=True)
class TransmitterSpec:
    """A transmitter: its lag and range [Pa]."""

    component: str
    lag: int
    low: float
    high: float


@dataclass
class Parts:
    """A component's primitives: label -> index, and the nodes of its ports."""

    ports: dict[str, int] = field(default_factory=dict)
    nodes: dict[str, int] = field(default_factory=dict)
    restrictions: dict[str, int] = field(default_factory=dict)
    spool: int = -1
    mover: int = -1
    stem: int = -1
    source: int = -1
    lag: int = -1
    contact: int = -1
    supply: int = -1
    """Restriction that `switch off` closes."""
    feed: bool = False


class Builder:
    """Rows of every primitive of one circuit, in document order."""

    def __init__(self, pressure: float, temperature: float) -> None:
        self.pressure = pressure
        self.temperature = temperature
        self.nodes: list[Row] = []
        self.restrictions: list[Row] = []
        self.movers: list[Row] = []
        self.stems: list[Row] = []
        self.lags: list[Row] = []
        self.sources: list[Row] = []
        self.watches: list[Row] = []
        self.spools: list[SpoolSpec] = []
        self.contacts: list[ContactSpec] = []
        self.compressors: list[SourceSpec] = []
        self.transmitters: list[TransmitterSpec] = []
        self.positions: list[tuple[int, str, Row]] = []
        self.fins: list[float] = []
        self.starts: list[float] = []
        self.parts: dict[str, Parts] = {}
        self.atmosphere = self.add_node("atmosphere", boundary=True)
        self.nodes[self.atmosphere].update(pressure=pressure, temperature=temperature)

    def add_node(self, name: str, *, boundary: bool = False, own: bool = False) -> int:
        """A new node; returns its provisional number (boundary nodes are moved last later).

        `own`: its volume is what its component says, however small.
        """
        self.nodes.append(
            {
                "name": name,
                "boundary": boundary,
                "own": own,
                "volume": 0.0,
                "heat": 0.0,
                "wall": self.temperature,
                "isothermal": 0,
                "count": 1.0,
                "pressure": 0.0,
                "temperature": self.temperature,
                "mover": -1,
                "chamber": 0,
            }
        )
        return len(self.nodes) - 1

    def add_watch(self, **row: Any) -> int:
        """A new watch; `on_at` must exceed `off_at`."""
        values = {"gain": 1.0, "offset": 0.0, "delay": 0.0}
        values.update(row)
        if values["on_at"] <= values["off_at"]:
            values["off_at"] = values["on_at"] - max(1e-9 * abs(values["on_at"]), 1e-12)
        self.watches.append(values)
        return len(self.watches) - 1

    def share_watches(self, apart: Collection[str] | None) -> None:
        """Switches that see the same thing in the same way share one watch, unless one of them is
        to be `apart`: a fault is injected there alone. None: every one is."""
        first: dict[tuple[object, ...], int] = {}
        keep: list[Row] = []
        number = []
        own = {c.watch for c in self.contacts if apart is None or c.component in apart}
        for w, row in enumerate(self.watches):
            key = tuple(row[name] for name in sorted(row))
            if w in own:
                number.append(len(keep))
                keep.append(row)
            elif row["role"] != SENSED or key not in first:
                first.setdefault(key, len(keep))
                number.append(len(keep))
                keep.append(row)
            else:
                number.append(first[key])
        self.watches = keep
        self.contacts = [replace(c, watch=number[c.watch]) for c in self.contacts]
        self.compressors = [replace(c, watch=number[c.watch]) for c in self.compressors]
        self.spools = [
            replace(s, pilot_watch=number[s.pilot_watch]) if s.pilot_watch >= 0 else s
            for s in self.spools
        ]

    def add_path(self, **row: Any) -> int:
        """A new restriction; `row` overrides a plain, fully open orifice."""
        values: Row = {
            "law": ORIFICE,
            "conductance": 0.0,
            "critical": 0.5,
            "roughness": 0.0,
            "segments": 1.0,
            "weight_a": 1.0,
            "weight_b": 1.0,
            "open_min": 0.0,
            "open_max": 1.0,
            "spool": -1,
            "spool_closed": 0.0,
            "spool_open": 1.0,
            "hi": -1,
            "lo": -1,
            "hi_gain": 1.0,
            "lo_gain": 1.0,
            "threshold": 0.0,
            "band": 1.0,
            "stem": -1,
            "stem_closed": 0.0,
            "stem_open": 1.0,
        }
        values.update(row)
        self.restrictions.append(values)
        return len(self.restrictions) - 1


class ComponentLowering:
    """The `Lowering` of one component: names its parts and passes them to the builder."""

    def __init__(
        self,
        builder: Builder,
        component: str,
        ports: Mapping[str, int],
        shared: Mapping[int, float],
        count: float,
    ) -> None:
        """`shared`: node that several branches alike hang on -> how many; `count`: how many
        components alike this one is integrated for."""
        self._builder = builder
        self._shared = shared
        self._count = count
        self._component = component
        self._parts = Parts(ports=dict(ports))
        builder.parts[component] = self._parts
        self.ambient_pressure = builder.pressure
        self.ambient_temperature = builder.temperature
        self.atmosphere = builder.atmosphere

    def node(self, port: str) -> int:
        return self._parts.ports[port]

    def is_open_end(self, port: str) -> bool:
        return self._parts.ports[port] == self.atmosphere

    def inner_node(self, label: str, volume: float, heat: float | None = None) -> int:
        index = self._builder.add_node(f"{self._component} {label}", own=True)
        self._parts.nodes[label] = index
        self.add_volume(index, volume, heat)
        return index

    def add_volume(self, node: int, volume: float, heat: float | None = None) -> None:
        row = self._builder.nodes[node]
        if row["boundary"]:
            return
        times = self._shared.get(node, 1.0)
        if node not in self._shared:
            row["count"] = self._count
        row["volume"] += volume * times
        # surface of a cube of that volume, when the component does not say
        wall = WALL_TRANSFER * 6.0 * volume ** (2.0 / 3.0) if heat is None else heat
        row["heat"] += wall * times

    def boundary(self, label: str, pressure: float, temperature: float) -> int:
        index = self._builder.add_node(f"{self._component} {label}".strip(), boundary=True)
        self._builder.nodes[index].update(pressure=pressure, temperature=temperature)
        self._parts.nodes[label] = index
        return index

    def _path(self, label: str, **row: Any) -> int:
        if label in self._parts.restrictions:
            raise ValueError(f"{self._component}: two paths are called {label}")
        row["weight_a"] = self._shared.get(row["a"], 1.0)
        row["weight_b"] = self._shared.get(row["b"], 1.0)
        index = self._builder.add_path(**row)
        self._parts.restrictions[label] = index
        return index

    def restriction(
        self,
        label: str,
        a: int,
        b: int,
        conductance: float,
        critical: float,
        *,
        spool: SpoolOpening | None = None,
        pressure: PressureOpening | None = None,
        stem: StemOpening | None = None,
    ) -> int:
        row: Row = {"a": a, "b": b, "conductance": conductance, "critical": critical}
        if spool is not None:
            row.update(spool=spool.spool, spool_closed=spool.closed, spool_open=spool.open)
        if pressure is not None:
            row.update(
                hi=pressure.hi,
                lo=pressure.lo,
                hi_gain=pressure.hi_gain,
                lo_gain=pressure.lo_gain,
                threshold=pressure.threshold,
                band=pressure.band,
            )
        if stem is not None:
            row.update(stem=stem.stem, stem_closed=stem.closed, stem_open=stem.open)
            # a path opened by falling stem (relief) starts at its own closed position
            stems = self._builder.stems[stem.stem]
            stems["low"] = min(stems["low"], stem.closed - 0.1, stem.open - 0.1)
            stems["high"] = max(stems["high"], stem.open + 0.1)
        return self._path(label, **row)

    def pipe(
        self,
        label: str,
        a: int,
        b: int,
        bore: float,
        length: float,
        roughness: float,
        segments: int = 1,
    ) -> int:
        return self._path(
            label,
            a=a,
            b=b,
            law=PIPE,
            conductance=bore,
            critical=length,
            roughness=roughness,
            segments=float(segments),
        )

    def spool(
        self,
        label: str,
        *,
        rest: float,
        at_14: float,
        at_12: float | None = None,
        memory: bool = False,
        start: float | None = None,
        switch_on: float,
        switch_off: float,
        travel: float,
        feed: str | None = None,
        pilot: Pilot | None = None,
        standing: bool = False,
    ) -> int:
        watch = -1
        if pilot is not None:
            watch = self._builder.add_watch(
                signal=PRESSURE,
                index=pilot.node,
                on_at=self.ambient_pressure + pilot.minimum,
                off_at=self.ambient_pressure + pilot.minimum * (1.0 - PILOT_HYSTERESIS),
                role=ACTING,
            )
        return self._add_spool(
            SpoolSpec(
                self._component,
                rest,
                at_14,
                at_12,
                memory,
                rest if start is None else start,
                switch_on,
                switch_off,
                travel,
                feed,
                watch,
                pilot,
                standing,
                by_hand=False,
            )
        )

    def hand_valve(self, label: str, *, start: float, travel: float) -> int:
        return self._add_spool(
            SpoolSpec(
                self._component,
                start,
                1.0,
                0.0,
                True,
                start,
                0.0,
                0.0,
                travel,
                None,
                -1,
                None,
                standing=False,
                by_hand=True,
            )
        )

    def _add_spool(self, spec: SpoolSpec) -> int:
        self._builder.spools.append(spec)
        self._parts.spool = len(self._builder.spools) - 1
        return self._parts.spool

    def stem(
        self,
        label: str,
        node: int,
        *,
        setting: float,
        band: float,
        dead_band: float,
        response: float,
    ) -> int:
        self._builder.stems.append(
            {"node": node, "setting": setting, "band": band, "dead_band": dead_band,
             "response": response, "low": -0.1, "high": 1.1}
        )  # fmt: skip
        self._parts.stem = len(self._builder.stems) - 1
        return self._parts.stem

    def source(
        self,
        label: str,
        node: int,
        *,
        delivery: float,
        rated_at: float,
        fall: float,
        temperature: float,
        load_at: float,
        unload_at: float,
        feed: str | None,
    ) -> int:
        build = self._builder
        build.sources.append(
            {"node": node, "on": 0.0, "delivery": delivery, "rated_at": rated_at, "fall": fall,
             "temperature": temperature}
        )  # fmt: skip
        watch = build.add_watch(
            signal=PRESSURE, index=node, on_at=unload_at, off_at=load_at, role=ACTING
        )
        self._parts.source = len(build.sources) - 1
        build.compressors.append(
            SourceSpec(self._component, self._parts.source, watch, feed, load_at, unload_at)
        )
        return self._parts.source

    def mover(
        self,
        label: str,
        *,
        mass: float,
        chambers: tuple[Chamber, ...],
        spring_force: float,
        spring_rate: float,
        friction: float,
        static_friction: float | None,
        damping: float,
        low: float,
        low_stiffness: float,
        high: float,
        high_stiffness: float,
        fin_thickness: float = 0.0,
        start: float = 0.0,
    ) -> int:
        build = self._builder
        index = len(build.movers)
        row: Row = {
            "mass": mass, "spring_force": spring_force, "spring_rate": spring_rate,
            "friction": friction, "damping": damping, "low": low,
            "static": friction if static_friction is None else static_friction,
            "low_stiffness": low_stiffness, "high": high, "high_stiffness": high_stiffness,
        }  # fmt: skip
        for k in range(2):
            chamber = chambers[k] if k < len(chambers) else None
            row[f"node_{k}"] = -1 if chamber is None else chamber.node
            row[f"area_{k}"] = 0.0 if chamber is None else chamber.area
            row[f"slope_{k}"] = 0.0 if chamber is None else chamber.slope
            row[f"direction_{k}"] = 1.0 if chamber is None else chamber.direction
            row[f"count_{k}"] = 0.0 if chamber is None else chamber.count
            if chamber is not None and not build.nodes[chamber.node]["boundary"]:
                if build.nodes[chamber.node]["mover"] >= 0:
                    raise InputError(
                        f"{self._component}: it shares one air space with another brake or "
                        "cylinder. Put a hose, pipe or tube between each of them and the manifold."
                    )
                build.nodes[chamber.node].update(mover=index, chamber=k)
        bends = chambers[0].bends
        assert not any(chamber.bends for chamber in chambers[1:])
        knot, bend = np.zeros(MOST_KNOTS), np.zeros(MOST_KNOTS)
        for i, place in enumerate(bends):
            knot[i], bend[i] = place
        row.update(knots=len(bends), knot=knot, bend=bend)
        build.movers.append(row)
        build.fins.append(fin_thickness)
        build.starts.append(start)
        self._parts.mover = index
        return index

    def switchable_supply(self, label: str, restriction: int) -> None:
        self._parts.supply = restriction

    def feed(self, label: str) -> None:
        self._parts.feed = True

    def pressure_contact(
        self, label: str, node: int, *, on_at: float, off_at: float, delay: float
    ) -> int:
        watch = self._builder.add_watch(
            signal=PRESSURE, index=node, on_at=on_at, off_at=off_at, delay=delay, role=SENSED
        )
        return self._add_contact(watch)

    def position_contact(
        self,
        label: str,
        component: str,
        *,
        end: Literal["low", "high"],
        within: float,
        delay: float,
    ) -> int:
        watch = self._builder.add_watch(
            signal=ABOVE_HIGH if end == "high" else BELOW_LOW,
            index=-1,
            on_at=-within,
            off_at=-1.1 * within,
            delay=delay,
            role=SENSED,
        )
        self._builder.positions.append((watch, component, self._builder.watches[watch]))
        return self._add_contact(watch)

    def _add_contact(self, watch: int) -> int:
        self._builder.contacts.append(ContactSpec(self._component, watch))
        self._parts.contact = len(self._builder.contacts) - 1
        return self._parts.contact

    def transmitter(self, label: str, node: int, *, lag: float, low: float, high: float) -> int:
        build = self._builder
        build.lags.append({"node": node, "lag": lag, "gain": 1.0, "offset": 0.0})
        self._parts.lag = len(build.lags) - 1
        build.transmitters.append(TransmitterSpec(self._component, self._parts.lag, low, high))
        return self._parts.lag
