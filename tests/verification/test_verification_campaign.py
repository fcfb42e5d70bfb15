"""Tests of pneumo/verification/campaign.py: its cases, and that it finds what was broken."""

from __future__ import annotations

import pickle
import random
import shlex
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache, partial
from typing import Any

import pytest
from verification_bench import CIRCUITS, changed, shipped

import pneumo.api
import pneumo.scenario.controller
import pneumo.verification.campaign
import pneumo.zone.logic
from pneumo import cli
from pneumo.circuit.action import FaultSpec, Inject
from pneumo.circuit.circuit import Circuit, Event
from pneumo.circuit.validate import load
from pneumo.network.compile import compile_circuit
from pneumo.pool import run_all
from pneumo.scenario.plant import SimulationError
from pneumo.scenario.play import Play
from pneumo.verification.campaign import (
    Campaign,
    Job,
    Result,
)
from pneumo.verification.case import CONDITIONS, Injection, Loss
from pneumo.verification.plan import READY, preparation
from pneumo.verification.verdict import Case, Outcome
from pneumo.verification.wording import case_words, injection_words
from pneumo.zone.event import StateEntered
from pneumo.zone.machine import TABLE, ZoneMachine
from pneumo.zone.ride import RideLogic

ONE_VALVE, SERIES, STORED = (
    "02_spring_close_single", "03_redundant_series_valves", "04_stored_air_behind_check",
)  # fmt: skip


@cache
def results(name: str) -> tuple[Result, ...]:
    """The whole campaign of a small circuit, run in this process."""
    return flat(run_all(Campaign(shipped(name))))


def flat(found: Iterator[tuple[Result, ...]]) -> tuple[Result, ...]:
    """The results of all jobs."""
    return tuple(result for done in found for result in done)


def selection(circuit: Circuit, *beginnings: str) -> tuple[Case, ...]:
    """The cases of the trials whose names begin so."""
    campaign = Campaign(circuit)
    jobs = [
        job
        for job in campaign.jobs()
        if injection_words(job.trial.injection).startswith(beginnings)
    ]
    assert jobs
    return tuple(result.case for job in jobs for result in campaign.run(job))


def worst(cases: tuple[Case, ...]) -> str:
    """The worst verdict of some cases."""
    return max((case.worst for case in cases), key=("safe", "late", "unsafe").index)


# what a campaign consists of


def test_names_stay_unique_where_a_zone_does_not_get_where_it_should() -> None:
    # with so little air the jaws never open: the zone is faulted in every condition
    circuit = changed(ONE_VALVE, ("pressure: 5.5 bar", "pressure: 1 bar"))
    cases = selection(circuit, "no fault", "valve stuck-rest", "hose_1 burst")
    names = [case_words(case) for case in cases]
    assert len(names) == len(set(names))
    assert "hose_1 burst / open, faulted" in names
    # on some ways it passes no state of a movement, and is injected there all the same
    for event in ("no fault", "valve stuck-rest", "hose_1 burst"):
        own = [case for case in cases if injection_words(case.injection) == event]
        assert [case.injected_during for case in own] == list(CONDITIONS)
        assert all(case.calculated for case in own)
        assert {case.injected_at for case in own} >= {READY}


def test_every_trial_is_injected_in_every_condition_and_on_the_way_in_every_state() -> None:
    campaign = Campaign(shipped(ONE_VALVE))
    injected: dict[str, dict[str, list[str]]] = {}
    for result in results(ONE_VALVE):
        case = result.case
        event = injection_words(case.injection)
        states = injected.setdefault(event, {}).setdefault(case.injected_during, [])
        states.append(case.outcomes[0].injected_during)
    assert set(injected) == {injection_words(trial.injection) for trial in campaign.trials}
    for conditions in injected.values():
        assert list(conditions) == list(CONDITIONS)
    assert injected["hose_1 burst"] == {
        "open": ["open"],
        "to closed": ["venting", "closing"],
        "closed": ["closed"],
        "to open": ["opening"],
    }


def test_a_movement_is_injected_in_the_middle_of_each_state() -> None:
    injected = {
        result.case.outcomes[0].injected_during: result.case.injected_at
        for result in results(ONE_VALVE)
        if injection_words(result.case.injection) == "hose_1 burst"
        and result.case.injected_during.startswith("to ")
    }
    for condition, states in (("to closed", ("venting", "closing")), ("to open", ("opening",))):
        play = Play(compile_circuit(shipped(ONE_VALVE)))
        play.schedule(Event(at, action) for at, action in preparation(condition))  # type: ignore[arg-type]
        play.advance(2 * READY)
        for state in states:
            taken = [
                (e.time, e.what)
                for e in play.plant.log.events
                if isinstance(e.what, StateEntered) and e.time >= READY
            ]
            (start,) = (time for time, what in taken if what.entered == state)
            (end,) = (time for time, what in taken if what.left == state)
            assert injected[state] == pytest.approx(0.5 * (start + end), abs=1e-3)


