"""A drill played line by line."""

from __future__ import annotations

import pytest
from drill_rides import BACK, SAFE, play, practice

from pneumo.drill.brief import Brief, Saying
from pneumo.drill.debrief import debrief
from pneumo.drill.entry import (
    Alarmed,
    Answered,
    Fell,
    Found,
    FunctionTested,
    Missed,
    Proved,
    Repaired,
)
from pneumo.drill.practice import Practice
from pneumo.drill.telling import debrief_lines, entry_lines, told
from pneumo.errors import InputError
from pneumo.inspection.evidence import Cycled
from pneumo.zone.event import Refused

LEAK = "fault hose_1 leak 3 mm"


def test_everything_costs_its_minutes_and_the_ride_goes_on_meanwhile() -> None:
    at = practice()
    began = at.play.now
    entry = at.do("listen hose_1")
    assert entry.ended - entry.began == at.ride.circuit.downtime.listen
    assert at.play.now == pytest.approx(began + at.ride.circuit.downtime.listen, abs=1.0)
    assert at.spent == pytest.approx(at.play.now - at.began)


def test_what_alarms_meanwhile_stands_beside_what_was_done() -> None:
    """A command stands at the time when it was given, and the rest is watching."""
    at = practice("fault valve stuck-rest")
    entry = at.do("close trim")
    assert [(alarm.zone, alarm.name) for alarm in entry.alarms] == [("trim", "close time exceeded")]
    after = entry.alarms[0].time - entry.began
    limit = at.ride.circuit.zones["trim"].limits.close
    assert entry.at == entry.began and after == pytest.approx(limit, abs=0.02)
    said = [*entry_lines(entry)]
    assert said == ["Command given.", f"Alarm after {after:.1f} s: trim close time exceeded."]
    waited = at.do("wait 5 min")
    assert (waited.alarms, waited.at) == ((), waited.ended)
    play(at, "give up")
    lines = [*debrief_lines(debrief(at))]
    assert any(line.endswith(f"close trim: {said[1]}") for line in lines)


def test_a_line_that_cannot_be_done_costs_nothing() -> None:
    at = practice()
    before, state = at.play.now, at.play.plant.state().tobytes()
    for line in ("listen hose_9", "lock main", "replace hose_1", "read brake_1.1x", "hint"):
        with pytest.raises(InputError):
            at.do(line)
    assert (at.play.now, at.play.plant.state().tobytes()) == (before, state)
    assert len(at.entries) == 1


def test_a_drill_that_is_solved_is_right() -> None:
    at = practice(LEAK)
    play(at, "close trim", "listen hose_1", "open trim", "finding hose_1 leak", *SAFE,
         "prove hose_1", "refit hose_1", *BACK, "function test", "hand back")  # fmt: skip
    found = debrief(at)
    assert (found.verdict, found.reasons) == ("right", ())
    assert [truth.named for truth in found.truth] == ["named"]
    assert found.truth[0].ended is not None
    assert sum(each.seconds for each in found.minutes) == pytest.approx(found.spent, abs=1.0)


def test_opening_a_part_under_pressure_ends_the_drill() -> None:
    at = practice(LEAK)
    play(at, "close trim", "finding hose_1 leak")
    entry = at.do("replace hose_1")
    assert "pressure" in [danger.hazard for danger in entry.dangers]
    assert not isinstance(entry.result, Repaired)
    assert at.arc.state == "stopped"
    with pytest.raises(InputError, match="The drill is over"):
        at.do("listen hose_1")
    found = debrief(at)
    assert (found.verdict, found.reasons[0]) == ("wrong", "hurt")
    assert found.truth[0].ended is None  # what would have hurt was not done


def test_a_repair_without_lock_out_is_unsafe_even_where_nothing_happens() -> None:
    at = practice(LEAK)
    play(at, "finding hose_1 leak", "refit hose_1", "function test", "hand back")
    found = debrief(at)
    assert (found.verdict, found.reasons) == ("partly right", ("unsafe",))


def test_air_that_comes_back_while_somebody_works_hurts() -> None:
    at = practice(LEAK)
    play(at, "finding hose_1 leak")
    work = at.begin("replace hose_1")
    at.ride.pass_time(next(work) - 60.0)
    at.ride.do("trainee", "close trim")  # a colleague at the desk
    at.ride.pass_time(at.play.now + 60.0)
    assert list(work) == []
    assert at.arc.state == "stopped"


