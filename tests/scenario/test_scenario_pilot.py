"""A pilot-operated valve takes longer, the nearer its pilot is to the least that moves it."""

from __future__ import annotations

from math import sqrt

import pytest

from pneumo.circuit.sentence import parse_action
from pneumo.circuit.validate import load_text
from pneumo.errors import InputError
from pneumo.network.compile import compile_circuit
from pneumo.scenario.play import Play
from pneumo.scenario.spools import MOST_SLOWED

TEXT = """
ride: {name: a piloted valve}
components:
  supply: {kind: ideal_supply, pressure: PRESSURE}
  valve: {kind: valve_3_2, C: 5 L/(s·bar), b: 0.3, operation: pilot, minimum_pilot: 2 bar,
    switch_on: 30 ms, switch_off: 50 ms, travel: 20 ms, TIMED}
  end: {kind: receiver, volume: 5 L}
connections:
  - supply.2 -> valve.1
  - valve.2 -> end.1
  - end.2 -> plug
"""


def moved(pressure: str, timed: str = "timed_at: 6 bar", fault: str = "") -> tuple[float, float]:
    """How long it takes after its coil is switched on, and after it is switched off [s]."""
    text = TEXT.replace("PRESSURE", pressure).replace("TIMED", timed)
    compiled = compile_circuit(load_text(text, "a piloted valve"))
    play = Play(compiled)
    components = compiled.circuit.components
    if fault:
        play.act(parse_action(fault, components, {}))
    play.act(parse_action("override valve.14", components, {}))
    play.advance(10.0)
    play.act(parse_action("release valve.14", components, {}))
    play.advance(20.0)
    there, back = [event.time for event in play.plant.log.events if event.kind == "valve"]
    return there, back - 10.0


@pytest.mark.parametrize(("bar", "factor"), [(6.0, 1.0), (8.0, 1.0), (4.0, sqrt(2)), (2.25, 4.0)])
def test_the_time_grows_with_the_root_of_what_is_left(bar: float, factor: float) -> None:
    """t = sqrt(2 m s / F), F in proportion to the pilot above its minimum: 4 bar of it at 6 bar.
    Back it is moved by its spring."""
    there, back = moved(f"{bar} bar")
    assert there == pytest.approx(0.05 * factor, rel=1e-3)
    assert back == pytest.approx(0.07, abs=1e-9)


def test_next_to_the_minimum_it_is_slow_but_moves() -> None:
    assert moved("2.001 bar")[0] == pytest.approx(0.05 * MOST_SLOWED)


def test_a_maker_may_state_another_pressure() -> None:
    assert moved("4 bar", "timed_at: 4 bar")[0] == pytest.approx(0.05, rel=1e-4)


def test_a_slow_spool_is_slow_on_top_of_it() -> None:
    there, _ = moved("4 bar", fault="fault valve slow 3 x")
    assert there == pytest.approx(0.05 * 3 * sqrt(2), rel=1e-3)


def test_times_stated_where_the_pilot_hardly_moves_it_are_refused() -> None:
    with pytest.raises(InputError, match=r"timed_at: Its switching times are stated at 2 bar"):
        moved("6 bar", "timed_at: 2 bar")


def test_a_valve_that_gets_its_air_from_another_one_is_not_held_up() -> None:
    """Its pilot passes the minimum when the first valve opens and has 6 bar at once: 25 ms and
    10 ms after that it is there, not ten times as long."""
    text = """
ride: {name: two in series}
components:
  supply: {kind: ideal_supply, pressure: 6 bar}
  first: {kind: valve_3_2, C: 15 L/(s·bar), b: 0.3}
  second: {kind: valve_3_2, C: 5 L/(s·bar), b: 0.3, operation: pilot, minimum_pilot: 2.5 bar}
  end: {kind: receiver, volume: 5 L}
connections:
  - supply.2 -> first.1
  - first.2 -> second.1
  - second.2 -> end.1
  - end.2 -> plug
"""
    compiled = compile_circuit(load_text(text, "two in series"))
    play = Play(compiled)
    for name in ("second", "first"):
        play.act(parse_action(f"override {name}.14", compiled.circuit.components, {}))
    play.advance(2.0)
    there = {event.subject: event.time for event in play.plant.log.events if event.kind == "valve"}
    watch = play.compiled.spools[play.compiled.parts["second"].spool].pilot_watch
    begun = next(
        time for time, w, on in play.plant.log.crossings if w == watch and on and time > 0.0
    )
    assert there["second"] == pytest.approx(begun + 0.035, abs=2e-3)