def test_what_injects_several_zones_on_their_way_injects_them_while_they_move() -> None:
    moving = {"opening", "closing", "venting"}
    injected = [
        {outcome.injected_during for outcome in result.case.outcomes}
        for result in results("08_pilot_supply")
        if injection_words(result.case.injection) == "loss of power"
        and result.case.injected_during.startswith("to ")
    ]
    assert len(injected) == 2, "once each way"
    assert all(states <= moving for states in injected)


@pytest.mark.parametrize("name", [ONE_VALVE, "08_pilot_supply"])
def test_a_case_goes_on_until_everything_is_decided(name: str) -> None:
    for result in results(name):
        assert all(outcome.decided for outcome in result.case.outcomes), case_words(result.case)


def test_the_record_of_a_case_says_what_was_done_and_what_it_does() -> None:
    cases = {case_words(result.case): result.case for result in results(ONE_VALVE)}
    leak = cases["hose_1 leak 2 mm / open"]
    assert leak.injection == Injection(faults=(FaultSpec("hose_1", "leak", 0.002, "mm"),))
    assert (leak.injection.kind, leak.state, leak.demand_at) == ("fault", "open", READY + 2.0)
    assert "leak" in leak.effect and leak.standard
    assert leak.represents == ("hose_1", "hose_2"), "one stands for its twin"
    assert leak.events == (
        (0.0, "open all"), (READY, "fault hose_1 leak 2 mm"), (READY + 2.0, "ride stop")
    )  # fmt: skip
    assert (leak.injected_at, leak.limit_from) == (READY, READY + 2.0)
    power = cases["loss of power / open"]
    assert (power.injection, power.effect) == (Injection(loss=Loss("power")), "")
    assert (power.injected_at, power.limit_from) == (READY, READY), "nobody has to ask"


def test_every_zone_is_judged_in_every_case() -> None:
    for result in results("08_pilot_supply"):
        assert [outcome.zone for outcome in result.case.outcomes] == ["block", "holding"]


def test_a_case_that_is_not_safe_has_its_trace_and_a_safe_one_has_none() -> None:
    for result in results(ONE_VALVE):
        assert (result.trace is None) == (result.case.worst == "safe")
        if result.trace is not None:
            case, trace = result.case, result.trace
            assert trace.case == case
            assert trace.time[0] == pytest.approx(case.injected_at, abs=0.021)
            assert trace.time[-1] > case.limit_from + case.outcomes[0].limit
            lengths = {len(line) for lines in (trace.pressure, trace.position, trace.force)
                       for line in lines.values()}  # fmt: skip
            assert lengths == {len(trace.time)}


def test_the_trace_of_a_stuck_valve_shows_open_jaws_under_pressure() -> None:
    name = "valve stuck-actuated / open"
    trace = next(r.trace for r in results(ONE_VALVE) if case_words(r.case) == name)
    assert trace is not None
    assert min(trace.pressure["block"]) > 5e5
    assert min(trace.position["block"]) > 1e-3 and max(trace.force["block"]) == 0.0


def test_select() -> None:
    campaign = Campaign(shipped("07_quick_exhaust"))
    every = campaign.trials
    campaign.select(zones=["quick"])
    assert {trial.zone for trial in campaign.trials} == {"quick", None}
    assert [t for t in every if t.zone in ("quick", None)] == list(campaign.trials)
    campaign.select(faults=False)
    assert {trial.injection.kind for trial in campaign.trials} == {"none", "loss"}


# replay


def again(case: Case, monkeypatch: pytest.MonkeyPatch) -> tuple[int, tuple[Outcome, ...]]:
    """Exit code and verdicts of a case's own replay command."""
    seen: list[tuple[Outcome, ...]] = []
    judged = pneumo.api.judged

    def watched(play: Play) -> tuple[Outcome, ...]:
        seen.append(judged(play))
        return seen[-1]

    monkeypatch.setattr(pneumo.api, "judged", watched)
    program, *arguments = shlex.split(case.replay)
    assert program == "pneumo"
    code = cli.main(arguments)
    monkeypatch.undo()
    (outcomes,) = seen
    return code, outcomes


def close(a: float | None, b: float | None, within: float) -> bool:
    """Both are None, or they are close."""
    return a is b if a is None or b is None else abs(a - b) <= within