def test_replacing_what_is_sound_ends_nothing_and_is_told() -> None:
    at = practice(LEAK)
    play(at, "finding hose_2 leak", *SAFE, "prove hose_2", "replace hose_2", *BACK,
         "function test", "hand back")  # fmt: skip
    found = debrief(at)
    assert found.verdict == "wrong"
    assert {"not named", "named too much", "not repaired", "repaired for nothing"} <= set(
        found.reasons
    )
    assert [found.entries[i].line for i in found.needless] == ["replace hose_2"]


@pytest.mark.parametrize(
    ("finding", "named", "reason"),
    [
        ("finding hose_1 leak", "named", None),
        ("finding hose_1 leak or hose_1 burst", "named", None),
        ("finding hose_1 leak or hose_2 leak", "among", "only suspected"),
        ("finding hose_1 blocked", "part", "only the part"),
        (
            "finding hose_1 leak or hose_1 burst or hose_1 blocked or hose_2 leak",
            "part",
            "only the part",
        ),
        (
            "finding hose_1 leak or hose_2 leak or supply lost or charged drift",
            "",
            "not named",
        ),
        ("finding valve stuck", "", "not named"),
        ("finding none", "", "not named"),
    ],
)
def test_how_far_a_finding_names_a_fault(finding: str, named: str, reason: str | None) -> None:
    at = practice(LEAK)
    play(at, finding, "hand back")
    found = debrief(at)
    assert found.truth[0].named == named
    assert (reason in found.reasons) if reason else ("not named" not in found.reasons)


def test_two_faults_are_both_to_be_named_and_ended() -> None:
    at = practice(LEAK, "fault valve coil-open")
    play(at, "finding hose_1 leak", *SAFE, "prove hose_1", "refit hose_1", *BACK,
         "function test", "hand back")  # fmt: skip
    found = debrief(at)
    assert found.verdict == "partly right"
    assert {"not named", "not repaired", "function test failed"} <= set(found.reasons)


def test_a_ride_without_a_fault_is_handed_back_untouched() -> None:
    at = play(practice(), "finding none", "function test", "hand back")
    assert debrief(at).verdict == "right"
    at = play(practice(), "finding valve stuck", "function test", "hand back")
    assert debrief(at).verdict == "wrong"


def test_a_function_test_sees_what_the_panel_sees() -> None:
    entry = practice().do("finding none")
    at = practice("fault valve coil-open")
    play(at, "finding none")
    entry = at.do("function test")
    assert isinstance(entry.result, FunctionTested)
    assert Missed("trim", "closed") in entry.result.missed
    assert Alarmed("trim", "close time exceeded") in entry.result.alarms


def test_a_function_test_gives_only_commands_that_are_needed() -> None:
    at = play(practice(), "finding none", "function test")
    assert not any(isinstance(e.what, Refused) for e in at.play.plant.log.events)
    given = [action.text for action in at.ride.actions()]
    assert given == ["close all", "open all", "ride stop", "reset all", "open trim"]
    at = practice("fault valve coil-open", before=("close trim",))
    play(at, "finding none", "function test")  # the alarm stood before it, and comes again
    assert [action.text for action in at.ride.actions()].count("acknowledge all") == 2


@pytest.mark.parametrize("said", ["fault hose_1 leak 1 mm", "clear valve coil-open", "close trim"])
def test_a_function_test_is_void_when_somebody_else_acts_on_the_ride(said: str) -> None:
    at = play(practice("fault valve coil-open"), "finding none")
    work = at.begin("function test")
    for number, until in enumerate(work):
        at.ride.pass_time(until)
        if number == 1:
            at.ride.do("trainer", said)
    result = at.entries[-1].result
    assert isinstance(result, FunctionTested) and result.void and not result.passed
    at.do("hand back")
    assert "no function test" in debrief(at).reasons


def test_what_was_said_is_one_line_of_the_log() -> None:
    entry = practice().do("ask  noise\n0:00:00 hand back\x1b[2J")
    assert entry.line == "ask noise 0:00:00 hand back?[2J"


def test_what_is_left_behind_is_told() -> None:
    at = play(practice(), *SAFE, "block brake_1", "finding none",
              "hand back")  # fmt: skip
    left = {(each.how, each.name) for each in debrief(at).left}
    assert {("locked", "main"), ("locked", "feed"), ("off", "main"), ("off", "feed"),
            ("blocked", "brake_1")} <= left  # fmt: skip


