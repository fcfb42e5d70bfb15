"""Tests of pneumo/verification/plan.py."""

from __future__ import annotations

import pytest
from verification_bench import RIDES, SMALL, changed, shipped

from pneumo.circuit.action import Command, Inject, Power, Switch
from pneumo.circuit.sentence import parse_action
from pneumo.circuit.symmetry import equivalents
from pneumo.circuit.zones import component_zones, zone_feeds
from pneumo.network.compile import compile_circuit
from pneumo.scenario.inject import is_none
from pneumo.verification.case import CONDITIONS, Loss
from pneumo.verification.plan import (
    DRAINED,
    READY,
    header_components,
    preparation,
    trials,
)
from pneumo.verification.wording import injection_words

FEEDS = {
    "01_spring_open_single": {"trim": "main"},
    "04_stored_air_behind_check": {"storage": "main"},
    "07_quick_exhaust": {"quick": "quick_valve", "plain": "plain_valve"},
    "08_pilot_supply": {"block": "block_valve", "holding": "holding_valve"},
    "09_two_supplies_shuttle": {"storage": "shuttle"},
    "10_station_gates": {},
    "sand_martin": {
        zone: f"{zone}_shut_off"
        for zone in ("trim", "block", "final_1", "final_2", "station", "storage")
    },
}
HEADERS = {
    "01_spring_open_single": ("supply",),
    "07_quick_exhaust": ("header",),
    # the pilot line is no header, though it is nearer to a supply
    "08_pilot_supply": ("header",),
    "09_two_supplies_shuttle": ("line_1", "line_2"),
    "10_station_gates": (),
    "sand_martin": (
        "ring_trim", "ring_block", "ring_final_1", "ring_final_2", "ring_station", "ring_storage",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", FEEDS)
def test_the_feed_of_each_zone(name: str) -> None:
    assert zone_feeds(shipped(name)) == FEEDS[name]


@pytest.mark.parametrize("name", HEADERS)
def test_what_is_torn_open_to_vent_the_header(name: str) -> None:
    circuit = shipped(name)
    assert header_components(circuit, zone_feeds(circuit)) == HEADERS[name]


def test_a_line_that_is_the_feed_is_fed_from_the_end_nearer_the_supply() -> None:
    shut_off = "main: {kind: shut_off, C: 15 L/(s·bar), b: 0.3}"
    for first, second in (("1", "2"), ("2", "1")):
        circuit = changed(
            "01_spring_open_single",
            (shut_off, "main: {kind: pipe, length: 5 m, bore: 15 mm}"),
            ("supply.2 -> main.1", f"supply.2 -> main.{first}"),
            ("main.2 -> valve.1", f"main.{second} -> valve.1"),
        )
        assert header_components(circuit, zone_feeds(circuit)) == ("supply",)


@pytest.mark.parametrize("name", RIDES)
def test_on_the_ride_every_component_is_local_to_the_zone_it_is_named_after(name: str) -> None:
    circuit = shipped(name)
    zones = component_zones(circuit, zone_feeds(circuit))
    named = {
        component: next((zone for zone in circuit.zones if component.startswith(f"{zone}_")), None)
        for component in circuit.components
    }
    assert {name: zones.get(name) for name in circuit.components} == named


def test_what_several_zones_share_is_local_to_none() -> None:
    circuit = shipped("07_quick_exhaust")
    zones = component_zones(circuit, zone_feeds(circuit))
    assert {name for name in circuit.components if name not in zones} == {
        "feed", "supply", "main", "header",
    }  # fmt: skip
    assert zones["plain_line"] == "plain" and zones["quick_exhaust"] == "quick"


def test_a_silencer_belongs_to_the_zone_it_lets_air_out_of() -> None:
    circuit = shipped("01_spring_open_single")
    assert component_zones(circuit, zone_feeds(circuit))["silencer"] == "trim"


@pytest.mark.parametrize("name", [*SMALL, *RIDES])
def test_every_fault_of_every_component_is_tried_once_up_to_symmetry(name: str) -> None:
    circuit = shipped(name)
    tried = [
        (component, trial.mode.name, trial.injection.faults[0].severity)
        for trial in trials(circuit)
        if trial.injection.kind == "fault"
        and trial.mode is not None
        and trial.injection.faults[0] is not None
        for component in trial.represents
    ]
    known = [
        (component, mode.name, grade)
        for component, part in circuit.components.items()
        for mode in part.fault_modes()
        for grade in (mode.severity.campaign if mode.severity is not None else (None,))
    ]
    assert len(tried) == len(set(tried))
    assert set(tried) == set(known)


@pytest.mark.parametrize("name", [*SMALL, *RIDES])
def test_a_trial_injects_what_it_says_with_an_effect(name: str) -> None:
    circuit = shipped(name)
    twins = set(equivalents(circuit))
    for trial in trials(circuit):
        injects = [action.fault for action in trial.actions if isinstance(action, Inject)]
        assert trial.apart >= {fault.component for fault in injects} & twins
        if trial.injection.kind == "fault":
            (fault,) = trial.injection.faults
            assert trial.mode is not None
            assert injects == [fault] and trial.represents[0] == fault.component
            assert fault.component in circuit.components
            assert trial.mode.severity is None or fault.severity is not None
            assert fault.severity is None or not is_none(trial.mode, fault.severity)


@pytest.mark.parametrize("name", [*SMALL, *RIDES])
def test_names_of_trials_are_unique_and_their_sentences_are_read_back(name: str) -> None:
    circuit = shipped(name)
    every = trials(circuit)
    assert len({trial.injection for trial in every}) == len(every)
    for trial in every:
        for action in trial.actions:
            known = (circuit.components, circuit.zones, circuit.gates)
            again = parse_action(action.text, *known)
            assert again == action, action.text


def test_twins_of_the_ride_are_injected_once() -> None:
    circuit = shipped("sand_martin")
    bursts = [t for t in trials(circuit) if t.mode is not None and t.mode.name == "bladder-burst"]
    assert [t.represents for t in bursts if t.zone == "final_1"] == [
        tuple(f"final_1_brake_{n}" for n in range(1, 9))
    ]
    # the branch that is injected is integrated apart, and its twins still for each other
    apart = next(t.apart for t in bursts if t.zone == "final_1")
    represented = compile_circuit(circuit, apart).represented
    assert "final_1_brake_1" not in represented and "final_1_brake_2" in represented


def test_the_losses() -> None:
    circuit = shipped("sand_martin")
    losses = {injection_words(t.injection): t for t in trials(circuit) if t.injection.loss}
    assert list(losses) == [
        "loss of air: supply stopped",
        "loss of air: header vented",
        *(f"loss of air: {zone} feed cut" for zone in circuit.zones),
        "loss of power",
        "loss of air and power",
    ]
    supplies = list(circuit.having("supply"))
    off = [Switch(name, False) for name in supplies]
    for name in ("supply stopped", "header vented"):
        assert [a for a in losses[f"loss of air: {name}"].actions if isinstance(a, Switch)] == off
    assert losses["loss of air: supply stopped"].demand_after == DRAINED
    assert losses["loss of air: header vented"].demand_after == circuit.verification.demand_after
    assert {name for name, trial in losses.items() if trial.limit_from_injection} == {
        "loss of power", "loss of air and power",
    }  # fmt: skip
    both = losses["loss of air and power"].actions
    assert Power(False) in both
    assert set(both) == {*losses["loss of air: header vented"].actions, Power(False)}
    cut = {t.zone: t.injection.loss for t in losses.values() if t.zone}
    assert cut == {zone: Loss("feed cut", zone) for zone in circuit.zones}


def test_a_supply_without_a_receiver_needs_no_time_to_drain() -> None:
    plan = trials(shipped("01_spring_open_single"))
    stopped = next(t for t in plan if t.injection.loss == Loss("supply stopped"))
    assert stopped.demand_after == 2.0


def test_the_conditions_are_both_states_and_both_ways() -> None:
    assert CONDITIONS == ("open", "to closed", "closed", "to open")
    assert preparation("open") == ((0.0, Command("all", "open")),)
    assert preparation("closed") == ((0.0, Command("all", "close")),)
    assert preparation("to closed") == (
        (0.0, Command("all", "open")), (READY, Command("all", "close")),
    )  # fmt: skip
    assert preparation("to open") == (
        (0.0, Command("all", "close")), (READY, Command("all", "open")),
    )  # fmt: skip
