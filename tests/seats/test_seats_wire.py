"""Tests of what goes over the wire: round trips, refusals, and whatever else may come."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from seats_bench import DOCUMENT, fault, plant_of, whole_frame, whole_past

from pneumo.circuit.action import FaultSpec
from pneumo.circuit.shipped import find_document, shipped_folders
from pneumo.circuit.validate import load, load_text
from pneumo.live.plant import plant_of as plant_of_circuit
from pneumo.live.request import (
    Answer,
    Check,
    Do,
    GoTo,
    Hand,
    Hide,
    Newest,
    NextEvent,
    Pause,
    Redo,
    Request,
    Run,
    Save,
    Scan,
    Shelve,
    Speed,
    Undo,
)
from pneumo.live.seat import SeenPast, seen
from pneumo.packing import LONGEST_TEXT, PackingError, pack, unpack
from pneumo.scenario.event import FaultInjected, RunEvent
from pneumo.seats.wire import (
    PastReader,
    PastSender,
    bare_document,
    decode,
    encode,
    pack_answer,
    pack_frame,
    pack_request,
    unpack_answer,
    unpack_frame,
    unpack_request,
)
from pneumo.zone.event import Refused

PLANT = plant_of()


def over_the_wire(body: Any) -> Any:
    return decode(encode("x", body))[1]


# round trips


@pytest.mark.parametrize("mode", ["live", "earlier", "check"])
def test_a_frame_arrives_as_the_trainee_sees_it(mode: str) -> None:
    shown = fault("trim_hose_2", "leak", hidden=False)
    whole = whole_frame(PLANT, mode=mode, faults=(shown, fault("trim_check", "burst")))
    assert unpack_frame(over_the_wire(pack_frame(whole, PLANT)), PLANT) == seen(whole, PLANT)


@given(st.floats(allow_nan=False, allow_infinity=False), st.floats(0.0, 1e9))
def test_unseen_values_are_not_in_a_frame(unseen: float, time: float) -> None:
    unseen = max(-1e6, min(1e6, unseen))
    hidden = (fault("trim_hose_2", "leak"),)
    one = pack_frame(whole_frame(PLANT, unseen, time=time, faults=hidden), PLANT)
    other = pack_frame(whole_frame(PLANT, 1.0, time=time), PLANT)
    assert encode("frame", one) == encode("frame", other)


@pytest.mark.parametrize(
    "request_",
    [Do("close trim"), Hand("voltage", "trim_valve_a.14"), Shelve("trim", "vent time", None),
     Shelve("", "low supply", 60.0), Run(), Pause(), Speed(0.5), Scan(), NextEvent(), GoTo(2.0),
     Newest()],
    ids=lambda r: type(r).__name__,
)  # fmt: skip
def test_a_request_arrives(request_: Request) -> None:
    assert unpack_request(over_the_wire(pack_request(5, request_))) == (5, request_)


@pytest.mark.parametrize(
    "request_",
    [Undo(), Redo(), Hide("a", "b", True), Check("trim"), Save("drill", "p", "n")],
    ids=lambda r: type(r).__name__,
)
def test_a_trainee_has_no_words_for_what_is_the_trainers(request_: Request) -> None:
    assert pack_request(1, request_) is None


def test_a_trainee_hides_nothing() -> None:
    assert unpack_request(over_the_wire(pack_request(1, Do("close trim", hidden=True)))) == (
        1, Do("close trim"),
    )  # fmt: skip
    with pytest.raises(PackingError):
        unpack_request([1, "do", ["close trim", True]])


def test_an_answer_arrives_without_what_a_check_found() -> None:
    answer = Answer(12, True, "It reads 4.5 bar.", ("Stay clear of the jaws.",), data=["found"])
    body = over_the_wire(pack_answer(answer, 3))
    assert unpack_answer(body) == replace(answer, to=3, data=None)


def test_text_that_would_act_on_a_terminal_is_sent_without_what_acts() -> None:
    answer = Answer(1, True, "one\x1b[2Jtwo\nthree" + "x" * LONGEST_TEXT)
    arrived = unpack_answer(over_the_wire(pack_answer(answer, 1))).text
    assert arrived.startswith("one?[2Jtwo\nthree") and len(arrived) == LONGEST_TEXT
    with pytest.raises(PackingError, match="not allowed"):
        unpack(str, "one\x1b[2J")


# the record


def sent(sender: PastSender, reader: PastReader, past: Any) -> int:
    number = 0
    while (body := sender.next(past)) is not None:
        reader.add(over_the_wire(body))
        number += 1
    return number


def same_past(one: Any, other: Any) -> bool:
    return (
        np.array_equal(one.times, other.times)
        and np.array_equal(one.values, other.values, equal_nan=True)
        and one.events == other.events
    )


@given(st.lists(st.tuples(st.integers(0, 900), st.booleans()), max_size=5))
def test_a_record_arrives_in_pieces(steps: list[tuple[int, bool]]) -> None:
    sender, reader, rows, epoch = PastSender(PLANT), PastReader(PLANT), 0, 0
    for more, anew in steps:
        rows, epoch = (more, epoch + 1) if anew else (rows + more, epoch)
        events = [
            RunEvent(k * 0.05, "trim", Refused("close", "ride stopped", (f"{k}",)))
            for k in range(rows // 10)
        ]
        past = SeenPast(PLANT)(whole_past(PLANT, rows, *events, epoch=epoch))
        before = reader.past
        sent(sender, reader, past)
        assert same_past(reader.past, past)
        assert (reader.past.epoch == before.epoch) or anew or before.epoch == 0
        assert sender.next(past) is None, "all has been sent"


def test_a_record_that_begins_anew_is_empty_first() -> None:
    sender, reader = PastSender(PLANT), PastReader(PLANT)
    sent(sender, reader, whole_past(PLANT, 30))
    kept = reader.past
    assert sent(sender, reader, whole_past(PLANT, 0, epoch=1)) == 1
    assert reader.past.epoch != kept.epoch
    assert len(reader.past.times) == 0 and len(kept.times) == 30


def test_a_long_record_is_cut_into_pieces() -> None:
    sender, reader = PastSender(PLANT), PastReader(PLANT)
    past = whole_past(PLANT, 2000)
    assert sent(sender, reader, past) == 5
    assert len(reader.past.times) == 2000


def test_channels_without_an_instrument_do_not_leave() -> None:
    """Whatever the link gives: the sender takes the columns that are seen, and no others."""
    one, other = whole_past(PLANT, 40), whole_past(PLANT, 40)
    unseen = [k for k, channel in enumerate(PLANT.channels) if not channel.instrument]
    other.values[:, unseen] = 0.0
    assert PastSender(PLANT).next(one) == PastSender(PLANT).next(other)
    told = RunEvent(
        1.0, "trim_hose_2", FaultInjected(FaultSpec("trim_hose_2", "leak", 0.002, "mm"))
    )
    assert "leak" not in encode("past", PastSender(PLANT).next(whole_past(PLANT, 1, told)))


# whatever else may come

SCALARS = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=20),
    st.sampled_from(["do", "hand", "shelve", "speed", "go", "closed", "live", "read"]),
)  # fmt: skip
ANYTHING = st.recursive(
    SCALARS, lambda inner: st.lists(inner, max_size=6) | st.dictionaries(st.text(), inner),
    max_leaves=30,
)  # fmt: skip


@given(st.one_of(st.text(), st.binary(), ANYTHING.map(json.dumps)))
def test_any_message_is_read_or_refused(message: str | bytes) -> None:
    try:
        kind, _ = decode(message)
    except PackingError:
        return
    assert isinstance(kind, str)


@pytest.mark.parametrize(
    "message", ["[" * 100_000, '["x",' + "9" * 5000 + "]", "", "{}", '["x"]', b'["x", 1]']
)
def test_messages_made_to_hurt(message: str | bytes) -> None:
    with pytest.raises(PackingError):
        unpack_request(decode(message)[1])


@given(ANYTHING)
def test_any_body_is_understood_or_refused(body: Any) -> None:
    for read in (
        unpack_request, unpack_answer, PastReader(PLANT).add, lambda b: unpack_frame(b, PLANT),
    ):  # fmt: skip
        try:
            read(body)
        except PackingError:
            continue


@given(st.data())
def test_a_frame_with_one_thing_changed_is_understood_or_refused(data: st.DataObject) -> None:
    body = over_the_wire(pack_frame(whole_frame(PLANT), PLANT))
    owner: Any = body
    while True:
        at = data.draw(st.integers(0, len(owner) - 1))
        if not isinstance(owner[at], list) or not owner[at] or data.draw(st.booleans()):
            break
        owner = owner[at]
    owner[at] = data.draw(ANYTHING)
    try:
        frame = unpack_frame(body, PLANT)
    except PackingError:
        return
    # what is understood can be drawn
    assert len(frame.zones) == len(PLANT.zones) and len(frame.inputs) == len(PLANT.inputs)
    assert {*frame.isolated, *frame.switched_off} <= PLANT.circuit.components.keys()
    assert seen(frame, PLANT) == frame


@given(st.tuples(st.integers(), st.sampled_from(["do", "hand", "shelve", "speed", "go"]),
                 st.lists(SCALARS, max_size=4)))  # fmt: skip
def test_any_request_is_understood_or_refused(body: tuple[Any, ...]) -> None:
    try:
        _, request = unpack_request(over_the_wire(list(body)) if _plain(body) else list(body))
    except PackingError:
        return
    if isinstance(request, Speed):
        assert 0.1 <= request.factor <= 50.0
    if isinstance(request, Do):
        assert len(request.sentence) <= 200 and request.sentence.isprintable()


def _plain(body: Any) -> bool:
    try:
        encode("x", body)
    except ValueError:
        return False
    return True


@pytest.mark.parametrize(
    "body",
    [
        [1, "do", ["x" * 201]], [1, "do", ["close\ntrim"]], [1, "do", [None]], [1, "do", []],
        [1, "undo", []], [1, "save", ["drill", "p", "n"]], [1, "hide", ["a", "b", True]],
        [1, "hand", ["smell", "trim"]], [1, "speed", [0.0]], [1, "speed", [1e300]],
        [1, "speed", [True]], [1, "go", [-1.0]], [1, "shelve", ["trim", "alarm", 1e9]],
        [1.5, "run", []], [True, "run", []], [2**70, "run", []], [1, "run", [1]], [1, "run"],
    ],
)  # fmt: skip
def test_requests_that_are_refused(body: Any) -> None:
    with pytest.raises(PackingError):
        unpack_request(body)


def test_a_whole_number_may_stand_for_a_decimal() -> None:
    assert unpack_request([1, "go", [3]]) == (1, GoTo(3.0))


@pytest.mark.parametrize("piece", [3, "AA==", "####", "A" * 7])
def test_numbers_of_a_record_that_cannot_be_read(piece: Any) -> None:
    with pytest.raises(PackingError):
        PastReader(PLANT).add([True, piece, piece, []])


def test_times_of_a_record_go_forward() -> None:
    past = whole_past(PLANT, 3)
    back = past._replace(times=past.times[::-1].copy())
    body = PastSender(PLANT).next(back)
    with pytest.raises(PackingError, match="order"):
        PastReader(PLANT).add(body)


def test_packing_knows_its_types() -> None:
    assert unpack(tuple[int, ...], pack((1, 2))) == (1, 2)
    for kind, data in ((int, 1.0), (bool, 1), (float, "1"), (str, 1), (float, float("nan")),
                       (float, float("inf")), (int, True)):  # fmt: skip
        with pytest.raises(PackingError):
            unpack(kind, data)


# the document

SHIPPED = sorted(p.stem for folder in shipped_folders() for p in folder.glob("*.yaml"))


@pytest.mark.parametrize("name", SHIPPED)
def test_the_circuit_arrives_whole(name: str) -> None:
    text = find_document(name).read_text(encoding="utf-8")
    ours, theirs = load(find_document(name)), load_text(bare_document(text, name), "theirs")
    assert theirs.scenarios == {}
    assert theirs.zones.keys() == ours.zones.keys()
    assert theirs.connections == ours.connections or [(c.a, c.b) for c in theirs.connections] == [
        (c.a, c.b) for c in ours.connections
    ]
    one, other = plant_of_circuit(ours), plant_of_circuit(theirs)
    for field in ("nets", "ports", "zones", "brakes", "valves", "meters", "inputs", "outputs",
                  "channels", "cylinders", "supplies"):  # fmt: skip
        assert getattr(one, field) == getattr(other, field), field
    for key, component in ours.components.items():
        said = {"about": theirs.components[key].about}  # type: ignore[attr-defined]
        assert theirs.components[key] == component.model_copy(update=said)  # type: ignore[attr-defined]


def test_nothing_an_author_noted_leaves_with_the_circuit() -> None:
    told = DOCUMENT.replace("components:\n", "components: # the hose leaks\n", 1)
    told = told.replace("about: comes in when", "about: the hose leaks; comes in when", 1)
    assert told.count("the hose leaks") == 2
    bare = bare_document(told, "sand_martin")
    assert "the hose leaks" not in bare and "about" not in bare
    assert "#" not in bare and "every zone cycles" not in bare and "invented" not in bare
    assert "hose leak at noon" in told and "noon" not in bare


def test_a_component_may_be_called_about() -> None:
    text = (
        "ride: {name: R, about: secret}\ncomponents:\n  about: {kind: gauge, about: secret}\n"
        '  "ü": {kind: "x\\"y", n: "\U0001f600"}\n'
    )
    findings_free = bare_document(text, "x")
    assert "secret" not in findings_free
    assert json.loads(findings_free)["components"] == {
        "about": {"kind": "gauge"}, "ü": {"kind": 'x"y', "n": "\U0001f600"},
    }  # fmt: skip