def test_forcing_does_not_repair() -> None:
    at = practice("fault valve coil-open")
    play(at, "finding valve stuck", "force charged on", "function test", "hand back")
    found = debrief(at)
    assert found.verdict != "right"
    assert ("forced", "charged") in {(each.how, each.name) for each in found.left}


def test_a_gauge_that_is_watched_shows_what_is_lost() -> None:
    at = practice(LEAK, before=("close trim",))
    play(at, "open trim", *SAFE, "prove manifold", "fit gauge manifold.2", *BACK, "close trim")
    entry = at.do("decay manifold.2 for 20 s")
    assert isinstance(entry.result, Fell)
    assert entry.ended - entry.began == at.ride.circuit.downtime.decay + 20.0
    # the regulated supply holds it; with the shut-off valve turned it would vent
    assert entry.result.first.shown == pytest.approx(entry.result.last.shown, abs=0.05e5)


def test_zero_is_proved_only_where_there_is_none() -> None:
    at = practice(before=("close trim",))
    entry = at.do("prove hose_1")
    assert isinstance(entry.result, Proved)
    assert not entry.result.zero
    assert entry.result.shown[0].pressure == pytest.approx(5e5, rel=0.02)
    assert at.site.proved == {}


@pytest.mark.parametrize(
    ("hidden", "lamp", "clicked"),
    [((), True, True), (("fault valve stuck",), True, False),
     (("fault valve output-stuck-off",), False, False), (("fault feed lost",), False, False)],
)  # fmt: skip
def test_a_valve_is_switched_alone_and_heard(
    hidden: tuple[str, ...], lamp: bool, clicked: bool
) -> None:
    entry = practice(*hidden).do("cycle valve.14")
    assert isinstance(entry.result, Found)
    assert entry.result.evidence == Cycled("valve.14", lamp, clicked, clicked, (), idle=False)


def test_what_was_forced_before_is_forced_after_a_valve_was_cycled() -> None:
    for word, on in (("on", True), ("off", False)):
        at = play(practice(), f"force valve.14 {word}", "cycle valve.14")
        assert at.play.actors.controller.forced_outputs == {("valve", "14"): on}
    assert play(practice(), "cycle valve.14").play.actors.controller.forced_outputs == {}


def test_operator_log_book_and_hints_say_what_the_drill_says() -> None:
    brief = Brief(answers=(Saying("noise", "It hisses."),), log_book=("Mon: hose changed",),
                  hints=("Listen.",))  # fmt: skip
    at = practice(brief=brief)

    def said(line: str) -> tuple[str, ...]:
        result = at.do(line).result
        assert isinstance(result, Answered)
        return result.lines

    assert said("ask noise") == ("It hisses.",)
    assert said("ask weather") == ()
    assert said("log book") == ("Mon: hose changed",)
    assert said("hint") == ("Listen.",)
    with pytest.raises(InputError, match="no further hint"):
        at.do("hint")


def test_the_same_lines_give_the_same_entries() -> None:
    lines = ("close trim", "listen hose_1", "look brake_1", "finding hose_1 leak", "hand back")
    one, two = (play(practice(LEAK), *lines) for _ in range(2))
    assert one.entries == two.entries
    assert debrief(one) == debrief(two)


def test_what_was_done_after_the_time_that_the_ride_was_set_back_to_does_not_count() -> None:
    at = play(practice(LEAK), "finding hose_1 leak", "isolate main", "wait 10 s")
    session, waited = at.ride, at.play.now
    play(at, "lock main", "prove hose_1", "replace hose_2", "function test", "ask")
    assert at.arc.state == "tested" and "main" in at.site.locked
    stopped = at.play.now
    while (back := session.fall_back()) > waited:  # type: ignore[attr-defined]
        pass
    entry = at.set_back(stopped - back)
    assert "was set back by 3 min" in told(entry.result) and entry.ended == back
    assert at.arc.state == "finding stated" and not (at.site.locked or at.site.proved)
    play(at, "lock main", "prove hose_1", "refit hose_1", "unlock main", "restore main",
         "function test", "hand back")  # fmt: skip
    found = debrief(at)
    assert (found.verdict, found.needless, found.reasons) == ("right", (), ())
    assert [found.entries[i].line for i in found.undone] == [
        "wait 10 s", "lock main", "prove hose_1", "replace hose_2", "function test", "ask",
    ]  # fmt: skip
    assert any("replace hose_2 (does not count)" in line for line in debrief_lines(found))
    assert sum(each.seconds for each in found.minutes) == pytest.approx(found.spent, abs=1.0)
    # a record gives the same back
    again = Practice(session, at.brief)
    again.resume(at.entries, at.began)
    assert (again.arc.state, again.site) == (at.arc.state, at.site)


