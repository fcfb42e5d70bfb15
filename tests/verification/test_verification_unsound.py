"""Tests of pneumo/verification/unsound.py and chain.py: what goes wrong without any fault, and the
part that is the first to cause it, on circuits of several shapes."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from types import SimpleNamespace
from typing import Any

import pytest
from documents import replaced
from verification_bench import SMALL, changed, shipped

from pneumo.circuit.action import (
    Action,
    Block,
    Command,
    Drain,
    FaultSpec,
    Fin,
    HandOverride,
    Inject,
    Power,
    Repair,
    RideStop,
    Swap,
    Switch,
    Turn,
)
from pneumo.circuit.circuit import Circuit, Event
from pneumo.circuit.sentence import parse_action
from pneumo.circuit.validate import load_text
from pneumo.network.compile import compile_circuit
from pneumo.report.unsound import cause_words, unsound_words, why_words
from pneumo.scenario.event import ContactRead, RunEvent
from pneumo.scenario.plant import SimulationError
from pneumo.scenario.play import Play
from pneumo.verification.campaign import Campaign
from pneumo.verification.chain import jaws_there
from pneumo.verification.unsound import SEEN, missed, undisturbed_until, unsound
from pneumo.verification.verdict import Outcome, Unsound, not_calculated
from pneumo.zone.event import AlarmRaised

Changes = tuple[tuple[str, str], ...]

YARD = """
ride: {name: Yard shuttle, supply_switches: [main_low]}
components:
  feed: {kind: electrical_feed}
  compressor: {kind: compressor, free_air_delivery: 300 L/min, load_at: 7 bar, unload_at: 8 bar}
  dry: {kind: check_valve, C: 20 L/(s·bar), b: 0.4}
  receiver: {kind: receiver, volume: 100 L, ports: 4}
  relief: {kind: relief_valve, set_pressure: 9.5 bar, C: 8 L/(s·bar), b: 0.4}
  main_low: {kind: pressure_switch, set: 6 bar}
  main: {kind: pipe, length: 12 m, bore: 20 mm}
  tee: {kind: manifold, ports: 3}
  # a zone that air closes, on a regulator and a 5/2 valve of which one outlet is blanked
  trim_regulator: {kind: regulator, set_pressure: 5 bar, C: 10 L/(s·bar), b: 0.4}
  trim_valve: {kind: valve_5_2, C: 8 L/(s·bar), b: 0.3, feed: feed}
  trim_block: {kind: manifold, ports: 3}
  trim_charged: {kind: pressure_switch, set: 4 bar}
  trim_brake: {kind: bladder_brake, spring: open, area: 250 cm2, spring_force: 2 kN, spring_rate: 60 N/mm}
  trim_open: {kind: jaw_switch, of: trim_brake, reads: open}
  trim_closed: {kind: jaw_switch, of: trim_brake, reads: closed}
  # a zone that springs close, stored air behind a check valve, vented by a quick exhaust
  hold_check: {kind: check_valve, C: 12 L/(s·bar), b: 0.4}
  hold_store: {kind: accumulator, volume: 20 L, ports: 3}
  hold_supply: {kind: pressure_switch, set: 5 bar}
  hold_valve: {kind: valve_3_2, C: 10 L/(s·bar), b: 0.3, feed: feed}
  hold_quick: {kind: quick_exhaust, C: 10 L/(s·bar), b: 0.3, exhaust_C: 10 L/(s·bar)}
  hold_silencer: {kind: silencer, C: 12 L/(s·bar), b: 0.4}
  hold_block: {kind: manifold, ports: 4}
  hold_charged: {kind: pressure_switch, set: 4.5 bar}
  hold_hose_{1..2}: {kind: hose, bore: 9 mm, length: 1 m}
  hold_brake_{1..2}: {kind: bladder_brake, spring: close, area: 300 cm2, spring_force: 8 kN, spring_rate: 120 N/mm}
  hold_open_{1..2}: {kind: jaw_switch, of: "hold_brake_{1..2}", reads: open}
  hold_closed_{1..2}: {kind: jaw_switch, of: "hold_brake_{1..2}", reads: closed}
