"""Heat goes where the air goes: nothing becomes colder than what feeds it unless it expands."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from plant_toys import BAR, fill, position

from pneumo.air import CV, HEAT_RATIO
from pneumo.circuit.validate import load_text
from pneumo.network.compile import compile_circuit
from pneumo.network.network import copy_for_change
from pneumo.simulation.advance import STOPPED, advance
from pneumo.simulation.part import make_part
from pneumo.simulation.solver import make_scratch

SECONDS = 6.0
SHOTS = 240

VESSEL = st.tuples(
    st.floats(-1.0, 1.7).map(lambda e: 10.0**e),  # L
    st.floats(250.0, 340.0),  # K at the start
)
WAY = st.tuples(
    st.integers(0, 100),
    st.integers(0, 100),
    st.one_of(
        st.floats(-1.0, 2.3).map(
            lambda e: f"kind: shut_off, C: {10.0**e:.4g} L/(s·bar), b: 0.3, turning_time: 1 s"
        ),
        st.tuples(st.floats(0.1, 20.0), st.floats(4.0, 40.0)).map(
            lambda d: f"kind: pipe, length: {d[0]:.4g} m, bore: {d[1]:.4g} mm, segments: 1"
        ),
    ),
)
SUPPLY = st.tuples(st.integers(0, 100), st.floats(-20.0, 60.0), st.floats(2.0, 10.0))


def document(
    vessels: int,
    ways: list[tuple[int, int, str]],
    supplies: list[tuple[int, float, float]],
) -> str:
    """Vessels joined by ways, the first of which make a chain of all of them; supplies that stand
    at degrees Celsius and bar."""
    components = {}
    links = []
    used = [0] * vessels

    def port(i: int) -> str:
        used[i] += 1
        return f"v{i}.{used[i]}"

    for k, (a, b, kind) in enumerate(ways):
        ends = (k, k + 1) if k < vessels - 1 else (a % vessels, b % vessels)
        if ends[0] == ends[1]:
            continue
        components[f"w{k}"] = kind
        links += [f"{port(ends[0])} -> w{k}.1", f"w{k}.2 -> {port(ends[1])}"]
    for k, (at, degrees, bar) in enumerate(supplies):
        components[f"s{k}"] = (
            f"kind: ideal_supply, pressure: {bar:.4g} bar abs, temperature: {degrees:.4g} C"
        )
        links.append(f"s{k}.2 -> {port(at % vessels)}")
    for i, ports in enumerate(used):
        components[f"v{i}"] = f"kind: manifold, volume: 1 L, ports: {ports}"
    text = "ride: {name: heat}\nambient: {pressure: 1 bar abs}\ncomponents:\n"
    text += "".join(f"  {name}: {{{what}}}\n" for name, what in components.items())
    return text + "connections:\n" + "".join(f"  - {link}\n" for link in links)


@settings(max_examples=40)
@given(
    st.lists(VESSEL, min_size=2, max_size=7),
    st.lists(WAY, min_size=10, max_size=10),
    st.lists(SUPPLY, min_size=1, max_size=2),
)
def test_nothing_is_colder_than_the_coldest_source(
    vessels: list[tuple[float, float]],
    ways: list[tuple[int, int, str]],
    supplies: list[tuple[int, float, float]],
) -> None:
    """Any net of vessels without walls, all at 1 bar and filled together: whatever is colder than
    the coldest supply and the coldest vessel was at the start has expanded somewhere, and is no
    colder than the most that any of them has expanded by explains."""
    compiled = compile_circuit(load_text(document(len(vessels), ways, supplies), "heat"))
    network = copy_for_change(compiled.network)
    network.node["heat"] = 0.0
    y = compiled.start.copy()
    network.node["volume"][: network.dynamic] = 1e-4
    for i, (litres, kelvin) in enumerate(vessels):
        network.node["volume"][compiled.parts[f"v{i}"].ports["1"]] = litres * 1e-3
        fill(compiled, network, y, f"v{i}", 1 * BAR, kelvin)
    shots = np.zeros((SHOTS, len(y)))
    where = position(network, y, 1e-6)
    status, _ = advance(
        network, where, make_part(network), make_scratch(network), SECONDS, np.inf, 0.02, 1e-5,
        1e6, np.zeros((16, 3)), SECONDS / (SHOTS - 1), 0.0, shots,
    )  # fmt: skip
    assert status == STOPPED
    shots = np.vstack([y, shots[1:-1], where.y])
    rows = network.node[: network.dynamic]
    energy, mass = shots[:, rows["energy"]], shots[:, rows["mass"]]
    temperature = energy / (mass * CV)
    pressure = (HEAT_RATIO - 1.0) * energy / rows["volume"]
    expanded = (pressure / np.maximum.accumulate(pressure)).min()
    coldest = min(
        float(network.node["temperature"][network.dynamic + 1 :].min()), temperature[0].min()
    )
    least = coldest * expanded ** ((HEAT_RATIO - 1.0) / HEAT_RATIO)
    assert temperature.min() > least - 0.02
