"""Runs a verification: each trial struck in each condition, from a state stored once.

The zones are brought to a condition once per layout of the network; a case goes on from there. A
case ends as soon as every verdict is decided. Cases are independent, so they run on any
`Executor`.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Collection, Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, inf
from multiprocessing.connection import wait
from shlex import quote

from pneumo.circuit.circuit import Circuit, Event
from pneumo.circuit.sentence import RideStop
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.scenario.event import RunEvent
from pneumo.scenario.play import Play, SimulationError
from pneumo.simulation.position import Track
from pneumo.units import DURATION
from pneumo.verification.demand import first_demand
from pneumo.verification.judge import judge, latest_end, settled_after
from pneumo.verification.plan import (
    CONDITIONS,
    READY,
    Condition,
    Trial,
    preparation,
    trials,
)
from pneumo.verification.trace import zone_trace
from pneumo.verification.verdict import Case, Trace

TRACE_STEP = 0.02
"""Grid of the traces of a case [s]."""

TRACE_AFTER = 2.0
"""Traces go on for so long after the latest time allowed [s]."""

LOOK = 1.0
"""A case is asked this often whether it is decided [s of simulated time]."""

MOST_TRACKS = 32
"""Runs without a fault whose steps are kept; jobs on one layout follow each other."""

_MOVING = ("opening", "closing", "venting")


@dataclass(frozen=True)
class Job:
    """One case to run."""

    trial: Trial
    condition: Condition


@dataclass(frozen=True)
class Result:
    """A case and, when it is not safe, its traces."""

    case: Case
    trace: Trace | None


class Campaign:
    """A circuit under verification, with the states it has been brought to."""

    def __init__(self, circuit: Circuit, *, follow: bool = True) -> None:
        """`follow`: zones that a fault does not reach are taken from the run without it."""
        self.circuit = circuit
        self._follow = follow
        self._tracks: dict[tuple[frozenset[str], Condition, float, float], Track] = {}
        self.trials = trials(circuit)
        self._selection: tuple[Collection[str] | None, bool] = (None, True)
        self._compiled: dict[frozenset[str], Compiled] = {}
        self._ready: dict[tuple[frozenset[str], Condition, float], Play] = {}
        self._moments: dict[Condition, dict[str, tuple[tuple[str, float], ...]]] = {}

    def __reduce__(self) -> tuple[object, ...]:
        # to a process that was not forked only what cannot be made again is sent
        return _selected, (self.circuit, *self._selection)

    def select(self, zones: Collection[str] | None = None, faults: bool = True) -> None:
        """Leaves out the faults that are local to other zones than `zones`, or all faults."""
        self._selection = (zones, faults)
        self.trials = tuple(
            trial
            for trial in self.trials
            if trial.kind == "none"
            or (
                (trial.kind == "loss" or faults)
                and (not zones or trial.zone is None or trial.zone in zones)
            )
        )

    def jobs(self) -> tuple[Job, ...]:
        """Every case, those on one layout of the network next to each other."""
        return tuple(Job(trial, condition) for trial in self.trials for condition in CONDITIONS)

    def run(self, job: Job) -> tuple[Result, ...]:
        """Runs a job. A movement may be struck in several moments: one result each.

        Raises
        ------
        SimulationError
            When the integration could not go on; names the job.
        """
        try:
            return tuple(
                self._case(job, moment) for moment in self._strike_times(job.trial, job.condition)
            )
        except SimulationError as error:
            raise SimulationError(f"{job.trial.name} / {job.condition}: {error}") from error

    def _network(self, apart: frozenset[str]) -> Compiled:
        if apart not in self._compiled:
            self._compiled[apart] = compile_circuit(self.circuit, apart)
        return self._compiled[apart]

    def prepared(self, apart: frozenset[str], condition: Condition, time: float) -> Play:
        """The plant in a condition at a time, before anything is struck."""
        key = (apart, condition, time)
        if key not in self._ready:
            before = [
                (t, c) for a, c, t in self._ready if a == apart and c == condition and t < time
            ]
            if before:
                play = self._ready[apart, condition, max(before)[0]].snapshot()
            else:
                play = Play(self._network(apart))
                play.schedule(Event(at, action) for at, action in preparation(condition))
            play.advance(time)
            self._ready[key] = play
        return self._ready[key]

    def _strike_times(self, trial: Trial, condition: Condition) -> tuple[float, ...]:
        """When to strike: at rest once; on the way once in each state the zone passes."""
        if condition in ("open", "closed"):
            return (READY,)
        moments = self._movement(condition)
        if trial.zone is not None and moments.get(trial.zone):
            return tuple(round(time, 3) for _, time in moments[trial.zone])
        # an event that concerns several zones: while most of them are moving
        times = sorted(round(time, 3) for own in moments.values() for _, time in own)
        if not times:
            return (READY,)
        return (times[len(times) // 2],)

    def untested(self) -> tuple[str, ...]:
        """Zones that do not come to rest where they are told to, without any fault."""
        found = []
        rest: tuple[Condition, ...] = ("open", "closed")
        for condition in rest:
            play = self.prepared(frozenset(), condition, READY)
            for name, zone in play.controller.logic.zones.items():
                if zone.state != condition:
                    cause = f" ({zone.first_out})" if zone.first_out else ""
                    found.append(
                        f"Zone {name} was told to go {condition} and was {zone.state}{cause} after "
                        f"{READY:g} s, without any fault: nothing was tried with it {condition}."
                    )
        return tuple(found)

    def _movement(self, condition: Condition) -> dict[str, tuple[tuple[str, float], ...]]:
        """Zone -> (state, middle of the time it was in it) on the way, without any fault."""
        if condition not in self._moments:
            play = self.prepared(frozenset(), condition, READY).snapshot()
            longest = max((_longest_way(z.limits) for z in self.circuit.zones.values()), default=1)
            play.advance(READY + longest)
            self._moments[condition] = {
                zone: _middles(play.events, zone) for zone in self.circuit.zones
            }
        return self._moments[condition]

    def play_case(self, job: Job, time: float) -> tuple[Play, float, dict[str, str]]:
        """Strikes and runs a case until it is decided.

        Returns the run, the start of the clock [s], and each zone's state at the strike.
        """
        trial = job.trial
        play = self.prepared(trial.apart, job.condition, time).snapshot()
        if self._follow and trial.kind == "fault" and len(play.position.cell) > 1:
            play.follow(self._nominal_track(job, time))
        longest = max((z.requirement.within for z in self.circuit.zones.values()), default=0.0)
        play.record(TRACE_STEP, time + trial.demand_after + longest + TRACE_AFTER)
        zones = play.controller.logic.zones
        struck_in: dict[str, str] = {name: zone.state for name, zone in zones.items()}
        for action in trial.actions:
            play.act(action)
        demand = time + trial.demand_after
        play.schedule([Event(demand, RideStop())])
        clock = time if trial.clock_at_strike else demand
        run_until_decided(play, time, demand, latest_end(play, clock))
        return play, clock, struck_in

    def _nominal_track(self, job: Job, time: float) -> Track:
        """The steps of the run of a case as it would be without its fault."""
        trial = job.trial
        key = (trial.apart, job.condition, time, trial.demand_after)
        if key not in self._tracks:
            while len(self._tracks) >= MOST_TRACKS:
                self._tracks.pop(next(iter(self._tracks)))
            play = self.prepared(trial.apart, job.condition, time).snapshot()
            play.record_track()
            demand = time + trial.demand_after
            play.schedule([Event(demand, RideStop())])
            run_until_decided(play, time, demand, latest_end(play, demand))
            self._tracks[key] = play.track()
        return self._tracks[key]

    def _case(self, job: Job, time: float) -> Result:
        trial = job.trial
        play, clock, struck_in = self.play_case(job, time)
        outcomes = tuple(
            judge(
                play,
                zone,
                struck_in[name],
                time,
                min(first_demand(play.events, name, time) or clock, clock),
            )
            for name, zone in self.circuit.zones.items()
        )
        state = _state_word(job.condition, "" if trial.zone is None else struck_in[trial.zone])
        case = Case(
            name=f"{trial.name} / {state}",
            event=trial.name,
            kind=trial.kind,
            component=trial.component,
            mode=trial.mode.name if trial.mode is not None else "",
            severity=trial.fault.severity_text if trial.fault is not None else "",
            effect=trial.mode.effect if trial.mode is not None else "",
            standard=trial.mode.standard if trial.mode is not None else "",
            struck_in=job.condition,
            struck_at=time,
            clock_from=clock,
            stands_for=trial.stands_for,
            outcomes=outcomes,
            replay=self._replay(job, time, play.now),
            events=self._events(job, time),
        )
        return Result(case, None if case.worst == "safe" else zone_trace(play, case.name, outcomes))

    def _events(self, job: Job, time: float) -> tuple[tuple[float, str], ...]:
        """What is done in a case: (time [s], sentence)."""
        return (
            *((at, action.text) for at, action in preparation(job.condition)),
            *((time, action.text) for action in job.trial.actions),
            (time + job.trial.demand_after, RideStop().text),
        )

    def _replay(self, job: Job, time: float, end: float) -> str:
        """The command that shows a case."""
        steps = self._events(job, time)
        does = " ".join(f'--do "at {DURATION.text(at)}: {text}"' for at, text in steps)
        path = quote(self.circuit.path)
        return f'pneumo run {path} {does} --until "{ceil(end * 10.0) / 10.0:g} s"'


def run_until_decided(
    play: Play, struck_at: float, demand: float, end: float, asked_by: float = inf
) -> None:
    """Runs a case that has been struck until its verdicts can change no more, `end` at the latest.

    `demand`: when the ride stop comes [s]; `asked_by`: see `settled_after`.
    """
    now = max(demand, play.now)
    known, decided = (-1, -1), inf
    while now < end and now <= decided:
        now = min(now + LOOK, end)
        play.advance(now)
        if known != (len(play.events), len(play.crossings)):
            known = len(play.events), len(play.crossings)
            decided = settled_after(play, struck_at, asked_by)


def _state_word(condition: Condition, state: str) -> str:
    """What a case's name says of the strike: the state of the zone concerned, or the condition;
    both when the zone is not where the condition should have brought it."""
    expected = _MOVING if condition in ("to open", "to closed") else (condition,)
    if not state:
        return condition
    return state if state in expected else f"{condition}, {state}"


def _longest_way(limits: object) -> float:
    """Longest movement the logic allows [s]."""
    return sum(float(getattr(limits, name)) for name in ("close", "open", "vent"))


def _middles(events: list[RunEvent], zone: str) -> tuple[tuple[str, float], ...]:
    """Each moving state a zone passed after READY, with the middle of its duration."""
    changes = [
        (event.time, event.text.rpartition("-> ")[2])
        for event in events
        if event.kind == "state" and event.subject == zone and event.time >= READY - 1e-9
    ]
    return tuple(
        (state, 0.5 * (start + end))
        for (start, state), (end, _) in pairwise(changes)
        if state in _MOVING
    )


def _selected(circuit: Circuit, zones: Collection[str] | None, faults: bool) -> Campaign:
    campaign = Campaign(circuit)
    campaign.select(zones, faults)
    return campaign


class _Worker:
    """The campaign of a worker process and its jobs: set when the process starts, used by every
    job there."""

    campaign: Campaign | None = None
    jobs: tuple[Job, ...] = ()


def _start_worker(campaign: Campaign) -> None:
    _Worker.campaign, _Worker.jobs = campaign, campaign.jobs()
    # an interruption reaches every process of a terminal; only the parent answers it
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_leave_with_parent, daemon=True).start()


def _leave_with_parent() -> None:
    """Ends this worker when its parent is killed: a pool would leave it waiting for ever."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)


