"""The running situation as a scenario of a document, and as a drill."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from pathlib import Path
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pneumo.circuit.circuit import Circuit, Event
from pneumo.circuit.sentence import parse_action
from pneumo.circuit.validate import load, load_text
from pneumo.drill.brief import Brief, Saying
from pneumo.errors import InputError
from pneumo.live import drill, hidden, scenario_file
from pneumo.live.drill import (
    _open_parts,
    drill_text,
    is_drill,
    is_sealed,
    read_drill,
    read_ride,
    read_title,
    save_drill,
)
from pneumo.live.journal import Act
from pneumo.live.scenario_file import save_scenario, with_scenario
from pneumo.live.seal import OBSCURED, Seal, Sealed, new_seal
from pneumo.live.session import Session
from pneumo.network.compile import compile_circuit
from pneumo.scenario.play import Play

CIRCUITS = Path(__file__).parents[2] / "circuits"
DOCUMENTS = sorted(CIRCUITS.glob("*.yaml"))
SINGLE = (CIRCUITS / "01_spring_open_single.yaml").read_bytes().decode()

ACTS = (
    Act(0.30000000000000004, "trainer", "close trim", False, 0.30000000000000004),
    Act(1.0 / 3.0, "trainer", "fault hose_1 leak 2 mm", True, 1.0 / 3.0),
    Act(2.0, "trainer", "fault valve stuck-actuated", True, 0.5),
    Act(2.0, "trainee", "ride stop", False, 2.0),
)
UNTIL = 2.7000000000000006

SMALL = """ride: {name: small}
components:
  feed: {kind: electrical_feed}
  supply: {kind: ideal_supply, pressure: 5 bar}
  valve: {kind: valve_2_2, C: 5 L/(s·bar), b: 0.3, feed: feed}
  tank: {kind: receiver, volume: 5 L, ports: 1}
connections:
  - supply.2 -> valve.1
  - valve.2 -> tank.1
