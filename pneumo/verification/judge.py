"""The verdict on one zone in one case, from what its jaws did."""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from pneumo.circuit.circuit import Zone
from pneumo.network.watches import BrakeWatch
from pneumo.scenario.event import alarms_raised
from pneumo.scenario.play import Play
from pneumo.scenario.pressure import node_pressure
from pneumo.simulation.jaw import contact
from pneumo.verification.demand import first_demand
from pneumo.verification.verdict import Outcome, Verdict
from pneumo.zone.event import StateEntered

BOUNCE = 0.1
"""A safe state lost for no longer than this is a bounce of the jaws, not a loss [s]."""

GRACE = 10.0
"""How long beyond its limit a zone is waited for before it counts as never safe [s]."""

MOMENT = 1e-6
"""Sums of scans fall so much short of the time they stand for [s]."""

WORTH_SAYING = 0.005
"""What is added for a zone's lines is named from here on [s]."""


@dataclass(frozen=True)
class Spell:
    """A stretch of time during which a zone was in its safe state [s]."""

    start: float
    end: float
    """Infinity while it lasts."""


class Spells:
    """When enough brakes of a zone were in its safe state, followed crossing by crossing."""

    def __init__(self, zone: Zone, brakes: Sequence[BrakeWatch]) -> None:
        self.watches = safe_watches(zone, brakes)
        """Of each brake the watch that tells that it is in the safe state."""
        self.safe = False
        """Enough of them are, as far as it has followed."""
        self._made = dict.fromkeys(self.watches, False)
        self._number = Counter(self.watches)
        self._needed = zone.brakes_needed
        self._count = 0
        self._start = -inf
        self._over: list[Spell] = []

    def follow(self, time: float, watch: int, made: bool) -> None:
        """Takes the next crossing of any watch."""
        number = self._number.get(watch)
        if number is None:
            return
        self._made[watch] = made
        if made:
            self._count += number
        elif time > 0.0:  # the entries at time zero tell where each watch starts
            self._count -= number
        safe = self._count >= self._needed
        if safe and not self.safe:
            bounced = self._over and time - self._over[-1].end <= BOUNCE
            self._start = self._over.pop().start if bounced else time
        elif self.safe and not safe:
            self._over.append(Spell(self._start, time))
        self.safe = safe

    @property
    def there(self) -> tuple[bool, ...]:
        """Of each brake whether it is in the safe state, as far as it has followed."""
        return tuple(self._made[watch] for watch in self.watches)

    def since(self, time: float) -> tuple[Spell, ...]:
        """Those that did not end by a time [s], bounces bridged, in order."""
        first = bisect_right(self._over, time, key=lambda spell: spell.end)
        return (*self._over[first:], *([Spell(self._start, inf)] if self.safe else ()))


def safe_watches(zone: Zone, brakes: Sequence[BrakeWatch]) -> tuple[int, ...]:
    """Of each brake of a zone the watch that tells that it is in the zone's safe state."""
    return tuple(b.clamped if zone.safe_state == "closed" else b.clear for b in brakes)


def spells(play: Play, zone: Zone) -> tuple[Spell, ...]:
    """When enough brakes of the zone were in its safe state, bounces bridged, in order."""
    found = Spells(zone, play.compiled.brakes[zone.name])
    for crossing in play.plant.log.crossings:
        found.follow(*crossing)
    return found.since(-inf)


def settled_after(play: Play, struck_at: float, asked_by: float = inf) -> float:
    """Time after which nothing can change any zone's verdict [s], unless something happens before;
    infinity while a zone has not been asked.

    `asked_by`: when every zone counts as asked, also one that was asked before the strike and is
    therefore not asked anew [s].
    """
    latest = -inf
    for zone in play.compiled.circuit.zones.values():
        found = first_demand(play.plant.log.events, zone.name, struck_at)
        asked = asked_by if found is None else min(found, asked_by)
        if asked == inf:
            return inf
        latest = max(latest, decided_at(play, zone, asked))
    return latest


def decided_at(play: Play, zone: Zone, clock_from: float) -> float:
    """Time after which nothing can change one zone's verdict [s], unless something happens
    before."""
    return _decided_at(spells(play, zone), zone, clock_from)


def latest_end(play: Play, clock_from: float) -> float:
    """When every zone's case is over at the latest [s]."""
    return max(
        (
            clock_from + zone.requirement.within + GRACE + zone.requirement.hold
            for zone in play.compiled.circuit.zones.values()
        ),
        default=clock_from,
    )


def _decided_at(found: Sequence[Spell], zone: Zone, clock_from: float) -> float:
    reached, counts = _reached(found, zone, clock_from)
    if reached is None or not counts:
        return clock_from + zone.requirement.within + GRACE
    begin = max(reached.start, clock_from)
    return min(begin + zone.requirement.hold, reached.end + BOUNCE)


