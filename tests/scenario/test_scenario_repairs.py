"""What a technician does to the ride besides testing: repairs, blocks, plugs that are swapped."""

from __future__ import annotations

import pytest
from play_toys import at, bench, place, same, start

from pneumo.circuit.validate import load_text
from pneumo.errors import InputError
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.scenario.event import Commanded, FaultCleared
from pneumo.scenario.play import Play

WORKSHOP = """
ride: {name: workshop}
components:
  supply: {kind: ideal_supply, pressure: 6 bar}
  feed: {kind: electrical_feed}
  cock: {kind: shut_off, C: 5 L/(s·bar), b: 0.3}
  valve: {kind: valve_3_2, C: 5 L/(s·bar), b: 0.3, feed: feed}
  gate_valve: {kind: valve_5_3, C: 2 L/(s·bar), b: 0.3}
  tee: {kind: manifold, ports: 6}
  split: {kind: manifold, ports: 3}
  made: {kind: pressure_switch, set: 4 bar}
  reading: {kind: transmitter}
  hose_{1..2}: {kind: hose, bore: 9 mm, length: 1 m}
  brake_{1..2}: {kind: bladder_brake, spring: close, area: 300 cm2, spring_force: 8 kN,
                 spring_rate: 120 N/mm}
  closed_{1..2}: {kind: jaw_switch, of: "brake_{1..2}", reads: closed}
  gate: {kind: cylinder, bore: 50 mm, rod_diameter: 20 mm, stroke: 100 mm, moving_mass: 5 kg}
connections:
  - supply.2 -> split.1
  - split.2 -> cock.1
  - split.3 -> gate_valve.1
  - gate_valve.4 -> gate.cap
  - gate_valve.2 -> gate.rod
  - cock.2 -> valve.1
  - valve.2 -> tee.1
  - tee.2 -> made.1
  - tee.3 -> reading.1
  - tee.6 -> plug
  - tee.{4..5} -> hose_{1..2}.1
  - hose_{1..2}.2 -> brake_{1..2}.1
zones:
  block:
    brakes: ["brake_{1..2}"]
    outputs: {valve.14: charge}
    pressure_switches: [made]
    safe_state: closed
    requirement: {within: 2 s, clamping_force: 5 kN}
gates:
  gates: {cylinders: [gate], outputs: {gate_valve.14: open, gate_valve.12: close}}
"""
"""Two spring-close brakes on one valve, and a gate on a valve with two coils."""

PLAN = bench(WORKSHOP)


def run(*sentences: tuple[float, str], until: float, plan: Compiled = PLAN) -> Play:
    play = start(plan, *(event for time, text in sentences for event in at(plan, time, text)))
    play.advance(until)
    return play


def act(play: Play, *sentences: str) -> None:
    for text in sentences:
        play.act(at(play.compiled, play.now, text)[0].action)


def standing(play: Play) -> list[str]:
    return [f"{fault.component} {fault.mode}" for fault, _ in play.actors.faults.standing]


def at_one_place(one: Play, other: Play) -> bool:
    """True when two runs stand in the same place bit for bit."""
    return all((a == b).all() for a, b in zip(place(one), place(other), strict=True))


def lining(play: Play, brake: str) -> float:
    """Way of a ski from retracted [m]."""
    row = play.plant.network.mover[play.compiled.parts[brake].mover]
    return float(play.plant.state()[row["x"]])


# repairs

FAULTS = (
    ("hose_1 leak 2 mm", "refit hose_1", "clean hose_1"),
    ("hose_1 burst", "replace hose_1", "refit hose_1"),
    ("hose_1 leak 2 mm over 3 s", "replace hose_1", "replace hose_2"),
    ("hose_1 blocked 0.8", "clean hose_1", "refit hose_1"),
    ("valve slow 20", "replace valve", "clean valve"),
    ("valve coil-open", "replace valve.14", "reconnect valve.14"),
    ("valve coil-open", "replace valve", "clean valve"),
    ("valve output-stuck-off", "reconnect valve.14", "replace valve"),
    ("gate_valve output-12-stuck-on", "reconnect gate_valve.12", "reconnect gate_valve.14"),
    ("made stuck-off", "reconnect made", "adjust made"),
    ("made drift 3 bar", "adjust made", "reconnect made"),
    ("reading signal-lost", "reconnect reading", "replace reading"),
    ("brake_2 jaw-seized", "free brake_2", "reline brake_2"),
    ("brake_2 lining-worn", "reline brake_2", "free brake_2"),
    ("brake_1 jaw-dragging", "replace brake_1", "refit brake_1"),
    ("cock closed-by-mistake", "restore cock", "replace cock"),
)


