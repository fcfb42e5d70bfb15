"""The verdict on one zone in one case, from what its jaws did."""

from __future__ import annotations

from collections import Counter
from math import inf

from pneumo.circuit.circuit import Zone
from pneumo.scenario.event import alarms_raised
from pneumo.scenario.play import Play
from pneumo.verification.follow import Followed
from pneumo.verification.jaws import furthest
from pneumo.verification.spell import course
from pneumo.verification.verdict import BOUNCE, GRACE, Basis, Outcome
from pneumo.zone.event import StateEntered


def judge(
    play: Play,
    followed: Followed,
    injected_during: str,
    injected_at: float,
    limit_from: float,
    until: float = inf,
) -> Outcome:
    """Judges a finished case.

    Parameters
    ----------
    play
        The run, advanced past `settled_after` or to `latest_end`.
    followed
        The zone to judge.
    injected_during
        What the logic believed the zone to be at the injection.
    injected_at, limit_from
        When the event was injected, and when the time limit starts to run [s].
    until
        When the demand was taken back; what happens later does not count [s].
    """
    followed.read()
    zone = followed.zone
    delay, limit = play.compiled.line_delay[zone.name], zone.requirement.within
    went = course(followed.spells.since(limit_from), zone, delay, limit_from, play.now, until)
    worst, clearances, forces = furthest(play, zone, limit_from)
    alarm = _alarm(play, zone, injected_at, limit_from + limit + GRACE)
    return Outcome(
        zone=zone.name,
        injected_during=injected_during,
        safe_state=zone.safe_state,
        demanded_at=limit_from,
        verdict=went.verdict,
        decided=went.decided,
        detected=bool(alarm),
        alarm=alarm,
        reached_after=went.after,
        line_delay=delay,
        limit=limit,
        lost_after=went.lost,
        held=went.held,
        least_force=_least_force(forces, zone),
        indicated=play.actors.controller.logic.zones[zone.name].state,
        false_indication=_false_indication(play, zone, injected_at),
        basis=Basis(
            needed=zone.brakes_needed,
            brakes=len(zone.brakes),
            clamping_force=zone.requirement.clamping_force if zone.safe_state == "closed" else None,
            hold=zone.requirement.hold,
            watched=min(play.now, until) - limit_from,
            ended_by="demand" if until < play.now else "run",
        ),
        furthest=tuple(
            brake.component
            for brake in play.compiled.brakes[zone.name]
            if brake.mover == play.compiled.brakes[zone.name][worst].mover
        ),
        clearance=clearances[worst],
        force=forces[worst],
    )


def _alarm(play: Play, zone: Zone, since: float, until: float) -> str:
    """The first alarm of the zone or the ride that is raised in a stretch of time, "" if none."""
    found = (
        name
        for time, of, name in alarms_raised(play.plant.log.events)
        if of in ("", zone.name) and since <= time <= until
    )
    return next(found, "")


def _least_force(forces: list[float], zone: Zone) -> float | None:
    """Force of the weakest brake among those that count, the strongest `brakes_needed`."""
    if zone.safe_state == "open":
        return None
    return sorted(forces, reverse=True)[zone.brakes_needed - 1]


def _false_indication(play: Play, zone: Zone, since: float) -> bool:
    """The logic believed closed while too few brakes pressed on the fin for longer than a bounce,
    or while too few had their required force for longer than the zone may take."""
    watches = play.compiled.brakes[zone.name]
    return _believed_without(
        play, zone, since, Counter(brake.engaged for brake in watches), BOUNCE
    ) or _believed_without(
        play, zone, since, Counter(brake.clamped for brake in watches), zone.requirement.within
    )


def _believed_without(
    play: Play, zone: Zone, since: float, number: Counter[int], longest: float
) -> bool:
    """Believed closed with fewer than the needed brakes' watches made for longer than `longest`.

    `number`: watch -> brakes it stands for.
    """
    changes: list[tuple[float, int, bool | None]] = [
        (time, number[watch] if made else -number[watch], None)
        for time, watch, made in play.plant.log.crossings
        if watch in number and (made or time > 0.0)
    ]
    changes += [
        (event.time, 0, event.what.entered == "closed")
        for event in play.plant.log.events
        if isinstance(event.what, StateEntered) and event.subject == zone.name
    ]
    changes.sort(key=lambda change: change[0])
    believes = zone.starts == "closed"
    count = 0
    wrong_since: float | None = None
    for time, difference, belief in [*changes, (play.now, 0, None)]:
        if wrong_since is not None and time - max(wrong_since, since) > longest:
            return True
        count += difference
        believes = believes if belief is None else belief
        wrong = believes and count < zone.brakes_needed
        wrong_since = (time if wrong_since is None else wrong_since) if wrong else None
    return False
