"""Runs a verification: each trial injected during each condition, from a state stored once.

The zones are brought to a condition once per layout of the network; a case goes on from there. A
case ends as soon as every verdict is decided. A case that cannot be calculated is a result like
any other, with the reason. Cases are independent: `pneumo.pool` runs them in
processes.
"""

from __future__ import annotations

import traceback
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from math import ceil, inf
from shlex import quote
from typing import NamedTuple

from pneumo.circuit.action import RideStop
from pneumo.circuit.circuit import Circuit, Event
from pneumo.network.compile import Compiled
from pneumo.scenario import reference
from pneumo.scenario.actor import Actor
from pneumo.scenario.event import RunEvent
from pneumo.scenario.plant import SimulationError
from pneumo.scenario.play import Play, compile_for
from pneumo.simulation.position import Trajectory
from pneumo.units import DURATION
from pneumo.verification.case import CONDITIONS, Condition
from pneumo.verification.chain import Chain
from pneumo.verification.follow import Followed, follow, settled_after
from pneumo.verification.judge import judge
from pneumo.verification.plan import READY, Trial, no_fault, preparation, trials
from pneumo.verification.spell import latest_end
from pneumo.verification.trace import zone_trace
from pneumo.verification.unsound import missed, unsound
from pneumo.verification.verdict import GRACE, Case, Outcome, Trace, Unsound, not_calculated
from pneumo.verification.wording import MOVING
from pneumo.zone.event import StateEntered

TRACE_STEP = 0.02
"""Grid of the traces of a case [s]."""

TRACE_AFTER = 2.0
"""Traces go on for so long after the latest time allowed [s]."""

LOOK = 1.0
"""A case is asked this often whether it is decided [s of simulated time]."""

MOST_TRAJECTORIES = 32
"""Runs without a fault whose steps are kept; jobs on one layout follow each other."""


@dataclass(frozen=True)
class Job:
    """One case to run."""

    trial: Trial
    condition: Condition


@dataclass(frozen=True)
class Result:
    """A case and, when it is late or unsafe, its traces."""

    case: Case
    trace: Trace | None
    failure: str = ""
    """Where the program itself failed, for whoever mends it; "" = it did not."""


class Played(NamedTuple):
    """A case that was run until it was decided."""

    play: Play
    zones: Mapping[str, Followed]
    clock: float
    """When the time limit starts to run at the latest [s]."""
    injected_during: Mapping[str, str]
    """Zone -> its state at the injection."""

    def outcomes(self, injected_at: float) -> tuple[Outcome, ...]:
        """The verdict on every zone; injected at [s]."""
        return tuple(
            judge(
                self.play,
                zone,
                self.injected_during[name],
                injected_at,
                zone.asked(injected_at, self.clock),
            )
            for name, zone in self.zones.items()
        )


