"""When enough brakes of a zone were in its safe state, and what a limit makes of it."""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import inf

from pneumo.circuit.circuit import Zone
from pneumo.network.watches import BrakeWatch
from pneumo.verification.verdict import BOUNCE, GRACE, Verdict

MOMENT = 1e-6
"""Sums of scans fall so much short of the time they stand for [s]."""


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


def latest_end(zones: Iterable[Zone], limit_from: float) -> float:
    """When the case of every zone is over at the latest [s]."""
    return max(
        (limit_from + zone.requirement.within + GRACE + zone.requirement.hold for zone in zones),
        default=limit_from,
    )


def decided_at(found: Sequence[Spell], zone: Zone, limit_from: float) -> float:
    """Time after which nothing can change a zone's verdict [s], unless something happens before.

    `found`: its spells that did not end by `limit_from`, or all.
    """
    reached, counts = _reached(found, zone, limit_from)
    if reached is None or not counts:
        return limit_from + zone.requirement.within + GRACE
    begin = max(reached.start, limit_from)
    return min(begin + zone.requirement.hold, reached.end + BOUNCE)


def _reached(found: Sequence[Spell], zone: Zone, limit_from: float) -> tuple[Spell | None, bool]:
    """The spell to judge, None when none came in time, and whether it counts.

    A zone that is safe and, still within its limit, is not any more is on its way: what counts is
    the first spell that is held as long as required or outlasts the limit. Without one the last
    spell stands for the loss.
    """
    required = zone.requirement
    limit = limit_from + required.within
    last: Spell | None = None
    for spell in found:
        if spell.end <= limit_from or spell.start > limit + GRACE:
            continue
        last = spell
        if spell.end > limit or spell.end >= max(spell.start, limit_from) + required.hold:
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
    limit_from: float,
    now: float,
    until: float = inf,
) -> Course:
    """Judges what a zone has done by now [s]; everything that is judged comes through here.

    `found`: its spells that did not end by `limit_from`, or all; `delay`: of its lines; `until`:
    when the demand was taken back, what happens later does not count; infinity while it stands.
    """
    ended, required = min(now, until), zone.requirement
    reached, _ = _reached(found, zone, limit_from)
    if reached is None or reached.start > ended:
        decided = ended + BOUNCE >= limit_from + required.within + GRACE
        return Course("unsafe", decided, None, None, 0.0)
    begin = max(reached.start, limit_from)
    after = begin - limit_from + (delay if begin > limit_from else 0.0)
    held = min(min(reached.end, ended) - begin, required.hold)
    if reached.end < min(begin + required.hold, ended):
        return Course("unsafe", True, after, reached.end - limit_from, held)
    verdict: Verdict = "safe" if after <= required.within else "late"
    # kept for as long as it was demanded, it was kept long enough
    decided = verdict == "late" or held >= required.hold or until < now
    return Course(verdict, decided, after, None, held)


def in_time(zone: Zone, delay: float, limit_from: float, now: float) -> bool:
    """Whether a zone that is not in its safe state now [s] may still be on its way."""
    return now - limit_from + delay <= zone.requirement.within + MOMENT