def _reached(found: Sequence[Spell], zone: Zone, clock_from: float) -> tuple[Spell | None, bool]:
    """The spell to judge, None when none came in time, and whether it counts.

    A zone that is safe and, still within its limit, is not any more is on its way: what counts is
    the first spell that is held as long as required or outlasts the limit. Without one the last
    spell stands for the loss.
    """
    required = zone.requirement
    limit = clock_from + required.within
    last: Spell | None = None
    for spell in found:
        if spell.end <= clock_from or spell.start > limit + GRACE:
            continue
        last = spell
        if spell.end > limit or spell.end >= max(spell.start, clock_from) + required.hold:
            return spell, True
    return last, False


@dataclass(frozen=True)
class Course:
    """How a zone went from a demand to its safe state, and stayed there, up to a time."""

    verdict: Verdict
    decided: bool
    """False when the run, or the demand, ended before the verdict was certain."""
    after: float | None
    """From the demand to the safe state, the delay of its lines among it [s]; None: not reached."""
    lost: float | None
    """From the demand until it was lost again [s]; None: it was held."""
    held: float
    """At most the required hold [s]."""


def course(
    found: Sequence[Spell],
    zone: Zone,
    delay: float,
    clock_from: float,
    now: float,
    until: float = inf,
) -> Course:
    """Judges what a zone has done by now [s]; everything that is judged comes through here.

    `found`: its spells that did not end by `clock_from`, or all; `delay`: of its lines; `until`:
    when the demand was taken back, what happens later does not count; infinity while it stands.
    """
    ended, required = min(now, until), zone.requirement
    reached, _ = _reached(found, zone, clock_from)
    if reached is None or reached.start > ended:
        decided = ended + BOUNCE >= clock_from + required.within + GRACE
        return Course("unsafe", decided, None, None, 0.0)
    begin = max(reached.start, clock_from)
    after = begin - clock_from + (delay if begin > clock_from else 0.0)
    held = min(min(reached.end, ended) - begin, required.hold)
    if reached.end < min(begin + required.hold, ended):
        return Course("unsafe", True, after, reached.end - clock_from, held)
    verdict: Verdict = "safe" if after <= required.within else "late"
    # kept for as long as it was demanded, it was kept long enough
    decided = verdict == "late" or held >= required.hold or until < now
    return Course(verdict, decided, after, None, held)


def in_time(zone: Zone, delay: float, clock_from: float, now: float) -> bool:
    """Whether a zone that is not in its safe state now [s] may still be on its way."""
    return now - clock_from + delay <= zone.requirement.within + MOMENT


