"""Event sentences and fault texts."""

from __future__ import annotations

import difflib
from typing import get_args

import pytest
from circuit_sample import SAMPLE, load_sample
from hypothesis import assume, given
from hypothesis import strategies as st

from pneumo.circuit.action import (
    Acknowledge,
    Action,
    Block,
    Clear,
    Command,
    Drain,
    FaultSpec,
    Fin,
    ForceInput,
    ForceOutput,
    HandOverride,
    Inject,
    Repair,
    RepairKind,
    Reset,
    RideStop,
    Swap,
    Switch,
    Turn,
    Unforce,
)
from pneumo.circuit.circuit import Downtime, GateGroup
from pneumo.circuit.sentence import (
    SHORTEST_PERIOD,
    SentenceError,
    parse_action,
    parse_fault,
    touched,
)
from pneumo.circuit.spelling import near
from pneumo.circuit.verbs import VERBS, work_of
from pneumo.components import KINDS

CIRCUIT = load_sample()
C = {"C": 1e-7, "b": 0.3}
MORE = {
    "hand_valve": {"kind": "shut_off", **C},
    "bowl": {"kind": "filter", **C},
    "soft": {"kind": "soft_start", **C, "slow_C": 1e-8, "dump_C": 1e-7},
    "gate_valve": {"kind": "valve_5_3", **C},
    "unwatched": {"kind": "transmitter"},
    "mains": {"kind": "electrical_feed", "voltage": "230 V"},
    "big_valve": {"kind": "valve_3_2", **C, "feed": "mains"},
}
COMPONENTS = CIRCUIT.components | {
    name: KINDS[entry["kind"]].model_validate(entry)  # type: ignore[index]
    for name, entry in MORE.items()
}
ZONES = {**CIRCUIT.zones, "trim": CIRCUIT.zones["final"].model_copy(update={"outputs": {}})}
GATES = {"gates": GateGroup(name="gates", outputs={"gate_valve.14": "open"})}


def act(text: str) -> object:
    return parse_action(text, COMPONENTS, ZONES, GATES, at=5.0)


@pytest.mark.parametrize(
    ("text", "action"),
    [
        ("open final", Command("final", "open")),
        ("close gates", Command("gates", "close")),
        ("close all", Command("all", "close")),
        ("ride stop", RideStop()),
        ("acknowledge trim", Acknowledge("trim")),
        ("reset all", Reset("all")),
        ("switch off compressor", Switch("compressor", on=False)),
        ("switch on feed", Switch("feed", on=True)),
        ("isolate hand_valve", Turn("hand_valve", in_service=False)),
        ("restore hand_valve", Turn("hand_valve", in_service=True)),
        ("fin final absent", Fin("final", present=False)),
        ("fault hose_1 leak 3 mm", Inject(FaultSpec("hose_1", "leak", 0.003, "mm", at=5.0))),
        ("fault compressor stopped", Inject(FaultSpec("compressor", "stopped", at=5.0))),
        ("clear hose_1 leak", Clear("hose_1", "leak")),
        ("force made on", ForceInput("made", on=True)),
        ("force closed_2 off", ForceInput("closed_2", on=False)),
        ("force pressure on", ForceInput("pressure", on=True)),
        ("force valve.14 on", ForceOutput("valve", "14", on=True)),
        ("force gate_valve.14 off", ForceOutput("gate_valve", "14", on=False)),
        ("unforce pressure", Unforce("pressure")),
        ("unforce valve.14", Unforce("valve.14")),
        ("unforce all", Unforce("all")),
        ("override gate_valve.12", HandOverride("gate_valve", "12", held=True)),
        ("override soft.14", HandOverride("soft", "14", held=True)),
        ("release valve.14", HandOverride("valve", "14", held=False)),
        ("drain receiver open", Drain("receiver", open=True)),
        ("drain bowl closed", Drain("bowl", open=False)),
        ("replace hose_1", Repair("replace", "hose_1")),
        ("replace gate_valve", Repair("replace", "gate_valve")),
        ("replace gate_valve.12", Repair("replace", "gate_valve", "12")),
        ("clean bowl", Repair("clean", "bowl")),
        ("refit receiver", Repair("refit", "receiver")),
        ("adjust made", Repair("adjust", "made")),
        ("free hand_valve", Repair("free", "hand_valve")),
        ("reline brake_1", Repair("reline", "brake_1")),
        ("reconnect valve.14", Repair("reconnect", "valve", "14")),
        ("reconnect made", Repair("reconnect", "made")),
        ("reconnect feed", Repair("reconnect", "feed")),
        ("block brake_1", Block("brake_1", blocked=True)),
        ("unblock final", Block("final", blocked=False)),
        ("swap valve.14 gate_valve.12", Swap("valve.14", "gate_valve.12")),
    ],
)
def test_every_sentence_and_back(text: str, action: object) -> None:
    assert act(text) == action
    assert act("  " + text.replace(" ", "   ")) == action
    assert getattr(action, "text") == text  # noqa: B009


