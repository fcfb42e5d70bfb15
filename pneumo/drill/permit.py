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

from pneumo.drill.danger import Danger, Exposure
from pneumo.drill.energy import (
    CRUSHES,
    SHOCKS,
    UNDER_PRESSURE,
    WaysIn,
    closed_by_hand,
    moving_force,
    pressure_at,
    ways_in,
    wiring,
)
from pneumo.drill.steps import Row, Steps
from pneumo.inspection.gauge import to_step
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
        lambda found: found.read and to_step(found.pressure) <= ZERO,
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
    if "fitting" in exposures:
        found += _of_fitting(play, site, component, let_out=True)
    if "tee" in exposures:
        found += _of_fitting(play, site, component, let_out=False)
    if "jaws" in exposures:
        found += _of_jaws(play, site, component)
    if "wires" in exposures:
        found += _of_wires(play, site, component)
    if "plug" in exposures and not site.live:
        found += _of_wires(play, site, component)
    # behind a lock on its feed a voltage is looked for to show that there is none
    if "live" in exposures and not site.live and _of_wires(play, site, component):
        found.append(Danger("no permit", component))
    return tuple(sorted(dict.fromkeys(found), key=lambda danger: not danger.injures))


def _of_air(play: Play, site: Site, component: str) -> list[Danger]:
    stands = facts(play, site, component)
    if stands.pressure > UNDER_PRESSURE:
        trapped = permit_state(stands._replace(pressure=0.0)) == "proved dead"
        return [Danger("held back" if trapped else "pressure", component, stands.pressure)]
    residual = to_step(stands.pressure) > ZERO
    found = [Danger("residual", component, stands.pressure)] if residual else []
    return found + _not_locked_out(play, site, component, stands)


def _of_fitting(play: Play, site: Site, component: str, *, let_out: bool) -> list[Danger]:
    """A fitting is loosened slowly, its thread still holding: that lets out what is trapped, and
    nothing more may come. A tee goes in where nothing is left. Neither can be proved before."""
    stands = facts(play, site, component)
    found = _not_locked_out(play, site, component, stands._replace(read=True, pressure=0.0))
    if stands.pressure > UNDER_PRESSURE and (found or not let_out):
        return [Danger("pressure", component, stands.pressure)]
    return found


def _not_locked_out(play: Play, site: Site, component: str, stands: Facts) -> list[Danger]:
    state = permit_state(stands)
    if state == "in service":
        names = (*stands.ways.supplies, *(name for name, _ in stands.ways.stores))
        most = max((p for _, p in stands.ways.stores), default=0.0)
        return [Danger("not isolated", component, most, names)]
    if state == "isolated":
        loose = tuple(name for name in closed_by_hand(play) if name not in site.locked)
        return [Danger("not locked", component, names=loose)]
    if state == "locked":
        return [Danger("not proved", component)]
    return []


def _of_jaws(play: Play, site: Site, component: str) -> list[Danger]:
    """A block makes them safe; without one they must neither be pushed now, nor may air come that
    would."""
    if component in play.actors.faults.blocked:
        return []
    force = moving_force(play, component)
    if force > CRUSHES:
        brake = "brake" in play.compiled.circuit.components[component].traits
        return [Danger("force" if brake else "moves", component, force)]
    return _not_locked_out(play, site, component, facts(play, site, component))


def _of_wires(play: Play, site: Site, component: str) -> list[Danger]:
    volts, cut_by = wiring(play, component)
    off = [name for name in cut_by if name in play.plant.controls.off]
    if any(name in site.locked for name in off):
        return []
    if volts > SHOCKS:
        return [Danger("voltage", component, volts, cut_by)]
    if off:
        return [Danger("not locked", component, names=tuple(off))]
    if not cut_by and site.live:
        return []
    return [Danger("live wires", component, volts, cut_by)]
