"""What other programs call: load a circuit, run it, verify it. The commands are made of the same.

Everything is in SI: seconds, pascals, metres, newtons; pressures of signals are gauge. Wrong input
raises `InputError`, in a document `DocumentError` with every finding; what cannot be calculated to
its end raises `UnfinishedError`. The texts of all three are fit to be shown.
"""

from __future__ import annotations

import shlex
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from pneumo.circuit.circuit import Circuit, Event
from pneumo.circuit.shipped import find_document
from pneumo.errors import DocumentError, InputError, UnfinishedError
from pneumo.verification.verdict import Outcome, Unsound, Verification

if TYPE_CHECKING:
    from pneumo.scenario.actor import Actor
    from pneumo.scenario.event import RunEvent
    from pneumo.scenario.play import Play
    from pneumo.scenario.signal import Signal
    from pneumo.verification.campaign import Result
    from pneumo.verification.jaws import ZoneNow

__all__ = [
    "DocumentError", "InputError", "Run", "StoppedError", "UnfinishedError", "ZoneEnd", "load",
    "run", "verify", "why",
]  # fmt: skip

DEFAULT_UNTIL = 20.0
"""How long a run lasts when neither its scenario nor its caller says [s]."""

TOO_MANY_ROWS = 1_000_000
"""A grid that asks for more rows is refused rather than filling the memory."""

AFTER = 5.0
"""A run goes on for so long after the last of the events that were added [s]."""


# documents


def load(name: str | Path) -> Circuit:
    """A circuit document, by its path, or by its name one that comes with pneumo.

    Its warnings are in `warnings`.

    Raises
    ------
    DocumentError
        With every finding.
    InputError
        When it is a drill, or there is no such document.
    """
    from pneumo.circuit.validate import load as load_file
    from pneumo.live.drill import is_drill

    name = str(name)
    path = find_document(name)
    if is_drill(path):
        raise InputError(f"{name}: this is a drill, no circuit document. {how_to_open(name)}")
    circuit = load_file(path)
    # a shipped circuit is known by its name
    return circuit if str(path) == name else replace(circuit, path=name)


def how_to_open(drill: str) -> str:
    """What to do with a drill, in a sentence."""
    return f"Open it in the trainee's seat with: pneumo dashboard {shlex.quote(drill)}"


def why(outcome: Outcome) -> str:
    """What decided a verdict, in a sentence."""
    from pneumo.verification.wording import outcome_words

    return outcome_words(outcome)


# one run


@dataclass(frozen=True)
class Plan:
    """What is to be run, checked."""

    circuit: Circuit
    scenario: str
    """ "" for none."""
    faults: tuple[str, ...]
    """Those beside the scenario, as they were written."""
    events: tuple[Event, ...]
    """All of them, in order of time."""
    until: float
    """End of the run [s]."""
    actors: tuple[Actor, ...] = ()
    """Who acts besides."""


@dataclass(frozen=True)
class ZoneEnd:
    """Where a zone stands at the end of a run."""

    state: str
    """What its logic takes it to be: open, closing, ... or faulted."""
    first_out: str
    """The alarm that came first, "" if none."""
    now: ZoneNow
    """What its jaws do."""


@dataclass(frozen=True)
class Run:
    """A run that is over, or as far as it came."""

    plan: Plan
    now: float
    """Time reached [s]."""
    events: tuple[RunEvent, ...]
    """What happened, in order: records; `pneumo.scenario.telling.told` makes a sentence of one."""
    zones: dict[str, ZoneEnd]
    """Where every zone stands."""
    times: tuple[float, ...] = ()
    """Times of `signals` [s]; () when none were recorded."""
    signals: tuple[Signal, ...] = ()
    """Name, unit and one value a time of every pressure, gap and force."""
    outcomes: tuple[Outcome, ...] = ()
    """The verdict on every zone for every demand of its safe state; () when there was none."""
    unsound: tuple[Unsound, ...] = ()
    """What goes wrong before anything was taken away from the ride."""

    @property
    def safe(self) -> bool:
        """True when every zone that was asked for its safe state reached and kept it; also when
        none was asked, see `outcomes`."""
        return all(o.verdict == "safe" and o.decided for o in self.outcomes)


class StoppedError(UnfinishedError):
    """A run that could not be calculated to its end."""

    def __init__(self, text: str, run: Run) -> None:
        super().__init__(text)
        self.run = run
        """As far as it came: nothing in it is judged."""