@pytest.mark.parametrize(
    ("text", "found", "wanted"),
    [
        ("", "empty", "close ZONE"),
        ("shut final", "not a verb", "Use one of open"),
        ("clos final", "not a verb", "'close'"),
        ("close", "full sentence", "close ZONE"),
        ("close final now", "full sentence", "close ZONE"),
        ("close finall", "no zone", "'final'"),
        ("acknowledge gates", "no zone", "final"),
        ("ride go", "full sentence", "ride stop"),
        ("switch compressor", "full sentence", "switch on NAME"),
        ("switch up compressor", "full sentence", "switch on NAME"),
        ("switch off valve", "valve_3_2", "compressor"),
        ("switch off compresor", "no component", "'compressor'"),
        ("isolate receiver", "receiver", "hand_valve"),
        ("fin final gone", "'gone'", "present or absent"),
        ("fault hose_1", "not a fault", "Write a component"),
        ("fault hose_9 leak", "no component", "'hose_"),
        ("fault hose_1 leek", "not a fault mode", "'leak'"),
        ("fault hose_1 leak 900 mm", "out of range", "to 25 mm"),
        ("fault hose_1 leak 2", "no unit", "to 25 mm"),
        ("fault hose_1 burst 2 mm", "no severity", "Leave it out"),
        ("fault hose_1 leak at 3 s", "'at'", "at 5 s: fault"),
        ("fault hose_1 leak over 0 s", "After over", "from 0.0001 ms"),
        ("fault hose_1 leak over 1 s over 2 s", "twice", "once"),
        ("fault hose_1 leak over 1 s every 3 s for 1 s", "both over and every", "one of the two"),
        ("fault hose_1 leak every 3 s", "go together", "every 10 s for 2 s"),
        ("fault hose_1 leak every 0.9 ms for 0.1 ms", "every 0.0009 s", "0.001 s or more"),
        ("fault hose_1 leak every 3 s for 3 s", "longer than its period", "shorter"),
        ("clear hose_1 leek", "not a fault mode", "'leak'"),
        ("force made", "full sentence", "'force SWITCH on' or 'force VALVE.14 off'"),
        ("force made open", "'open' is not a state of an input", "on or off"),
        ("force valve.14 made", "'made' is not a state of an output", "on or off"),
        ("force maed on", "no input or output 'maed'", "'made'"),
        ("force valve.41 on", "no input or output 'valve.41'", "'valve.14'"),
        ("force valve on", "valve is a valve_3_2", "'valve.14'"),
        ("force receiver on", "receiver is a receiver", "main_low, pressure, made"),
        ("force unwatched on", "no zone watches", "pressure"),
        ("force gate_valve.12 on", "output of no zone", "gate_valve.14"),
        ("unforce", "full sentence", "unforce NAME"),
        ("unforce made on", "full sentence", "unforce NAME"),
        ("unforce soft.14", "output of no zone", "valve.14"),
        ("override", "full sentence", "override VALVE.14"),
        ("override valve", "no coil 'valve'", "'valve.14'"),
        ("override gate_valve.13", "no coil", "'gate_valve.14' or 'gate_valve.12'"),
        ("override vlave.14", "no coil", "'valve.14'"),
        ("override receiver", "receiver is a receiver", "valve.14"),
        ("release hand_valve.14", "hand_valve is a shut_off", "valve.14"),
        ("drain receiver", "full sentence", "drain NAME open"),
        ("drain receiver half", "'half' is not a state of a drain", "open or closed"),
        ("drain tee open", "tee is a manifold", "receiver"),
        ("drain reciever open", "no component", "'receiver'"),
        ("replace", "full sentence", "'replace NAME' or 'replace VALVE.14'"),
        ("replace hsoe_1", "no component 'hsoe_1'", "'hose_1'"),
        ("replace valve.15", "no 'valve.15' to replace", "'valve' or 'valve.14'"),
        ("replace hose_1.2", "no 'hose_1.2' to replace", "'hose_1'"),
        ("clean valve.14", "no 'valve.14' to clean", "'valve'"),
        ("reline hose_1", "hose_1 is a hose: no fault of it is ended by reline", "brake_1"),
        ("refit feed", "feed is a electrical_feed: no fault", "refit acts on"),
        ("reconnect valve", "valve has coils", "'valve.14'"),
        ("reconnect gate_valve", "gate_valve has coils", "'gate_valve.14' or 'gate_valve.12'"),
        ("adjust valve.", "no fault of it is ended by adjust", "made"),
        ("reconnect valve.", "no 'valve.' to reconnect", "'valve.14'"),
        ("free .14", "no component '.14'", "free acts on"),
        ("block hose_1", "hose_1 is a hose", "brake_1"),
        ("block brake_11", "no brake or zone 'brake_11'", "'brake_1'"),
        ("block all", "no brake or zone 'all'", "a zone"),
        ("unblock", "full sentence", "unblock BRAKE"),
        ("swap valve.14", "full sentence", "swap VALVE_A.14 VALVE_B.14"),
        ("swap valve.14 valve.14", "valve.14 is named twice", "two coils"),
        (
            "swap valve.14 big_valve.14",
            "valve.14 is a coil for 24 V, big_valve.14 one for 230 V",
            "of one voltage",
        ),
        ("swap valve.14 gate_valve", "no coil 'gate_valve'", "'gate_valve.14'"),
        ("swap receiver valve.14", "receiver is a receiver", "swap acts on coils"),
    ],
)
def test_sentences_that_are_refused(text: str, found: str, wanted: str) -> None:
    with pytest.raises(SentenceError) as caught:
        act(text)
    assert found in caught.value.found
    assert wanted in caught.value.wanted