@pytest.mark.parametrize(("fault", "right", "wrong"), FAULTS)
def test_a_repair_ends_what_it_would_end_exactly_as_if_it_was_cleared(
    fault: str, right: str, wrong: str
) -> None:
    component, mode, *_ = fault.split()
    before = ((0.2, f"fault {fault}"), (0.5, "open block"), (0.5, "open gates"))
    cleared = run(*before, (2.0, f"clear {component} {mode}"), until=4.0)
    repaired = run(*before, (2.0, right), until=4.0)
    assert at_one_place(repaired, cleared)
    assert standing(repaired) == []
    assert repaired.plant.log.crossings == cleared.plant.log.crossings
    told = [event.what for event in repaired.plant.log.events]
    done = next(
        i for i, what in enumerate(told) if what == Commanded(at(PLAN, 2.0, right)[0].action)
    )
    assert told[done + 1] == FaultCleared(mode)
    del told[done]
    assert told == [event.what for event in cleared.plant.log.events]
    left = run(*before, (2.0, wrong), until=4.0)
    untouched = run(*before, until=4.0)
    assert at_one_place(left, untouched) and standing(left) == [f"{component} {mode}"]


def test_a_repair_without_a_fault_is_told_and_changes_nothing() -> None:
    before = ((0.5, "open block"),)
    play = run(*before, (2.0, "replace hose_1"), (2.1, "free brake_1"), until=4.0)
    healthy = run(*before, until=4.0)
    assert at_one_place(play, healthy)
    said = [e.what.action.text for e in play.plant.log.events if isinstance(e.what, Commanded)]
    assert said == ["open block", "replace hose_1", "free brake_1"]
    assert not any(isinstance(event.what, FaultCleared) for event in play.plant.log.events)


def test_a_repair_ends_every_fault_that_it_would_end_and_leaves_the_others() -> None:
    faults = ("valve coil-open", "valve output-stuck-on", "valve leak 1 mm", "hose_1 leak 1 mm",
              "valve blocked 0.5 every 3 s for 1 s")  # fmt: skip
    before = [(0.5, f"fault {fault}") for fault in faults]
    play = run(*before, (2.0, "replace valve"), until=2.5)
    assert standing(play) == ["valve output-stuck-on", "hose_1 leak"]
    cleared = run(
        *before,
        *((2.0, f"clear valve {mode}") for mode in ("coil-open", "leak", "blocked")),
        until=2.5,
    )
    assert at_one_place(play, cleared)


@pytest.mark.parametrize("when", [1.2, 2.0, 2.6])
def test_an_intermittent_fault_is_ended_for_good_also_while_it_is_gone(when: float) -> None:
    fault = "fault brake_1 jaw-seized every 1 s for 0.5 s"
    play = run((0.0, fault), (when, "free brake_1"), until=5.0)
    assert standing(play) == []
    late = [event.time for event in play.plant.log.events if event.kind == "fault"]
    assert max(late) == when


def test_a_fault_that_still_grows_is_ended() -> None:
    play = run((0.0, "fault hose_1 leak 3 mm over 10 s"), (4.0, "refit hose_1"), until=12.0)
    assert standing(play) == []
    assert max(e.time for e in play.plant.log.events if e.kind == "fault") == 4.0


def test_a_seized_handle_cannot_be_turned_back_before_it_is_freed() -> None:
    play = run((0.2, "fault cock closed-by-mistake"), (1.5, "fault cock stuck"), until=2.0)
    act(play, "restore cock")
    assert standing(play) == ["cock closed-by-mistake", "cock stuck"]
    act(play, "free cock", "restore cock")
    assert standing(play) == []
    play.advance(4.0)
    assert play.actors.spools.position(play.plant, "cock") == 1.0


def test_closing_a_valve_does_not_end_that_it_was_closed_by_mistake() -> None:
    play = run((0.2, "fault cock closed-by-mistake"), (1.5, "isolate cock"), until=2.0)
    assert standing(play) == ["cock closed-by-mistake"]


# blocks