"""


@cache
def single() -> Circuit:
    return load_text(SINGLE, "single")


def events_of(circuit: Circuit, acts: tuple[Act, ...]) -> list[Event]:
    return [
        Event(
            a.time,
            parse_action(a.sentence, circuit.components, circuit.zones, circuit.gates, a.time),
        )
        for a in acts
    ]


def without(text: str, longer: str) -> bool:
    """True when `text` is `longer` with one piece cut out, byte for byte."""
    head = 0
    while head < len(text) and text[head] == longer[head]:
        head += 1
    return longer.endswith(text[head:])


# scenarios


def test_a_saved_scenario_loads_and_says_what_was_done(tmp_path: Path) -> None:
    path = tmp_path / "saved.yaml"
    said = save_scenario(SINGLE, single(), ACTS, UNTIL, path, "found on Monday")
    assert said == f"Saved the scenario 'found on Monday' in {path}."
    scenario = load(path).scenarios["found on Monday"]
    assert scenario.until == UNTIL
    assert [(e.time, e.action.text) for e in scenario.events] == [
        (act.time, act.sentence) for act in ACTS
    ]
    assert load(path).warnings == single().warnings
    assert without(SINGLE, path.read_bytes().decode())


def test_the_scenario_brings_a_ride_to_the_same_state_bit_for_bit(tmp_path: Path) -> None:
    plan = compile_circuit(single())
    lived = Play(plan)
    for act in ACTS:
        # as people do: said while it runs, in pieces
        lived.advance(act.entered)
        lived.schedule(events_of(single(), (act,)))
    lived.advance(UNTIL)
    path = tmp_path / "saved.yaml"
    save_scenario(SINGLE, single(), ACTS, UNTIL, path, "again")
    saved = load(path)
    replayed = Play(compile_circuit(saved))
    replayed.schedule(saved.scenarios["again"].events)
    replayed.advance(saved.scenarios["again"].until)
    assert replayed.now == lived.now == UNTIL
    np.testing.assert_array_equal(replayed.plant.state(), lived.plant.state())
    assert (
        replayed.plant.log.events == lived.plant.log.events
        and replayed.plant.log.crossings == lived.plant.log.crossings
    )
    for play in (lived, replayed):
        play.advance(6.0)
    np.testing.assert_array_equal(replayed.plant.state(), lived.plant.state())
    assert replayed.plant.log.events == lived.plant.log.events


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: path.stem)
def test_every_document_keeps_its_text(path: Path) -> None:
    text = path.read_bytes().decode()
    acts = (Act(1.0, "trainer", "ride stop", False, 1.0),)
    longer = with_scenario(text, "one more", acts, 2.0)
    assert without(text, longer)
    before, after = load_text(text, "before"), load_text(longer, "after")
    assert [*after.scenarios] == [*before.scenarios, "one more"]
    assert after.scenarios["one more"].until == 2.0
    for name, scenario in before.scenarios.items():
        events = [(e.time, e.action) for e in after.scenarios[name].events]
        assert events == [(e.time, e.action) for e in scenario.events]
    assert after.components == before.components


LAYOUTS = {
    "no section": SMALL,
    "no line end": SMALL.rstrip("\n"),
    "comments at the end": SMALL + "\n# the end\n\n\n",
    "mark of the end": SMALL + "...\n",
    "mark of the start": "---\n" + SMALL,
    "lines of another system": SMALL.replace("\n", "\r\n"),
    "empty section": SMALL + "scenarios:\n",
    "empty section without a line end": SMALL + "scenarios:",
    "section with a comment": SMALL + "scenarios:  # none so far\n  # none at all\n",
    "empty braces": SMALL + "scenarios: {}\n",
    "braces": SMALL + "scenarios: {one: {until: 3 s}, two: {until: 4 s, events: []}}\n",
    "braces on many lines": SMALL + "scenarios:\n  {\n  one: {until: 3 s},\n  }\n",
    "deep": SMALL + "scenarios:\n        one:\n          until: 3 s\n",
    "first section": "scenarios:\n  one: {until: 3 s}\n\n# the ride\n" + SMALL,
    "first section, with text": (
        "scenarios:\n  one:\n    until: 3 s\n    about: |\n      line\n      # no comment\n\n"
        + SMALL
    ),
    "comments of the next section": (
        "scenarios:\n  one:\n    until: 3 s\n  # of one\n\n# of the ride\n" + SMALL
    ),
    "everything to the right": "".join(f"  {line}\n" for line in SMALL.splitlines()),
    "quoted": SMALL + '"scenarios":\n  "one": {until: 3 s}\n',
    "the word before": SMALL.replace("name: small", "name: 'scenarios: {'"),
}


@pytest.mark.parametrize("text", LAYOUTS.values(), ids=LAYOUTS)
def test_any_layout_takes_a_scenario(text: str) -> None:
    before = load_text(text, "before")
    acts = (
        Act(1.0, "trainer", "power off", False, 1.0),
        Act(1.5, "trainer", "fault tank leak 2 mm over 3 s", False, 1.5),
    )
    longer = with_scenario(text, 'saved: it\'s a #1 "test"', acts, 2.0)
    assert without(text, longer)
    after = load_text(longer, "after")
    assert set(after.scenarios) == {*before.scenarios, 'saved: it\'s a #1 "test"'}
    events = after.scenarios['saved: it\'s a #1 "test"'].events
    assert [(e.time, e.action.text) for e in events] == [(a.time, a.sentence) for a in acts]
    assert ("\r\n" in text) == ("\r\n" in longer)
    if "\r\n" in text:
        assert "\n" not in longer.replace("\r\n", "")


def test_a_document_of_braces_takes_a_scenario() -> None:
    import yaml

    for scenarios in ({}, {"scenarios": {"one": {"until": "3 s"}}}):
        tree = {**yaml.load(SMALL, yaml.BaseLoader), **scenarios}
        for indent in (None, 2):
            text = json.dumps(tree, indent=indent, ensure_ascii=False)
            longer = with_scenario(text, "x", (), 2.0)
            assert without(text, longer)
            assert set(load_text(longer, "x").scenarios) == {"x", *scenarios.get("scenarios", {})}


def test_nothing_done_is_a_scenario_too() -> None:
    longer = with_scenario(SMALL, "quiet", (), 5.0)
    assert load_text(longer, "x").scenarios["quiet"].events == ()


@settings(max_examples=60)
@given(
    st.text(min_size=1, max_size=80).filter(lambda t: t.strip() and t.isprintable()),
    st.floats(min_value=1e-6, max_value=9.9e6),
)
def test_names_and_times_come_back_exactly(name: str, time: float) -> None:
    longer = with_scenario(SMALL, name, (Act(time, "trainer", "power off", False, 0.0),), time)
    scenario = load_text(longer, "x").scenarios[name]
    assert scenario.until == time and scenario.events[0].time == time


def test_what_was_said_ahead_is_part_of_it(tmp_path: Path) -> None:
    ahead = Act(9.0, "trainer", "open trim", False, 1.0)
    later = Act(8.0, "trainer", "reset all", False, 5.0)
    save_scenario(SINGLE, single(), [ACTS[0], ahead, later], 2.0, tmp_path / "s.yaml", "ahead")
    scenario = load(tmp_path / "s.yaml").scenarios["ahead"]
    assert [e.action.text for e in scenario.events] == ["close trim", "open trim"]
    assert scenario.until == 9.0
    assert load(tmp_path / "s.yaml").warnings == single().warnings


def test_more_scenarios_go_into_one_file(tmp_path: Path) -> None:
    path = tmp_path / "s.yaml"
    for name in ("first", "second"):
        save_scenario(SINGLE, single(), ACTS, UNTIL, path, name)
    assert list(load(path).scenarios)[-2:] == ["first", "second"]
    text = path.read_bytes()
    with pytest.raises(InputError, match="there is a scenario 'first' already"):
        save_scenario(SINGLE, single(), ACTS, UNTIL, path, "first")
    assert path.read_bytes() == text


@pytest.mark.parametrize("content", ["notes of my own\n", SMALL, ""])
def test_a_file_that_holds_something_else_is_left_alone(tmp_path: Path, content: str) -> None:
    path = tmp_path / "s.yaml"
    path.write_text(content)
    with pytest.raises(InputError, match="holds another ride; choose another name"):
        save_scenario(SINGLE, single(), ACTS, UNTIL, path, "x")
    assert path.read_text() == content


@pytest.mark.parametrize("save", [save_scenario, save_drill])
@pytest.mark.parametrize("name", ["", "   ", "two\nlines", "x" * 81])
def test_a_name_that_is_none_is_refused(tmp_path: Path, save: object, name: str) -> None:
    assert callable(save)
    with pytest.raises(InputError, match="cannot be the name of a"):
        save(SINGLE, single(), ACTS, UNTIL, tmp_path / "s.yaml", name)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("save", [save_scenario, save_drill])
def test_a_missing_folder_is_one_sentence(tmp_path: Path, save: object) -> None:
    assert callable(save)
    with pytest.raises(InputError, match="does not exist") as caught:
        save(SINGLE, single(), ACTS, UNTIL, tmp_path / "none" / "s.yaml", "x")
    assert "\n" not in str(caught.value)


def test_a_ride_that_has_not_run_is_not_saved() -> None:
    with pytest.raises(InputError, match="Nothing has happened yet"):
        with_scenario(SINGLE, "x", (), 0.0)


def test_a_document_that_would_grow_too_large_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(scenario_file, "LARGEST_DOCUMENT", len(SINGLE.encode()) + 50)
    with pytest.raises(InputError, match="larger than 2 MB"):
        save_scenario(SINGLE, single(), ACTS, UNTIL, tmp_path / "s.yaml", "x")
    assert list(tmp_path.iterdir()) == []


# drills


def test_a_drill_comes_back_as_it_was_saved(tmp_path: Path) -> None:
    path = tmp_path / "monday.yaml"
    said = save_drill(SINGLE, single(), ACTS, UNTIL, path, "Monday: what hisses?")
    assert (
        said == f"Saved the drill 'Monday: what hisses?' as {path}; 2 hidden in it (obscured, not "
        "encrypted)."
    )
    drill = read_drill(path)
    assert drill.title == "Monday: what hisses?"
    assert drill.document == SINGLE
    assert drill.acts == ACTS
    assert drill.start == UNTIL
    assert drill.circuit.components == single().components


def test_hidden_acts_cannot_be_read_at_a_glance(tmp_path: Path) -> None:
    path = tmp_path / "d.yaml"
    save_drill(SINGLE, single(), ACTS, UNTIL, path, "x")
    text = path.read_text().replace(SINGLE.replace("\n", "\n  "), "")
    head = text[: text.index("document:")]
    assert "close trim" in head and "ride stop" in head
    assert "leak" not in head and "stuck" not in head and "hose_1" not in head
    # nor when it was injected
    assert "0.33333" not in head
    assert "obscured, not encrypted" in head


@pytest.mark.parametrize(
    "document",
    [
        SINGLE,
        SINGLE.rstrip("\n"),
        SINGLE + "\n\n\n",
        SINGLE.replace("\n", "\r\n"),
        "\n\n" + SINGLE,
        "".join(f"   {line}\n" for line in SINGLE.splitlines()),
        SINGLE + "# a tab\tand größer 🛤, 6\u00a0bar\u200c\n# end\n",
        SINGLE.replace("\n\n", "\n   \n"),
    ],
)
def test_the_document_of_a_ride_is_kept_byte_for_byte(tmp_path: Path, document: str) -> None:
    path = tmp_path / "d.yaml"
    save_drill(document, single(), (), 0.0, path, "x")
    drill = read_drill(path)
    assert drill.document == document
    assert (drill.acts, drill.start) == ((), 0.0)


def test_a_document_is_readable_in_its_drill() -> None:
    text = drill_text(SINGLE, ACTS, UNTIL, "x")
    assert all(f"  {line}\n" in text for line in SINGLE.splitlines() if line)


def test_a_drill_may_be_saved_again_and_replaces_no_other(tmp_path: Path) -> None:
    path = tmp_path / "d.yaml"
    save_drill(SINGLE, single(), (), 1.0, path, "one")
    save_drill(SINGLE, single(), ACTS, UNTIL, path, "one")
    assert read_drill(path).acts == ACTS
    with pytest.raises(InputError, match="holds the drill 'one'; choose another name"):
        save_drill(SINGLE, single(), ACTS, UNTIL, path, "two")
    other = tmp_path / "notes.txt"
    other.write_text("mine")
    with pytest.raises(InputError, match="is not a drill; choose another name"):
        save_drill(SINGLE, single(), ACTS, UNTIL, other, "two")
    assert other.read_text() == "mine"


GOOD = drill_text(SINGLE, ACTS[:1], 2.0, "good")


def spoiled(old: str, new: str) -> str:
    assert GOOD.count(old) >= 1
    return GOOD.replace(old, new, 1)


def sealed(rows: object) -> str:
    return GOOD.replace("document:", f"hidden: {OBSCURED.seal(json.dumps(rows))}\ndocument:", 1)


WRONG = {
    "empty": ("", "The document is empty. Open a drill"),
    "text": ("just words\n", "is not a set of named sections. Open a drill"),
    "circuit": (SINGLE, "This is a circuit document, not a drill. Open a drill"),
    "other": ("a: b\n", "This is not a drill."),
    "version": (
        spoiled('"2"', "4"),
        "The drill has version '4'. This program reads versions 1 to 3.",
    ),
    "field": (spoiled("title:", "titel:"), "'titel' in a drill. Did you mean 'title'?"),
    "title": (spoiled("title: good", "title: ''"), "The drill has no title."),
    "long title": (spoiled("title: good", f"title: {'x' * 99}"), "The title is too long"),
    "start": (spoiled("start: 2 s", "start: soon"), "'soon' is not a time."),
    "no start": (spoiled("start: 2 s\n", ""), "Nothing is given. Write a time like 2 s."),
    "no document": (GOOD[: GOOD.index("document:")], "The drill has no document."),
    "acts": (
        spoiled("actions:\n", "actions: none\n").replace("  - {at", "#"),
        "actions: is not a list",
    ),
    "act": (spoiled("  - {at", "  - now\n  - {at"), "This is not an action. Give it at, entered"),
    "act's field": (spoiled("entered: 0.30000000000000004 s, ", ""), "The action has no entered."),
    "act's odd field": (
        spoiled("seat: trainer", "seat: trainer, mood: good"),
        "'mood' is no field.",
    ),
    "seat": (spoiled("seat: trainer", "seat: guest"), "'guest' is not a seat. Write trainer"),
    "sentence": (spoiled("close trim", "close trym"), "Did you mean 'trim'?"),
    "no sentence": (spoiled('sentence: "close trim"', "sentence: []"), "The sentence is not text."),
    "late": (spoiled("start: 2 s", "start: 0.1 s"), "is entered after the start of the drill"),
    "early": (spoiled("at: 0.30000000000000004", "at: 0.1"), "before it is entered"),
    "seal": (spoiled("document:", "hidden: nonsense\ndocument:"), "hidden part is damaged"),
    "seal of words": (
        spoiled("document:", f"hidden: {OBSCURED.seal('words')}\ndocument:"),
        "does not hold actions",
    ),
    "seal of things": (sealed([["close trim"]]), "does not hold actions"),
    "seal of one thing": (sealed("x"), "does not hold actions"),
    "seal of no number": (sealed([[0, float("nan"), 0.0, "trainer", "x"]]), "not hold actions"),
    "seal far away": (sealed([[10**9, 0.1, 0.1, "trainer", "ride stop"]]), "not hold actions"),
    "seal of a seat": (sealed([[0, 0.1, 0.1, "guest", "ride stop"]]), "'guest' is not a seat"),
    "sealed act": (sealed([[0, 0.1, 0.1, "trainer", "fault none leak"]]), "not fit this ride."),
    "order": (
        sealed([[0, 1.5, 1.5, "trainer", "ride stop"]]),
        "is out of order. Put the actions in",
    ),
    "a seal that is a list": (
        spoiled("document:", "hidden: [a]\ndocument:"),
        "The hidden part is not text.",
    ),
    "tag": (spoiled("title: good", "title: !!python/name:os.system good"), "sets a data type"),
    "alias": (spoiled("title: good", "title: &a good"), "marks an entry for reuse"),
    "two": (GOOD + "---\na: b\n", "A second document starts here."),
    "twice": (GOOD.replace("title: good\n", "title: good\ntitle: good\n"), "already used in line"),
}


@pytest.mark.parametrize(("text", "says"), WRONG.values(), ids=WRONG)
def test_a_drill_that_is_wrong_is_refused_with_one_message(
    tmp_path: Path, text: str, says: str
) -> None:
    path = tmp_path / "d.yaml"
    path.write_text(text)
    with pytest.raises(InputError) as caught:
        read_drill(path)
    message = str(caught.value)
    assert says in message
    assert message.startswith(f"{path}:") and "\n" not in message


def test_a_message_about_a_sealed_act_does_not_give_it_away(tmp_path: Path) -> None:
    path = tmp_path / "d.yaml"
    path.write_text(sealed([[0, 0.1, 0.1, "trainer", "fault hose_1 leek 2 mm"]]))
    with pytest.raises(InputError) as caught:
        read_drill(path)
    assert "hose" not in str(caught.value) and "lee" not in str(caught.value)


def test_the_line_of_a_finding_is_that_of_the_drill(tmp_path: Path) -> None:
    path = tmp_path / "d.yaml"
    path.write_text(GOOD.replace("kind: bladder_brake", "kind: bladder_brak"))
    line = next(
        i for i, text in enumerate(path.read_text().splitlines(), 1) if "bladder_brak," in text
        or text.endswith("bladder_brak")
    )  # fmt: skip
    with pytest.raises(InputError) as caught:
        read_drill(path)
    assert str(caught.value).startswith(f"{path}:{line}: error: ")
    path.write_text(spoiled("seat: trainer", "seat: guest"))
    with pytest.raises(InputError) as caught:
        read_drill(path)
    line = next(i for i, t in enumerate(path.read_text().splitlines(), 1) if "guest" in t)
    assert str(caught.value).startswith(f"{path}:{line}: error: actions: ")


def test_a_drill_in_earlier_words_is_read_and_told(tmp_path: Path) -> None:
    path = tmp_path / "d.yaml"
    today = drill_text(SINGLE, ACTS, UNTIL, "x")
    assert today.count("entered:") > 0
    former = today.replace('"2"', '"1"', 1).replace("\nactions:", "\nacts:")
    path.write_text(former.replace(", entered:", ", said:"))
    drill = read_drill(path)
    assert (drill.acts, drill.start) == (ACTS, UNTIL)
    assert "'acts' is now 'actions'." in drill.remark and "'said' is now" in drill.remark
    path.write_text(today)
    assert read_drill(path).remark == ""


def test_a_finding_in_an_earlier_drill_names_its_line(tmp_path: Path) -> None:
    path = tmp_path / "d.yaml"
    former = GOOD.replace('"2"', '"1"', 1).replace("\nactions:", "\nacts:")
    path.write_text(former.replace(", entered:", ", said:").replace("close trim", "close trym", 1))
    line = next(i for i, t in enumerate(path.read_text().splitlines(), 1) if "trym" in t)
    with pytest.raises(InputError) as caught:
        read_drill(path)
    assert str(caught.value).startswith(f"{path}:{line}: error: ")


def test_more_than_one_finding_is_counted(tmp_path: Path) -> None:
    path = tmp_path / "d.yaml"
    path.write_text(GOOD.replace("C:", "D:"))
    with pytest.raises(InputError, match=r"\([0-9]+ more found after it\.\)"):
        read_drill(path)


def test_files_that_are_no_text_or_too_large(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(InputError, match="There is no such file"):
        read_drill(tmp_path / "none.yaml")
    with pytest.raises(InputError, match="This is a folder"):
        read_drill(tmp_path)
    binary = tmp_path / "b.yaml"
    binary.write_bytes(b"pneumo_drill: \xff\xfe")
    with pytest.raises(InputError, match="is not UTF-8 text"):
        read_drill(binary)
    large = tmp_path / "l.yaml"
    large.write_text(GOOD)
    monkeypatch.setattr(drill, "LARGEST_DRILL", len(GOOD) - 1)
    with pytest.raises(InputError, match="larger than 4 MB"):
        read_drill(large)
    with pytest.raises(InputError, match="larger than 4 MB"):
        save_drill(SINGLE, single(), ACTS, UNTIL, tmp_path / "m.yaml", "x")


@pytest.mark.parametrize("seal", [OBSCURED, new_seal("seven red kites", (16, 1, 1))])
def test_no_drill_however_torn_gives_a_traceback(seal: Seal, tmp_path: Path) -> None:
    path = tmp_path / "d.yaml"
    good = drill_text(SINGLE, ACTS, UNTIL, "good", seal=seal).encode()
    chance = Random(7)
    for _ in range(100):
        data = bytearray(good)
        for _ in range(chance.randint(1, 4)):
            start = chance.randrange(min(len(data), 900))
            match chance.randrange(3):
                case 0:
                    del data[start : start + chance.randint(1, 60)]
                case 1:
                    data[start] = chance.randrange(256)
                case _:
                    data[start:start] = data[chance.randrange(len(data)) :][:30]
        path.write_bytes(bytes(data))
        try:
            drill = read_drill(path, lambda: "seven red kites")
        except InputError as error:
            assert "\n" not in str(error)
        else:  # a sealed one is never played wrong
            assert not seal.encrypts or (drill.title, drill.acts) == ("good", ACTS)


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (GOOD, True),
        ("\ufeff" + GOOD, True),
        ("pneumo_drill: 99\n", True),
        ('"pneumo_drill": 1\n', True),
        (SINGLE, False),
        ("# about pneumo_drill: none\n", False),
        ("", False),
    ],
)
def test_a_drill_is_known_by_its_beginning(tmp_path: Path, content: str, expected: bool) -> None:
    path = tmp_path / "d.yaml"
    path.write_text(content, encoding="utf-8")
    assert is_drill(path) is expected
    assert not is_drill(tmp_path) and not is_drill(tmp_path / "none")


# sealed by a passphrase

WORDS = "seven red kites"
KEY = new_seal(WORDS, (16, 1, 1))
BRIEF = Brief(
    level=2, par=600.0, complaint="It hisses.", answers=(Saying("noise", "Yes."),),
    hints=("Use your ears at hose_1.",),
)  # fmt: skip


def words() -> str:
    return WORDS


def sealed_drill(path: Path, seal: Sealed = KEY, acts: tuple[Act, ...] = ACTS) -> str:
    text = drill_text(SINGLE, acts, UNTIL, "Monday", BRIEF, seal=seal)
    path.write_text(text)
    return text


def test_a_sealed_drill_opens_by_its_passphrase_alone(tmp_path: Path) -> None:
    path = tmp_path / "d.yaml"
    sealed_drill(path)
    drill = read_drill(path, words)
    assert (drill.title, drill.document, drill.acts, drill.start) == ("Monday", SINGLE, ACTS, UNTIL)
    assert drill.brief == BRIEF
    assert isinstance(drill.seal, Sealed) and drill.seal.key == KEY.key
    assert read_title(path) == "Monday" and is_sealed(path)
    assert read_ride(path).components  # what it is a drill at is no secret
    with pytest.raises(InputError, match="passphrase is wrong") as caught:
        read_drill(path, lambda: "seven red kite")
    assert str(caught.value).startswith(f"{path}:") and "\n" not in str(caught.value)
    with pytest.raises(InputError, match="it takes its passphrase"):
        read_drill(path)


def test_that_hints_may_name_tests_is_kept_and_belongs_to_what_is_sealed(tmp_path: Path) -> None:
    brief = replace(BRIEF, test_hints=True)
    plain, sealed = tmp_path / "plain.yaml", tmp_path / "sealed.yaml"
    plain.write_text(drill_text(SINGLE, ACTS, UNTIL, "Monday", brief))
    assert read_drill(plain).brief == brief
    sealed.write_text(drill_text(SINGLE, ACTS, UNTIL, "Monday", brief, seal=KEY))
    assert read_drill(sealed, words).brief == brief
    sealed.write_text(sealed.read_text().replace("test_hints: yes", "test_hints: no"))
    with pytest.raises(InputError, match="edited or damaged"):
        read_drill(sealed, words)
    plain.write_text(plain.read_text().replace("test_hints: yes", "test_hints: maybe"))
    with pytest.raises(InputError, match=r"'maybe' is not yes or no\. Write yes or no\."):
        read_drill(plain)


def test_a_drill_that_was_sealed_before_hints_could_name_tests_still_opens() -> None:
    """What it is bound to has no field for it."""
    told = json.loads(_open_parts("Monday", BRIEF, "", SINGLE, UNTIL, ()))[2]
    assert len(told) == 8
    assert told != json.loads(
        _open_parts("Monday", replace(BRIEF, test_hints=True), "", SINGLE, UNTIL, ())
    )[2]  # fmt: skip


def test_a_sealed_drill_tells_how_and_nothing_else(tmp_path: Path) -> None:
    one, two = tmp_path / "1.yaml", tmp_path / "2.yaml"
    text = sealed_drill(one)
    head = text[: text.index("document:")]
    for said in ('pneumo_drill: "3"', 'cipher: "AES-256-GCM"', 'key: "scrypt"', "salt:", "nonce:"):
        assert said in head
    assert 'n: "16"' in head and "is encrypted" in head and "obscured" not in head
    for told in (
        "leak 2",
        "stuck-",
        "hose_1",
        "0.333",
        "your ears",
        OBSCURED.seal("fault hose_1")[:12],
    ):
        assert told not in head
    # nor how much is hidden, or whether anything is
    shown = tuple(act for act in ACTS if not act.hidden)
    assert len(sealed_drill(two, acts=shown)) == len(text)
    assert read_drill(two, words).acts == shown


def test_how_a_sealed_drill_is_laid_out_does_not_matter(tmp_path: Path) -> None:
    path = tmp_path / "d.yaml"
    text = sealed_drill(path)
    head, document = text.split("document:")
    other = head.replace("title: Monday", '# mine\ntitle:   "Monday"').replace(
        "It hisses.", "It  hisses."
    )
    other = other.replace("par: 600 s", "par: 10 min").replace("\n  level: 2", "\n\n  level: 2")
    document = document.replace("\ncomponents:", "\n  # a remark\ncomponents:")
    assert other != head
    path.write_text(f"{other}document:{document}")
    assert read_drill(path, words).acts == ACTS


EDITED = {
    "title": ("title: Monday", "title: Tuesday"),
    "complaint": ("It hisses.", "It is quiet."),
    "level": ("level: 2", "level: 3"),
    "par": ("par: 600 s", "par: 900 s"),
    "answer": ('"Yes."', '"No."'),
    "start": (f"start: {UNTIL!r} s", "start: 60 s"),
    "action": ("close trim", "open trim"),
    "no action": ("actions:\n", "actions: []\nhidden_: |\n"),
    "ride": ("spring_force: ", "spring_force:  1"),
    "hint": ("start: ", "hints: [look at hose_2]\nstart: "),
    "nonce": ('nonce: "', 'nonce: "A'),
}


@pytest.mark.parametrize(("old", "new"), EDITED.values(), ids=EDITED)
def test_a_sealed_drill_that_was_edited_is_not_played(tmp_path: Path, old: str, new: str) -> None:
    path = tmp_path / "d.yaml"
    text = sealed_drill(path)
    assert old in text
    edited = text.replace(old, new, 1)
    path.write_text(edited)
    with pytest.raises(InputError) as caught:
        read_drill(path, words)
    if old.startswith("actions"):
        assert "no field 'hidden_'" in str(caught.value)
    elif old.startswith("spring"):
        assert "edited" in str(caught.value) or "spring_force" in str(caught.value)
    else:
        assert "edited or damaged after it was sealed" in str(caught.value)


def test_the_hidden_part_of_another_drill_does_not_open(tmp_path: Path) -> None:
    one, two = tmp_path / "1.yaml", tmp_path / "2.yaml"
    first = sealed_drill(one)
    second = drill_text(SINGLE, ACTS[:1], UNTIL, "Tuesday", seal=KEY)  # the same key, too
    part = slice(second.index("sealed:"), second.index("document:"))
    at = slice(first.index("sealed:"), first.index("document:"))
    two.write_text(first[: at.start] + second[part] + first[at.stop :])
    with pytest.raises(InputError, match="edited or damaged after it was sealed"):
        read_drill(two, words)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('pneumo_drill: "3"', 'pneumo_drill: "2"', "version 3 and a field 'sealed'"),
        ("sealed:\n", "sealed: no\nx:\n", "no field 'x'"),
        ('  cipher: "AES-256-GCM"\n', "", "not how a drill is sealed"),
        ('n: "16"', f'n: "{2**30}"', "whole numbers"),
        ('n: "16"', f'n: "{2**24}"', "out of range"),
        ('n: "16"', 'n: "32"', "passphrase is wrong, or what the file says of how it is sealed"),
        ("hidden: |\n", "briefing_: |\n", "no field 'briefing_'"),
    ],
)
def test_a_seal_that_was_tampered_with_is_one_message(
    tmp_path: Path, old: str, new: str, says: str
) -> None:
    path = tmp_path / "d.yaml"
    text = sealed_drill(path)
    assert old in text
    path.write_text(text.replace(old, new, 1))
    with pytest.raises(InputError) as caught:
        read_drill(path, words)
    assert says in str(caught.value) and "\n" not in str(caught.value)


def test_a_sealed_drill_without_its_hidden_part_is_not_one_without_a_fault(tmp_path: Path) -> None:
    path = tmp_path / "d.yaml"
    text = sealed_drill(path)
    path.write_text(text[: text.index("hidden:")] + text[text.index("document:") :])
    with pytest.raises(InputError, match="edited or damaged"):
        read_drill(path, words)


def test_more_than_can_be_read_again_is_not_saved(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(hidden, "LONGEST", 100)
    for seal in (OBSCURED, KEY):
        with pytest.raises(InputError, match="save a shorter run"):
            save_drill(SINGLE, single(), ACTS, UNTIL, tmp_path / "d.yaml", "x", seal)
    assert list(tmp_path.iterdir()) == []


def test_a_drill_is_saved_sealed_and_replaced_by_its_title_without_the_passphrase(
    tmp_path: Path,
) -> None:
    path = tmp_path / "d.yaml"
    said = save_drill(SINGLE, single(), ACTS, UNTIL, path, "one", KEY)
    assert said.endswith("2 hidden in it (encrypted; keep the passphrase).")
    assert read_drill(path, words).acts == ACTS
    with pytest.raises(InputError, match="holds the drill 'one'; choose another name"):
        save_drill(SINGLE, single(), ACTS, UNTIL, path, "two")
    save_drill(SINGLE, single(), ACTS[:1], UNTIL, path, "one")
    assert read_drill(path).acts == ACTS[:1]


def test_a_ride_that_people_drove_is_saved_as_it_stands(tmp_path: Path) -> None:
    ride = Session(single(), SINGLE)
    ride.advance(1.0)
    ride.do("trainer", "close trim")
    ride.do("trainer", "in 1.5 s: fault hose_1 leak 2 mm", hidden=True)
    ride.advance(3.0)
    ride.do("trainee", "ride stop")
    ride.advance(3.4)
    ride.undo()
    ride.go_to(2.2)
    ride.do("trainee", "open trim")
    ride.advance(2.9)
    path = tmp_path / "ride.yaml"
    save_scenario(ride.document, ride.circuit, ride.acts.journal, ride.now, path, "as it stands")
    saved = load(path).scenarios["as it stands"]
    play = Play(compile_circuit(load(path)))
    play.schedule(saved.events)
    play.advance(saved.until)
    assert play.now == ride.now
    np.testing.assert_array_equal(play.plant.state(), ride.play.plant.state())
    assert play.plant.log.events == ride.play.plant.log.events
    # and as a drill
    save_drill(
        ride.document, ride.circuit, ride.acts.journal, ride.now, tmp_path / "d.yaml", "drill"
    )
    drill = read_drill(tmp_path / "d.yaml")
    again = Session(drill.circuit, drill.document)
    again.restart(drill.acts, drill.start)
    np.testing.assert_array_equal(again.play.plant.state(), ride.play.plant.state())
    assert again.acts.journal == ride.acts.journal and again.acts.hidden == ride.acts.hidden
