"""What is forced at the controller and done by hand: manual overrides and drains."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from play_toys import at, bench, pressures, same, start

from pneumo import cli
from pneumo.circuit.validate import load_text
from pneumo.components.common_faults import hole_conductance
from pneumo.errors import InputError
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.scenario.inject import DRAIN_BORE
from pneumo.scenario.play import Play
from pneumo.scenario.telling import told

ACTS = """
ride: {name: acts}
components:
  supply: {kind: ideal_supply, pressure: 6 bar}
  feed: {kind: electrical_feed}
  receiver: {kind: receiver, volume: 20 L, ports: 5}
  cock: {kind: shut_off, C: 5 L/(s·bar), b: 0.3}
  check: {kind: check_valve, C: 5 L/(s·bar), b: 0.3}
  accumulator: {kind: accumulator, volume: 5 L, ports: 2}
  valve: {kind: valve_3_2, C: 5 L/(s·bar), b: 0.3, feed: feed}
  tee: {kind: manifold, ports: 5}
  made: {kind: pressure_switch, set: 4 bar}
  reading: {kind: transmitter}
  hose_{1..2}: {kind: filter, C: 5 L/(s·bar), b: 0.3}
  brake_{1..2}: {kind: bladder_brake, spring: open, area: 300 cm2, spring_force: 3 kN,
                 spring_rate: 60 N/mm}
  closed_{1..2}: {kind: jaw_switch, of: "brake_{1..2}", reads: closed}
  keeper: {kind: valve_3_2, C: 2 L/(s·bar), b: 0.3, feed: feed, memory: bistable}
  pilot_cock: {kind: shut_off, C: 2 L/(s·bar), b: 0.3}
  piloted: {kind: valve_3_2, C: 2 L/(s·bar), b: 0.3, feed: feed, operation: pilot,
            minimum_pilot: 3 bar}
  gate_{1..2}: {kind: cylinder, bore: 50 mm, rod_diameter: 20 mm, stroke: 100 mm, moving_mass: 5 kg}
connections:
  - supply.2 -> receiver.1
  - receiver.2 -> cock.1
  - cock.2 -> check.1
  - check.2 -> accumulator.1
  - accumulator.2 -> valve.1
  - valve.2 -> tee.1
  - tee.2 -> made.1
  - tee.5 -> reading.1
  - tee.{3..4} -> hose_{1..2}.1
  - hose_{1..2}.2 -> brake_{1..2}.1
  - receiver.3 -> keeper.1
  - keeper.2 -> gate_1.cap
  - receiver.4 -> pilot_cock.1
  - pilot_cock.2 -> piloted.1
  - piloted.2 -> gate_2.cap
  - receiver.5 -> plug
  - gate_{1..2}.rod -> atmosphere
zones:
  trim:
    brakes: ["brake_{1..2}"]
    outputs: {valve.14: charge}
    pressure_switches: [made]
    safe_state: open
    requirement: {within: 1 s, hold: 5 s, clearance: 1.5 mm}
gates:
  keeper_gate: {cylinders: [gate_1], outputs: {keeper.14: open, keeper.12: close}}
  piloted_gate: {cylinders: [gate_2], outputs: {piloted.14: open}}