def check_replay(case: Case, monkeypatch: pytest.MonkeyPatch) -> None:
    """The replay command of a case shows the same."""
    code, outcomes = again(case, monkeypatch)
    assert code == (0 if case.worst == "safe" else 1), case.replay
    for before, after in zip(case.outcomes, outcomes, strict=True):
        assert (after.zone, after.verdict) == (before.zone, before.verdict), case.replay
        assert close(before.reached_after, after.reached_after, 1e-3), case.replay
        assert close(before.lost_after, after.lost_after, 0.05), case.replay
        assert after.indicated == before.indicated, case.replay


@pytest.mark.parametrize(("name", "every"), [(STORED, 9), ("01_spring_open_single", 7)])
def test_the_replay_command_shows_the_same(
    name: str, every: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    losses = [r.case for r in results(name) if r.case.injection.kind != "fault"]
    faults = [r.case for r in results(name) if r.case.injection.kind == "fault"][::every]
    assert {case.injected_during for case in faults} == set(CONDITIONS)
    assert len({case.worst for case in (*losses, *faults)}) > 1
    for case in (*losses, *faults):
        check_replay(case, monkeypatch)


def test_the_replay_command_of_a_ride_shows_the_same(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    campaign = Campaign(shipped("sand_martin"))
    wanted = [("loss of air and power", "to closed"), ("storage_accumulator burst", "to open")]
    for job in campaign.jobs():
        if (injection_words(job.trial.injection), job.condition) in wanted:
            for result in campaign.run(job):
                check_replay(result.case, monkeypatch)


def test_a_path_with_blanks_is_quoted(tmp_path: Any) -> None:
    text = (CIRCUITS / f"{ONE_VALVE}.yaml").read_text(encoding="utf-8")
    path = tmp_path / "it's our ride.yaml"
    path.write_text(text, encoding="utf-8")
    campaign = Campaign(load(path))
    (result,) = campaign.run(campaign.jobs()[0])
    assert shlex.split(result.case.replay)[:3] == ["pneumo", "run", str(path)]


def test_a_campaign_that_is_sent_keeps_its_selection() -> None:
    campaign = Campaign(shipped("07_quick_exhaust"))
    campaign.select(zones=["quick"], faults=True)
    twin = pickle.loads(pickle.dumps(campaign))
    assert twin.circuit == campaign.circuit
    assert [injection_words(trial.injection) for trial in twin.trials] == [
        injection_words(trial.injection) for trial in campaign.trials
    ]


# what cannot be calculated


def stopping(monkeypatch: pytest.MonkeyPatch, where: Callable[[Play], bool]) -> None:
    """Every run that is advanced where a condition holds stops there."""
    advance = Play.advance

    def stops(self: Play, until: float) -> None:
        advance(self, until)
        if where(self):
            raise SimulationError("No step is short enough.")

    monkeypatch.setattr(Play, "advance", stops)


def has(component: str, mode: str) -> Callable[[Play], bool]:
    """The fault stands."""
    return lambda play: (
        (component, mode)
        in [(fault.component, fault.mode) for fault, _ in play.actors.faults.standing]
    )


def test_a_case_that_cannot_be_calculated_is_a_result_and_all_others_are_as_before(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    before = results(ONE_VALVE)
    stopping(monkeypatch, has("valve", "stuck-rest"))
    found = flat(run_all(Campaign(shipped(ONE_VALVE))))
    missing = [result for result in found if result.case.trouble]
    assert [case_words(result.case) for result in found] == [
        case_words(result.case) for result in before
    ]
    assert len(missing) == 5 and {result.case.injection.faults[0].mode for result in missing} == {
        "stuck-rest"
    }
    for result, known in zip(found, before, strict=True):
        if result not in missing:
            assert result == known
            continue
        case = result.case
        assert case.trouble == "No step is short enough." and result.trace is None
        assert case.worst == "not calculated"
        (outcome,) = case.outcomes
        assert (outcome.verdict, outcome.decided, outcome.trouble) == (
            "not calculated", False, case.trouble,
        )  # fmt: skip
        assert outcome.injected_during == known.case.outcomes[0].injected_during
        same = {"outcomes": (), "replay": "", "trouble": ""}
        assert replace(case, **same) == replace(known.case, **same)  # type: ignore[arg-type]
        assert (outcome.demanded_at, outcome.limit) == (
            case.limit_from,
            known.case.outcomes[0].limit,
        )
        assert case.replay.partition("--until")[0] == known.case.replay.partition("--until")[0]


def test_a_case_is_calculated_when_only_the_run_without_its_fault_cannot_be(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    circuit = shipped("08_pilot_supply")
    jobs = [
        j
        for j in Campaign(circuit).jobs()
        if injection_words(j.trial.injection).startswith("block_valve slow")
    ]
    sound = [Campaign(circuit, replayed=False).run(job) for job in jobs]

    def alone(play: Play) -> bool:
        return play.now > READY + 1.0 and not play.actors.faults.standing

    stopping(monkeypatch, alone)
    campaign = Campaign(circuit)
    for job, known in zip(jobs, sound, strict=True):
        if job.condition in ("open", "closed"):
            assert campaign.run(job) == known


def test_zones_that_cannot_be_brought_to_a_state_leave_a_result_for_each_case(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    tried: list[float] = []

    def stops(self: Play, until: float) -> None:
        tried.append(until)
        raise SimulationError("No step is short enough.")

    monkeypatch.setattr(Play, "advance", stops)
    campaign = Campaign(shipped(ONE_VALVE))
    campaign.select(faults=False)
    found = flat(run_all(campaign))
    assert {result.case.worst for result in found} == {"not calculated"}
    assert [result.case.injected_during for result in found] == [
        job.condition for job in campaign.jobs()
    ]
    assert {result.case.trouble for result in found} == {
        "Before the event: No step is short enough."
    }
    assert len(tried) < len(found), "what cannot be reached is tried once, not for every case"
    first, second = campaign.untested()
    assert first.startswith("The zones could not be brought to open without any fault: ")
    assert "closed" in second


def test_an_error_of_the_program_costs_its_case_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    judge = pneumo.verification.campaign.judge

    def fails(play: Play, *rest: Any) -> Outcome:
        if play.actors.faults.standing:
            raise ZeroDivisionError("division by zero")
        return judge(play, *rest)

    monkeypatch.setattr(pneumo.verification.campaign, "judge", fails)
    campaign = Campaign(shipped(ONE_VALVE))
    jobs = [job for job in campaign.jobs() if job.condition == "open"]
    sound, broken = jobs[0], next(job for job in jobs if job.trial.injection.kind == "fault")
    assert campaign.run(sound)[0].case.worst == "safe"
    (result,) = campaign.run(broken)
    assert result.case.worst == "not calculated"
    assert result.case.trouble == "The program failed (ZeroDivisionError: division by zero)."
    assert "raise ZeroDivisionError" in result.failure


# what is found


def found_in(name: str, case: str) -> Outcome:
    """The outcome of the only zone in a case."""
    (outcome,) = next(r.case.outcomes for r in results(name) if case_words(r.case) == case)
    return outcome


def test_a_fault_that_changes_nothing_is_safe_and_undetected() -> None:
    # the check valve no longer seats: as long as the supply is there nothing shows
    outcome = found_in(STORED, "check stuck-open 100 % / closed")
    assert (outcome.verdict, outcome.detected, outcome.alarm) == ("safe", False, "")


def test_a_fault_that_the_logic_sees_is_detected_though_safe() -> None:
    outcome = found_in(ONE_VALVE, "closed_1 stuck-on / open")
    assert (outcome.verdict, outcome.detected) == ("safe", True)
    assert outcome.alarm == "switches disagree"


def test_a_missing_check_valve_is_found() -> None:
    event = "loss of air: header vented"
    assert worst(selection(shipped(STORED), event)) == "safe"
    check = next(line for line in (CIRCUITS / f"{STORED}.yaml").read_text().splitlines()
                 if line.startswith("  check:"))  # fmt: skip
    without = changed(STORED, (check, "  check: {kind: pipe, length: 0.3 m, bore: 13 mm}"))
    assert worst(selection(without, event)) == "unsafe"
    assert worst(selection(without, "no fault")) == "safe"


def test_a_second_valve_that_is_not_commanded_to_vent_is_found() -> None:
    events = ("valve_a stuck-actuated", "valve_b stuck-actuated")
    assert worst(selection(shipped(SERIES), *events)) == "safe"
    manual = changed(
        SERIES,
        ("outputs: {valve_a.14: charge, valve_b.14: charge}", "outputs: {valve_a.14: charge}"),
        ("valve_b: {kind: valve_3_2, C:", "valve_b: {kind: valve_3_2, rest: open, C:"),
    )
    assert worst(selection(manual, events[0])) == "unsafe"
    assert worst(selection(manual, "no fault")) == "safe"


def test_weak_springs_are_found() -> None:
    weak = changed(ONE_VALVE, ("spring_force: 8 kN", "spring_force: 5 kN"))
    cases = selection(weak, "no fault")
    assert {case.worst for case in cases} == {"unsafe"}
    assert all((case.outcomes[0].least_force or 0.0) < 5600.0 for case in cases)


@pytest.mark.parametrize(("conductance", "expected"), [("0.5", "late"), ("0.01", "unsafe")])
def test_a_narrow_silencer_is_found(conductance: str, expected: str) -> None:
    narrow = changed(
        ONE_VALVE,
        ("silencer: {kind: silencer, C: 10 ", f"silencer: {{kind: silencer, C: {conductance} "),
    )
    assert worst(selection(narrow, "no fault")) == expected


@pytest.mark.parametrize(
    ("states", "expected"),
    [(("venting", "closing"), "late"), (("venting", "closing", "faulted"), "unsafe")],
)
def test_logic_that_does_not_vent_is_found(
    states: tuple[str, ...], expected: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    charging = pneumo.zone.logic.is_charging

    def broken(state: Any, zone: Any) -> bool:
        return state in states or charging(state, zone)

    assert worst(selection(shipped(ONE_VALVE), "no fault")) == "safe"
    monkeypatch.setattr(pneumo.zone.logic, "is_charging", broken)
    # with the first the vent timer trips, and the fault vents the zone too late
    assert worst(selection(shipped(ONE_VALVE), "no fault")) == expected


def with_table(monkeypatch: pytest.MonkeyPatch, *rows: Any) -> None:
    """Zones obey another table from now on."""
    logic = partial(RideLogic, machine=ZoneMachine(rows))
    monkeypatch.setattr(pneumo.scenario.controller, "RideLogic", logic)


def test_a_table_that_leads_away_from_the_safe_state_is_found(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    wrong = [
        row._replace(destination="opening") if (row.trigger, row.spring) == ("close", "close")
        else row
        for row in TABLE
    ]  # fmt: skip
    assert len(set(wrong) - set(TABLE)) == 1
    with_table(monkeypatch, *wrong)
    assert {case.worst for case in selection(shipped(ONE_VALVE), "no fault")} == {"safe", "unsafe"}


def test_a_table_that_sees_no_fault_reveals_none(monkeypatch: pytest.MonkeyPatch) -> None:
    event = "valve stuck-actuated"
    seeing = selection(shipped(ONE_VALVE), event)
    assert any(outcome.detected for case in seeing for outcome in case.outcomes)
    with_table(monkeypatch, *(row for row in TABLE if row.trigger != "fault"))
    blind = selection(shipped(ONE_VALVE), event)
    assert not any(outcome.detected for case in blind for outcome in case.outcomes)
    assert [case.worst for case in blind] == [case.worst for case in seeing]


# severity none


def test_a_fault_of_no_severity_equals_no_fault() -> None:
    campaign = Campaign(shipped(ONE_VALVE))
    nothing = campaign.trials[0]
    assert nothing.injection.kind == "none"
    graded = {
        (trial.injection.faults[0].component, trial.mode.name): trial
        for trial in campaign.trials
        if trial.mode is not None and trial.mode.severity is not None
    }
    assert len(graded) > 20
    for (component, mode), trial in graded.items():
        assert trial.mode is not None and trial.mode.severity is not None
        none = FaultSpec(component, mode, trial.mode.severity.none, trial.mode.severity.unit)
        harmless = replace(trial, actions=(Inject(none),), zone=None)
        empty = replace(nothing, apart=trial.apart)
        for condition in ("open", "to closed"):
            (a,) = campaign.run(Job(harmless, condition))
            (b,) = campaign.run(Job(empty, condition))
            assert a.case.outcomes == b.case.outcomes, (component, mode, condition)


# zones that a fault does not reach


def test_cases_that_follow_the_run_without_their_fault_end_like_cases_on_their_own() -> None:
    """On the shipped ride, jobs drawn by lot: the same verdicts, times within a millisecond."""
    circuit = shipped("sand_martin")
    following, alone = Campaign(circuit), Campaign(circuit, replayed=False)
    jobs = [job for job in following.jobs() if job.trial.injection.kind == "fault"]
    lot = random.Random(7)
    for job in lot.sample(jobs, 12):
        found, expected = following.run(job), alone.run(job)
        assert len(found) == len(expected)
        for one, other in zip(found, expected, strict=True):
            for a, b in zip(one.case.outcomes, other.case.outcomes, strict=True):
                assert (a.zone, a.verdict, a.detected) == (b.zone, b.verdict, b.detected)
                if a.reached_after is not None and b.reached_after is not None:
                    assert abs(a.reached_after - b.reached_after) < 1e-3
