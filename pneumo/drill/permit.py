"""Safe work on a part: how far it is locked out, and what somebody would have met there.

```text
in service ─isolate─> isolated ─lock─> locked ─prove─> proved dead
```

- isolate: no supply that is on, and no vessel under pressure, has an open way to the part;
- lock: that holds by what is locked alone;
- prove: zero was read at the part since the last lock was put on, and it is zero still.

The machine is run from its first row each time: a lock that was taken off, or air that came back,
leads back by itself.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from pneumo.drill.danger import Danger, Exposure, Hazard
from pneumo.drill.energy import (
    CRUSHES,
    SHOCKS,
    UNDER_PRESSURE,
    WaysIn,
    closed_by_hand,
    closing_force,
    pressure_at,
    voltage_at,
    ways_in,
)
from pneumo.drill.steps import Row, Steps
from pneumo.scenario.play import Play

State = Literal["in service", "isolated", "locked", "proved dead"]
Step = Literal["isolate", "lock", "prove"]

ZERO = 0.1e5
"""A gauge that shows no more than this is at zero [Pa above the surroundings]: two of its smallest
marks; common practice, no source."""


@dataclass
class Site:
    """What has been put on and found at the ride so far."""

    locked: dict[str, None] = field(default_factory=dict)
    """Valves, supplies and feeds with a lock and a tag on."""
    proved: dict[str, None] = field(default_factory=dict)
    """Parts at which zero was read since the last lock was put on or taken off."""
    live: bool = False
    """A permit for tests on live wires is there."""
    fitted: dict[str, None] = field(default_factory=dict)
    """Ports at which a tee with a test point was fitted."""

    def lock(self, component: str) -> None:
        """A lock and a tag are put on."""
        self.locked[component] = None
        self.proved.clear()

    def unlock(self, component: str) -> None:
        """They are taken off."""
        self.locked.pop(component, None)
        self.proved.clear()


class Facts(NamedTuple):
    """How a part stands."""

    ways: WaysIn
    """From where air could come, all that is closed by hand staying so."""
    unlocked: WaysIn
    """From where it could come were all that is not locked opened."""
    read: bool
    """Zero was read there."""
    pressure: float
    """[Pa above the surroundings]"""


def facts(play: Play, site: Site, component: str) -> Facts:
    """How a part stands now."""
    return Facts(
        ways_in(play, component, closed_by_hand(play)),
        ways_in(play, component, site.locked),
        component in site.proved,
        pressure_at(play, component),
    )


class Rule(NamedTuple):
    """A row and what must hold for it."""

    row: Row[State, Step]
    holds: Callable[[Facts], bool]


TABLE: tuple[Rule, ...] = (
    Rule(Row("isolate", ("in service",), "isolated"), lambda found: not found.ways.any),
    Rule(Row("lock", ("isolated",), "locked"), lambda found: not found.unlocked.any),
    Rule(
        Row("prove", ("locked",), "proved dead"),
        lambda found: found.read and found.pressure <= ZERO,
    ),
)


def permit_state(found: Facts) -> State:
    """How far a part is locked out."""
    steps: Steps[State, Step] = Steps((rule.row for rule in TABLE), "in service")
    for rule in TABLE:
        if steps.may(rule.row.step) and rule.holds(found):
            steps.take(rule.row.step)
    return steps.state


# what somebody would have met


def dangers(
    play: Play, site: Site, component: str, exposures: frozenset[Exposure]
) -> tuple[Danger, ...]:
    """What is unsafe about work on a part now; the worst first."""
    found: list[Danger] = []
    if "air" in exposures:
        found += _of_air(play, site, component)
    if "jaws" in exposures:
        found += _of_jaws(play, component)
    if "wires" in exposures:
        found += _of_wires(play, site, component)
    if "live" in exposures and not site.live:
        found.append(Danger("no permit", component))
    return tuple(sorted(found, key=lambda danger: not danger.injures))


def _of_air(play: Play, site: Site, component: str) -> list[Danger]:
    stands = facts(play, site, component)
    found: list[Danger] = []
    if stands.pressure > UNDER_PRESSURE:
        return [Danger("pressure", component, stands.pressure)]
    if stands.pressure > ZERO:
        found.append(Danger("residual", component, stands.pressure))
    state = permit_state(stands)
    if state == "in service":
        names = (*stands.ways.supplies, *(name for name, _ in stands.ways.stores))
        most = max((p for _, p in stands.ways.stores), default=0.0)
        found.append(Danger("not isolated", component, most, names))
    elif state == "isolated":
        loose = tuple(name for name in closed_by_hand(play) if name not in site.locked)
        found.append(Danger("not locked", component, names=loose))
    elif state == "locked":
        found.append(Danger("not proved", component))
    return found


def _of_jaws(play: Play, component: str) -> list[Danger]:
    force = closing_force(play, component)
    if component in play.actors.faults.blocked or force <= CRUSHES:
        return []
    return [Danger("force", component, force)]


def _of_wires(play: Play, site: Site, component: str) -> list[Danger]:
    voltage = voltage_at(play, component)
    if voltage > SHOCKS:
        return [Danger("voltage", component, voltage)]
    compiled = play.compiled
    spool = compiled.parts[component].spool
    feed = compiled.spools[spool].feed if spool >= 0 else None
    if feed is not None and feed not in site.locked:
        kind: Hazard = "not locked" if not play.actors.spools.powered(play.plant, component) else (
            "not isolated"
        )  # fmt: skip
        return [Danger(kind, component, voltage, (feed,))]
    return []