"""
"""A spring-open zone behind a check valve, and two gates on other kinds of valves."""

AMBIENT = 101_325.0
"""[Pa]"""


def acts(text: str = ACTS) -> Compiled:
    """With every branch integrated."""
    return bench(text)


def run(*sentences: tuple[float, str], until: float, plan: Compiled | None = None) -> Play:
    plan = plan or acts()
    play = start(plan, *(event for time, text in sentences for event in at(plan, time, text)))
    play.advance(until)
    return play


def act(play: Play, *sentences: str) -> None:
    for text in sentences:
        play.act(at(play.compiled, play.now, text)[0].action)


def gauge(play: Play, component: str) -> float:
    """Pressure at its first port [Pa gauge]."""
    return float(pressures(play, [component])[0]) - AMBIENT


def state(play: Play) -> str:
    return play.actors.controller.logic.zones["trim"].state


def first_out(play: Play) -> str:
    return play.actors.controller.logic.zones["trim"].first_out


# manual override


@pytest.mark.parametrize("loss", ["power off", "switch off feed", "fault valve coil-open"])
def test_an_override_shifts_a_valve_that_has_no_current(loss: str) -> None:
    play = run((0.5, loss), (1.0, "override valve.14"), until=3.0)
    assert play.actors.spools.position(play.plant, "valve") == 1.0
    assert not play.actors.spools.energised(play.plant, "valve", "14")
    assert gauge(play, "tee") > 5e5, "the brakes have the air of the zone"
    act(play, "release valve.14")
    play.advance(6.0)
    assert play.actors.spools.position(play.plant, "valve") == 0.0
    assert gauge(play, "tee") == pytest.approx(0.0, abs=1e3)


def test_an_override_moves_what_the_coil_would_move_as_fast() -> None:
    """The same arrivals as with current in the coil."""
    by_hand = run((1.0, "override valve.14"), until=2.0)
    by_coil = run((1.0, "force valve.14 on"), until=2.0)
    for play in (by_hand, by_coil):
        assert [e.time for e in play.plant.log.events if e.kind == "valve"] == pytest.approx(
            [1.035]
        )
    assert gauge(by_hand, "tee") == gauge(by_coil, "tee") > 5e5


@pytest.mark.parametrize("fault", ["stuck", "stuck-rest", "uncommanded-return"])
def test_an_override_does_not_move_a_stuck_spool(fault: str) -> None:
    play = run((0.5, f"fault valve {fault}"), (1.0, "override valve.14"), until=3.0)
    assert play.actors.spools.position(play.plant, "valve") == 0.0
    act(play, f"clear valve {fault}")
    play.advance(4.0)
    assert play.actors.spools.position(play.plant, "valve") == 1.0, "it is still held"


def test_an_override_of_a_pilot_operated_valve_needs_the_pilot() -> None:
    play = run((0.5, "isolate pilot_cock"), (2.0, "override piloted.14"), until=4.0)
    assert play.actors.spools.position(play.plant, "piloted") == 0.0
    act(play, "restore pilot_cock")
    play.advance(6.0)
    assert play.actors.spools.position(play.plant, "piloted") == 1.0
    act(play, "fault piloted pilot-lost")
    play.advance(7.0)
    assert play.actors.spools.position(play.plant, "piloted") == 0.0


def test_an_override_against_the_other_coil() -> None:
    """A bistable valve stays where it is while both sides are driven, and when it is let go."""
    play = run((0.5, "override keeper.14"), until=1.5)
    assert play.actors.spools.energised(
        play.plant, "keeper", "12"
    ) and not play.actors.spools.energised(play.plant, "keeper", "14")
    assert play.actors.spools.position(play.plant, "keeper") == 0.0
    act(play, "force keeper.12 off")
    play.advance(2.5)
    assert play.actors.spools.position(play.plant, "keeper") == 1.0
    act(play, "release keeper.14")
    play.advance(3.5)
    assert play.actors.spools.position(play.plant, "keeper") == 1.0
    act(play, "unforce keeper.12")
    play.advance(4.5)
    assert play.actors.spools.position(play.plant, "keeper") == 0.0


def test_the_override_of_a_soft_start() -> None:
    text = ACTS.replace(
        "  cock: {kind: shut_off, C: 5 L/(s·bar), b: 0.3}\n",
        "  cock: {kind: soft_start, C: 5 L/(s·bar), b: 0.3, slow_C: 1 L/(s·bar),\n"
        "         dump_C: 5 L/(s·bar), feed: feed}\n",
    )
    play = run((0.5, "switch off cock"), until=1.0, plan=acts(text))
    assert (
        play.actors.spools.position(play.plant, "cock"),
        play.actors.spools.energised(play.plant, "cock", "14"),
    ) == (0.0, False)
    act(play, "override cock.14")
    play.advance(2.0)
    assert (
        play.actors.spools.position(play.plant, "cock"),
        play.actors.spools.energised(play.plant, "cock", "14"),
    ) == (1.0, False)


# drains


def test_a_drain_empties_the_accumulator_and_the_check_valve_keeps_the_header() -> None:
    play = run((0.5, "isolate cock"), (1.0, "drain accumulator open"), until=30.0)
    assert gauge(play, "accumulator") < 5e3
    assert gauge(play, "receiver") == pytest.approx(6e5, rel=1e-3)


def test_a_vented_header_leaves_the_accumulator_charged_until_it_is_drained() -> None:
    play = run((0.5, "switch off supply"), (0.5, "drain receiver open"), until=60.0)
    assert gauge(play, "receiver") < 5e3
    assert gauge(play, "accumulator") > 5.8e5
    act(play, "drain accumulator open")
    play.advance(100.0)
    assert gauge(play, "accumulator") < 5e3


def test_air_is_let_out_at_any_port_and_only_there() -> None:
    play = run((0.5, "isolate cock"), (1.0, "drain check.2 open"), until=60.0)
    assert gauge(play, "accumulator") < 0.1e5  # the port is joined to it
    assert play.actors.faults.drained == ("check.2",)
    act(play, "drain check.2 closed")
    assert play.actors.faults.drained == ()
    before = [(0.5, "isolate cock")]
    slow, fast = (run(*before, (1.0, f"drain {where} open"), until=2.0)
                  for where in ("check.2", "accumulator"))  # fmt: skip
    assert gauge(slow, "accumulator") > gauge(fast, "accumulator")


@pytest.mark.parametrize(
    ("sentence", "wanted"),
    [("drain check.9 open", "Write 'check.1' or 'check.2'"), ("drain check open", "hose_1.2"),
     ("drain nothing.1 open", "drain acts on")],
)  # fmt: skip
def test_a_port_that_is_not_there_is_told(sentence: str, wanted: str) -> None:
    with pytest.raises(InputError, match=wanted):
        run((0.5, sentence), until=1.0)


def test_a_drain_is_a_hole_of_its_bore() -> None:
    """The same pressures as with a leak of that size there."""
    before = [(0.5, "isolate cock")]
    drained = run(*before, (1.0, "drain accumulator open"), until=2.0)
    leaking = run(*before, (1.0, f"fault accumulator leak {DRAIN_BORE * 1e3:g} mm"), until=2.0)
    assert gauge(drained, "accumulator") == pytest.approx(gauge(leaking, "accumulator"), rel=1e-9)
    assert 1e4 < gauge(drained, "accumulator") < 5.5e5


def test_a_drained_filter_blows_off_on_its_inlet_side() -> None:
    """With its way through blocked, its drain empties what is before it and not what is behind."""
    blocked = ((0.5, "close trim"), (2.0, "fault hose_1 blocked 1"), (3.0, "power off"))
    kept, play = run(*blocked, until=10.0), run(*blocked, (3.0, "drain hose_1 open"), until=10.0)
    assert gauge(play, "hose_1") < 5e3 and len(opened(play)) == 1
    assert gauge(play, "brake_1") == pytest.approx(gauge(kept, "brake_1"), rel=1e-6)
    assert gauge(play, "brake_1") > 4e5


def opened(play: Play) -> list[float]:
    """Conductance of every leak and drain that is open."""
    rows = play.plant.network.restriction[list(play.compiled.leak_slots)]
    return sorted(rows["conductance"][rows["open_max"] > 0.0].tolist())


def test_drains_and_faults_come_and_go_on_their_own() -> None:
    drain, hole = hole_conductance(DRAIN_BORE), hole_conductance(0.002)
    play = run(until=1.0)
    for texts, expected in (
        (("drain accumulator open",), [drain]),
        (("fault accumulator leak 2 mm", "drain receiver open"), [hole, drain, drain]),
        (("drain accumulator open",), [hole, drain, drain]),
        (("fin trim absent", "clear accumulator leak"), [drain, drain]),
        (("fault tee leak 2 mm", "drain accumulator closed"), [hole, drain]),
        (("drain accumulator closed", "drain receiver closed"), [hole]),
    ):
        act(play, *texts)
        assert opened(play) == expected, texts


def test_a_leak_that_comes_or_goes_does_not_disturb_an_open_drain() -> None:
    """The drain keeps its path, so its partition is not cut back."""

    def drains(play: Play) -> list[int]:
        rows = play.plant.network.restriction
        return np.flatnonzero(rows["conductance"] == hole_conductance(DRAIN_BORE)).tolist()

    play = run((0.5, "fault tee leak 2 mm"), (0.6, "drain accumulator open"), until=1.0)
    before = drains(play)
    for text in ("clear tee leak", "fault receiver leak 2 mm", "fault tee leak 1 mm"):
        act(play, text)
        assert drains(play) == before and len(before) == 1


def test_a_drain_that_is_shut_leaves_no_trace_in_the_network() -> None:
    untouched = run(until=3.0).plant
    play = run((1.0, "drain accumulator open"), (2.0, "drain accumulator closed"), until=1.5)

    def alike() -> list[bool]:
        now = play.plant.network
        return [np.array_equal(a, b) for a, b in zip(now, untouched.network, strict=True)]

    assert not all(alike())
    play.advance(3.0)
    assert all(alike())
    assert play.actors.faults.drained == ()


def test_what_finds_no_slot_is_refused_and_nothing_has_changed() -> None:
    plan = acts()
    able = [
        name
        for name, part in plan.circuit.components.items()
        if any(mode.name == "leak" for mode in part.fault_modes())
    ]
    play = run(until=1.0, plan=plan)
    *first, last = able[: len(plan.leak_slots)]
    act(play, *(f"fault {name} leak 0.1 mm" for name in first))
    act(play, f"fault {last} leak 0.1 mm every 10 s for 1 s")
    play.advance(5.0)  # the last one is gone for the moment and keeps its place
    said = list(play.plant.log.events)
    with pytest.raises(InputError, match="close one first"):
        act(play, "drain accumulator open")
    assert (play.actors.faults.drained, play.plant.log.events) == ((), said)
    act(play, f"clear {last} leak", "drain accumulator open")
    with pytest.raises(InputError, match="accumulator: more than 9 leaks and open drains"):
        act(play, f"fault {last} leak 0.1 mm over 2 s")
    play.advance(10.0)
    assert len(play.actors.faults.standing) == len(opened(play)) - 1 == len(first)


def test_a_drain_of_a_part_that_stands_for_others_is_refused() -> None:
    circuit = load_text(ACTS, "acts")
    represented = run(until=0.1, plan=compile_circuit(circuit, ()))
    with pytest.raises(InputError, match="hose_2 is calculated together with others like it"):
        act(represented, "drain hose_2 open")
    assert represented.actors.faults.drained == ()
    apart = run((0.0, "drain hose_2 open"), until=0.1, plan=compile_circuit(circuit, ("hose_2",)))
    assert apart.actors.faults.drained == ("hose_2",)


@pytest.mark.parametrize(
    "act",
    ["drain hose_2 open", "override valve.14", "force closed_2 on", "replace hose_2",
     "block brake_2", "swap valve.14 keeper.14"],
)  # fmt: skip
def test_the_command_line_compiles_apart_what_an_act_touches(
    act: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    document = tmp_path / "acts.yaml"
    document.write_text(ACTS, encoding="utf-8")
    code = cli.main(["run", str(document), "--do", f"at 1 s: {act}", "--until", "2 s"])
    assert code != 2, "the zone may object to it, the run may not"
    assert act in capsys.readouterr().out


# forcing


def test_a_forced_input_hides_a_lost_pressure_until_it_is_unforced() -> None:
    """The air is gone all the same."""
    lost = ((3.0, "isolate cock"), (3.0, "drain accumulator open"))
    known = run((0.5, "close trim"), *lost, until=20.0)
    assert state(known) == "faulted" and "pressure lost" in first_out(known)
    lines = [line for line in ACTS.splitlines() if "jaw_switch" not in line]
    blind = acts("\n".join(lines))
    play = run((0.5, "close trim"), (2.0, "force made on"), *lost, until=20.0, plan=blind)
    assert state(play) == "closed"
    assert gauge(play, "tee") < 1e4
    assert play.actors.controller.reads(
        play.plant, "made"
    ) and play.actors.controller.forced_inputs == {"made": True}
    act(play, "unforce made")
    play.advance(21.0)
    assert not play.actors.controller.reads(play.plant, "made")
    assert state(play) == "faulted" and "pressure lost" in first_out(play)


def test_what_is_forced_goes_before_what_a_fault_makes_the_contact_say() -> None:
    play = run((0.5, "fault made stuck-on"), until=1.0)
    assert play.actors.controller.reads(play.plant, "made")
    act(play, "force made off")
    assert not play.actors.controller.reads(play.plant, "made")
    play.advance(2.0)
    assert play.actors.controller.sensed[0].pressure_on == (False,)
    act(play, "unforce all")
    play.advance(3.0)
    assert play.actors.controller.reads(play.plant, "made") and play.actors.controller.sensed[
        0
    ].pressure_on == (True,)


def test_a_forced_input_is_read_at_the_next_scan() -> None:
    play = run((0.5, "close trim"), (3.011, "force made off"), until=4.0)
    faulted = next(e.time for e in play.plant.log.events if told(e.what) == "closed -> faulted")
    assert faulted == pytest.approx(3.02, abs=1e-9)


def test_forcing_reaches_one_switch_and_not_its_twins() -> None:
    """Also when both see one and the same part; the run is that of a circuit without twins."""
    circuit = load_text(ACTS, "acts")
    sentences = (
        (0.5, "close trim"), (3.0, "force closed_1 off"), (5.0, "unforce closed_1"),
        (6.0, "reset trim"),
    )  # fmt: skip
    represented = run(*sentences[:2], until=3.03, plan=compile_circuit(circuit, ()))
    assert (
        represented.actors.controller.reads(represented.plant, "closed_1"),
        represented.actors.controller.reads(represented.plant, "closed_2"),
    ) == (False, True)
    why = next(
        told(event.what)
        for event in represented.plant.log.events
        if "first out" in told(event.what)
    )
    assert "'closed' switch of brake_1 is OFF" in why and "brake_2" not in why
    runs = [run(*sentences, until=8.0, plan=compile_circuit(circuit, a)) for a in ((), None)]
    said = [[(e.kind, e.subject, told(e.what)) for e in play.plant.log.events] for play in runs]
    assert said[0] == said[1]


def test_a_forced_contact_says_nothing_of_its_own() -> None:
    play = run((0.1, "force closed_1 off"), (0.5, "close trim"), until=3.0)
    said = {event.subject for event in play.plant.log.events if event.kind == "contact"}
    assert said == {"made", "closed_2"}


def test_a_forced_transmitter_reads_low_for_the_zones_it_guards() -> None:
    guarded = ACTS.replace(
        "    safe_state: open\n",
        "    safe_state: open\n    low_pressure: {transmitter: reading, below: 3 bar}\n",
    )
    play = run((0.5, "close trim"), until=3.0, plan=acts(guarded))
    assert (state(play), play.actors.controller.reads(play.plant, "reading")) == ("closed", False)
    act(play, "force reading on")
    play.advance(3.5)
    assert play.actors.controller.reads(play.plant, "reading") and state(play) == "faulted"
    assert "pressure lost" in first_out(play)


def test_a_forced_output_moves_the_zone_whatever_its_logic_wants() -> None:
    play = run((0.5, "force valve.14 on"), until=3.0)
    assert play.actors.controller.forced_outputs == {("valve", "14"): True}
    assert play.actors.spools.energised(play.plant, "valve", "14") and gauge(play, "tee") > 5e5
    act(play, "unforce all", "reset trim")
    play.advance(6.0)
    assert play.actors.controller.forced_outputs == {} and not play.actors.spools.energised(
        play.plant, "valve", "14"
    )
    assert gauge(play, "tee") < 1e4
    act(play, "close trim", "force valve.14 off")
    play.advance(8.0)
    assert play.actors.spools.position(play.plant, "valve") == 0.0


def test_a_forced_output_does_not_mend_coil_and_feed() -> None:
    play = run((0.5, "force valve.14 on"), (0.5, "fault valve coil-open"), until=2.0)
    assert play.actors.spools.powered(play.plant, "valve")
    assert (
        not play.actors.spools.energised(play.plant, "valve", "14")
        and play.actors.spools.position(play.plant, "valve") == 0.0
    )
    act(play, "clear valve coil-open", "switch off feed")
    play.advance(3.0)
    assert not play.actors.spools.powered(play.plant, "valve")
    assert (
        not play.actors.spools.energised(play.plant, "valve", "14")
        and play.actors.spools.position(play.plant, "valve") == 0.0
    )
    act(play, "switch on feed", "force valve.14 off", "fault valve output-stuck-on")
    play.advance(4.0)
    assert (
        play.actors.spools.energised(play.plant, "valve", "14")
        and play.actors.spools.position(play.plant, "valve") == 1.0
    )


def test_gates_obey_again_when_their_output_is_unforced() -> None:
    play = run((0.5, "force piloted.14 off"), (1.0, "open piloted_gate"), until=2.0)
    assert play.actors.spools.position(play.plant, "piloted") == 0.0
    act(play, "unforce piloted.14")
    play.advance(3.0)
    assert play.actors.spools.position(play.plant, "piloted") == 1.0


def test_what_is_not_forced_or_held_may_be_let_go() -> None:
    play = run(until=1.0)
    act(play, "unforce made", "unforce valve.14", "unforce all", "release valve.14",
        "drain receiver closed")  # fmt: skip
    play.advance(2.0)
    assert (state(play), play.plant.controls.overridden, play.actors.faults.drained) == (
        "open",
        (),
        (),
    )


# what stands, for screens


def test_what_stands_can_be_read() -> None:
    play = run(until=1.0)
    act(play, "isolate cock", "override keeper.14", "override valve.14", "drain receiver open",
        "switch off supply", "switch off feed", "fin trim absent", "force made on",
        "force keeper.12 off", "fault tee leak 2 mm",
        "fault hose_1 blocked 0.5 every 4 s for 1 s")  # fmt: skip
    play.advance(2.5)
    assert play.actors.spools.isolated(play.plant) == ("cock",)
    assert play.plant.controls.overridden == ("keeper.14", "valve.14")
    assert play.actors.faults.drained == ("receiver",)
    assert play.plant.controls.off == {"supply", "feed"}
    assert play.actors.faults.absent_fins == ("trim",)
    assert play.actors.controller.forced_inputs == {"made": True}
    assert play.actors.controller.forced_outputs == {("keeper", "12"): False}
    standing = [(fault.sentence, severity) for fault, severity in play.actors.faults.standing]
    assert standing == [("tee leak 2 mm", 0.002), ("hose_1 blocked 50 % every 4 s for 1 s", None)]
    assert not play.actors.supplies.delivers(
        play.plant, "supply"
    ) and not play.actors.supplies.delivers(play.plant, "feed")
    act(play, "restore cock", "switch on supply", "switch on feed", "fin trim present",
        "unforce all", "release valve.14")  # fmt: skip
    play.advance(5.5)
    assert (
        play.actors.spools.isolated(play.plant),
        play.plant.controls.off,
        play.actors.faults.absent_fins,
    ) == ((), set(), ())
    assert (play.actors.controller.forced_inputs, play.actors.controller.forced_outputs) == ({}, {})
    assert play.plant.controls.overridden == ("keeper.14",)
    assert play.actors.faults.standing[1][1] == 0.5
    assert play.actors.supplies.delivers(play.plant, "supply") and play.actors.supplies.delivers(
        play.plant, "feed"
    )


def test_a_handle_is_where_it_was_turned_to_and_not_where_it_should_be() -> None:
    play = run((0.5, "fault cock closed-by-mistake"), (0.5, "fault pilot_cock stuck"), until=1.0)
    act(play, "isolate pilot_cock")
    play.advance(2.0)
    assert play.actors.spools.isolated(play.plant) == ("cock",)
    act(play, "clear cock closed-by-mistake", "clear pilot_cock stuck")
    play.advance(3.0)
    assert play.actors.spools.isolated(play.plant) == ("pilot_cock",)


def test_a_compressor_that_is_unloaded_could_supply() -> None:
    text = ACTS.replace(
        "  supply: {kind: ideal_supply, pressure: 6 bar}\n",
        "  supply: {kind: compressor, free_air_delivery: 600 L/min, load_at: 5 bar,\n"
        "           unload_at: 6 bar, feed: feed}\n",
    )
    play = run(until=1.0, plan=acts(text))
    assert (
        play.actors.supplies.delivers(play.plant, "supply"),
        play.actors.supplies.can_deliver(play.plant, "supply"),
    ) == (False, True)
    act(play, "drain receiver open")
    play.advance(30.0)
    assert (
        play.actors.supplies.delivers(play.plant, "supply"),
        play.actors.supplies.can_deliver(play.plant, "supply"),
    ) == (True, True)
    act(play, "switch off feed")
    play.advance(31.0)
    assert (
        play.actors.supplies.delivers(play.plant, "supply"),
        play.actors.supplies.can_deliver(play.plant, "supply"),
    ) == (False, False)


def test_a_component_without_a_spool_has_no_position() -> None:
    play = run(until=0.1)
    with pytest.raises(ValueError, match="receiver has no spool"):
        play.actors.spools.position(play.plant, "receiver")


# copies and instants


STANDING = (
    (0.5, "close trim"), (1.0, "force made on"), (1.2, "drain accumulator open"),
    (1.4, "override keeper.14"), (1.6, "force keeper.12 off"), (1.8, "fault tee leak 2 mm"),
    (2.0, "isolate cock"), (2.2, "force piloted.14 on"),
)  # fmt: skip

LET_GO = ("unforce all", "drain accumulator closed", "release keeper.14", "drain receiver open",
          "override piloted.14", "force closed_1 off")  # fmt: skip


def test_a_copy_goes_on_exactly_and_independently() -> None:
    plain, original = run(*STANDING, until=1.0), run(*STANDING, until=1.0)
    plain.advance(8.0)
    original.advance(2.513)
    copied, disturbed = original.snapshot(), original.snapshot()
    act(disturbed, *LET_GO)
    disturbed.advance(4.0)
    for play in (copied, original):
        play.advance(8.0)
        assert same(play, plain)
        assert (play.actors.faults.drained, play.plant.controls.overridden) == (
            ("accumulator",),
            ("keeper.14",),
        )
        assert play.actors.controller.forced_outputs == {
            ("keeper", "12"): False,
            ("piloted", "14"): True,
        }
    assert not same(disturbed, plain)
    assert (disturbed.actors.faults.drained, disturbed.plant.controls.overridden) == (
        ("receiver",),
        ("piloted.14",),
    )
    assert (
        disturbed.actors.controller.forced_inputs,
        disturbed.actors.controller.forced_outputs,
    ) == ({"closed_1": False}, {})


@pytest.mark.parametrize("when", [3.013, 4.2])
def test_acting_at_an_instant_is_scheduling_it(when: float) -> None:
    planned = run(*STANDING, *((when, text) for text in LET_GO), until=8.0)
    acted = run(*STANDING, until=when)
    act(acted, *LET_GO)
    acted.advance(8.0)
    assert same(acted, planned)


def test_with_everything_let_go_the_plant_comes_to_rest_where_it_was() -> None:
    """As if none of it had been done, but for what a check valve takes to open."""
    play = run(*STANDING[1:], *((3.0, text) for text in LET_GO[:3]), until=4.0)
    act(play, "clear tee leak", "restore cock", "reset trim", "open trim")
    play.advance(120.0)
    there = ("receiver", "accumulator", "tee", "brake_1")
    assert pressures(play, there) == pytest.approx(pressures(run(until=120.0), there), abs=6e3)
    assert pressures(play, there)[0] > 6.9e5