@pytest.mark.parametrize(
    ("text", "components"),
    [
        ("fault hose_1 leak 3 mm", ("hose_1",)),
        ("drain bowl open", ("bowl",)),
        ("override valve.14", ("valve",)),
        ("replace hose_1", ("hose_1",)),
        ("reconnect closed_1", ("closed_1",)),
        ("block brake_1", ("brake_1",)),
        ("unblock brake_1", ("brake_1",)),
        ("swap valve.14 gate_valve.14", ("valve", "gate_valve")),
        ("force closed_1 on", ()),
        ("unforce all", ()),
        ("ride stop", ()),
    ],
)
def test_what_must_be_compiled_apart(text: str, components: tuple[str, ...]) -> None:
    assert touched(act(text)) == components  # type: ignore[arg-type]


def test_all_work_has_its_time() -> None:
    """What a technician or an operator does costs a time of the table; a trainer's acts do not."""
    for row in VERBS.values():
        assert (row.work == "") == (row.by == "trainer"), row.word
        assert {row.work, row.work_at_coil} - {""} <= Downtime.model_fields.keys(), row.word
    for text, work in (
        ("replace valve", "replace"),
        ("replace valve.14", "replace_coil"),
        ("reconnect valve.14", "reconnect"),
        ("unblock brake_1", "block"),
        ("drain bowl shut", "turn"),
        ("ride stop", "command"),
        ("clear hose_1 leak", ""),
    ):
        assert work_of(act(text)) == work


def every_repair() -> list[Action]:
    """Every repair of every component, and of every coil."""
    found: list[Action] = []
    for how in get_args(RepairKind):
        for name, component in COMPONENTS.items():
            found += [Repair(how, name, side) for side in component.repaired_at(how)]
    return found


