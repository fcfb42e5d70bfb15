"""Tests of events: typed records, their sentences, and nobody who reads one back."""

import ast
import json
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any, get_args

import pytest

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
    Power,
    Repair,
    Reset,
    RideStop,
    Swap,
    Switch,
    Turn,
    Unforce,
)
from pneumo.packing import PackingError, pack, unpack
from pneumo.scenario.event import (
    EVENT_KINDS,
    Commanded,
    ContactRead,
    FaultCleared,
    FaultInjected,
    FaultPaused,
    Happening,
    Noted,
    RunEvent,
    SpoolArrived,
    SupplyChanged,
    Unlisted,
    alarms_raised,
    as_data,
)
from pneumo.scenario.telling import told
from pneumo.zone.alarm import AlarmState
from pneumo.zone.event import (
    AlarmChanged,
    AlarmRaised,
    Refused,
    RideStopped,
    RideStopReset,
    StateEntered,
)
from pneumo.zone.evidence import Clue, Obstacle

ROOT = Path(__file__).parents[2]

LEAK = FaultSpec("hose_1", "leak", 0.002, "mm", over=10.0)

LOW = Clue("supply switch", "s", False)

SENTENCES: list[tuple[Happening, str]] = [
    (Commanded(RideStop()), "ride stop"),
    (StateEntered("open", "closing"), "open -> closing"),
    (AlarmRaised("vent time exceeded", True, (Clue("pressure switch", "p", True),)),
     "first out: vent time exceeded: pressure switch p is ON"),
    (AlarmRaised("low ride supply", False, (LOW, LOW._replace(name="t"))),
     "low ride supply: supply switch s is OFF, supply switch t is OFF"),
    (AlarmChanged("low supply", AlarmState.ACKNOWLEDGED), "low supply: acknowledged"),
    (Refused("open", "zone faulted", ("close time exceeded",)),
     "open refused: the zone is faulted (close time exceeded); acknowledge and reset it first"),
    (Refused("reset", "zones faulted", ("trim", "block"), of_ride_stop=True),
     "reset of the ride stop refused: still faulted: trim, block"),
    (Refused("reset", "blocked", (), (Obstacle("low supply", True, (LOW,)),
                                      Obstacle("low ride supply", True, ()))),
     "reset refused: still active: low supply (supply switch s is OFF); low ride supply"),
    (Refused("reset", "blocked", (), (Obstacle("low supply", False, ()),
                                      Obstacle("low supply", True, (LOW,)))),
     "reset refused: acknowledge first: low supply"),
    (RideStopped("command"), "ride stop: command; every zone to its safe state"),
    (RideStopReset(), "ride stop reset; the zones accept commands again"),
    (ContactRead(True), "ON"),
    (SpoolArrived(1.0), "in actuated position"),
    (SpoolArrived(0.0), "at rest"),
    (SpoolArrived(-1.0), "in actuated position (12)"),
    (SpoolArrived(0.5), "at 0.5 of its travel"),
    (SupplyChanged(False), "not delivering"),
    (FaultInjected(LEAK), "fault: leak 2 mm over 10 s"),
    (FaultPaused("leak"), "leak absent until it repeats"),
    (FaultCleared("leak"), "leak cleared"),
    (Unlisted("contact", 100), "100 changes within 1 s; further changes are not listed"),
    (Noted("alarm", "as it was told"), "as it was told"),
]  # fmt: skip


def test_every_event_has_its_sentence() -> None:
    assert {type(what) for what, _ in SENTENCES} == set(get_args(Happening))
    assert [told(what) for what, _ in SENTENCES] == [sentence for _, sentence in SENTENCES]
    assert {what.kind for what, _ in SENTENCES} <= set(EVENT_KINDS)


ACTIONS: list[Action] = [
    Command("all", "open"), RideStop(), Acknowledge("trim"), Reset("all"), Switch("main", False),
    Power(True), Turn("v", False), Fin("trim", True), Inject(LEAK), Clear("hose_1", "leak"),
    ForceInput("s", True), ForceOutput("v", "14", False), Unforce("all"),
    HandOverride("v", "14", True), Drain("tank", True),
    Repair("replace", "v", "14"), Block("trim", True), Swap("v.14", "w.12"),
]  # fmt: skip


def test_events_come_back_from_plain_data_as_they_were() -> None:
    assert {type(action) for action in ACTIONS} == set(get_args(Action))
    whats = [what for what, _ in SENTENCES] + [Commanded(action) for action in ACTIONS]
    events = tuple(RunEvent(0.1 * i, "trim", what) for i, what in enumerate(whats))
    sent = json.loads(json.dumps(pack(events)))
    assert unpack(tuple[RunEvent, ...], sent) == events


