"""Which gauges tell that a part is without pressure."""

from __future__ import annotations

import pytest

from pneumo.circuit.circuit import Event
from pneumo.circuit.sentence import parse_action
from pneumo.circuit.shipped import find_document
from pneumo.circuit.validate import load
from pneumo.errors import InputError
from pneumo.inspection.proof import proving_gauges
from pneumo.network.compile import compile_circuit
from pneumo.scenario.play import Play


def at(name: str, *sentences: str) -> Play:
    """A shipped circuit a while after something was said."""
    circuit = load(find_document(name))
    play = Play(compile_circuit(circuit))
    play.advance(1.0)
    parsed = [parse_action(s, circuit.components, circuit.zones, circuit.gates) for s in sentences]
    play.schedule([Event(1.0, action) for action in parsed])
    play.advance(3.0)
    return play


def gauges(play: Play, component: str, *fitted: str) -> list[str]:
    return [str(port) for port in proving_gauges(play, component, fitted)]


def test_a_gauge_tells_of_what_is_joined_to_it_by_lines() -> None:
    play = at("01_spring_open_single")
    assert gauges(play, "brake_1") == gauges(play, "hose_2") == ["manifold.1"]
    assert gauges(play, "supply") == ["main.2"]


def test_of_a_valve_each_side_is_read() -> None:
    assert gauges(at("01_spring_open_single"), "valve") == ["main.2", "manifold.1"]


def test_a_part_that_ends_in_the_open_has_no_gauge() -> None:
    # a valve at rest leads to its exhaust
    assert gauges(at("01_spring_open_single"), "silencer") == ["manifold.1"]
    assert gauges(at("01_spring_open_single", "close trim"), "silencer") == []


def test_a_check_valve_lets_air_lift_it_one_way() -> None:
    """Air before it would come to the gauge behind it, not the other way round."""
    play = at("04_stored_air_behind_check", "isolate main")
    assert gauges(play, "accumulator") == ["accumulator.1"]
    assert "accumulator.1" in gauges(play, "check")
    assert gauges(at("07_quick_exhaust"), "quick_line") == ["quick_manifold.1"]
    assert gauges(at("09_two_supplies_shuttle"), "shuttle") == ["shuttle.2"]


def test_no_gauge_tells_of_what_a_valve_closes_off() -> None:
    """What is said to be vented by a coil's valve at rest is not proved by that: the spool may be
    stuck."""
    assert gauges(at("07_quick_exhaust"), "quick_valve") == ["header.1", "quick_manifold.1"]
    with pytest.raises(InputError) as error:
        gauges(at("whimbrel"), "gate_1")
    assert str(error.value) == (
        "Zero cannot be proved at gate_1.cap: as the ride stands, its air comes to no test point. "
        "The nearest: gate_valve.1, gate_accumulator.2, gate_check.2, exit_gate_valve.1. Open the "
        "way to one of them, or fit a tee: fit gauge gate_1.cap."
    )


def test_what_a_fault_does_to_the_way_is_not_known() -> None:
    play = at("01_spring_open_single", "close trim", "fault hose_1 blocked", "fault valve stuck")
    assert gauges(play, "brake_1") == ["manifold.1"]


def test_a_tee_that_was_fitted_is_the_nearest() -> None:
    play = at("10_station_gates")
    assert gauges(play, "gate_2") == ["opening.1", "closing.1"]
    assert gauges(play, "gate_2", "gate_2.cap") == ["gate_2.cap", "closing.1"]


def test_what_holds_no_air_cannot_be_proved() -> None:
    with pytest.raises(InputError, match="holds no air"):
        gauges(at("01_spring_open_single"), "feed")
