"""The spools of a run's valves: where each is going, and when it gets there."""

from __future__ import annotations

import copy
from bisect import insort
from collections.abc import Iterable
from dataclasses import dataclass
from math import inf, sqrt

from pneumo.network.compile import Compiled
from pneumo.scenario.controls import Controls
from pneumo.scenario.event import SpoolArrived
from pneumo.scenario.inject import Overrides
from pneumo.scenario.plant import Plant

MOST_SLOWED = 10.0
"""A spool whose pilot has next to nothing above its minimum takes so many times as long [-];
estimated."""


@dataclass
class _Spool:
    """Where a spool is going: `target` once `start_at` has come."""

    target: float
    start_at: float = inf
    """When it starts towards the target [s]."""
    goal: float = 0.0
    """Where the movement under way ends."""
    delay: float = 0.0
    """From being sent to `start_at`, until it is known by how much its pilot lengthens it [s]."""


class Spools:
    """Sends spools where coils, pilots, hands and faults want them, and moves them there."""

    def __init__(self, compiled: Compiled) -> None:
        self._specs = compiled.spools
        self._parts, self._partitions = compiled.parts, compiled.spool_partitions
        self._ambient = compiled.circuit.ambient.pressure
        self._of: dict[str, list[int]] = {}
        for k, spec in enumerate(self._specs):
            self._of.setdefault(spec.component, []).append(k)
        self._spools = [_Spool(spec.start) for spec in self._specs]
        self._moves: list[tuple[float, int]] = []
        """(time [s], spool) of every start and end to come."""
        self._obeyed: Overrides | None = None
        """What faults did when the spools last obeyed."""

    def copy(self) -> Spools:
        """An independent copy that goes on from here."""
        new = copy.copy(self)
        new._spools = [copy.copy(spool) for spool in self._spools]
        new._moves = list(self._moves)
        return new

    def next_time(self) -> float:
        """When the next movement starts or ends [s]; infinity: none does."""
        return self._moves[0][0] if self._moves else inf

    def act(self, plant: Plant) -> tuple[()]:
        """Starts and ends the movements that are due."""
        while self._moves and self._moves[0][0] <= plant.now:
            k = self._moves.pop(0)[1]
            row = plant.network.spool[k]
            if row["rate"] != 0.0 and plant.now >= row["until"]:
                self._stop(plant, k)
            if self._spools[k].start_at <= plant.now:
                self._start(plant, k)
        return ()

    def drive(self, plant: Plant, components: Iterable[str] | None = None) -> None:
        """Sends every spool, or those of some components, where it is wanted."""
        overrides = plant.controls.overrides
        if components is None:
            if self._obeyed is not overrides:
                self._obeyed = overrides
                self._free(plant)
            places: Iterable[int] = range(len(self._spools))
        else:
            places = [k for name in components for k in self._of.get(name, ())]
        for k in places:
            spool = self._spools[k]
            if k in overrides.spool_held:
                self._hold(plant, k, overrides.spool_held[k])
                continue
            wanted = self._wanted(plant, k)
            if wanted is None or wanted == spool.target:
                continue
            spec = self._specs[k]
            delay = spec.switch_off if wanted == spec.rest else spec.switch_on
            spool.target = wanted
            spool.delay = delay * overrides.spool_slow.get(k, 1.0)
            spool.start_at = plant.now + spool.delay
            plant.network.spool[k]["next"] = spool.start_at
            insort(self._moves, (spool.start_at, k))

    def put(self, plant: Plant) -> None:
        """Puts every spool that is on its way where it is going, at once and without a word: so a
        run begins."""
        for k, spool in enumerate(self._spools):
            if spool.start_at < inf:
                spool.start_at = inf
                plant.network.spool[k]["position"] = spool.target
        plant.network.spool["next"] = inf
        self._moves = []

    def _free(self, plant: Plant) -> None:
        """Spools that no fault holds any more go where their coils want them."""
        for k, spool in enumerate(self._spools):
            row = plant.network.spool[k]
            at_rest = row["rate"] == 0.0 and spool.start_at == inf
            if k not in plant.controls.overrides.spool_held and at_rest:
                spool.target = float(row["position"])

    # what can be asked

    def turn(self, plant: Plant, component: str, in_service: bool) -> bool:
        """Somebody turns the handle of a valve. False: it is seized, and turns once it is freed."""
        k = self._number(component)
        plant.controls.handles[k] = 1.0 if in_service else 0.0
        return k not in plant.controls.overrides.spool_held

    def position(self, plant: Plant, component: str) -> float:
        """Where a valve's spool is now: 0 at rest or isolated, 1 where coil 14 puts it or in
        service, -1 at the other end."""
        return self._position(plant, self._number(component))

    def energised(self, plant: Plant, component: str, side: str) -> bool:
        """Whether current flows in a coil now: commanded, fed, and the coil whole."""
        return plant.controls.energised((component, side))

    def powered(self, plant: Plant, component: str) -> bool:
        """Whether the feed of a valve's coils has voltage now."""
        return plant.controls.powered(self._specs[self._number(component)].feed)

    def isolated(self, plant: Plant) -> tuple[str, ...]:
        """Shut-off valves whose handle stands out of service, whoever turned it."""
        return tuple(
            self._specs[k].component for k in plant.controls.handles if self._handle(plant, k) < 0.5
        )

    # one spool

    def _number(self, component: str) -> int:
        """The spool of a component; ValueError: it has none."""
        k = self._parts[component].spool
        if k < 0:
            raise ValueError(f"{component} has no spool")
        return k

    def _position(self, plant: Plant, k: int) -> float:
        row = plant.network.spool[k]
        moved = min(plant.now, float(row["until"])) - float(row["since"])
        return float(row["position"] + row["rate"] * moved)

    def _handle(self, plant: Plant, k: int) -> float:
        """Where the handle of a spool that is turned by hand stands, whoever turned it."""
        controls = plant.controls
        if k in controls.overrides.spool_held:
            return self._position(plant, k)
        return controls.overrides.spool_forced.get(k, controls.handles[k])

    def _wanted(self, plant: Plant, k: int) -> float | None:
        """Where a spool should go; None: it stays where it is."""
        spec, controls = self._specs[k], plant.controls
        if k in controls.overrides.spool_forced:
            return controls.overrides.spool_forced[k]
        if spec.by_hand:
            return controls.handles[k]
        side = self._driven_by(plant, k)
        if side == "14":
            return spec.at_14
        if side == "12":
            return spec.rest if spec.at_12 is None else spec.at_12
        return None if spec.memory else spec.rest

    def _driven_by(self, plant: Plant, k: int) -> str | None:
        """The side that drives a spool: its coil or override alone asks, and the pilot suffices."""
        spec = self._specs[k]
        controls: Controls = plant.controls
        pilot = spec.pilot_watch < 0 or (
            bool(plant.on[spec.pilot_watch]) and k not in controls.overrides.pilot_lost
        )
        at_14 = controls.drives((spec.component, "14"))
        at_12 = controls.drives((spec.component, "12"))
        if at_14 == at_12 or not pilot:
            return None
        return "14" if at_14 else "12"

    def _slower(self, plant: Plant, k: int) -> float:
        """By what factor a spool that its pilot drives is slower now than at the pressure at which
        its times hold; 1 at that pressure and above, or without a pilot.

        A constant force moves a mass over a distance in t = sqrt(2 m s / F) (mechanics), and the
        force is what the pilot has above its minimum. Asked for when the delay is over, and again
        when the movement begins.
        """
        spec = self._specs[k]
        pilot = spec.pilot
        if pilot is None or self._driven_by(plant, k) is None:
            return 1.0
        node = int(plant.network.watch[spec.pilot_watch]["index"])
        left = plant.pressure(node) - self._ambient - pilot.minimum
        full = pilot.timed_at - pilot.minimum
        if left <= full / MOST_SLOWED**2:
            return MOST_SLOWED
        return max(1.0, sqrt(full / left))

    def _hold(self, plant: Plant, k: int, position: float | None) -> None:
        row = plant.network.spool[k]
        at = self._position(plant, k) if position is None else position
        if row["rate"] != 0.0 or row["position"] != at:
            plant.restart(self._partitions[k])
            row["position"], row["rate"] = at, 0.0
            row["since"] = row["until"] = plant.now
        row["next"] = inf
        self._spools[k] = _Spool(at)

    def _start(self, plant: Plant, k: int) -> None:
        spool, row, spec = self._spools[k], plant.network.spool[k], self._specs[k]
        at = self._position(plant, k)
        slower = self._slower(plant, k)
        further, spool.delay = spool.delay * (slower - 1.0), 0.0
        if further > 0.0:
            # only now is it known what the pilot has while it works: at first it may be rising
            spool.start_at = row["next"] = plant.now + further
            insort(self._moves, (spool.start_at, k))
            return
        spool.start_at = row["next"] = inf
        spool.goal = spool.target
        distance = spool.target - at
        if distance == 0.0:
            row["position"], row["rate"] = at, 0.0
            return
        slow = slower * plant.controls.overrides.spool_slow.get(k, 1.0)
        travel = spec.travel * abs(distance) * slow
        plant.restart(self._partitions[k])
        row["position"], row["since"] = at, plant.now
        row["until"] = plant.now + travel
        row["rate"] = distance / travel
        insort(self._moves, (float(row["until"]), k))

    def _stop(self, plant: Plant, k: int) -> None:
        row = plant.network.spool[k]
        plant.restart(self._partitions[k])
        row["position"], row["rate"] = self._spools[k].goal, 0.0
        row["since"] = row["until"]
        plant.say(self._specs[k].component, SpoolArrived(float(row["position"])))