def run(
    circuit: Circuit,
    *,
    scenario: str | None = None,
    do: Iterable[str] = (),
    faults: Iterable[str] = (),
    until: float | None = None,
    step: float | None = None,
    actors: Iterable[Actor] = (),
) -> Run:
    """Runs a circuit once.

    Parameters
    ----------
    scenario
        One of the document.
    do
        Sentences with their times beside it: "at 2 s: close trim".
    faults
        Faults: "trim_hose_2 leak 3 mm at 2 s".
    until
        End [s]; None: that of the scenario, and some seconds after all that is added.
    step
        Grid of `Run.signals` [s]; None: none are recorded.
    actors
        Who acts besides: a train, a person with a tool. See `pneumo.scenario.actor.Actor`.

    Raises
    ------
    InputError
        When something of this makes no sense.
    StoppedError
        When the run cannot be calculated to its end.
    """
    plan = planned(circuit, scenario, do, faults, until)
    return played(replace(plan, actors=tuple(actors)), step)


def planned(
    circuit: Circuit,
    scenario: str | None,
    do: Iterable[str],
    faults: Iterable[str],
    until: float | None,
) -> Plan:
    """What `run` would run, without running it; raises the same InputError."""
    from pneumo.circuit.action import Inject
    from pneumo.circuit.sentence import SentenceError, parse_fault
    from pneumo.circuit.spelling import listed, near

    events: list[Event] = []
    end = DEFAULT_UNTIL
    if scenario is not None:
        known = circuit.scenarios.get(scenario)
        if known is None:
            there = (
                f"Scenarios: {listed(circuit.scenarios)}."
                if circuit.scenarios
                else "The document has no scenarios."
            )
            hint = near(scenario, circuit.scenarios, there)
            raise InputError(f"{circuit.path}: there is no scenario {scenario!r}. {hint}")
        events += known.events
        end = known.until
    do, faults = tuple(do), tuple(faults)
    added: list[Event] = []
    for text in (*do, *faults):
        try:
            if len(added) < len(do):
                added.append(_event(circuit, text))
            else:
                fault = parse_fault(text, circuit.components)
                added.append(Event(fault.at, Inject(fault)))
        except SentenceError as error:
            raise InputError(f"{circuit.path}: {text!r}: {error}") from None
    if until is not None:
        end = until
    elif added:
        end = max(end, max(event.time for event in added) + AFTER)
    if not end > 0.0:
        raise InputError(f"until {end:g} s: the run time must be above 0 s.")
    for event, text in zip(added, (*do, *faults), strict=True):
        if event.time > end:
            raise InputError(
                f"{text!r} lies beyond the end of the run at {end:g} s; let it last longer."
            )
    ordered = sorted((*events, *added), key=lambda event: event.time)
    return Plan(circuit, scenario or "", faults, tuple(ordered), end)


def _event(circuit: Circuit, text: str) -> Event:
    from pneumo.circuit.sentence import parse_action
    from pneumo.quantity import QuantityError
    from pneumo.units import DURATION

    moment, colon, sentence = text.partition(":")
    words = moment.split(maxsplit=1)
    if not colon or len(words) != 2 or words[0] != "at":
        raise InputError(f'{text!r}: write it like "at 2 s: close trim".')
    try:
        time = DURATION.parse(words[1])
    except QuantityError as error:
        raise InputError(f"{text!r}: {error.found} {error.wanted}") from None
    return Event(
        time, parse_action(sentence, circuit.components, circuit.zones, circuit.gates, time)
    )


def check_grid(plan: Plan, step: float) -> None:
    """Raises the InputError that `played` would for such a grid, before anything takes long."""
    if not step > 0.0:
        raise InputError(f"A step of {step:g} s: the time step must be above 0 s.")
    if plan.until / step > TOO_MANY_ROWS:
        raise InputError(
            f"A step of {step:g} s gives more than {TOO_MANY_ROWS} rows in {plan.until:g} s; "
            "take a longer one."
        )


