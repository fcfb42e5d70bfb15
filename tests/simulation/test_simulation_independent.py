"""The compiled solver against a zone written a second time and integrated by scipy's Radau."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

import numpy as np
from independent_zone import (
    BRAKES,
    CONTACT_AT,
    DOCUMENT,
    NODES,
    SWITCH_HYSTERESIS,
    SWITCH_SET,
    TRAVEL,
    WITHIN,
    Array,
    Spool,
    Zone,
    driving_force,
)
from plant_toys import rates_at
from scipy.integrate import solve_ivp

from pneumo.circuit.validate import load_text
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.scenario.plant import RTOL
from pneumo.scenario.play import Play
from pneumo.scenario.signal import pressure

END = 1.6
GRID = 0.01
TIGHT = 1e-7
"""Tolerance at which the solver is judged."""
VALVES = ("valve_a", "valve_b")


@cache
def compiled() -> Compiled:
    return compile_circuit(load_text(DOCUMENT, "independent zone"))


@cache
def played(rtol: float) -> Play:
    play = Play(compiled(), rtol=rtol)
    play.plant.record(GRID, END)
    play.schedule(compiled().circuit.scenarios["there and back"].events)
    play.advance(END)
    return play


def node(name: str) -> int:
    component, _, port = name.partition(".")
    return compiled().parts[component].ports[port]


def zone_state(zone: Zone, y: Array) -> Array:
    """pneumo's states, or their rates, in the order of the independent zone."""
    network = compiled().network
    gas = {}
    for name in NODES:
        row = network.node[node(name)]
        gas[name] = (float(y[row["mass"]]), float(y[row["energy"]]))
    skis = []
    for name in BRAKES:
        row = network.mover[compiled().parts[name.removesuffix(".1")].mover]
        skis.append((float(y[row["x"]]), float(y[row["v"]])))
    return zone.state(gas, skis, float(y[network.stem[0]["z"]]))


def timetable(play: Play, valve: str) -> list[tuple[float, float]]:
    """(time, position) at the corners of a valve's movement."""
    corners = [(-1.0, 0.0)]
    for event in play.plant.log.events:
        if event.kind == "valve" and event.subject == valve:
            target = event.what.position
            start = event.time - TRAVEL * abs(target - corners[-1][1])
            corners += [(start, corners[-1][1]), (event.time, target)]
    return corners


def spool(corners: list[tuple[float, float]]) -> Spool:
    times, positions = zip(*corners, strict=True)
    return lambda time: float(np.interp(time, times, positions))


@dataclass(frozen=True)
class Reference:
    pressures: Array
    """(time, node)"""
    crossings: dict[str, list[float]]
    """Switch -> when it changes."""


Level = Callable[[float, Array], float]


def switch_levels(zone: Zone) -> list[tuple[str, Level]]:
    """What passes through zero when a switch changes, by switch."""
    at = NODES.index("quick.2")
    n, b = len(NODES), len(BRAKES)

    def pressure_above(level: float) -> Level:
        return lambda time, y: zone.split(y)[0][at] / level - 1.0

    def ski(number: int, place: float) -> Level:
        return lambda time, y: (float(y[2 * n + number]) * 1e-3 - place) * 1e3

    levels = [
        ("made ON", pressure_above(SWITCH_SET)),
        ("made OFF", pressure_above(SWITCH_SET - SWITCH_HYSTERESIS)),
    ]
    for i in range(b):
        levels += [
            (f"closed_{i + 1} ON", ski(i, CONTACT_AT - WITHIN)),
            (f"closed_{i + 1} OFF", ski(i, CONTACT_AT - 1.1 * WITHIN)),
            (f"open_{i + 1} ON", ski(i, WITHIN)),
            (f"open_{i + 1} OFF", ski(i, 1.1 * WITHIN)),
        ]
    return levels


