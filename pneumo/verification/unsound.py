"""What a circuit does wrong without any fault, and which part is the first that causes it.

A verdict on a fault means little while the circuit itself alarms or does not get where it is
commanded to: this is said before everything else.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from math import inf
from typing import Literal

from pneumo.circuit.action import Inject
from pneumo.circuit.circuit import Circuit, Event
from pneumo.circuit.verbs import disturbs
from pneumo.scenario.actor import Actor
from pneumo.scenario.event import Commanded, FaultInjected, RunEvent, alarms_raised
from pneumo.scenario.plant import SimulationError
from pneumo.scenario.play import Play, compile_for
from pneumo.verification.chain import Chain, commanded, jaws_there, other_readings
from pneumo.verification.verdict import GRACE, Cause, Outcome, Unsound, Wrong
from pneumo.zone.machine import Cause as Alarm

TIMED: dict[str, str] = {
    Alarm.CLOSE_TIME: "close",
    Alarm.OPEN_TIME: "open",
    Alarm.VENT_TIME: "vent",
}
"""Alarms that a time limit of the logic raises -> the limit."""

SEEN = 1.0
"""Jaws may move for so long after the logic has taken them for there [s]."""


def undisturbed_until(events: Iterable[Event]) -> float:
    """When something is first done to the plant that no operator of a sound ride does [s]: a
    fault, air or current taken away, a hand on a valve; infinity: never."""
    return min((event.time for event in events if disturbs(event.action)), default=inf)


def _done(happened: Iterable[RunEvent]) -> Iterator[Event]:
    """What was done to the ride in a run, by anybody."""
    for event in happened:
        if isinstance(event.what, Commanded):
            yield Event(event.time, event.what.action)
        elif isinstance(event.what, FaultInjected):
            yield Event(event.time, Inject(event.what.fault))


def missed(play: Play) -> tuple[tuple[str, float], ...]:
    """(zone, now [s]) of the zones that the logic takes for open or closed for `SEEN` and longer
    while fewer brakes than are needed are."""
    found = []
    for name, zone in play.actors.controller.logic.zones.items():
        if zone.state not in ("open", "closed") or zone.since > play.now - SEEN:
            continue
        brakes = play.compiled.brakes[name]
        there = sum(jaws_there(play, name, brake, zone.state) for brake in brakes)
        if there < play.compiled.circuit.zones[name].brakes_needed:
            found.append((name, play.now))
    return tuple(found)


def unsound(
    circuit: Circuit,
    events: Sequence[Event],
    happened: Sequence[RunEvent],
    outcomes: Iterable[Outcome],
    missed: Iterable[tuple[str, float]] = (),
    losing: Iterable[float] = (),
    actors: Collection[Actor] = (),
) -> tuple[Unsound, ...]:
    """What went wrong in a run before anything disturbed it, in order of time, with its cause.

    Of a zone, and of the ride, the first thing alone: what follows has the same cause.

    Parameters
    ----------
    circuit, events, actors
        What was run, as it was before the run.
    happened, outcomes
        The events of the run, and its verdicts.
    missed
        (zone, time [s]): a zone that was not where it was commanded to be by a time.
    losing
        Times [s] at which everything is at rest and supply air leaves for the atmosphere.
    """
    end = undisturbed_until((*events, *_done(happened)))
    late: dict[str, Outcome] = {}
    found: list[_Found] = []
    raised = alarms_raised(happened)
    found += [(time, 0, zone, "alarm", name) for time, zone, name in raised if time < end]
    for outcome in outcomes:
        limit = outcome.demanded_at + outcome.limit
        if outcome.decided and limit < end and outcome.verdict in ("late", "unsafe"):
            wrong: Wrong = "late" if outcome.verdict == "late" else "unsafe"
            found.append((limit, 1, outcome.zone, wrong, ""))
            late.setdefault(outcome.zone, outcome)
    found += [(time, 2, zone, "not reached", "") for zone, time in missed if time < end]
    found += [(time, 3, "", "air lost", "") for time in losing if time < end]
    first = _first_of_each(sorted(found))
    if not first:
        return ()
    play = _again(circuit, events, actors)
    told = []
    for time, _, zone, what, alarm in first.values():
        side, cause = _explained(play, circuit, zone, what, alarm, time)
        allowed = needed = None
        if alarm in TIMED and zone:
            allowed = float(getattr(circuit.zones[zone].limits, TIMED[alarm]))
            needed = _needed(play, zone, alarm, time, min(end, time + GRACE))
        elif what == "late":
            allowed, needed = late[zone].limit, late[zone].reached_after
        told.append(Unsound(zone, what, alarm, time, side, cause, allowed, needed))
    return tuple(told)


_Found = tuple[float, int, str, Wrong, str]
"""When [s], what comes first at one instant, the zone, what, the alarm."""


def _first_of_each(found: Sequence[_Found]) -> dict[str, _Found]:
    """Zone -> the first thing that went wrong with it, of all in order of time."""
    stopped = next((time for time, _, zone, what, _ in found if (zone, what) == ("", "alarm")), inf)
    first: dict[str, _Found] = {}
    for each in found:
        # an alarm of the ride stops it: that its zones are not where they were sent is no wonder
        if each[3] != "not reached" or each[0] < stopped:
            first.setdefault(each[2], each)
    return first


def _needed(play: Play | None, zone: str, alarm: str, time: float, end: float) -> float | None:
    """How long a zone takes whose time limit is over, its coils left as they are [s]; None: its
    instruments do not tell by `end` that it is there."""
    if play is None or play.now > time:
        return None
    entry = play.actors.controller.logic.zones[zone]
    since, charge, jaws = entry.since, entry.charge, alarm != Alarm.VENT_TIME
    left = play.snapshot()
    controller, period = left.actors.controller, left.actors.controller.period
    controller.hold = True
    if not other_readings(left, zone, charge, jaws):
        return None
    for tick in range(int((end - time) / period)):
        try:
            left.advance(time + (tick + 0.5) * period)  # beyond that scan, before the next
        except SimulationError:
            return None
        if not other_readings(left, zone, charge, jaws):
            return time - since + tick * period
    return None


def _again(circuit: Circuit, events: Sequence[Event], actors: Collection[Actor]) -> Play | None:
    """The same run once more; None when it cannot be calculated."""
    try:
        play = Play(compile_for(circuit, actors, frozenset()), actors=actors)
    except SimulationError:
        return None
    play.schedule(events)
    return play


def _explained(
    play: Play | None, circuit: Circuit, zone: str, what: Wrong, alarm: str, time: float
) -> tuple[Literal["open", "closed", ""], Cause | None]:
    """What a zone was commanded to be at a time, before the scan of that instant, and the first
    part that keeps it from it."""
    if play is None:
        return "", None
    try:
        play.advance(time)
    except SimulationError:
        return "", None
    chain = Chain(play)
    if what == "air lost":
        return "", chain.escape()
    if not zone:
        return "", chain.supply(circuit.ride.supply_switches)
    entry = circuit.zones[zone]
    charge = play.actors.controller.logic.zones[zone].charge
    side = commanded(circuit, zone, charge)
    if alarm == Alarm.LOW_SUPPLY:
        return side, chain.supply(entry.supply_switches)
    return side, chain.zone(zone, charge)