class Campaign:
    """A circuit under verification, with the states it has been brought to."""

    def __init__(
        self, circuit: Circuit, *, replayed: bool = True, actors: Iterable[Actor] = ()
    ) -> None:
        """`replayed`: zones that a fault does not reach are taken from the run without it.
        `actors`: who acts besides in every case, from its beginning. With any of them every part is
        tried, and every zone computed, by itself: they need not treat two that are alike alike, and
        may act on one zone by what they see of another."""
        self.circuit = circuit
        self.actors = tuple(actors)
        self._replayed = replayed and not self.actors
        self._trajectories: dict[
            tuple[frozenset[str], Condition, float, float], Trajectory | None
        ] = {}
        self._selection: tuple[Collection[str] | None, bool] = (None, True)
        self._compiled: dict[frozenset[str], Compiled] = {}
        self._ready: dict[tuple[frozenset[str], Condition, float], Play] = {}
        self._not_ready: dict[tuple[frozenset[str], Condition, float], str] = {}
        self._moments: dict[Condition, dict[str, tuple[tuple[str, float], ...]]] = {}

    @cached_property
    def trials(self) -> tuple[Trial, ...]:
        """What is tried; of a large ride it takes seconds to find, and not everybody tries it."""
        return trials(self.circuit, reduced=not self.actors)

    def __reduce__(self) -> tuple[object, ...]:
        # to a process that was not forked only what cannot be made again is sent
        return _selected, (self.circuit, self._replayed, self.actors, *self._selection)

    def select(self, zones: Collection[str] | None = None, faults: bool = True) -> None:
        """Leaves out the faults that are local to other zones than `zones`, or all faults."""
        self._selection = (zones, faults)
        self.trials = tuple(
            trial
            for trial in self.trials
            if trial.injection.kind == "none"
            or (
                (trial.injection.kind == "loss" or faults)
                and (not zones or trial.zone is None or trial.zone in zones)
            )
        )

    def jobs(self) -> tuple[Job, ...]:
        """Every case, those on one layout of the network next to each other."""
        return tuple(Job(trial, condition) for trial in self.trials for condition in CONDITIONS)

    def run(self, job: Job) -> tuple[Result, ...]:
        """Runs a job. In a movement there may be several moments of injection: one result each.

        Nothing that goes wrong with a case is raised: it is a result that is not calculated.
        """
        try:
            moments = self._inject_times(job.trial, job.condition)
        except Exception as error:
            return (self._failed(job, READY, error),)
        return tuple(self._tried(job, moment) for moment in moments)

    def given_up(self, job: Job, why: str) -> tuple[Result]:
        """The result of a job that could not be run, from nothing that has to be calculated."""
        return (self._not_calculated(job, READY, {}, why),)

    def _tried(self, job: Job, time: float) -> Result:
        try:
            return self._case(job, time)
        except Exception as error:
            return self._failed(job, time, error)

    def _failed(self, job: Job, time: float, error: Exception) -> Result:
        """What stopped a case, and which states it was to be injected in when that is known."""
        try:
            play = self.prepared(job.trial.apart, job.condition, time)
            injected_during = _states(play)
        except Exception:
            injected_during = {}
        found = self._not_calculated(job, time, injected_during, what_stopped(error))
        if isinstance(error, SimulationError):
            return found
        return replace(found, failure="".join(traceback.format_exception(error)))

    def _network(self, apart: frozenset[str]) -> Compiled:
        if apart not in self._compiled:
            self._compiled[apart] = compile_for(self.circuit, self.actors, apart)
        return self._compiled[apart]

    def prepared(self, apart: frozenset[str], condition: Condition, time: float) -> Play:
        """The plant in a condition at a time, before anything is injected.

        Raises
        ------
        SimulationError
            When it cannot be brought there; found out once.
        """
        key = (apart, condition, time)
        if key in self._not_ready:
            raise SimulationError(self._not_ready[key])
        if key not in self._ready:
            before = [
                (t, c) for a, c, t in self._ready if a == apart and c == condition and t < time
            ]
            try:
                if before:
                    play = self._ready[apart, condition, max(before)[0]].snapshot()
                else:
                    play = Play(self._network(apart), actors=self.actors)
                    play.schedule(Event(at, action) for at, action in preparation(condition))
                play.advance(time)
            except SimulationError as error:
                self._not_ready[key] = f"Before the event: {error}"
                raise SimulationError(self._not_ready[key]) from error
            self._ready[key] = play
        return self._ready[key]

    def _inject_times(self, trial: Trial, condition: Condition) -> tuple[float, ...]:
        """When to inject: at rest once; on the way once in each state the zone passes."""
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
            try:
                play = self.prepared(frozenset(), condition, READY)
            except SimulationError as error:
                found.append(
                    f"The zones could not be brought to {condition} without any fault: {error}"
                )
                continue
            for name, zone in play.actors.controller.logic.zones.items():
                if zone.state != condition:
                    cause = f" ({zone.first_out})" if zone.first_out else ""
                    found.append(
                        f"Zone {name} was commanded {condition} and was {zone.state}{cause} after "
                        f"{READY:g} s, without any fault: not tested while {condition}."
                    )
        return tuple(found)

    def unsound(self) -> tuple[Unsound, ...]:
        """What the circuit does wrong without any fault, each thing once; see `unsound`."""
        *_, found = self.unsound_by_condition()
        return found

    def unsound_by_condition(self) -> Iterator[tuple[Unsound, ...]]:
        """The same in four pieces of work, for whoever must do something else meanwhile: what was
        found after each condition, and after the last of them all of it."""
        found: dict[tuple[object, ...], Unsound] = {}
        nominal = no_fault(self.circuit)
        for condition in CONDITIONS:
            self._unsound_in(nominal, condition, found)
            # air that is lost is told as the cause of something else where there is any
            told = {e.cause.component for e in found.values() if e.cause and e.what != "air lost"}
            yield tuple(
                each
                for each in found.values()
                if each.what != "air lost" or each.cause is None or each.cause.component not in told
            )

    def _unsound_in(
        self, nominal: Trial, condition: Condition, found: dict[tuple[object, ...], Unsound]
    ) -> None:
        """Adds what goes wrong in one condition: by its place and its cause."""
        try:
            rested = self.prepared(nominal.apart, condition, READY)
            time = self._inject_times(nominal, condition)[0]
            job = Job(nominal, condition)
            played = self.play_case(job, time)
        except SimulationError:
            return  # the case itself says so
        late = [
            (name, READY)
            for name, zone in rested.actors.controller.logic.zones.items()
            if condition in ("open", "closed") and zone.state != condition
        ]
        late += missed(rested)
        losing = condition in ("open", "closed") and Chain(rested).escape() is not None
        steps = [
            *(Event(at, action) for at, action in preparation(condition)),
            Event(time + nominal.demand_after, RideStop()),
        ]
        outcomes = played.outcomes(time)
        losing_at, happened = [READY] * losing, played.play.plant.log.events
        for each in unsound(self.circuit, steps, happened, outcomes, late, losing_at, self.actors):
            part = (each.what, each.alarm) if each.cause is None else (each.cause.component,)
            found.setdefault((each.zone, *part), each)

    def _movement(self, condition: Condition) -> dict[str, tuple[tuple[str, float], ...]]:
        """Zone -> (state, middle of the time it was in it) on the way, without any fault."""
        if condition not in self._moments:
            play = self.prepared(frozenset(), condition, READY).snapshot()
            longest = max((_longest_way(z.limits) for z in self.circuit.zones.values()), default=1)
            play.advance(READY + longest)
            self._moments[condition] = {
                zone: _middles(play.plant.log.events, zone) for zone in self.circuit.zones
            }
        return self._moments[condition]

    def play_case(self, job: Job, time: float) -> Played:
        """Injects and runs a case until it is decided."""
        trial = job.trial
        play = self.prepared(trial.apart, job.condition, time).snapshot()
        if (
            self._replayed
            and trial.injection.kind == "fault"
            and len(play.plant.position.partition) > 1
        ):
            trajectory = self._nominal_trajectory(job, time)
            if trajectory is not None:
                reference.replay(play.plant, trajectory)
        longest = max((z.requirement.within for z in self.circuit.zones.values()), default=0.0)
        play.plant.record(TRACE_STEP, time + trial.demand_after + longest + TRACE_AFTER)
        injected_during = _states(play)
        for action in trial.actions:
            play.act(action)
        demand = time + trial.demand_after
        play.schedule([Event(demand, RideStop())])
        clock = time if trial.limit_from_injection else demand
        zones = follow(play)
        run_until_decided(play, zones.values(), time, demand, self._latest_end(clock))
        return Played(play, zones, clock, injected_during)

    def _latest_end(self, clock: float) -> float:
        return latest_end(self.circuit.zones.values(), clock)

    def _nominal_trajectory(self, job: Job, time: float) -> Trajectory | None:
        """The steps of the run of a case as it would be without its fault; None: it has no end."""
        trial = job.trial
        key = (trial.apart, job.condition, time, trial.demand_after)
        if key not in self._trajectories:
            while len(self._trajectories) >= MOST_TRAJECTORIES:
                self._trajectories.pop(next(iter(self._trajectories)))
            play = self.prepared(trial.apart, job.condition, time).snapshot()
            reference.record(play.plant)
            demand = time + trial.demand_after
            play.schedule([Event(demand, RideStop())])
            try:
                end = self._latest_end(demand)
                run_until_decided(play, follow(play).values(), time, demand, end)
            except SimulationError:
                self._trajectories[key] = None  # the case itself may well have one
            else:
                self._trajectories[key] = reference.recorded(play.plant)
        return self._trajectories[key]

    def _case(self, job: Job, time: float) -> Result:
        play, _, clock, injected_during = played = self.play_case(job, time)
        outcomes = played.outcomes(time)
        case = self._record(job, time, clock, injected_during, outcomes, play.now)
        return Result(case, None if case.worst == "safe" else zone_trace(play, case, outcomes))

    def _not_calculated(
        self, job: Job, time: float, injected_during: Mapping[str, str], why: str
    ) -> Result:
        """`injected_during`: of each zone its state then, {} when not even that is known."""
        zones = self.circuit.zones.values()
        clock = time if job.trial.limit_from_injection else time + job.trial.demand_after
        outcomes = tuple(
            not_calculated(
                zone.name,
                injected_during.get(zone.name, job.condition),
                zone.safe_state,
                clock,
                zone.requirement.within,
                why,
            )
            for zone in zones
        )
        longest = max((z.requirement.within + z.requirement.hold for z in zones), default=0.0)
        case = self._record(
            job, time, clock, injected_during, outcomes, clock + longest + GRACE, why
        )
        return Result(case, None)

    def _record(
        self,
        job: Job,
        time: float,
        clock: float,
        injected_during: Mapping[str, str],
        outcomes: tuple[Outcome, ...],
        end: float,
        trouble: str = "",
    ) -> Case:
        trial = job.trial
        return Case(
            injection=trial.injection,
            effect=trial.mode.effect if trial.mode is not None else "",
            standard=trial.mode.standard if trial.mode is not None else "",
            injected_during=job.condition,
            state=injected_during.get(trial.zone or "", ""),
            injected_at=time,
            demand_at=time + trial.demand_after,
            limit_from=clock,
            represents=trial.represents,
            outcomes=outcomes,
            replay=self._replay(job, time, end),
            events=self._events(job, time),
            trouble=trouble,
        )

    def _events(self, job: Job, time: float) -> tuple[tuple[float, str], ...]:
        """What is done in a case: (time [s], sentence)."""
        return (
            *((at, action.text) for at, action in preparation(job.condition)),
            *((time, action.text) for action in job.trial.actions),
            (time + job.trial.demand_after, RideStop().text),
        )

    def _replay(self, job: Job, time: float, end: float) -> str:
        """The command that shows a case; "": none does, for actors come from a program."""
        if self.actors:
            return ""
        steps = self._events(job, time)
        does = " ".join(f'--do "at {DURATION.text(at)}: {text}"' for at, text in steps)
        path = quote(self.circuit.path)
        return f'pneumo run {path} {does} --until "{ceil(end * 10.0) / 10.0:g} s"'


