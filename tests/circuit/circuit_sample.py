"""One small sound document, and ways to spoil it."""

from __future__ import annotations

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.validate import load_text
from pneumo.errors import DocumentError, Finding

SAMPLE = """\
ride:
  name: Sand Martin
  site: Millbeck Pier
  supply_switches: [main_low]
components:
  feed: {kind: electrical_feed}
  compressor:
    kind: compressor
    free_air_delivery: 600 L/min
    load_at: 7 bar
    unload_at: 8 bar
  check: {kind: check_valve, C: 20 L/(s·bar), b: 0.4}
  receiver: {kind: receiver, volume: 200 L, ports: 5}
  main_low: {kind: pressure_switch, set: 6 bar}
  pressure: {kind: transmitter}
  regulator: {kind: regulator, set_pressure: 5 bar, C: 10 L/(s·bar), b: 0.4}
  valve: {kind: valve_3_2, C: 10 L/(s·bar), b: 0.3, feed: feed}
  silencer: {kind: silencer, C: 15 L/(s·bar), b: 0.4}
  tee: {kind: manifold, ports: 4}
  made: {kind: pressure_switch, set: 4 bar}
  hose_{1..2}: {kind: hose, bore: 9 mm, length: 1 m}
  brake_{1..2}:
    kind: bladder_brake
    spring: close
    area: 300 cm2
    spring_force: 8 kN
    spring_rate: 120 N/mm
  open_{1..2}: {kind: jaw_switch, of: "brake_{1..2}", reads: open}
  closed_{1..2}: {kind: jaw_switch, of: "brake_{1..2}", reads: closed}
connections:
  - compressor.2 -> check.1
  - check.2 -> receiver.1
  - receiver.2 -> main_low.1
  - receiver.3 -> regulator.1
  - receiver.4 -> pressure.1
  - receiver.5 -> plug
  - regulator.2 -> valve.1
  - valve.2 -> tee.1
  - valve.3 -> silencer.1
  - tee.2 -> made.1
  - tee.{3..4} -> hose_{1..2}.1
  - hose_{1..2}.2 -> brake_{1..2}.1
failures:
  every hose: 0.04 per year
  every hose burst: 0.01 per year
zones:
  final:
    brakes: ["brake_{1..2}"]
    outputs: {valve.14: charge}
    pressure_switches: [made]
    low_pressure: {transmitter: pressure, below: 4 bar}
    safe_state: closed
    requirement: {within: 2 s, clamping_force: 5 kN}
scenarios:
  leak at noon:
    until: 20 s
    events:
      - at 5 s: fault hose_2 leak 2 mm over 3 s
      - at 1 s: open final
      - at 9 s: ride stop
"""


def load_sample(text: str = SAMPLE) -> Circuit:
    """The circuit of a text."""
    return load_text(text, "sample.yaml")


def spoiled(old: str, new: str) -> str:
    """The sample with one passage replaced; the passage must be there once."""
    assert SAMPLE.count(old) == 1, old
    return SAMPLE.replace(old, new)


def line_of(text: str, passage: str) -> int:
    """Line of the first passage."""
    return text[: text.index(passage)].count("\n") + 1


def findings_of(text: str) -> list[Finding]:
    """Everything found in a text, warnings included."""
    try:
        return list(load_sample(text).warnings)
    except DocumentError as error:
        return error.findings
