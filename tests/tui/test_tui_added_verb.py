"""A verb is added as the guide says: a record, its row, its effect; all the rest follows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import pytest
from documents import shipped_text
from tui_toys import FakeLink, plant_of

from pneumo.circuit.action import _Said
from pneumo.circuit.sentence import SentenceError, parse_action, touched
from pneumo.circuit.validate import load_text
from pneumo.circuit.verbs import VERBS, Choice, Part, Verb, disturbs, row_of, said
from pneumo.live.cautions import act_cautions
from pneumo.live.session import Session
from pneumo.scenario.actor import Actors
from pneumo.scenario.event import Commanded
from pneumo.scenario.perform import perform
from pneumo.scenario.plant import Plant
from pneumo.scenario.telling import told
from tui import palette, sentences
from tui.views.hands import possible

BLOCK = "02_spring_close_single"


@dataclass(frozen=True)
class Jam(_Said):
    """The handle of a shut-off valve is wedged half way, or taken out of its wedge."""

    component: str
    wedged: bool


ROW = Verb(
    "jam", (Part("component", "turnable"), Choice("wedged", {"in": True, "out": False}, "a wedge")),
    ("jam NAME in",), (Jam,), "hand", "wedges the handle", cautions=("codes", "jaws"),
    disturbs="in",
)  # fmt: skip


def _wedge(action: Jam, plant: Plant, actors: Actors) -> None:
    plant.say(action.component, Commanded(action))  # type: ignore[arg-type]
    row = next(iter(plant.compiled.parts[action.component].restrictions.values()))
    plant.controls.alter(("restriction", row, "open_max"), 0.5 if action.wedged else None)


@pytest.fixture(autouse=True)
def jam(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The three things that the guide asks for, taken away again after each test."""
    monkeypatch.setitem(VERBS, "jam", ROW)
    perform.register(Jam, _wedge)
    yield
    # a registry of singledispatch has no way to take a type out; nobody else makes a Jam


def test_it_is_read_said_back_judged_and_refused() -> None:
    circuit = load_text(shipped_text(BLOCK), BLOCK)
    action = parse_action("jam main in", circuit.components, circuit.zones)
    assert action == Jam("main", True)
    assert said(action) == action.text == "jam main in"
    assert touched(action) == ("main",)
    assert disturbs(action) and not disturbs(Jam("main", False))
    with pytest.raises(SentenceError, match=r"Write \'jam NAME in\'"):
        parse_action("jam main", circuit.components, circuit.zones)
    assert row_of(action).is_for("trainee")
    assert act_cautions("jam main in")


def test_it_is_offered_everywhere() -> None:
    link = FakeLink(plant_of(BLOCK), "trainee")
    plant, frame = link.plant, link.frame
    assert "jam" in sentences.next_words("", plant, frame, "trainee")
    assert sentences.next_words("jam main ", plant, frame, "trainee") == ("in", "out")
    lines = {act.words: act.about for act in palette.sentence_acts(link)}
    assert lines["jam main in"] == lines["jam main out"] == "wedges the handle"
    by_hand = {act.words: act for act in possible(plant, frame) if act.group == "by hand"}
    ((where, _),) = by_hand["jam in"].targets(plant, frame)
    assert by_hand["jam in"].request(where).sentence == "jam main in"


def test_it_is_done_undone_and_in_the_journal() -> None:
    text = shipped_text(BLOCK)
    session = Session(load_text(text, BLOCK), text)
    row = next(iter(session.compiled.parts["main"].restrictions.values()))
    session.advance(1.0)
    session.do("trainer", "jam main in")
    assert session.play.plant.network.restriction[row]["open_max"] == 0.5
    assert [act.sentence for act in session.acts.journal] == ["jam main in"]
    assert "jam main in" in [told(event.what) for event in session.play.plant.log.events]
    session.undo()
    assert session.play.plant.network.restriction[row]["open_max"] == 1.0


def test_the_palette_says_every_line_once() -> None:
    link = FakeLink(plant_of("sand_martin"))
    lines = [act.sentence for act in palette.sentence_acts(link)]
    assert len(lines) == len(set(lines))
    circuit = link.plant.circuit
    for line in lines[:400]:
        parse_action(line, circuit.components, circuit.zones, circuit.gates)
    assert {line.split()[0] for line in lines} >= set(VERBS) - {"clear"}