def test_a_block_holds_the_jaws_whatever_pushes_them() -> None:
    free = run((0.5, "open block"), until=3.0)
    play = run((0.2, "block brake_1"), (0.5, "open block"), until=3.0)
    closed = lining(run(until=0.1), "brake_1")
    assert lining(play, "brake_1") == closed
    assert lining(play, "brake_2") == pytest.approx(lining(free, "brake_2"), abs=1e-5)
    assert lining(free, "brake_2") < closed - 1e-3
    assert play.actors.faults.blocked == ("brake_1",)
    act(play, "unblock brake_1")
    play.advance(6.0)
    assert lining(play, "brake_1") == pytest.approx(lining(free, "brake_1"), abs=1e-5)
    assert play.actors.faults.blocked == ()


def test_a_block_holds_open_jaws_against_their_springs() -> None:
    play = run((0.5, "open block"), (3.0, "block block"), (3.5, "isolate cock"), until=3.0)
    there = lining(play, "brake_1"), lining(play, "brake_2")
    play.advance(8.0)
    assert (lining(play, "brake_1"), lining(play, "brake_2")) == there
    assert play.actors.faults.blocked == ("brake_1", "brake_2")
    act(play, "unblock brake_2")
    play.advance(10.0)
    assert lining(play, "brake_1") == there[0] < lining(play, "brake_2") - 1e-3


def test_a_block_is_a_seized_jaw_to_the_plant_and_leaves_no_trace() -> None:
    blocked = run((0.2, "block brake_1"), (0.5, "open block"), (2.0, "unblock brake_1"), until=4.0)
    seized = run(
        (0.2, "fault brake_1 jaw-seized"), (0.5, "open block"), (2.0, "clear brake_1 jaw-seized"),
        until=4.0,
    )  # fmt: skip
    assert at_one_place(blocked, seized)


def test_a_block_does_not_free_what_is_seized_and_a_repair_takes_no_block_out() -> None:
    before = ((0.2, "fault brake_1 jaw-seized"), (0.3, "block brake_1"), (0.5, "open block"))
    play = run(*before, until=2.0)
    closed = lining(play, "brake_1")
    act(play, "free brake_1")
    play.advance(3.0)
    assert lining(play, "brake_1") == closed and standing(play) == []
    other = run(*before, until=2.0)
    act(other, "unblock block")
    other.advance(3.0)
    assert lining(other, "brake_1") == closed and other.actors.faults.blocked == ()


def test_blocks_are_one_situation_in_whatever_order_they_were_put_in() -> None:
    one = run((0.2, "block brake_2"), (0.2, "block brake_1"), until=0.5)
    both = run((0.2, "block block"), until=0.5)
    assert one.actors.faults.blocked == both.actors.faults.blocked == ("brake_1", "brake_2")
    assert (one.plant.state() == both.plant.state()).all()


def test_a_zone_may_be_called_like_a_part_that_is_no_brake() -> None:
    plan = bench(WORKSHOP.replace("  block:\n    brakes", "  tee:\n    brakes"))
    play = run((0.2, "block tee"), until=0.3, plan=plan)
    assert play.actors.faults.blocked == ("brake_1", "brake_2")


def test_a_block_of_a_part_that_stands_for_others_is_refused_and_one_of_its_zone_is_not() -> None:
    circuit = load_text(WORKSHOP, "workshop")
    lumped = compile_circuit(circuit, ())
    play = run(until=0.1, plan=lumped)
    for sentence in ("block brake_2", "unblock brake_2"):
        with pytest.raises(InputError, match="brake_2 is calculated together with others like it"):
            act(play, sentence)
    assert play.actors.faults.blocked == ()
    held = run((0.2, "block block"), (0.5, "open block"), until=3.0, plan=lumped)
    assert lining(held, "brake_1") == lining(run(until=0.1, plan=lumped), "brake_1")
    apart = run((0.2, "block block"), (0.5, "open block"), until=3.0)
    assert lining(apart, "brake_1") == pytest.approx(lining(held, "brake_1"), abs=1e-6)


# swapped plugs


def position(play: Play, valve: str) -> float:
    return play.actors.spools.position(play.plant, valve)


SWAP = "swap valve.14 gate_valve.14"


def test_a_swapped_plug_brings_its_command_to_the_other_coil() -> None:
    play = run((0.2, SWAP), (0.2, "force gate_valve.12 off"), (0.5, "open block"), until=2.0)
    assert (position(play, "valve"), position(play, "gate_valve")) == (0.0, 1.0)
    act(play, "open gates")
    play.advance(3.0)
    assert (position(play, "valve"), position(play, "gate_valve")) == (1.0, 1.0)
    act(play, "close block")
    play.advance(4.0)
    assert (position(play, "valve"), position(play, "gate_valve")) == (1.0, 0.0)
    assert play.plant.controls.swapped == (
        ("valve.14", "gate_valve.14"), ("gate_valve.14", "valve.14"),
    )  # fmt: skip