# whoever wants to win without finding anything


def everything(at: Practice) -> str:
    """A finding that names every fault that there can be."""
    parts = at.ride.circuit.components.items()
    faults = [f"{name} {mode.name}" for name, part in parts for mode in part.fault_modes()]
    return " and ".join(faults)


def test_to_name_all_is_to_name_nothing() -> None:
    every = everything(practice())
    for finding in (every, every.replace(" and ", " or ")):
        at = play(practice(LEAK), f"finding {finding}", *SAFE, "prove hose_1", "refit hose_1",
                  *BACK, "function test", "hand back")  # fmt: skip
        assert debrief(at).verdict == "wrong"


def test_two_parts_named_for_one_fault_are_half_right() -> None:
    at = play(practice(LEAK), "finding hose_1 leak and hose_2 leak", "hand back")
    found = debrief(at)
    assert found.verdict == "partly right" and "named too much" in found.reasons


def test_handing_back_before_the_fault_comes_finds_nothing() -> None:
    at = play(practice("in 30 min: fault hose_1 leak 3 mm"), "finding none", "function test",
              "hand back")  # fmt: skip
    found = debrief(at)
    assert found.verdict == "wrong" and {"not named", "not repaired"} <= set(found.reasons)
    assert any("it was still to come" in line for line in debrief_lines(found))
    # what the trainer says later for later is no part of the task before it comes
    at = play(practice(), "wait 5 s")
    at.ride.do("trainer", "in 30 min: fault hose_1 leak 3 mm")
    assert debrief(play(at, "finding none", "function test", "hand back")).verdict == "right"


def test_a_function_test_repeated_until_it_passes_repairs_nothing() -> None:
    at = play(practice("fault open_1 stuck-off every 200 s for 60 s"), "finding none")
    for _ in range(6):
        if at.do("function test").result.passed:  # type: ignore[union-attr]
            break
        at.do("wait 10 s")
    assert at.entries[-1].result.passed  # type: ignore[union-attr]
    found = debrief(play(at, "hand back"))
    assert found.verdict == "wrong" and {"not named", "not repaired"} <= set(found.reasons)


def test_replacing_every_part_is_told_of_each_that_was_sound() -> None:
    at = play(practice(LEAK), "finding hose_1 leak", *SAFE, "prove hose_1", "prove hose_2",
              "replace hose_1", "replace hose_2", "replace charged", *BACK, "function test",
              "hand back")  # fmt: skip
    found = debrief(at)
    assert found.verdict == "partly right" and len(found.needless) == 2
    assert {"repaired for nothing", "unsafe"} <= set(found.reasons)


def test_plugs_that_were_swapped_and_not_put_back_are_told() -> None:
    at = practice(name="03_redundant_series_valves")
    play(at, "permit", "swap valve_a.14 valve_b.14", "finding none", "hand back")
    left = {(each.how, each.name) for each in debrief(at).left}
    assert left == {("swapped", "valve_a.14"), ("swapped", "valve_b.14")}


def test_nothing_happens_after_an_accident() -> None:
    at = play(practice(LEAK), "close trim", "finding hose_1 leak", "replace hose_1")
    before = at.play.now
    for line in ("wait 5 min", "open trim", "hand back", "finding none", "begin", "give up", "ask"):
        with pytest.raises(InputError, match="The drill is over"):
            at.do(line)
    assert at.play.now == before


def test_what_the_trainer_takes_back_is_neither_missed_nor_named_wrongly() -> None:
    for finding in ("none", "hose_1 leak"):
        at = play(practice(LEAK), "listen hose_1")
        at.ride.do("trainer", "clear hose_1 leak")
        play(at, f"finding {finding}", "function test", "hand back")
        assert "named too much" not in debrief(at).reasons and debrief(at).truth == ()
