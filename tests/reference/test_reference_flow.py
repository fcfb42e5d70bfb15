"""Published checks of restrictions and pipes, by simulation.

Formulas of ISO 6358-1 and -3 and of the handbook from MEMORY, their numbers COMPUTED; tables as
marked in their files. A standing vessel is one so large that its pressure does not move.
"""

from __future__ import annotations

import math
from itertools import pairwise

import fluids
import numpy as np
import pytest
from reference_bench import BAR, Bench, circuit, table
from scipy.optimize import brentq

from pneumo.air import (
    GAS_CONSTANT,
    HEAT_RATIO,
    ORIFICE_CRITICAL,
    REFERENCE_DENSITY,
)
from pneumo.circuit.action import FaultSpec
from pneumo.components.common_faults import SHARP_EDGE
from pneumo.scenario.inject import Standing, injected
from pneumo.simulation.flow import viscosity

INCH = 0.0254
CFM = 0.3048**3 / 60.0
PSI = 6894.757293168
ROOM = 293.15

TABLE_TOLERANCE = 1.2e-2
PIPE_TOLERANCE = 1e-7


def between_vessels(paths: list[tuple[float, float]], upstream: float, downstream: float) -> Bench:
    """Two standing vessels joined by restrictions (C [L/(s·bar)], b) side by side."""
    count = len(paths)
    components = {
        "supply": "kind: ideal_supply, pressure: 8 bar abs",
        "left": f"kind: receiver, volume: 100 L, ports: {count + 1}",
        "right": f"kind: receiver, volume: 100 L, ports: {count}",
    }
    connections = [f"supply.2 -> left.{count + 1}"]
    for i, (c, b) in enumerate(paths, start=1):
        components[f"path_{i}"] = f"kind: flow_control, C: {c} L/(s·bar), b: {b}"
        connections += [f"left.{i} -> path_{i}.1", f"path_{i}.2 -> right.{i}"]
    bench = Bench(circuit(components, connections))
    bench.close("supply 2")
    bench.standing("left.1", upstream)
    bench.standing("right.1", downstream)
    return bench


# restrictions


@pytest.mark.parametrize(
    ("downstream", "litres_a_minute"), [(1.0, 420.0), (4.0, 387.14022), (6.0, 254.26966)]
)
def test_flow_of_one_restriction(downstream: float, litres_a_minute: float) -> None:
    """C = 1 dm3/(s bar), b 0.3, 20 degC, from 7 bar: choked, subsonic, nearly level [L/min ANR]."""
    flow = between_vessels([(1.0, 0.3)], 7 * BAR, downstream * BAR).inflow("right.1")
    assert flow / REFERENCE_DENSITY * 60e3 == pytest.approx(litres_a_minute, rel=1e-7)


def test_flow_reversed_is_the_same_flow_back() -> None:
    """A plain restriction passes both ways alike."""
    there = between_vessels([(1.0, 0.3)], 7 * BAR, 4 * BAR).inflow("right.1")
    back = between_vessels([(1.0, 0.3)], 4 * BAR, 7 * BAR).inflow("left.1")
    assert there == pytest.approx(back, rel=1e-14)


def test_parallel_restrictions() -> None:
    """(2, 0.3) beside (1, 0.2): together C 3 and b 0.2688580134 (ISO 6358-3).

    C is measured choked. b is measured where the standard's rule is exact, in the limit of a small
    pressure drop s: flow / sqrt(2 s) tends to C / sqrt(1 - b). The laminar blend of the simulator
    ends at s = 0.005, so the limit is extrapolated from drops beyond it.
    """
    paths = [(2.0, 0.3), (1.0, 0.2)]
    p1 = 7 * BAR
    c = between_vessels(paths, p1, 1 * BAR).inflow("right.1") / (REFERENCE_DENSITY * p1)
    assert c == pytest.approx(3e-8, rel=1e-9)
    drops = 0.006 + 0.05 * (1.0 - np.cos(np.pi * np.arange(12) / 11))
    shares = [
        between_vessels(paths, p1, p1 * (1.0 - s)).inflow("right.1")
        / (c * REFERENCE_DENSITY * p1 * math.sqrt(2.0 * s))
        for s in drops
    ]
    limit = np.polynomial.Polynomial.fit(drops, shares, 11)(0.0)
    assert 1.0 - limit**-2 == pytest.approx(0.2688580134, rel=1e-8)


@pytest.mark.parametrize(
    ("first", "second", "c"),
    [((1.0, 0.3), (1.0, 0.3), 0.7572155501), ((2.0, 0.3), (1.0, 0.2), 0.9213061859)],
)
def test_series_restrictions(
    first: tuple[float, float], second: tuple[float, float], c: float
) -> None:
    """Conductance of two in series, choked, once the volume between them has come to rest."""
    components = {
        "supply": f"kind: ideal_supply, pressure: 7 bar abs, C: {first[0]} L/(s·bar), "
        f"b: {first[1]}",
        "between": "kind: receiver, volume: 1 L",
        "end": f"kind: silencer, C: {second[0]} L/(s·bar), b: {second[1]}",
    }
    bench = Bench(circuit(components, ["supply.2 -> between.1", "between.2 -> end.1"]))
    bench.run(100.0)
    before = bench.given_off()
    bench.run(100.0)
    flow = (bench.given_off() - before) / 100.0
    assert flow / (REFERENCE_DENSITY * 7 * BAR) * 1e8 == pytest.approx(c, rel=1e-9)