def played(plan: Plan, step: float | None = None) -> Run:
    """Runs a plan, as `run` does."""
    from pneumo.circuit.sentence import touched
    from pneumo.scenario.play import Play, compile_for
    from pneumo.scenario.signal import signals
    from pneumo.verification.unsound import missed, unsound

    if step is not None:
        check_grid(plan, step)
    _prepare()
    apart = frozenset(name for event in plan.events for name in touched(event.action))
    play = Play(compile_for(plan.circuit, plan.actors, apart), actors=plan.actors)
    if step is not None:
        play.plant.record(step, plan.until)
    play.schedule(plan.events)
    try:
        play.advance(plan.until)
    except UnfinishedError as error:
        raise StoppedError(f"{plan.circuit.path}: {error}", _run_of(plan, play)) from error
    outcomes = judged(play)
    found = unsound(
        plan.circuit, plan.events, play.plant.log.events, outcomes, missed(play),
        actors=plan.actors,
    )  # fmt: skip
    whole = replace(_run_of(plan, play), outcomes=outcomes, unsound=found)
    if step is None:
        return whole
    times = tuple(play.plant.samples.times(play.now).tolist())
    return replace(whole, times=times, signals=signals(play))


def _run_of(plan: Plan, play: Play) -> Run:
    from pneumo.verification.jaws import zone_now

    logic = play.actors.controller.logic.zones
    zones = {
        name: ZoneEnd(logic[name].state, logic[name].first_out, zone_now(play, name))
        for name in plan.circuit.zones
    }
    return Run(plan, play.now, tuple(play.plant.log.events), zones)


def judged(play: Play) -> tuple[Outcome, ...]:
    """The verdict on every zone when the run asked for the safe state, else nothing."""
    from pneumo.verification.follow import follow
    from pneumo.verification.judge import judge

    return tuple(
        judge(play, zone, "", demand.start, demand.start, demand.end)
        for zone in follow(play).values()
        for demand in zone.demands.every
    )


# all of them


def verify(
    circuit: Circuit,
    *,
    zones: Collection[str] | None = None,
    faults: bool = True,
    workers: int | None = None,
    each: Callable[[int, int, tuple[Result, ...]], None] | None = None,
    actors: Iterable[Actor] = (),
) -> Verification:
    """Verifies that every zone reaches its safe state: without any fault, at every loss and every
    single fault, in every operating state.

    Parameters
    ----------
    zones
        Only faults of these and of what they share; None: all.
    faults
        False: only the losses of air and power.
    workers
        Processes to use, which end with the call; None: one per processor, 0: none beside this one.
        Where processes are not forked (outside Linux) the calling program must be importable
        without doing anything, as `multiprocessing` asks of it.
    each
        Called whenever a job is done: its number, how many there are, its results.
    actors
        Who acts besides in every case, see `run`; every part is then tried, also those alike.

    Raises
    ------
    InputError
        When the circuit has no zone, or none of such a name. A case that cannot be calculated
        raises nothing: see `Verification.finished`.
    """
    can_be_verified(circuit, zones)
    _prepare()
    import pneumo
    from pneumo.pool import run_all, worker_pool
    from pneumo.verification.assumption import assumptions
    from pneumo.verification.campaign import Campaign

    campaign = Campaign(circuit, actors=actors)
    campaign.select(zones=zones, faults=faults)
    results: list[Result] = []

    def take(finished: Iterable[tuple[Result, ...]]) -> None:
        total = len(campaign.jobs())
        for number, done in enumerate(finished, 1):
            results.extend(done)
            if each is not None:
                each(number, total, done)

    if workers == 0:
        take(run_all(campaign))
    else:
        with worker_pool(campaign, workers) as pool:
            take(run_all(campaign, pool))
    return Verification(
        document=circuit.path,
        ride=circuit.ride.name,
        site=circuit.ride.site,
        cases=tuple(result.case for result in results),
        traces=tuple(result.trace for result in results if result.trace is not None),
        untested=campaign.untested(),
        assumptions=assumptions(circuit, campaign.trials, campaign.actors),
        version=pneumo.__version__,
        unsound=campaign.unsound(),
    )


def can_be_verified(circuit: Circuit, zones: Collection[str] | None) -> None:
    """Raises the InputError that `verify` would, before anything takes long."""
    from pneumo.circuit.spelling import listed, near

    if not circuit.zones:
        raise InputError(f"{circuit.path}: there is no zone to verify; add one under zones.")
    for zone in zones or ():
        if zone not in circuit.zones:
            hint = near(zone, circuit.zones, f"Zones: {listed(circuit.zones)}.")
            raise InputError(f"{circuit.path}: there is no zone {zone}. {hint}")


def _prepare() -> None:
    """The kernels are there: in the first run of an installation that takes a minute."""
    from pneumo.simulation import cache
    from pneumo.simulation.warm import prepare

    if not cache.is_complete():
        prepare(lambda done, of: None, lambda: None)