def judge(
    play: Play,
    zone: Zone,
    struck_in: str,
    struck_at: float,
    clock_from: float,
    until: float = inf,
) -> Outcome:
    """Judges a finished case.

    Parameters
    ----------
    play
        The run, advanced past `settled_after` or to `latest_end`.
    zone
        The zone to judge.
    struck_in
        What the logic believed the zone to be at the strike.
    struck_at, clock_from
        When the event struck, and when the time limit starts to run [s].
    until
        When the demand was taken back; what happens later does not count [s].
    """
    delay, limit = play.compiled.line_delay[zone.name], zone.requirement.within
    went = course(spells(play, zone), zone, delay, clock_from, play.now, until)
    waited = min(play.now, until) - clock_from
    ending = "the demand was withdrawn" if until < play.now else "the run ended"
    worst, clearances, forces = furthest(play, zone, clock_from)
    alarm = _alarm(play, zone, struck_at, clock_from + limit + GRACE)
    return Outcome(
        zone=zone.name,
        struck_in=struck_in,
        safe_state=zone.safe_state,
        asked_at=clock_from,
        verdict=went.verdict,
        decided=went.decided,
        revealed=bool(alarm),
        alarm=alarm,
        reached_after=went.after,
        line_delay=delay,
        limit=limit,
        lost_after=went.lost,
        held=went.held,
        least_force=_least_force(forces, zone),
        believed=play.actors.controller.logic.zones[zone.name].state,
        false_belief=_false_belief(play, zone, struck_at),
        why=_why(zone, went, delay, waited, ending),
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


def furthest(play: Play, zone: Zone, since: float) -> tuple[int, list[float], list[float]]:
    """The number of the brake of a zone that was out of the safe state for longest since a time
    [s], the furthest from it now of those that were for as long; and now of each brake its
    lining-to-fin distance [m] and its clamping force [N]."""
    brakes = play.compiled.brakes[zone.name]
    clearances, forces = _jaws(play, zone)
    watches = safe_watches(zone, brakes)
    out = _time_out(play, set(watches), since)
    order = [
        (-out[watch], *far, i)
        for i, (watch, far) in enumerate(zip(watches, _far(zone, clearances, forces), strict=True))
    ]
    return min(order)[-1], clearances, forces


def furthest_now(zone: Zone, clearances: Sequence[float], forces: Sequence[float]) -> int:
    """The number of the brake that is furthest from the safe state: the widest clearance when
    closed is safe, the narrowest or the hardest squeeze when open is; [m], [N] of each brake."""
    far = _far(zone, clearances, forces)
    return min(range(len(far)), key=lambda i: (*far[i], i))


def _far(
    zone: Zone, clearances: Sequence[float], forces: Sequence[float]
) -> list[tuple[float, float]]:
    """Of each brake what is the less the further it is from the safe state."""
    sign = 1.0 if zone.safe_state == "open" else -1.0
    return [(sign * c, -sign * f) for c, f in zip(clearances, forces, strict=True)]


def _time_out(play: Play, watches: set[int], since: float) -> dict[int, float]:
    """For how long each watch was not made between a time and now [s], to the millisecond: jaws
    that move alike are not told apart by what a step leaves open."""
    out = dict.fromkeys(watches, 0.0)
    began: dict[int, float] = dict.fromkeys(watches, 0.0)
    for time, watch, made in play.plant.log.crossings:
        if watch in watches and made and watch in began:
            out[watch] += max(time - max(began.pop(watch), since), 0.0)
        elif watch in watches and not made:
            began[watch] = time
    for watch, time in began.items():
        out[watch] += max(play.now - max(time, since), 0.0)
    return {watch: round(time, 3) for watch, time in out.items()}


def _jaws(play: Play, zone: Zone) -> tuple[list[float], list[float]]:
    """Lining-to-fin distance [m] and normal force [N] of each brake of the zone now."""
    clearances, forces = [], []
    y = play.plant.state()
    for brake in play.compiled.brakes[zone.name]:
        mover = play.plant.network.mover[brake.mover]
        depth = float(y[mover["x"]] - mover["high"])
        clearances.append(max(-depth, 0.0))
        forces.append(float(contact.function(depth, float(mover["high_stiffness"]))[0]))
    return clearances, forces


def _least_force(forces: list[float], zone: Zone) -> float | None:
    """Force of the weakest brake among those that count, the strongest `brakes_needed`."""
    if zone.safe_state == "open":
        return None
    return sorted(forces, reverse=True)[zone.brakes_needed - 1]


def _false_belief(play: Play, zone: Zone, since: float) -> bool:
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


def _why(zone: Zone, went: Course, delay: float, waited: float, ending: str) -> str:
    """What decided the verdict, one sentence; `delay`: how much of `after` was added for the lines,
    `waited`: from the start of the clock to the end of the run or the demand [s], `ending`: which
    of them."""
    after, lost, held = went.after, went.lost, went.held
    needed, of = zone.brakes_needed, len(zone.brakes)
    whole = "the brake" if of == 1 else "all brakes"
    brakes = f"at least {needed} of {of} brakes" if needed < of else whole
    what = f"{brakes} {zone.safe_state}"
    force = zone.requirement.clamping_force
    if zone.safe_state == "closed" and force:
        what += f" with {force / 1000.0:g} kN"
    limit = zone.requirement.within
    if after is None and waited + BOUNCE < limit + GRACE:
        return f"{what} not reached when {ending} after {waited:.2f} s (limit {limit:g} s)"
    if after is None:
        return f"{what} not reached (limit {limit:g} s, watched for {limit + GRACE:g} s)"
    lines = ""
    if after > 0.0 and delay >= WORTH_SAYING:
        lines = f"; includes {delay:.2f} s of line delay"
    took = f"{after:.2f} s (limit {limit:g} s{lines})"
    if lost is not None:
        return f"{what} after {took}, but lost again after {lost:.2f} s"
    if went.verdict == "late":
        return f"{what} only after {took}"
    reached = f"{what} after {took}"
    if held < zone.requirement.hold:
        return (
            f"{reached}, held for {held:.2f} s when {ending} (required {zone.requirement.hold:g} s)"
        )
    return f"{reached}, held for the required {held:g} s"


@dataclass(frozen=True)
class ZoneNow:
    """What the jaws of a zone do at this moment."""

    pressure: float
    """In the bladders of the brake furthest from the safe state [Pa absolute]."""
    gap: float
    """Distance of a lining from the fin there [m]."""
    force: float
    """Clamping force there [N]."""
    brake: str
    """That brake."""


def zone_now(play: Play, zone: str) -> ZoneNow:
    """The present state of a zone, from the physics."""
    brakes = play.compiled.brakes[zone]
    network, y = play.plant.network, play.plant.state()
    entry = play.compiled.circuit.zones[zone]
    gaps, forces = _jaws(play, entry)
    worst = furthest_now(entry, gaps, forces)
    node = int(network.mover[brakes[worst].mover]["node_0"])
    return ZoneNow(
        pressure=float(node_pressure(network, y[None, :], node)[0]),
        gap=gaps[worst],
        force=forces[worst],
        brake=brakes[worst].component,
    )
