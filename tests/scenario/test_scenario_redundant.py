"""Two like switches at one place fail one by one."""

from __future__ import annotations

import pytest
from play_toys import BENCH

from pneumo.circuit.circuit import Event
from pneumo.circuit.sentence import parse_action
from pneumo.circuit.validate import load_text
from pneumo.network.compile import compile_circuit
from pneumo.scenario.play import Play
from pneumo.verification.plan import trials

TWO = (
    BENCH.replace("  made: {", "  made_{1..2}: {")
    .replace("ports: 4", "ports: 5")
    .replace("manifold.2 -> made.1", "manifold.2 -> made_1.1\n  - manifold.5 -> made_2.1")
    .replace("[made]", '["made_{1..2}"]')
)


@pytest.mark.parametrize("apart", [None, frozenset({"made_1"})])
def test_a_fault_of_one_switch_leaves_the_other_alone(apart: frozenset[str] | None) -> None:
    circuit = load_text(TWO, "two")
    play = Play(compile_circuit(circuit, apart))
    inject = parse_action("fault made_1 stuck-off", circuit.components, circuit.zones)
    play.schedule([Event(0.0, inject)])
    play.act(parse_action("open block", circuit.components, circuit.zones))
    play.advance(3.0)
    said = {
        c.component: play.actors.controller.contacts.says(play.plant, c.watch)
        for c in play.compiled.contacts
    }
    assert not said["made_1"] and said["made_2"]


def test_a_verification_takes_them_apart() -> None:
    circuit = load_text(TWO, "two")
    twins = ("made_1", "made_2")
    found = [
        trial.apart
        for trial in trials(circuit)
        if any(fault.component in twins for fault in trial.injection.faults)
    ]
    assert found and all("made_1" in apart or "made_2" in apart for apart in found)


@pytest.mark.parametrize(("switch", "state"), [("spare_1", "closed"), ("closed_1", "faulted")])
def test_of_two_jaw_switches_alike_the_last_alone_is_read(switch: str, state: str) -> None:
    """As `check` says of them."""
    spare = "  spare_1: {kind: jaw_switch, of: brake_1, reads: closed}\n  closed_{1..2}:"
    circuit = load_text(BENCH.replace("  closed_{1..2}:", spare), "spare")
    assert any("The logic reads only closed_1" in each.found for each in circuit.warnings)
    play = Play(compile_circuit(circuit, frozenset({"spare_1", "closed_1"})))
    inject = parse_action(f"fault {switch} stuck-off", circuit.components, circuit.zones)
    play.schedule([Event(0.0, inject)])
    play.advance(3.0)
    assert play.actors.controller.logic.zones["block"].state == state
