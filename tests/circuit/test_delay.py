"""The time that news takes through a zone's lines: which way counts, and that it is enough."""

from __future__ import annotations

from math import pi, sqrt
from pathlib import Path

import numpy as np
import pytest

from pneumo.circuit.circuit import Circuit, PortRef
from pneumo.circuit.delay import line_delays, speed_of_sound
from pneumo.circuit.sentence import parse_action
from pneumo.circuit.validate import load, load_text
from pneumo.network.compile import compile_circuit
from pneumo.scenario.play import Play
from pneumo.scenario.signal import pressure

CIRCUITS = Path(__file__).parents[2] / "circuits"

HEAD = """
ride: {name: long lines}
components:
  supply: {kind: ideal_supply, pressure: 6 bar}
  valve: {kind: valve_3_2, C: 5 L/(s·bar), b: 0.3}
  tee: {kind: manifold, ports: 4}
  full: {kind: pressure_switch, set: 4 bar}
  main: {kind: pipe, bore: 12 mm, length: 50 m}
  hose_1: {kind: hose, bore: 9 mm, length: 2 m}
  hose_2: {kind: hose, bore: 9 mm, length: 5 m}
  brake_{1..2}: {kind: bladder_brake, spring: SPRING, area: 250 cm2, spring_force: 2 kN,
    spring_rate: 60 N/mm}
  open_{1..2}: {kind: jaw_switch, of: "brake_{1..2}", reads: open}
  closed_{1..2}: {kind: jaw_switch, of: "brake_{1..2}", reads: closed}
"""

TAIL = """
  - tee.2 -> full.1
  - tee.3 -> hose_1.1
  - tee.4 -> hose_2.1
  - hose_{1..2}.2 -> brake_{1..2}.1
zones:
  block: {brakes: [brake_1, brake_2], outputs: {valve.14: charge}, pressure_switches: [full],
    safe_state: SAFE, requirement: NEED}
"""

OPEN = {"SPRING": "open", "SAFE": "open", "NEED": "{within: 1 s, clearance: 1 mm}"}
BY_AIR = OPEN | {"SAFE": "closed", "NEED": "{within: 1 s, clamping_force: 2 kN}"}


def circuit(links: str, words: dict[str, str], parts: str = "") -> Circuit:
    text = HEAD + parts + "connections:\n" + links.strip("\n") + TAIL
    for word, meant in words.items():
        text = text.replace(word, meant)
    return load_text(text, "long lines")


def metres(circuit: Circuit) -> float:
    return line_delays(circuit)["block"] * speed_of_sound(circuit.ambient.temperature)


def test_speed_of_sound() -> None:
    """343.2 m/s in dry air at 20 C: handbook value, from memory."""
    assert speed_of_sound(293.15) == pytest.approx(343.2, abs=0.1)


def test_the_line_between_valve_and_brake_counts_with_the_longest_hose() -> None:
    """The air leaves at the valve: 50 m of main and 5 m of hose."""
    links = """
  - supply.2 -> valve.1
  - valve.2 -> main.1
  - main.2 -> tee.1
"""
    assert metres(circuit(links, OPEN)) == pytest.approx(55.0)


def test_what_lies_before_a_check_valve_does_not_count() -> None:
    """Air that leaves cannot go back through it; air that makes the safe state comes through it."""
    links = """
  - supply.2 -> main.1
  - main.2 -> check.1
  - check.2 -> valve.1
  - valve.2 -> tee.1
"""
    check = "  check: {kind: check_valve, C: 5 L/(s·bar), b: 0.3}\n"
    assert metres(circuit(links, OPEN, check)) == pytest.approx(5.0)
    assert metres(circuit(links, BY_AIR, check)) == pytest.approx(55.0)


def test_a_vessel_answers_at_once() -> None:
    links = """
  - supply.2 -> main.1
  - main.2 -> store.1
  - store.2 -> valve.1
  - valve.2 -> tee.1
"""
    store = "  store: {kind: accumulator, volume: 20 L, ports: 2}\n"
    assert metres(circuit(links, BY_AIR, store)) == pytest.approx(5.0)


def test_a_quick_exhaust_waits_for_the_line_that_tells_it() -> None:
    """It stands beside the brakes, but opens only when its valve, 50 m away, has vented the main;
    from a second one at the end of a longer line the air could leave too."""
    links = """
  - supply.2 -> valve.1
  - valve.2 -> main.1
  - main.2 -> quick.1
  - quick.2 -> tee.1
"""
    quick = "  quick: {kind: quick_exhaust, C: 5 L/(s·bar), b: 0.3, exhaust_C: 9 L/(s·bar)}\n"
    assert metres(circuit(links, OPEN, quick)) == pytest.approx(55.0)


def test_a_silencer_is_an_end_and_a_brake_behind_hoses_only_has_its_own() -> None:
    """The exhausts of both valves end in silencers, one of them behind 8 m of pipe."""
    links = """
  - supply.2 -> valve.1
  - valve.3 -> silencer.1
  - valve.2 -> second.1
  - second.3 -> away.1
  - away.2 -> silencer_2.1
  - second.2 -> main.1
  - main.2 -> tee.1
"""
    parts = """  second: {kind: valve_3_2, C: 5 L/(s·bar), b: 0.3}
  silencer: {kind: silencer, C: 5 L/(s·bar), b: 0.3}
  away: {kind: pipe, bore: 12 mm, length: 8 m}
  silencer_2: {kind: silencer, C: 5 L/(s·bar), b: 0.3}
"""
    assert metres(circuit(links, OPEN, parts)) == pytest.approx(5.0 + 50.0 + 8.0)