def test_every_repair_that_fits_can_be_said_and_no_other() -> None:
    able = every_repair()
    assert len(able) > 50
    for action in able:
        assert act(action.text) == action
    for how in get_args(RepairKind):
        for name, component in COMPONENTS.items():
            for side in ("", *component.coils()):
                if (action := Repair(how, name, side)) not in able:
                    with pytest.raises(SentenceError):
                        act(action.text)


def test_a_scenario_may_hold_every_new_sentence() -> None:
    sentences = ("force made off", "force valve.14 on", "unforce all", "override valve.14",
                 "release valve.14", "drain receiver open", "drain receiver closed",
                 "replace valve.14", "refit hose_1", "block final", "unblock brake_1")  # fmt: skip
    events = "".join(f"      - at 2 s: {sentence}\n" for sentence in sentences)
    circuit = load_sample(SAMPLE + events)
    said = [event.action.text for event in circuit.scenarios["leak at noon"].events]
    assert said[1:-2] == list(sentences)


def test_a_fault_says_when_and_in_what_shape() -> None:
    fault = parse_fault("hose_1 leak 2 mm at 4 s over 1 min", COMPONENTS)
    assert (fault.at, fault.over, fault.severity) == (4.0, 60.0, 0.002)
    assert fault.text == "hose_1 leak 2 mm at 4 s over 60 s"
    again = parse_fault("hose_1 leak every 10 s for 2 s", COMPONENTS, at=7.0)
    assert (again.at, again.every, again.on_for) == (7.0, 10.0, 2.0)


def test_a_fault_without_severity_takes_the_default_of_its_mode() -> None:
    modes = {mode.name: mode for mode in COMPONENTS["hose_1"].fault_modes()}
    scale = modes["leak"].severity
    assert scale is not None
    assert parse_fault("hose_1 leak", COMPONENTS).severity == scale.default


FAULTS = [
    (name, mode) for name, component in COMPONENTS.items() for mode in component.fault_modes()
]
TIMES = st.none() | st.floats(min_value=1e-6, max_value=1e5)
PERIODS = st.none() | st.floats(min_value=SHORTEST_PERIOD, max_value=1e5)


@given(st.sampled_from(FAULTS), st.floats(0.0, 1.0), st.floats(0.0, 1e5), TIMES, PERIODS)
def test_every_fault_of_every_component_round_trips(
    fault: tuple[str, object], grade: float, at: float, over: float | None, every: float | None
) -> None:
    name, mode = fault
    scale = mode.severity  # type: ignore[attr-defined]
    spec = FaultSpec(
        component=name,
        mode=mode.name,  # type: ignore[attr-defined]
        severity=scale.low + grade * (scale.high - scale.low) if scale else None,
        unit=scale.unit if scale else "",
        at=at,
        over=over if every is None else None,
        every=every,
        on_for=every / 2.0 if every else None,
    )
    assert parse_fault(spec.text, COMPONENTS) == spec


@given(
    st.lists(
        st.sampled_from(
            [
                "fault",
                "hose_1",
                "leak",
                "2",
                "mm",
                "at",
                "over",
                "every",
                "for",
                "1 s",
                "-1 s",
                "nan",
                "switch",
                "force",
                "valve.14",
                "on",
                "all",
                "é",
            ]
        )
    )
)
def test_any_words_give_an_action_or_a_sentence(words: list[str]) -> None:
    try:
        act(" ".join(words))
    except SentenceError as error:
        assert error.found and error.wanted


NAMES = [
    f"zone_{i}_{what}" for i in range(12) for what in ("hose_1", "hose_12", "valve", "brake_2")
]


@given(st.sampled_from(NAMES) | st.text("zone_1hs", max_size=12), st.data())
def test_the_word_that_was_meant_is_the_one_that_difflib_finds(
    name: str, data: st.DataObject
) -> None:
    at = data.draw(st.integers(0, len(name)))
    word = name[:at] + data.draw(st.text("zone_12x", max_size=2)) + name[at + 1 :]
    # the end of a name is another matter: see test_spelling.py
    assume(not word or not any(known.endswith(f"_{word}") for known in NAMES))
    found = difflib.get_close_matches(word, sorted(NAMES), n=1, cutoff=0.72)
    assert near(word, NAMES, "none") == (f"Did you mean '{found[0]}'?" if found else "none")