def _run_in_worker(number: int) -> tuple[Result, ...]:
    if _Worker.campaign is None:
        raise RuntimeError("the worker has no campaign")
    return _Worker.campaign.run(_Worker.jobs[number])


@contextmanager
def worker_pool(campaign: Campaign, count: int | None = None) -> Iterator[Executor]:
    """Worker processes that know the campaign; one per processor unless told otherwise.

    When the work is broken off, the workers are ended and jobs not yet begun are dropped.
    """
    others = multiprocessing.active_children()
    processes = count or os.cpu_count() or 1
    fork = "fork" in multiprocessing.get_all_start_methods()
    context = multiprocessing.get_context("fork" if fork else "spawn")
    with ProcessPoolExecutor(
        processes, mp_context=context, initializer=_start_worker, initargs=(campaign,)
    ) as executor:
        try:
            yield executor
        except BaseException:
            workers = [p for p in multiprocessing.active_children() if p not in others]
            # in this order: a pool that finds its workers gone while jobs still wait, some of them
            # cancelled, fails in a thread of its own, which the program must not end before
            manager = getattr(executor, "_executor_manager_thread", None)
            executor.shutdown(wait=False, cancel_futures=True)
            for process in workers:
                process.terminate()
            if manager is not None:
                manager.join()
            raise


def run_campaign(
    campaign: Campaign, executor: Executor | None = None
) -> Iterator[tuple[Result, ...]]:
    """The results of every job in order, each as soon as it is done."""
    jobs = campaign.jobs()
    if executor is None:
        return map(campaign.run, jobs)
    return executor.map(_run_in_worker, range(len(jobs)))