connections:
  - compressor.2 -> dry.1
  - dry.2 -> receiver.1
  - receiver.2 -> relief.1
  - receiver.3 -> main_low.1
  - receiver.4 -> main.1
  - main.2 -> tee.1
  - tee.2 -> trim_regulator.1
  - trim_regulator.2 -> trim_valve.1
  - trim_valve.4 -> trim_block.1
  - trim_valve.2 -> plug
  - trim_block.2 -> trim_charged.1
  - trim_block.3 -> trim_brake.1
  - tee.3 -> hold_check.1
  - hold_check.2 -> hold_store.1
  - hold_store.2 -> hold_supply.1
  - hold_store.3 -> hold_valve.1
  - hold_valve.2 -> hold_quick.1
  - hold_quick.2 -> hold_block.1
  - hold_quick.3 -> hold_silencer.1
  - hold_block.2 -> hold_charged.1
  - hold_block.{3..4} -> hold_hose_{1..2}.1
  - hold_hose_{1..2}.2 -> hold_brake_{1..2}.1
zones:
  trim: {brakes: [trim_brake], outputs: {trim_valve.14: charge}, pressure_switches: [trim_charged],
    safe_state: open, requirement: {within: 1 s, hold: 10 s, clearance: 1.5 mm}}
  hold: {brakes: ["hold_brake_{1..2}"], outputs: {hold_valve.14: charge},
    pressure_switches: [hold_charged], supply_switches: [hold_supply],
    safe_state: closed, requirement: {within: 1.5 s, hold: 10 s, clamping_force: 5.6 kN}}