@cache
def reference() -> Reference:
    """The independent zone, from pneumo's state at rest, driven by the valves' timetable."""
    play = played(TIGHT)
    tables = [timetable(play, valve) for valve in VALVES]
    zone = Zone(spool(tables[0]), spool(tables[1]))
    kinks = sorted({time for table in tables for time, _ in table if 0.0 < time < END})
    y = zone_state(zone, play.plant.samples.rows[0])
    times = np.arange(round(END / GRID) + 1) * GRID
    pressures = np.zeros((len(times), len(NODES)))
    levels = switch_levels(zone)
    crossings: dict[str, list[float]] = {name: [] for name, _ in levels}
    turns = [zone.turns(i) for i in range(len(BRAKES))]
    for start, end in pairwise([0.0, *kinks, END]):
        while start < end:
            zone.choose_ways(y)
            solution = solve_ivp(
                zone, (start, end), y, method="Radau", rtol=1e-8, atol=1e-9, dense_output=True,
                events=[*(level for _, level in levels), *turns],
            )  # fmt: skip
            assert solution.success
            reached = float(solution.t[-1])
            for k in np.flatnonzero((times >= start) & (times <= reached)):
                pressures[k] = zone.split(solution.sol(times[k]))[0]
            found = solution.t_events[: len(levels)]
            for (name, _), moments in zip(levels, found, strict=True):
                crossings[name].extend(moments.tolist())
            y = stopped(zone, solution.y[:, -1], solution.t_events[len(levels) :])
            start = reached
    return Reference(pressures, crossings)


def stopped(zone: Zone, y: Array, turned: list[Array]) -> Array:
    """The state from which it goes on: a ski that has stopped is at rest, one that breaks away has
    begun to."""
    y = y.copy()
    p, _, x, _, _ = zone.split(y)
    for i, name in enumerate(BRAKES):
        if len(turned[i]):
            force = driving_force(i, x[i], p[zone.index[name]])
            speed = 2 * len(NODES) + len(BRAKES) + i
            y[speed] = 0.0 if zone.ways[i] else float(np.copysign(1e-8, force))
    return y


def worst_pressure(play: Play) -> float:
    """Largest relative difference of any pressure at any time of the grid."""
    found = np.array([pressure(play, node(name)) for name in NODES]).T
    assert found.shape == reference().pressures.shape
    return float(np.abs(found / reference().pressures - 1.0).max())


def worst_moment(play: Play) -> float:
    """Largest difference of the moments at which a switch changes [s]."""
    watch = {contact.component: contact.watch for contact in compiled().contacts}
    worst = 0.0
    for name, moments in reference().crossings.items():
        switch, _, sense = name.partition(" ")
        found = [
            time
            for time, w, made in play.plant.log.crossings
            if w == watch[switch] and made == (sense == "ON") and time > 0.0
        ]
        # a level is passed in both directions; the switch has hysteresis and changes in one
        assert len(found) == 1
        worst = max(worst, min(abs(found[0] - moment) for moment in moments))
    return worst


def test_the_rates_are_those_of_the_independent_zone() -> None:
    """Written twice, the right-hand side is the same at every recorded state, valves anywhere."""
    network = compiled().network
    spools = [compiled().parts[valve].spool for valve in VALVES]
    for number, y in enumerate(played(TIGHT).plant.samples.rows):
        a, b = (number % 7) / 6.0, (number % 5) / 4.0
        network.spool["position"][spools] = a, b
        zone = Zone(spool([(0.0, a)]), spool([(0.0, b)]))
        zone.choose_ways(zone_state(zone, y))
        expected = zone(0.0, zone_state(zone, y))
        found = zone_state(zone, rates_at(network, y, 0.0))
        np.testing.assert_allclose(found, expected, rtol=1e-9, atol=1e-9)
    network.spool["position"][spools] = 0.0


def test_the_solver_agrees_with_radau() -> None:
    """Wanted: 1e-4 in pressure everywhere and 1 ms in every switching time. Reached at the tighter
    tolerance: 1e-7 and 0.03 us, whether the reference is integrated to 1e-8 or to 1e-10; at the
    usual one: 4e-5 and 8 us."""
    assert worst_pressure(played(TIGHT)) < 2e-6
    assert worst_moment(played(TIGHT)) < 1e-6
    assert worst_pressure(played(RTOL)) < 5e-4
    assert worst_moment(played(RTOL)) < 1e-4