def test_swapped_again_is_as_before() -> None:
    before = ((0.5, "open block"), (0.5, "open gates"))
    play = run(*before, (2.0, SWAP), (2.0, "swap gate_valve.14 valve.14"), until=4.0)
    assert at_one_place(play, run(*before, until=4.0))
    assert play.plant.controls.swapped == ()


def test_a_fault_of_the_output_goes_with_the_plug_and_one_of_the_coil_stays() -> None:
    asked = ((0.5, "open block"), (0.5, "open gates"))
    output = run((0.2, "fault valve output-stuck-off"), *asked, until=2.0)
    assert (position(output, "valve"), position(output, "gate_valve")) == (0.0, 1.0)
    act(output, SWAP)
    output.advance(3.0)
    assert (position(output, "valve"), position(output, "gate_valve")) == (1.0, 0.0)
    act(output, "replace gate_valve", "replace valve")
    output.advance(4.0)
    assert position(output, "gate_valve") == 0.0, "a new valve does not mend an output"
    act(output, "reconnect valve.14")
    output.advance(5.0)
    assert (position(output, "valve"), position(output, "gate_valve")) == (1.0, 1.0)

    coil = run((0.2, "fault valve coil-open"), *asked, until=2.0)
    assert (position(coil, "valve"), position(coil, "gate_valve")) == (0.0, 1.0)
    act(coil, SWAP)
    coil.advance(3.0)
    assert (position(coil, "valve"), position(coil, "gate_valve")) == (0.0, 1.0)
    controls = coil.plant.controls
    assert controls.has_voltage(("valve", "14")) and not controls.energised(("valve", "14"))


def test_the_feed_goes_with_the_plug_and_the_manual_override_stays() -> None:
    asked = ((0.5, "open block"), (0.5, "open gates"))
    play = run(*asked, (1.5, SWAP), (2.0, "switch off feed"), until=3.0)
    assert (position(play, "valve"), position(play, "gate_valve")) == (1.0, 0.0)
    act(play, "override gate_valve.14")
    play.advance(4.0)
    assert position(play, "gate_valve") == 1.0
    assert play.plant.controls.overridden == ("gate_valve.14",)


def test_an_open_coil_gets_no_current_from_an_output_that_is_stuck_on() -> None:
    """Whichever of the two came last."""
    for first, last in (("coil-open", "output-stuck-on"), ("output-stuck-on", "coil-open")):
        play = run((0.2, f"fault valve {first}"), (0.3, f"fault valve {last}"), until=1.0)
        controls = play.plant.controls
        assert controls.has_voltage(("valve", "14")) and position(play, "valve") == 0.0


def test_three_plugs_go_round() -> None:
    play = run((0.2, SWAP), (0.3, "swap gate_valve.14 gate_valve.12"), until=0.5)
    assert dict(play.plant.controls.swapped) == {
        "valve.14": "gate_valve.14", "gate_valve.14": "gate_valve.12",
        "gate_valve.12": "valve.14",
    }  # fmt: skip


# copies and instants

ACTS = ((0.5, "open block"), (0.5, "open gates"), (1.0, "fault hose_1 leak 2 mm"),
        (1.2, "block brake_2"), (1.5, SWAP), (1.8, "refit hose_1"))  # fmt: skip
LATER = ("unblock brake_2", SWAP, "block brake_1", "replace valve.14")


def test_a_copy_goes_on_exactly_and_independently() -> None:
    plain, original = run(*ACTS, until=4.0), run(*ACTS, until=1.9)
    copied, disturbed = original.snapshot(), original.snapshot()
    act(disturbed, *LATER)
    disturbed.advance(3.0)
    for play in (copied, original):
        play.advance(4.0)
        assert same(play, plain)
        assert play.actors.faults.blocked == ("brake_2",) and play.plant.controls.swapped
    assert disturbed.actors.faults.blocked == ("brake_1",)
    assert disturbed.plant.controls.swapped == ()


def test_acting_at_an_instant_is_scheduling_it() -> None:
    planned = run(*ACTS, *((2.5, text) for text in LATER), until=5.0)
    acted = run(*ACTS, until=2.5)
    act(acted, *LATER)
    acted.advance(5.0)
    assert same(acted, planned)