@pytest.mark.parametrize(
    "what",
    [
        ["StateEntered", ["open", "half open"]],
        ["StateEntered", ["open"]],
        ["Exec", []],
        ["Commanded", [["Path", ["/etc"]]]],
        ["Commanded", [["Repair", ["paint", "v", ""]]]],
        ["AlarmChanged", ["low supply", "cheerful"]],
        ["Noted", ["state", "a\x1b]0;title\x07"]],
        ["ContactRead", [1]],
        "StateEntered",
        [],
        None,
    ],
)
def test_what_is_no_event_is_refused(what: Any) -> None:
    with pytest.raises(PackingError):
        unpack(RunEvent, [1.0, "trim", what])


def test_other_programs_get_every_field() -> None:
    for what, _ in SENTENCES:
        data = as_data(what)
        assert data["event"] and data["event"] == data["event"].lower()
        if not isinstance(what, Commanded):
            assert {field.name for field in fields(what)} <= data.keys()
    assert as_data(StateEntered("open", "closing")) == {
        "event": "state entered", "left": "open", "entered": "closing",
    }  # fmt: skip
    assert as_data(Commanded(Command("trim", "close"))) == {
        "event": "commanded", "does": "command", "target": "trim", "to": "close",
    }  # fmt: skip
    assert as_data(FaultInjected(LEAK))["fault"] == asdict(LEAK)
    json.dumps([as_data(what) for what, _ in SENTENCES])


def test_only_raised_alarms_count_as_raised() -> None:
    events = [RunEvent(float(i), "trim", what) for i, (what, _) in enumerate(SENTENCES)]
    assert list(alarms_raised(events)) == [
        (2.0, "trim", "vent time exceeded"), (3.0, "trim", "low ride supply"),
    ]  # fmt: skip


READS = {
    "startswith", "endswith", "partition", "rpartition", "split", "rsplit", "splitlines",
    "removeprefix", "removesuffix", "find", "index", "count",
}  # fmt: skip
"""Methods with which a program takes a sentence apart."""


WORDS = {"told", "case_words", "injection_words", "loss_words", "state_words"}
"""Functions that make the sentence of an event, and the name of a case and of its parts."""


def read_back(tree: ast.AST) -> list[int]:
    """Lines on which such words are compared or taken apart."""
    found = []
    for function in ast.walk(tree):
        if not isinstance(function, ast.FunctionDef | ast.AsyncFunctionDef | ast.Module):
            continue
        names: set[str] = set()

        def tells(node: ast.AST, names: set[str] = names) -> bool:
            match node:
                case ast.Call(ast.Name(name)) if name in WORDS:
                    return True
                case ast.Name(name):
                    return name in names
                case ast.BinOp(left, _, right):
                    return tells(left) or tells(right)
            return False

        for node in ast.walk(function):
            match node:
                case ast.Assign([ast.Name(name)], value) if tells(value):
                    names.add(name)
                case ast.Compare(left, _, others) if any(map(tells, (left, *others))):
                    found.append(node.lineno)
                case ast.Call(ast.Attribute(of, name)) if name in READS and tells(of):
                    found.append(node.lineno)
                case ast.Call(ast.Attribute(ast.Name("re")), arguments) if any(
                    map(tells, arguments)
                ):
                    found.append(node.lineno)
    return found


@pytest.mark.parametrize(
    "bad",
    [
        "told(what).startswith('ride')",
        "told(what) == 'ON'",
        "'stuck' in told(what)",
        "x = 'a ' + told(what)\nx.split()",
        "re.match('a', told(what))",
        "case_words(case).removeprefix('loss of ')",
    ],
)
def test_a_sentence_that_is_read_back_is_found(bad: str) -> None:
    assert read_back(ast.parse(bad))


def test_no_program_reads_the_sentence_of_an_event_or_the_name_of_a_case() -> None:
    files = sorted([*ROOT.glob("pneumo/**/*.py"), *ROOT.glob("tui/**/*.py")])
    texts = {path: path.read_text(encoding="utf-8") for path in files}
    tell = {p: text for p, text in texts.items() if any(f"{name}(" in text for name in WORDS)}
    assert len(tell) > 3, "the sentence is made somewhere"
    found = {str(path): lines for path, t in tell.items() if (lines := read_back(ast.parse(t)))}
    assert not found
    assert "text" not in {field.name for field in fields(RunEvent)}
