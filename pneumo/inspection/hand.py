"""A bar and a load cell at a jaw, and one valve switched alone.

The bar is tried on a copy of the run: its force is laid on the mover and the copy runs on. It is
idle where air pushes the jaws, at a block, and against springs that are stronger than it: a jaw
that stands still there may be seized or not. The load cell is idle where air pushes the jaws, which
is what would be measured then, and at a block.

A valve that is cycled alone is idle where it is commanded on already, so that nothing is switched,
and where its voltage is switched off by hand, so that nothing can be. A lamp that stays dark with
the voltage on tells of an output, a feed, a plug: no idle test, even where nothing is heard.
"""

from __future__ import annotations

from itertools import pairwise

from pneumo.inspection.ear import blowing
from pneumo.inspection.evidence import Cycled, Pried, Pulled
from pneumo.inspection.meter import is_commanded
from pneumo.inspection.moment import Moment
from pneumo.inspection.target import brake_of
from pneumo.scenario.play import Play

LEVER = 3000.0
"""Force of a person with a bar at a jaw [N]: 300 N of hand force on a lever of ten to one; common
practice, no source."""

PRIED = 1.0
"""The bar is held for so long [s]."""

MOVES = 0.5e-3
"""A movement that is felt [m]; invented."""

CELL_STEP = 50.0
"""A load cell is read to this [N]: common practice, no source."""


def pry(at: Moment, target: str) -> Pried:
    """A bar at a jaw, away from the stop or the fin it stands at. Raises InputError when it is no
    brake."""
    component = brake_of(at.compiled, target)
    before, row = at.moved(component)
    middle = 0.5 * (float(row["low"]) + float(row["high"]))
    push = LEVER if before < middle else -LEVER
    springs = _springs(row, before)
    if springs * push < 0.0 and abs(springs) >= LEVER:
        return Pried(component, 0.0, idle=True)  # linings that give a little are no movement
    twin = at.play.snapshot()
    twin.plant.restart(range(len(twin.plant.position.partition)))
    twin.plant.network.mover[twin.compiled.parts[component].mover]["spring_force"] += push
    twin.advance(twin.now + PRIED)
    after, _ = Moment(twin).moved(component)
    distance = abs(after - before)
    shown = round(distance * 1e3) / 1e3 if distance >= MOVES else 0.0
    return Pried(component, shown, _is_held(at, component))


def pull(at: Moment, target: str) -> Pulled:
    """A load cell at a ski that is drawn off its stop: friction adds to the springs one way and
    takes from them the other. Raises InputError when it is no brake."""
    component = brake_of(at.compiled, target)
    travel, row = at.moved(component)
    friction = float(row["static"])
    idle = _is_held(at, component)
    if friction == float("inf"):
        return Pulled(component, None, None, idle)
    springs = abs(_springs(row, travel))
    return Pulled(component, _to_step(springs + friction), _to_step(springs - friction), idle)


def cycled(before: Play, held: Play, after: Play, component: str, side: str) -> Cycled:
    """What was seen and heard of a valve that was switched on alone and off again: the run before,
    while it was held on, and after."""
    coil = (component, side)
    runs = (before, held, after)
    marks = [play.actors.spools.position(play.plant, component) for play in runs]
    switched = any(abs(b - a) > 0.5 for a, b in pairwise(marks))
    # a coil pulls its pilot whether or not there is air for it; without a pilot it pulls the spool
    pilots = [play.plant.controls.energised(coil) for play in runs]
    piloted = before.plant.controls.specs[component].pilot is not None
    clicked = any(a != b for a, b in pairwise(pilots)) if piloted else switched
    already = blowing(Moment(before))
    heard = dict.fromkeys((*blowing(Moment(held)), *blowing(Moment(after))))
    return Cycled(
        f"{component}.{side}",
        held.plant.controls.has_voltage(coil),
        clicked,
        switched,
        tuple(name for name in heard if name not in already),
        is_commanded(before, coil) or not _may_have_voltage(before, component),
    )


def _may_have_voltage(play: Play, component: str) -> bool:
    """Whether nobody has switched off what feeds a valve's coils."""
    controls = play.plant.controls
    return controls.power and controls.specs[component].feed not in controls.off


def _springs(row: object, travel: float) -> float:
    """Force of a mover's springs at a travel, towards the fin [N]."""
    return float(row["spring_force"] - row["spring_rate"] * travel)  # type: ignore[index]


def _is_held(at: Moment, component: str) -> bool:
    """Whether a block, or air, holds the jaws."""
    return component in at.play.actors.faults.blocked or at.is_driven(component)


def _to_step(force: float) -> float:
    return max(round(force / CELL_STEP) * CELL_STEP, 0.0)