def test_where_nothing_leads_out_the_furthest_port_counts() -> None:
    links = """
  - supply.2 -> valve.1
  - valve.2 -> main.1
  - valve.3 -> plug
  - main.2 -> tee.1
"""
    assert metres(circuit(links, OPEN)) == pytest.approx(55.0)


@pytest.mark.parametrize("document", sorted(CIRCUITS.glob("*.yaml")), ids=lambda path: path.stem)
def test_every_zone_with_a_hose_to_its_brakes_has_a_delay(document: Path) -> None:
    ride = load(document)
    joined = {link.a: link.b for link in ride.connections} | {
        link.b: link.a for link in ride.connections if link.b is not None
    }
    for name, delay in line_delays(ride).items():
        lengths = [
            getattr(ride.components[port.component], "length", 0.0)
            for brake in ride.zones[name].brakes
            if (port := joined[PortRef(brake, "1")]) is not None
        ]
        assert delay >= max(lengths) / speed_of_sound(ride.ambient.temperature) * 0.999


# is it enough? A line with inertia, written down here, against the model, which has none

LINE = """
ride: {name: a line}
components:
  supply: {kind: ideal_supply, pressure: 6 bar}
  valve: {kind: valve_3_2, C: 60 L/(s·bar), b: 0.5, switch_off: 1 ms, travel: 1 ms}
  main: {kind: pipe, bore: 12 mm, length: LENGTH, segments: 40}
  end: {kind: receiver, volume: 1 L}
connections:
  - supply.2 -> valve.1
  - valve.2 -> main.1
  - main.2 -> end.1
  - end.2 -> plug
"""
BORE, END_VOLUME, AMBIENT, START = 12e-3, 1e-3, 101_325.0, 701_325.0
RT = 287.05 * 293.15
LEVELS = (0.95, 0.8, 0.5, 0.25)
"""Shares of the gauge pressure whose passing at the far end is timed."""


def with_inertia(length: float) -> list[float]:
    """When the pressure at the closed end passes each level after the other end is opened [s].

    One-dimensional isothermal flow, dp/dt = -R T dG/dx, dG/dt = -dp/dx - f G |G| / (2 D rho), on a
    staggered grid, explicit; at the open end no faster than sound. What the air takes to speed up
    along the line is left out, so that late on it flows faster than it would: the first levels are
    those that show something. Friction at the flow's own Reynolds number by Haaland's explicit
    approximation of Colebrook's formula (from memory).
    """
    cells = 100
    step = length / cells
    h = 0.4 * step / sqrt(1.4 * RT)
    volume = pi / 4.0 * BORE**2
    pressure, flux = np.full(cells + 1, START), np.zeros(cells + 1)
    found: list[float] = []
    time = 0.0
    while len(found) < len(LEVELS):
        pressure[0] = AMBIENT
        ahead = np.maximum(pressure[1:], pressure[:-1]) / RT  # the air that flows comes from there
        reynolds = np.maximum(np.abs(flux[1:]) * BORE / 1.81e-5, 3000.0)
        factor = (-1.8 * np.log10((2e-6 / BORE / 3.7) ** 1.11 + 6.9 / reynolds)) ** -2
        drag = factor * np.abs(flux[1:]) / (2.0 * BORE * ahead)
        flux[1:] = (flux[1:] + h * (pressure[:-1] - pressure[1:]) / step) / (1.0 + h * drag)
        flux[1] = max(flux[1], -pressure[1] / sqrt(RT))
        pressure[1:-1] += h * RT * (flux[1:-1] - flux[2:]) / step
        pressure[-1] += h * RT * flux[-1] * volume / (END_VOLUME + volume * step / 2.0)
        time += h
        while len(found) < len(LEVELS) and (
            pressure[-1] - AMBIENT < LEVELS[len(found)] * (START - AMBIENT)
        ):
            found.append(time)
    return found


def without_inertia(length: str) -> tuple[list[float], float]:
    """The same of the model, and the speed of sound it says."""
    compiled = compile_circuit(load_text(LINE.replace("LENGTH", length), "a line"))
    compiled.network.node["isothermal"][: compiled.network.dynamic] = 1
    play = Play(compiled)
    play.act(parse_action("override valve.14", compiled.circuit.components, {}))
    play.advance(20.0)
    play.plant.record(1e-3, 30.0)
    play.act(parse_action("release valve.14", compiled.circuit.components, {}))
    play.advance(30.0)
    opened = next(e.time for e in play.plant.log.events if e.kind == "valve" and e.time > 20.0)
    gauge = pressure(play, compiled.parts["end"].ports["1"]) - AMBIENT
    return [
        float(play.plant.samples.times(play.now)[np.argmax(gauge < level * 6e5)] - opened)
        for level in LEVELS
    ], speed_of_sound(compiled.circuit.ambient.temperature)


@pytest.mark.parametrize("length", [20.0, 50.0])
def test_what_is_added_makes_up_for_the_missing_inertia(length: float) -> None:
    """The model alone is early; with the allowance it is not, at any level, by more than 5 ms."""
    real = with_inertia(length)
    early, speed = without_inertia(f"{length:g} m")
    assert real[0] > early[0]
    for modelled, true in zip(early, real, strict=True):
        assert modelled + length / speed > true - 5e-3