# holes


def test_critical_ratio_of_a_hole() -> None:
    """Against an independent library."""
    assert fluids.P_critical_flow(1.0, HEAT_RATIO) == pytest.approx(ORIFICE_CRITICAL, rel=1e-12)


def hole_flow(diameter: float, gauge: float, outside: float, temperature: float) -> float:
    """Free air [m3/s, at the surroundings' state] through a leak, coefficient of discharge 1."""
    components = {
        "supply": "kind: ideal_supply, pressure: 20 bar abs",
        "vessel": "kind: receiver, volume: 100 L, ports: 1",
    }
    bench = Bench(circuit(components, ["supply.2 -> vessel.1"], f"{outside!r} Pa abs"))
    bench.close("supply 2")
    vessel = bench.compiled.circuit.components["vessel"]
    leak = next(mode for mode in vessel.fault_modes() if mode.name == "leak")
    fault = FaultSpec("vessel", "leak", diameter)
    bench.network, _ = injected(bench.compiled, [Standing(fault, leak, diameter)])
    bench.close("supply 2")
    bench.standing("vessel.1", outside + gauge, temperature)
    flow = -bench.inflow("vessel.1") / SHARP_EDGE
    return flow * GAS_CONSTANT * temperature / outside


@pytest.mark.parametrize(
    "row", table("orifice_discharge.csv"), ids=lambda row: f"{row['psig']}psig-{row['orifice_in']}"
)
def test_orifice_discharge(row: dict[str, str]) -> None:
    """A leak against the handbook table, coefficient 1, outside 14.7 psi, 70 degF.

    The table follows the ideal nozzle; the simulator takes that nozzle's choked flow and critical
    ratio and ISO 6358's quarter ellipse below it, which lies at most 0.3 % from the nozzle's own
    curve.
    """
    temperature = (70.0 - 32.0) / 1.8 + 273.15
    diameter, gauge = float(row["orifice_in"]) * INCH, float(row["psig"]) * PSI
    flow = hole_flow(diameter, gauge, 14.7 * PSI, temperature) / CFM
    assert flow == pytest.approx(float(row["free_air_cfm"]), rel=TABLE_TOLERANCE)


@pytest.mark.parametrize(
    ("inch", "scfm"),
    [(1 / 64, 0.40), (1 / 32, 1.55), (1 / 16, 6.31), (1 / 8, 25.22), (1 / 4, 100.9)],
)
def test_leak_rates(inch: float, scfm: float) -> None:
    """Leaks at 100 psig (US DOE compressed-air tip sheet 3, 2004; cells MEMORY). They sit near
    0.967 of the ideal nozzle; pneumo's own leaks, sharp-edged at 0.65, lie a third below."""
    flow = hole_flow(inch * INCH, 100.0 * PSI, 14.7 * PSI, ROOM) / CFM
    assert 0.967 * flow == pytest.approx(scfm, rel=0.05)


# pipes


def pipe_bench(bore: float, length: float, segments: int, roughness: float) -> Bench:
    """A pipe between two vessels that will be made standing; isothermal all along."""
    components = {
        "supply": "kind: ideal_supply, pressure: 8 bar abs",
        "left": "kind: receiver, volume: 100 L",
        "pipe": f"kind: pipe, bore: {bore} m, length: {length} m, segments: {segments}, "
        f"roughness: {roughness!r} m",
        "right": "kind: receiver, volume: 100 L, ports: 1",
    }
    links = ["supply.2 -> left.1", "left.2 -> pipe.1", "pipe.2 -> right.1"]
    bench = Bench(circuit(components, links))
    bench.close("supply 2")
    for port in ("left.1", "right.1", *(f"pipe.inner {i}" for i in range(1, segments))):
        bench.isothermal(port)
    return bench


def steady_flow(bench: Bench, upstream: float, downstream: float) -> float:
    """Flow once the air in the pipe has come to rest [kg/s]."""
    bench.standing("left.1", upstream)
    bench.standing("right.1", downstream)
    bench.run(30.0)
    into, out_of = bench.inflow("right.1"), -bench.inflow("left.1")
    assert into == pytest.approx(out_of, rel=1e-9)
    return into


