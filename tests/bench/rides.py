"""Rides to measure with: as many brake zones as asked for, on one ring main.

The "bench ride" is invented, and so is every number: typical of the trade, taken from no real
installation. Odd zones are spring-open, even ones spring-close, and all of them start open, so
that the same commands make every zone work.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from pathlib import Path

from pneumo.circuit.circuit import Circuit, Event
from pneumo.circuit.validate import load, load_text

BRAKES = 8
"""Brakes of a zone."""

ZONES_PER_COMPRESSOR = 12

STAGGER = 0.08
"""A zone is commanded this much later than the one before it [s]."""

LEAKING = "zone_1_hose_1"
"""The hose that leaks in the one-hour hold."""

_SPRINGS = {
    "open": "area: 250 cm2, spring_force: 2 kN, spring_rate: 60 N/mm",
    "close": "area: 320 cm2, spring_force: 7 kN, spring_rate: 110 N/mm",
}
"""A bladder beats the springs from about 1 bar (open) and 2.4 bar (close)."""


@dataclass(frozen=True)
class Work:
    """Something to simulate."""

    title: str
    zones: int
    circuit: Circuit
    until: float
    """[s]"""
    events: tuple[Event, ...]
    apart: tuple[str, ...] = ()
    """Components a fault will be injected in: their branches represent no others."""


def all_at_once(zones: int) -> Work:
    """Every zone closes, opens, closes and opens within 20 s, all at the same instants."""
    return _scenario("all at once", zones, "all at once")


def staggered(zones: int) -> Work:
    """The same, each zone 80 ms after the one before it."""
    return _scenario("staggered by 80 ms", zones, "staggered")


def long_hold(zones: int) -> Work:
    """One hour closed, with a small leak in one hose."""
    return _scenario("one hour, a hose leaks", zones, "long hold", (LEAKING,))


def sand_martin() -> Work:
    """The shipped ride, every zone and the gates there and back twice."""
    circuit = load(Path(__file__).parents[2] / "circuits" / "sand_martin.yaml")
    scenario = circuit.scenarios["every zone cycles"]
    title = "Sand Martin, every zone cycles"
    return Work(title, len(circuit.zones), circuit, scenario.until, tuple(scenario.events))


def bench_ride(zones: int) -> Circuit:
    """The ride with so many zones, read and checked like any document."""
    return load_text(document(zones), f"bench ride of {zones}")


def document(zones: int, brakes: int = BRAKES, *, switches: bool = False) -> str:
    """Text of the circuit document of a ride with so many zones of so many brakes.

    `switches`: every brake has its two jaw switches.
    """
    numbers = range(1, zones + 1)
    return "\n".join(
        (
            "# Invented: ride, numbers and all.",
            "ride: {name: bench ride, about: 'invented, to measure with', scan: 20 ms}",
            "components:",
            *_plant_room(zones),
            *_ring_pipes(zones),
            *(line for i in numbers for line in _zone_components(i, brakes)),
            *(line for i in numbers if switches for line in _jaw_switches(i, brakes)),
            "connections:",
            *_plant_room_connections(zones),
            *(f"- {link}" for link in _ring_connections(zones)),
            *(line for i in numbers for line in _zone_connections(i, brakes)),
            "zones:",
            *(line for i in numbers for line in _zone(i, brakes)),
            "scenarios:",
            *_scenarios(zones),
            "",
        )
    )


def _scenario(title: str, zones: int, name: str, apart: tuple[str, ...] = ()) -> Work:
    circuit = bench_ride(zones)
    scenario = circuit.scenarios[name]
    return Work(title, zones, circuit, scenario.until, tuple(scenario.events), apart)


def _compressors(zones: int) -> int:
    return ceil(zones / ZONES_PER_COMPRESSOR)


def _plant_room(zones: int) -> list[str]:
    """A cycle of a zone takes about 50 L of free air; a zone cycles every 10 s."""
    count = _compressors(zones)
    delivery = 360.0 * zones / count
    lines = []
    for k in range(1, count + 1):
        lower = 0.1 * (k - 1)
        lines += [
            f"  compressor_{k}:",
            "    kind: compressor",
            f"    free_air_delivery: {delivery:g} L/min",
            "    rated_at: 7 bar",
            "    delivery_fall: 2 %/bar",
            "    delivery_temperature: 30 C",
            f"    load_at: {7.6 - lower:g} bar",
            f"    unload_at: {8.2 - lower:g} bar",
            f"  compressor_check_{k}:",
            "    kind: check_valve",
            f"    C: {12 + delivery / 60:g} L/(s·bar)",
            "    b: 0.4",
        ]
    return [
        *lines,
        f"  receiver: {{kind: receiver, volume: {100 + 50 * zones} L, ports: {count + 2}}}",
        "  relief: {kind: relief_valve, set_pressure: 9.5 bar, "
        f"C: {4 + zones} L/(s·bar), b: 0.4}}",
        f"  filter: {{kind: filter, C: {min(20 + 5 * zones, 1000)} L/(s·bar), b: 0.4}}",
    ]


def _plant_room_connections(zones: int) -> list[str]:
    count = _compressors(zones)
    links = [f"compressor_{k}.2 -> compressor_check_{k}.1" for k in range(1, count + 1)]
    links += [f"compressor_check_{k}.2 -> receiver.{k}" for k in range(1, count + 1)]
    links += [f"receiver.{count + 1} -> relief.1", f"receiver.{count + 2} -> filter.1"]
    return [f"- {link}" for link in links]


def _ring_pipes(zones: int) -> list[str]:
    """Pipes of 10, 15 and 20 m in turn; one zone hangs on a single pipe."""
    if zones == 1:
        return ["  ring_pipe_1: {kind: pipe, length: 15 m, bore: 27 mm}"]
    bore = 41 if zones <= 12 else 53 if zones <= 24 else 68
    lines = ["  header: {kind: manifold, ports: 3, volume: 2 L}"]
    for i in range(1, zones + 2):
        length = (10, 15, 20)[i % 3]
        lines.append(f"  ring_pipe_{i}: {{kind: pipe, length: {length} m, bore: {bore} mm}}")
    lines += [
        f"  ring_{i}: {{kind: manifold, ports: 3, volume: 0.5 L}}" for i in range(1, zones + 1)
    ]
    return lines


def _ring_connections(zones: int) -> list[str]:
    if zones == 1:
        return ["filter.2 -> ring_pipe_1.1", "ring_pipe_1.2 -> zone_1_check.1"]
    links = ["filter.2 -> header.1", "header.2 -> ring_pipe_1.1"]
    for i in range(1, zones + 1):
        links += [
            f"ring_pipe_{i}.2 -> ring_{i}.1",
            f"ring_{i}.2 -> ring_pipe_{i + 1}.1",
            f"ring_{i}.3 -> zone_{i}_check.1",
        ]
    return [*links, f"ring_pipe_{zones + 1}.2 -> header.3"]


def _springs(i: int) -> str:
    return "open" if i % 2 else "close"


def _zone_components(i: int, brakes: int) -> list[str]:
    """Zones differ a little, as they do on a ride; the brakes of one zone are alike."""
    z = f"zone_{i}"
    regulated = "4.5 bar" if i % 2 else "5 bar"
    return [
        f"  {z}_check: {{kind: check_valve, C: 15 L/(s·bar), b: 0.4}}",
        f"  {z}_accumulator: {{kind: accumulator, volume: {30 + 5 * (i % 3)} L, ports: 2}}",
        f"  {z}_regulator: {{kind: regulator, set_pressure: {regulated}, C: 15 L/(s·bar), b: 0.4}}",
        f"  {z}_valve: {{kind: valve_3_2, C: 20 L/(s·bar), b: 0.3}}",
        f"  {z}_silencer: {{kind: silencer, C: 20 L/(s·bar), b: 0.4}}",
        f"  {z}_manifold: {{kind: manifold, ports: {brakes + 2}, volume: 0.8 L}}",
        f"  {z}_charged: {{kind: pressure_switch, set: {'3.6' if i % 2 else '4.2'} bar}}",
        f"  {z}_hose_{{1..{brakes}}}:",
        f"    {{kind: hose, bore: 10 mm, length: {1 + 0.1 * (i % 4):g} m}}",
        f"  {z}_brake_{{1..{brakes}}}:",
        f"    {{kind: bladder_brake, spring: {_springs(i)}, {_SPRINGS[_springs(i)]}}}",
    ]


def _jaw_switches(i: int, brakes: int) -> list[str]:
    watched = f'of: "zone_{i}_brake_{{1..{brakes}}}"'
    return [
        f"  zone_{i}_is_{state}_{{1..{brakes}}}: {{kind: jaw_switch, {watched}, reads: {state}}}"
        for state in ("open", "closed")
    ]


def _zone_connections(i: int, brakes: int) -> list[str]:
    z = f"zone_{i}"
    return [
        f"- {z}_check.2 -> {z}_accumulator.1",
        f"- {z}_accumulator.2 -> {z}_regulator.1",
        f"- {z}_regulator.2 -> {z}_valve.1",
        f"- {z}_valve.2 -> {z}_manifold.1",
        f"- {z}_valve.3 -> {z}_silencer.1",
        f"- {z}_manifold.2 -> {z}_charged.1",
        f"- {z}_manifold.{{3..{brakes + 2}}} -> {z}_hose_{{1..{brakes}}}.1",
        f"- {z}_hose_{{1..{brakes}}}.2 -> {z}_brake_{{1..{brakes}}}.1",
    ]


def _zone(i: int, brakes: int) -> list[str]:
    z = f"zone_{i}"
    return [
        f"  {z}:",
        f'    brakes: ["{z}_brake_{{1..{brakes}}}"]',
        f"    outputs: {{{z}_valve.14: charge}}",
        f"    pressure_switches: [{z}_charged]",
        f"    safe_state: {'open' if i % 2 else 'closed'}",
        "    starts: open",
        "    limits: {close: 2 s, open: 2 s, vent: 2 s, discrepancy: 0.5 s}",
        f"    requirement: {{within: 2 s, hold: 60 s, {_required(i)}}}",
    ]


def _required(i: int) -> str:
    return "clearance: 1.5 mm" if i % 2 else "clamping_force: 4 kN"


def _scenarios(zones: int) -> list[str]:
    commands = ((1.0, "close"), (6.0, "open"), (11.0, "close"), (16.0, "open"))
    lines = ["  all at once:", "    until: 20 s", "    events:"]
    lines += [f"    - at {at:g} s: {to} all" for at, to in commands]
    lines += ["  staggered:", "    until: 20 s", "    events:"]
    lines += [
        f"    - at {at + STAGGER * (i - 1):g} s: {to} zone_{i}"
        for at, to in commands
        for i in range(1, zones + 1)
    ]
    lines += ["  long hold:", "    until: 3600 s", "    events:", "    - at 1 s: close all"]
    return [*lines, f"    - at 5 s: fault {LEAKING} leak 0.5 mm"]