def what_stopped(error: Exception) -> str:
    """What stopped a calculation, one sentence: the text of what cannot be integrated has the time
    and the place, anything else is an error of the program."""
    if isinstance(error, SimulationError):
        return str(error)
    return f"The program failed ({type(error).__name__}: {error})."


def run_until_decided(
    play: Play,
    zones: Collection[Followed],
    injected_at: float,
    demand: float,
    end: float,
    demanded_latest: float = inf,
) -> None:
    """Runs on, after the injection, until the verdicts can change no more, `end` at the latest.

    `demand`: when the ride stop comes [s]; `demanded_latest`: see `settled_after`.
    """
    now = max(demand, play.now)
    known, decided = (-1, -1), inf
    while now < end and now <= decided:
        now = min(now + LOOK, end)
        play.advance(now)
        if known != (len(play.plant.log.events), len(play.plant.log.crossings)):
            known = len(play.plant.log.events), len(play.plant.log.crossings)
            decided = settled_after(zones, injected_at, demanded_latest)


def _states(play: Play) -> dict[str, str]:
    """What the logic believes each zone to be."""
    return {name: zone.state for name, zone in play.actors.controller.logic.zones.items()}


def _longest_way(limits: object) -> float:
    """Longest movement the logic allows [s]."""
    return sum(float(getattr(limits, name)) for name in ("close", "open", "vent"))


def _middles(events: list[RunEvent], zone: str) -> tuple[tuple[str, float], ...]:
    """Each moving state a zone passed after READY, with the middle of its duration."""
    changes = [
        (event.time, event.what.entered)
        for event in events
        if isinstance(event.what, StateEntered)
        and event.subject == zone
        and event.time >= READY - 1e-9
    ]
    return tuple(
        (state, 0.5 * (start + end))
        for (start, state), (end, _) in pairwise(changes)
        if state in MOVING
    )


def _selected(
    circuit: Circuit,
    replayed: bool,
    actors: tuple[Actor, ...],
    zones: Collection[str] | None,
    faults: bool,
) -> Campaign:
    campaign = Campaign(circuit, replayed=replayed, actors=actors)
    campaign.select(zones, faults)
    return campaign
