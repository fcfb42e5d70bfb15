"""A small ride to make tests on: two spring-open brakes on one valve, a gate, a compressor, two
electrical feeds of different voltage."""

from __future__ import annotations

from functools import cache
from typing import TypeVar

from pneumo.circuit.circuit import Event
from pneumo.circuit.sentence import parse_action
from pneumo.circuit.validate import load_text
from pneumo.inspection.evidence import Evidence
from pneumo.inspection.examine import examine
from pneumo.inspection.telling import told
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.scenario.play import Play

BENCH = """
ride: {name: bench, test_points: [receiver.1, brake_1.1]}
components:
  feed_a: {kind: electrical_feed, voltage: 24 V}
  feed_b: {kind: electrical_feed, voltage: 48 V}
  compressor: {kind: compressor, free_air_delivery: 900 L/min, load_at: 6 bar, unload_at: 7 bar,
               feed: feed_a}
  back: {kind: check_valve, C: 20 L/(s·bar), b: 0.4}
  receiver: {kind: receiver, volume: 100 L, ports: 4}
  relief: {kind: relief_valve, set_pressure: 9 bar, C: 8 L/(s·bar), b: 0.4}
  store: {kind: accumulator, volume: 20 L}
  run: {kind: pipe, length: 20 m, bore: 20 mm}
  main: {kind: shut_off, C: 20 L/(s·bar), b: 0.3}
  start: {kind: soft_start, C: 20 L/(s·bar), b: 0.3, slow_C: 5 L/(s·bar), dump_C: 10 L/(s·bar),
          feed: feed_b}
  valve: {kind: valve_3_2, C: 10 L/(s·bar), b: 0.3, feed: feed_b}
  pair: {kind: valve_5_2, memory: bistable, C: 3 L/(s·bar), b: 0.3, feed: feed_b}
  plain: {kind: valve_2_2, C: 1 L/(s·bar), b: 0.3}
  silencer: {kind: silencer, C: 10 L/(s·bar), b: 0.4}
  tee: {kind: manifold, ports: 5}
  charge: {kind: manifold, ports: 5}
  made: {kind: pressure_switch, set: 4 bar}
  dial: {kind: gauge}
  hose_{1..2}: {kind: hose, bore: 9 mm, length: 1 m}
  brake_1: {kind: bladder_brake, spring: open, area: 250 cm2, spring_force: 2 kN,
            spring_rate: 60 N/mm}
  brake_2: {kind: bladder_brake, spring: open, bladders: 1, area: 250 cm2, spring_force: 2 kN,
            spring_rate: 60 N/mm}
  closed_{1..2}: {kind: jaw_switch, of: "brake_{1..2}", reads: closed}
  gate: {kind: cylinder, bore: 40 mm, rod_diameter: 16 mm, stroke: 200 mm, moving_mass: 20 kg}
connections:
  - compressor.2 -> back.1
  - back.2 -> receiver.1
  - receiver.2 -> relief.1
  - receiver.3 -> run.1
  - receiver.4 -> store.1
  - run.2 -> main.1
  - main.2 -> start.1
  - start.2 -> tee.1
  - tee.2 -> valve.1
  - tee.3 -> pair.1
  - tee.4 -> plain.1
  - tee.5 -> plug
  - plain.2 -> plug
  - pair.4 -> gate.cap
  - pair.2 -> gate.rod
  - valve.3 -> silencer.1
  - valve.2 -> charge.1
  - charge.2 -> made.1
  - charge.5 -> dial.1
  - charge.{3..4} -> hose_{1..2}.1
  - hose_{1..2}.2 -> brake_{1..2}.1
zones:
  trim:
    brakes: ["brake_{1..2}"]
    outputs: {valve.14: charge}
    pressure_switches: [made]
    safe_state: open
    requirement: {within: 2 s, clearance: 1.5 mm}
gates:
  station: {cylinders: [gate], outputs: {pair.14: open, pair.12: close}}
"""

CLAMPS = """
ride: {name: clamps, test_points: [tee.1]}
components:
  supply: {kind: ideal_supply, pressure: 6 bar}
  cleaner: {kind: filter, C: 20 L/(s·bar), b: 0.3}
  valve: {kind: valve_3_2, C: 5 L/(s·bar), b: 0.3}
  tee: {kind: manifold, ports: 3}
  hose_{1..2}: {kind: hose, bore: 9 mm, length: 1 m}
  strong: {kind: bladder_brake, spring: close, area: 300 cm2, spring_force: 8 kN,
           spring_rate: 120 N/mm}
  light: {kind: bladder_brake, spring: close, area: 300 cm2, spring_force: 2 kN,
          spring_rate: 20 N/mm}
connections:
  - supply.2 -> cleaner.1
  - cleaner.2 -> valve.1
  - valve.2 -> tee.1
  - tee.{2..3} -> hose_{1..2}.1
  - hose_1.2 -> strong.1
  - hose_2.2 -> light.1
zones:
  block:
    brakes: [strong, light]
    outputs: {valve.14: charge}
    safe_state: closed
    requirement: {within: 2 s, clamping_force: 1 kN}
"""
"""Two spring-close brakes, one of which a person with a bar can move."""

E = TypeVar("E", bound=Evidence)


@cache
def bench() -> Compiled:
    return compile_circuit(load_text(BENCH, "bench"))


@cache
def _settled() -> Play:
    play = Play(bench())
    play.advance(5.0)
    return play


@cache
def _charged() -> Play:
    play = _settled().snapshot()
    do(play, "close trim")
    play.advance(9.0)
    return play


@cache
def _clamped() -> Play:
    play = Play(compile_circuit(load_text(CLAMPS, "clamps")))
    play.advance(3.0)
    return play


def resting() -> Play:
    """The bench with its jaws open, no air behind them."""
    return _settled().snapshot()


def charged() -> Play:
    """The bench with its jaws closed by air."""
    return _charged().snapshot()


def clamped() -> Play:
    """`CLAMPS` with its jaws closed by springs."""
    return _clamped().snapshot()


def do(play: Play, *sentences: str) -> Play:
    c = play.compiled.circuit
    play.schedule(
        Event(play.now, parse_action(text, c.components, c.zones, c.gates, play.now))
        for text in sentences
    )
    return play


def after(play: Play, seconds: float, *sentences: str) -> Play:
    do(play, *sentences).advance(play.now + seconds)
    return play


def found(play: Play, test: str, target: str, kind: type[E], *fitted: str) -> E:
    """What a test gives, which is of a kind."""
    evidence = examine(play, test, target, fitted)
    assert isinstance(evidence, kind)
    return evidence


def says(play: Play, test: str, target: str) -> str:
    return told(examine(play, test, target))