"""  # noqa: E501
"""Two zones of different kinds on one compressor; every number is invented."""


def yard(*changes: tuple[str, str]) -> Circuit:
    """The yard with passages replaced; each must be there once."""
    return load_text(replaced(YARD, *changes), "yard.yaml")


def swapped(component: str, a: str, b: str, *links: tuple[str, str]) -> Changes:
    """Changes that swap two ports of a part; `links`: the two connections, each "before -> after"
    with the part at one end."""
    names = {f"{component}.{a}": f"{component}.{b}", f"{component}.{b}": f"{component}.{a}"}
    return tuple(
        (f"- {left} -> {right}\n", f"- {names.get(left, left)} -> {names.get(right, right)}\n")
        for left, right in links
    )


@cache
def found(circuit: str, changes: Changes) -> tuple[Unsound, ...]:
    """What goes wrong in a circuit without any fault."""
    made = yard(*changes) if circuit == "yard" else changed(circuit, *changes)
    return Campaign(made).unsound()


ONE, SERIES, OPEN = (
    "02_spring_close_single", "03_redundant_series_valves", "01_spring_open_single",
)  # fmt: skip

VALVE_12 = swapped("valve", "1", "2", ("main.2", "valve.1"), ("valve.2", "manifold.1"))
VALVE_23 = swapped("valve", "2", "3", ("valve.3", "silencer.1"), ("valve.2", "manifold.1"))
VALVE_13 = swapped("valve", "1", "3", ("main.2", "valve.1"), ("valve.3", "silencer.1"))
HOLD_12 = swapped("hold_valve", "1", "2", ("hold_store.3", "hold_valve.1"), ("hold_valve.2", "hold_quick.1"))  # fmt: skip  # noqa: E501
QUICK_23 = swapped("hold_quick", "2", "3", ("hold_quick.2", "hold_block.1"), ("hold_quick.3", "hold_silencer.1"))  # fmt: skip  # noqa: E501
SERIES_A = swapped("valve_a", "1", "2", ("main.2", "valve_a.1"), ("valve_a.2", "valve_b.1"))
SERIES_B = swapped("valve_b", "1", "2", ("valve_a.2", "valve_b.1"), ("valve_b.2", "manifold.1"))
REGULATOR = swapped("trim_regulator", "1", "2", ("tee.2", "trim_regulator.1"), ("trim_regulator.2", "trim_valve.1"))  # fmt: skip  # noqa: E501

WRONG: dict[str, tuple[str, Changes, str, str, bool]] = {
    # circuit, changes, the part to be named, where the chain breaks, the wrong way round
    "supply and zone swapped": (ONE, VALVE_12, "valve", "trapped", True),
    "zone and exhaust swapped": (ONE, VALVE_23, "valve", "escape", False),
    "supply and exhaust swapped": (ONE, VALVE_13, "valve", "fed", True),
    "a valve that rests open": (
        ONE, (("valve: {kind: valve_3_2, C", "valve: {kind: valve_3_2, rest: open, C"),),
        "valve", "fed", False,
    ),
    "a valve left closed": (
        ONE, (("main: {kind: shut_off,", "main: {kind: shut_off, starts: closed,"),),
        "main", "blocked", False,
    ),
    "a silencer far too small": (
        ONE, (("silencer: {kind: silencer, C: 10 ", "silencer: {kind: silencer, C: 0.01 "),),
        "silencer", "trapped", False,
    ),
    "a supply below the springs": (
        ONE, (("pressure: 5.5 bar", "pressure: 1 bar"),), "brake_1", "brake", False,
    ),
    "bladders too small": (ONE, (("area: 300 cm2", "area: 3 cm2"),), "brake_1", "brake", False),
    "a pressure switch set too high": (
        ONE, (("set: 4.5 bar", "set: 5.6 bar"),), "charged", "instrument", False,
    ),
    "the first of two valves turned round": (SERIES, SERIES_A, "valve_a", "escape", True),
    "the second of two valves turned round": (SERIES, SERIES_B, "valve_b", "trapped", True),
    "a valve behind a store turned round": ("yard", HOLD_12, "hold_valve", "escape", True),
    "zone and exhaust of a quick exhaust swapped": (
        "yard", QUICK_23, "hold_quick", "escape", False,
    ),
    "a regulator the wrong way round": ("yard", REGULATOR, "trim_regulator", "escape", True),
    "a regulator set far too low": (
        "yard", (("set_pressure: 5 bar", "set_pressure: 0.6 bar"),), "trim_brake", "brake", False,
    ),
    "the other outlet of a 5/2 valve": (
        "yard", (("trim_valve.4 -> trim_block.1", "trim_valve.2 -> trim_block.1"),
                 ("trim_valve.2 -> plug", "trim_valve.4 -> plug")),
        "trim_valve", "fed", False,
    ),
    "outputs of two zones swapped": (
        "yard", (("outputs: {trim_valve.14: charge}", "outputs: {hold_valve.14: charge}"),
                 ("outputs: {hold_valve.14: charge},\n    pressure_switches: [hold",
                  "outputs: {trim_valve.14: charge},\n    pressure_switches: [hold")),
        "trim_valve", "fed", False,
    ),
    "a pipe far too narrow": (
        "yard", (("length: 12 m, bore: 20 mm", "length: 12 m, bore: 1 mm"),),
        "main", "blocked", False,
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", list(WRONG))
def test_the_first_part_that_is_wrong_is_named_with_its_line(what: str) -> None:
    circuit, changes, part, link, backwards = WRONG[what]
    causes = [each.cause for each in found(circuit, changes)]
    assert causes, "it goes wrong without any fault"
    named = [cause for cause in causes if cause is not None and cause.component == part]
    assert named, causes
    assert (named[0].link, named[0].backwards) == (link, backwards)
    document = yard(*changes) if circuit == "yard" else changed(circuit, *changes)
    assert document.lines is not None and named[0].line == document.lines[part] > 0
    # nothing else is blamed, also for what follows
    assert {cause.component for cause in causes if cause is not None} == {part} or "outputs" in what


@pytest.mark.parametrize("circuit", [*SMALL, "yard"])
def test_nothing_is_said_of_a_sound_circuit(circuit: str) -> None:
    made = yard() if circuit == "yard" else shipped(circuit)
    assert Campaign(made).unsound() == ()


def test_it_comes_before_every_verdict() -> None:
    campaign = Campaign(changed(ONE, *VALVE_12))
    campaign.select(faults=False)
    (first,) = campaign.unsound()
    assert (first.zone, first.what, first.commanded) == ("block", "unsafe", "closed")
    assert unsound_words(first) == (
        "block: unsafe: its safe state is not reached or not kept, seen at 23.500 s, "
        "commanded closed"
    )
    words = cause_words(first.cause)
    assert words.startswith(
        "First cause: valve (line 20): trapped pressure: 5.49 bar of the zone stay upstream"
    )
    assert "check whether its ports are swapped" in words


# a run


def run(circuit: Circuit, *steps: tuple[float, str], until: float) -> tuple[Unsound, ...]:
    """What `pneumo run` says first."""
    events = [
        Event(time, parse_action(text, circuit.components, circuit.zones, {}, time))
        for time, text in steps
    ]
    play = Play(compile_circuit(circuit))
    play.schedule(events)
    play.advance(until)
    return unsound(circuit, events, play.plant.log.events, (), missed(play))


def test_a_run_without_any_fault_names_the_part() -> None:
    (one,) = run(changed(ONE, *VALVE_12), (1.0, "open all"), (5.0, "close all"), until=12.0)
    assert (one.zone, one.what, one.alarm) == ("block", "alarm", "vent time exceeded")
    assert one.time == pytest.approx(8.0) and one.commanded == "closed"
    assert one.cause is not None and one.cause.component == "valve"


def test_a_limit_shorter_than_the_movement_is_said_with_the_time_it_takes() -> None:
    """No part is to blame for it, so the sentence does not claim one."""
    short = changed(
        ONE, ("safe_state: closed\n", "safe_state: closed\n    limits: {vent: 60 ms}\n")
    )
    steps = ((1.0, "open all"), (5.0, "close all"))
    (one,) = run(short, *steps, until=12.0)
    assert (one.what, one.alarm, one.allowed) == ("alarm", "vent time exceeded", 0.06)
    assert one.needed is not None and one.needed == pytest.approx(vented_after(steps))
    words = why_words(one)
    assert words.startswith(f"It takes {one.needed:.3f} s from the command (limit 0.060 s)")
    assert "First cause" not in words and "At the limit: silencer (line 21)" in words


def vented_after(steps: tuple[tuple[float, str], ...]) -> float:
    """When the pressure switch of the sound circuit lets go [s]; it closes on the last command."""
    circuit = shipped(ONE)
    play = Play(compile_circuit(circuit))
    play.schedule(
        [Event(t, parse_action(s, circuit.components, circuit.zones, {}, t)) for t, s in steps]
    )
    play.advance(12.0)
    off = [
        event.time
        for event in play.plant.log.events
        if event.subject == "charged" and event.what == ContactRead(False)
        for event in play.plant.log.events
        if event.subject == "charged" and event.what == ContactRead(False)
    ]
    return off[-1] - steps[-1][0]


def test_a_limit_that_is_over_while_nothing_moves_names_the_part() -> None:
    (one,) = run(changed(ONE, *VALVE_12), (1.0, "open all"), (5.0, "close all"), until=12.0)
    assert (one.allowed, one.needed) == (3.0, None)
    assert why_words(one) == cause_words(one.cause)


def test_what_is_late_is_said_with_the_time_it_takes() -> None:
    campaign = Campaign(changed(ONE, ("within: 1.5 s", "within: 80 ms")))
    campaign.select(faults=False)
    (late,) = campaign.unsound()
    assert (late.what, late.allowed) == ("late", 0.08)
    assert late.needed is not None and 0.1 < late.needed < 0.5
    assert "First cause" not in why_words(late)


def test_low_supply_is_traced_to_the_part_that_loses_the_air() -> None:
    losing = yard(*HOLD_12)
    said = run(losing, (1.0, "open all"), (60.0, "close all"), until=100.0)
    assert {each.alarm for each in said} & {"low supply", "low ride supply"}
    assert {each.cause and each.cause.component for each in said} == {"hold_valve"}


def test_what_follows_a_disturbance_is_no_defect_of_the_circuit() -> None:
    sound = shipped(ONE)
    fault = ((1.0, "open all"), (3.0, "fault valve stuck-actuated"), (4.0, "close all"))
    assert run(sound, *fault, until=12.0) == ()
    cut = ((0.5, "switch off supply"), (1.0, "open all"))
    assert run(sound, *cut, until=12.0) == ()
    swapped_and_cut = ((1.0, "open all"), (5.0, "close all"), (9.0, "power off"))
    assert run(changed(ONE, *VALVE_12), *swapped_and_cut, until=12.0) != ()


@pytest.mark.parametrize(
    ("actions", "expected"),
    [
        ([], float("inf")),
        ([Command("all", "open"), RideStop()], float("inf")),
        ([Command("all", "open"), Inject(FaultSpec("valve", "stuck"))], 1.0),
        ([Switch("supply", True), Power(True), Turn("main", True)], float("inf")),
        ([Switch("supply", False)], 0.0),
        ([Power(True), Power(False), Turn("main", False)], 1.0),
    ],
)
def test_what_disturbs(actions: list[object], expected: float) -> None:
    events = [Event(float(i), action) for i, action in enumerate(actions)]  # type: ignore[arg-type]
    assert undisturbed_until(events) == expected


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (Turn("main", False), Turn("main", True)),
        (Switch("supply", False), Switch("supply", True)),
        (Power(False), Power(True)),
        (HandOverride("valve", "14", True), HandOverride("valve", "14", False)),
        (Drain("tank", True), Drain("tank", False)),
        (Block("brake", True), Repair("replace", "valve")),
        (Swap("v.14", "w.14"), Block("brake", False)),
        (Fin("block", False), Fin("block", True)),
    ],
)
def test_what_is_taken_away_disturbs_and_what_is_given_back_does_not(
    one: Action, other: Action
) -> None:
    assert undisturbed_until([Event(3.0, one)]) == 3.0
    assert undisturbed_until([Event(3.0, other)]) == float("inf")


def judged(verdict: str, *, decided: bool = True) -> Outcome:
    """A verdict on the only zone of circuit 02, commanded at 5 s; its limit ends at 6.5 s."""
    made = not_calculated("block", "open", "closed", 5.0, 1.5, "")
    return replace(made, verdict=verdict, decided=decided)  # type: ignore[arg-type]


STRUCK = Event(6.0, Inject(FaultSpec("valve", "stuck")))


@pytest.mark.parametrize(
    ("outcome", "events", "expected"),
    [
        (judged("late"), (), [("block", "late", 6.5)]),
        (judged("unsafe"), (), [("block", "unsafe", 6.5)]),
        (judged("safe"), (), []),
        (judged("not calculated"), (), []),
        (judged("unsafe", decided=False), (), []),
        (judged("unsafe"), (STRUCK,), []),
        (judged("unsafe"), (replace(STRUCK, time=7.0),), [("block", "unsafe", 6.5)]),
    ],
)
def test_a_verdict_is_told_when_it_is_certain_before_anything_disturbed(
    outcome: Outcome, events: tuple[Event, ...], expected: list[tuple[str, str, float]]
) -> None:
    found = unsound(shipped(ONE), events, (), [outcome])
    assert [(each.zone, each.what, each.time) for each in found] == expected


LOW = RunEvent(3.0, "", AlarmRaised("low ride supply", True, ()))


@pytest.mark.parametrize(
    ("happened", "missed_at", "events", "expected"),
    [
        ((), (4.0,), (), [("block", "not reached", 4.0)]),
        ((), (4.0, 2.0), (), [("block", "not reached", 2.0)]),
        ((), (6.5,), (STRUCK,), []),
        # an alarm of the ride stops its zones: what was missed before has a cause of its own
        ((LOW,), (4.0,), (), [("", "alarm", 3.0)]),
        ((LOW,), (2.0,), (), [("block", "not reached", 2.0), ("", "alarm", 3.0)]),
        # an alarm of a zone stops no other
        ((RunEvent(3.0, "other", AlarmRaised("x", True, ())),), (4.0,), (),
         [("other", "alarm", 3.0), ("block", "not reached", 4.0)]),
    ],
)  # fmt: skip
def test_of_each_zone_and_of_the_ride_the_first_thing_is_told(
    monkeypatch: pytest.MonkeyPatch,
    happened: tuple[RunEvent, ...],
    missed_at: tuple[float, ...],
    events: tuple[Event, ...],
    expected: list[tuple[str, str, float]],
) -> None:
    monkeypatch.setattr("pneumo.verification.unsound._explained", lambda *_: ("", None))
    found = unsound(shipped(ONE), events, happened, (), [("block", time) for time in missed_at])
    assert [(each.zone, each.what, each.time) for each in found] == expected


def test_air_that_is_lost_is_told_unless_something_was_opened_before() -> None:
    assert [each.what for each in unsound(shipped(ONE), (), (), (), (), [5.0])] == ["air lost"]
    assert unsound(shipped(ONE), (STRUCK,), (), (), (), [7.0]) == ()


def test_what_cannot_be_calculated_once_more_is_told_without_its_cause(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def stops(*_: object) -> None:
        raise SimulationError("No step is short enough.")

    monkeypatch.setattr(Play, "advance", stops)
    (found,) = unsound(shipped(ONE), (), (), [judged("late")])
    assert (found.what, found.commanded, found.cause) == ("late", "", None)


def test_a_zone_on_its_way_is_not_missed() -> None:
    play = Play(compile_circuit(shipped(ONE)))
    play.schedule([Event(0.0, Command("all", "open")), Event(3.0, Command("all", "close"))])
    passed = set()
    while play.now < 6.0:
        play.advance(play.now + 0.05)
        passed.add(play.actors.controller.logic.zones["block"].state)
        assert missed(play) == ()
    assert passed >= {"opening", "open", "closing", "closed"}


def test_a_blind_zone_whose_jaws_do_not_follow_is_found() -> None:
    # without jaw switches the logic takes the zone for open by its timer
    weak = changed(
        ONE,
        ("area: 300 cm2", "area: 3 cm2"),
        ('  open_{1..2}: {kind: jaw_switch, of: "brake_{1..2}", reads: open}\n', ""),
        ('  closed_{1..2}: {kind: jaw_switch, of: "brake_{1..2}", reads: closed}\n', ""),
    )
    said = run(weak, (1.0, "open all"), until=12.0)
    assert [(each.zone, each.what) for each in said] == [("block", "not reached")]
    assert said[0].cause is not None and said[0].cause.link == "brake"


def test_jaws_have_a_second_to_follow_what_the_logic_takes_for_so() -> None:
    weak = changed(
        ONE,
        ("area: 300 cm2", "area: 3 cm2"),
        ('  open_{1..2}: {kind: jaw_switch, of: "brake_{1..2}", reads: open}\n', ""),
        ('  closed_{1..2}: {kind: jaw_switch, of: "brake_{1..2}", reads: closed}\n', ""),
    )
    play = Play(compile_circuit(weak))
    play.schedule([Event(0.0, Command("all", "open"))])
    zone = play.actors.controller.logic.zones["block"]
    while zone.state != "open":
        play.advance(play.now + 0.05)
    for after, expected in ((SEEN - 0.1, 0), (SEEN + 0.1, 1)):
        play.advance(zone.since + after)
        assert missed(play) == (("block", play.now),) * expected


@pytest.mark.parametrize(
    ("name", "clearance", "travel", "closed", "open_"),
    [
        (ONE, None, 1e-5, True, False),
        (ONE, None, 0.0, False, False),
        (ONE, None, -0.5e-4, False, False),
        (ONE, None, -2e-4, False, True),
        # what is required has to be there, not only some gap
        (OPEN, 1.5e-3, -1.4e-3, False, False),
        (OPEN, 1.5e-3, -1.5e-3, False, True),
    ],
)
def test_jaws_are_closed_when_they_touch_and_open_when_they_are_as_clear_as_required(
    name: str, clearance: float | None, travel: float, closed: bool, open_: bool
) -> None:
    circuit = shipped(name)
    (zone,) = circuit.zones.values()
    required = zone.requirement.model_copy(update={"clearance": clearance})
    zones = {zone.name: zone.model_copy(update={"requirement": required})}
    play = Play(compile_circuit(replace(circuit, zones=zones)))
    brake = play.compiled.brakes[zone.name][0]
    row, y = play.plant.network.mover[brake.mover], play.plant.state().copy()
    y[row["x"]] = row["high"] + travel
    plant = SimpleNamespace(network=play.plant.network, state=lambda: y)
    here: Any = SimpleNamespace(compiled=play.compiled, plant=plant)
    assert jaws_there(here, zone.name, brake, "closed") is closed
    assert jaws_there(here, zone.name, brake, "open") is open_


def test_words_name_every_link() -> None:
    (one,) = found(ONE, VALVE_12)
    assert one.cause is not None
    for link in ("source", "escape", "blocked", "fed", "trapped", "brake", "instrument"):
        words = cause_words(replace(one.cause, link=link, line=0))  # type: ignore[arg-type]
        assert words.startswith("First cause: valve: ")
    assert "No single part" in cause_words(None)
    other = cause_words(replace(one.cause, commanded_by="trim"))
    assert other.endswith("It is an output of zone trim.")