@pytest.mark.parametrize("segments", [1, 2, 10])
@pytest.mark.parametrize(
    ("downstream", "flow"), [(7.0, 0.0176574157), (6.0, 0.0240198613), (4.0, 0.0310969547)]
)
def test_isothermal_pipe(downstream: float, flow: float, segments: int) -> None:
    """Bore 10 mm, 20 m, f 0.0175, from 8 bar; COMPUTED with `fluids.isothermal_gas`.

    The simulator knows no given f: the roughness is the one that gives 0.0175 at this flow by
    Colebrook. Each length keeps its 2 ln term, so any number of them meets the whole: reached
    4e-8, however many segments.
    """
    bore, length, f = 0.01, 20.0, 0.0175
    reynolds = 4.0 * flow / (math.pi * bore * viscosity(ROOM))
    roughness = brentq(
        lambda e: fluids.friction.Colebrook(reynolds, e / bore) - f, 1e-9, 1e-4, xtol=1e-15
    )
    bench = pipe_bench(bore, length, segments, roughness)
    reached = steady_flow(bench, 8 * BAR, downstream * BAR)
    assert reached == pytest.approx(flow, rel=PIPE_TOLERANCE)
    library = fluids.isothermal_gas(
        rho=8 * BAR / (GAS_CONSTANT * ROOM), fd=f, P1=8 * BAR, P2=downstream * BAR, L=length, D=bore
    )
    assert reached == pytest.approx(library, rel=PIPE_TOLERANCE)


def test_friction_factor() -> None:
    """Darcy factor at Re 1e5 and e/D 1e-4 is Colebrook's 0.01851386608 (COMPUTED), measured on a
    pipe so long that the air is slow and hardly expands, at a pressure difference far above the one
    below which a line is taken as linear."""
    bore, relative, length = 0.068, 1e-4, 2e3
    bench = pipe_bench(bore, length, 1, relative * bore)
    area = math.pi / 4.0 * bore**2

    def reynolds(drop: float) -> float:
        bench.standing("left.1", 8 * BAR)
        bench.standing("right.1", 8 * BAR - drop)
        return bench.inflow("right.1") * bore / (area * viscosity(ROOM))

    drop = brentq(lambda d: reynolds(d) - 1e5, 1e3, 1e5, xtol=1e-9)
    flux = bench.inflow("right.1") / area
    p1, p2 = 8 * BAR, 8 * BAR - drop
    factor = ((p1**2 - p2**2) / (GAS_CONSTANT * ROOM * flux**2) - 2.0 * math.log(p1 / p2)) * (
        bore / length
    )
    assert factor == pytest.approx(0.01851386608, abs=1e-8, rel=1e-6)
    assert factor == pytest.approx(fluids.friction.Colebrook(1e5, relative), rel=1e-6)


def test_laminar_pipe() -> None:
    """At Re 60 the flow is Hagen and Poiseuille's: f = 64 / Re (any text)."""
    bore, length, drop = 0.01, 20.0, 5.0
    bench = pipe_bench(bore, length, 1, 0.0)
    bench.standing("left.1", 2 * BAR)
    bench.standing("right.1", 2 * BAR - drop)
    flow = bench.inflow("right.1")
    density = (2 * BAR - drop / 2) / (GAS_CONSTANT * ROOM)
    expected = density * math.pi * bore**4 * drop / (128.0 * viscosity(ROOM) * length)
    assert flow == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("kelvin", [250.0, 273.15, 293.15, 330.0])
def test_viscosity(kelvin: float) -> None:
    """Against the standard atmosphere's law in an independent library."""
    assert viscosity(kelvin) == pytest.approx(fluids.ATMOSPHERE_1976.viscosity(kelvin), rel=2e-3)


def end_of_a_line(segments: int, seconds: float) -> float:
    """Pressure at the far end of 50 m of 6 mm, all at 1 bar at first and then on 7 bar [Pa]."""
    bench = Bench(
        circuit(
            {
                "supply": "kind: ideal_supply, pressure: 7 bar abs",
                "line": f"kind: pipe, length: 50 m, bore: 6 mm, segments: {segments}",
                "end": "kind: gauge",
            },
            ["supply.2 -> line.1", "line.2 -> end.1"],
        ),
        rtol=1e-7,
    )
    for port in ("line.1", "line.2", *(f"line.inner {i}" for i in range(1, segments))):
        bench.vessel(port, float(bench.network.node[bench.node(port)]["volume"]), 1 * BAR)
    bench.run(seconds)
    return bench.gas("end.1")[0]


@pytest.mark.parametrize("seconds", [0.5, 1.0, 3.0])
def test_refining_a_line_converges(seconds: float) -> None:
    """Cut twice as finely, the line changes by no more than about half as much, or by 1e-4, from
    the first rise to where hardly anything flows; its air is what its bore and length hold."""
    found = [end_of_a_line(segments, seconds) for segments in (25, 50, 100, 200)]
    steps = [abs(b - a) for a, b in pairwise(found)]
    assert steps[1] < 0.6 * steps[0] + 70.0
    assert steps[2] < 0.6 * steps[1] + 70.0
    assert steps[2] < 0.015 * BAR
