"""A drill as a plain dialogue."""

from __future__ import annotations

import pytest
from drill_rides import practice

from pneumo.drill.brief import Brief, Saying
from pneumo.drill.practice import Practice
from pneumo.errors import InputError
from pneumo.live.dialogue import Dialogue

BRIEF = Brief(
    level=2, par=2700.0, complaint="It hisses at the trim brakes.", normal="Closed within 1 s.",
    at_hand="A gauge.", answers=(Saying("noise", "Since this morning."),),
)  # fmt: skip


def dialogue(*hidden: str, began: bool = True) -> Dialogue:
    at: Practice = practice(*hidden, brief=BRIEF, began=began)
    return Dialogue(at.ride, at, "A hiss")  # type: ignore[arg-type]


def said(talk: Dialogue, *lines: str) -> list[str]:
    return [told for line in lines for told in talk.say(line)]


def test_it_opens_with_the_briefing_and_tells_no_fault() -> None:
    talk = dialogue("fault hose_1 leak 8 mm", began=False)
    opening = "\n".join(talk.opening())
    for words in ("A hiss", "Level 2 of 5", BRIEF.complaint, BRIEF.normal, "45 min"):
        assert words in opening
    assert "hose_1" not in opening
    with pytest.raises(InputError, match="Begin the drill first"):
        said(talk, "listen hose_1")


def test_what_costs_nothing_leaves_the_clock() -> None:
    talk = dialogue()
    before = talk.practice.play.now
    for line in ("help", "panel", "briefing", "evidence", "parts", "parts hose", "faults hose_1"):
        assert said(talk, line), line
    assert talk.practice.play.now == before
    assert len(talk.practice.entries) == 1


def test_a_part_is_told_with_what_it_is_joined_to_and_fed_by() -> None:
    told = said(dialogue(), "parts valve")
    assert any("port 1: " in line for line in told) and any("fed by feed" in line for line in told)


def test_all_that_help_offers_can_be_said() -> None:
    """The first word of every form is one that is understood."""
    talk = dialogue()
    words = " ".join(said(talk, "help"))
    assert all(len(line) <= 76 for line in said(talk, "help")), "it fits a page of 80 columns"
    for word in ("unlock", "restore", "switch on", "unblock", "permit", "reconnect", "faults"):
        assert word in words


def test_asked_for_all_the_operator_says_what_each_answer_is_about() -> None:
    assert "The operator: Noise? Since this morning." in said(dialogue(), "ask")
    assert "The operator: Since this morning." in said(dialogue(), "ask noise")


def test_the_debrief_says_what_a_fault_does_and_why_a_test_showed_nothing() -> None:
    talk = dialogue("fault hose_1 leak 8 mm")
    said(talk, "soap hose_2", "finding hose_1 leak", "function test")
    told = said(talk, "hand back")
    truth = next(line for line in told if "hose_1 leak 8 mm" in line)
    assert "it is still there" in truth and "Continuous leak" in truth
    assert any("soap hose_2: no air stood behind it" in line for line in told)


def test_the_panel_is_that_of_the_trainee() -> None:
    talk = dialogue("fault hose_1 leak 8 mm")
    panel = "\n".join(said(talk, "panel"))
    assert "trim: open" in panel and "leak" not in panel


def test_a_caution_is_shown_once_and_before_the_act() -> None:
    talk = dialogue()
    first, second = said(talk, "listen hose_1"), said(talk, "listen hose_2")
    assert first[0].startswith("CAUTION") and first[-1].startswith("At hose_1")
    assert not any(line.startswith("CAUTION") for line in second)
    assert any("CAUTION" in line for line in said(talk, "isolate main"))


def test_a_command_tells_what_the_panel_showed_meanwhile() -> None:
    told = said(dialogue(), "close trim")
    assert any("trim: open -> closing" in line for line in told)
    assert any("trim: closing -> closed" in line for line in told)


def test_what_is_hidden_is_told_at_the_end_and_not_before() -> None:
    talk = dialogue("fault hose_1 leak 8 mm")
    before = said(talk, "close trim", "open trim", "evidence", "finding hose_2 leak")
    assert not any("hose_1" in line for line in before)
    after = "\n".join(said(talk, "hand back"))
    assert "WRONG" in after and "hose_1 leak 8 mm" in after
    assert talk.is_over()


def test_a_slip_is_told_and_changes_nothing() -> None:
    talk = dialogue()
    for line in ("lissen hose_1", "listen hose_9", "lock main", "faults nope"):
        with pytest.raises(InputError):
            said(talk, line)
    assert len(talk.practice.entries) == 1


def test_every_line_that_goes_to_the_machine_has_its_cautions() -> None:
    for line in ("prove hose_1", "cycle valve.14", "fit gauge hose_1.2", "function test"):
        talk = dialogue()
        said(talk, "finding none")
        assert said(talk, line)[0].startswith("CAUTION"), line


def test_a_line_that_is_refused_uses_up_no_caution() -> None:
    talk = dialogue()
    with pytest.raises(InputError):
        said(talk, "replace hose_1")  # no finding yet
    said(talk, "finding hose_1 leak")
    assert any("codes" in line for line in said(talk, "replace hose_1"))


@pytest.mark.parametrize("name", ["whimbrel", "turnstone", "sand_martin"])
def test_the_panel_of_a_large_ride_fits_a_small_terminal(name: str) -> None:
    at = practice(name=name, before=("open all", "power off"))
    talk = Dialogue(at.ride, at, "Large")  # type: ignore[arg-type]
    lines = said(talk, "panel")
    assert len(lines) <= 23 and max(map(len, lines)) < 80, "\n".join(lines)


def test_the_panel_of_one_zone_tells_what_is_on_and_what_is_off() -> None:
    talk = dialogue()
    whole, trim = said(talk, "panel"), said(talk, "panel trim")
    assert "inputs ON: open_{1..2}" in whole
    assert trim == [
        "trim: open (command: vent)",
        "inputs ON: open_1, open_2",
        "inputs OFF: charged, closed_1, closed_2",
        "outputs off: valve.14",
    ]
    gates = practice(name="10_station_gates")
    talk = Dialogue(gates.ride, gates, "Gates")  # type: ignore[arg-type]
    assert said(talk, "panel station_gates") == [
        "station_gates:", "inputs ON: shut_1, shut_2", "outputs off: valve.14",
    ]  # fmt: skip
    with pytest.raises(
        InputError, match=r"no zone or group of gates 'trimm'\. Did you mean 'trim'"
    ):
        said(dialogue(), "panel trimm")
