"""The supplies of a run: compressors that load and unload, and what is switched off."""

from __future__ import annotations

import copy
from math import inf

from pneumo.network.compile import Compiled
from pneumo.scenario.event import SupplyChanged
from pneumo.scenario.plant import Plant

COMPRESSOR_TIME = 0.1
"""Time between two switchings of a compressor by the pressure at its outlet [s], as its pilot valve
and unloader take it; estimated."""


class Supplies:
    """Lets compressors and supplies deliver or not."""

    def __init__(self, compiled: Compiled) -> None:
        self._compressors = compiled.compressors
        self._parts = compiled.parts
        self._feeds = {spec.component: spec.feed for spec in compiled.compressors}
        self._openings = [
            (name, parts.supply, float(compiled.network.restriction[parts.supply]["open_max"]))
            for name, parts in compiled.parts.items()
            if parts.supply >= 0
        ]
        """Supplies without a compressor: name, path, its opening while on."""
        self._switched: dict[str, float] = {}
        """Compressor -> when it last switched [s]."""
        self._looks: set[tuple[float, str]] = set()
        """When [s] a compressor that has just switched looks at its pressure again."""

    def copy(self) -> Supplies:
        """An independent copy that goes on from here."""
        new = copy.copy(self)
        new._switched, new._looks = dict(self._switched), set(self._looks)
        return new

    def next_time(self) -> float:
        """When a compressor looks at its pressure again [s]; infinity: none waits."""
        return min(self._looks)[0] if self._looks else inf

    def act(self, plant: Plant) -> tuple[()]:
        """Those that have waited look at their pressure."""
        self._looks = {look for look in self._looks if look[0] > plant.now}
        self.drive(plant)
        return ()

    def begin(self) -> None:
        """Before time zero nothing has switched."""
        self._switched.clear()

    def can_deliver(self, plant: Plant, component: str) -> bool:
        """Whether a compressor or supply runs and is powered, loaded or not."""
        controls, feed = plant.controls, self._feeds.get(component)
        return controls.runs(component) and (feed is None or controls.powered(feed))

    def delivers(self, plant: Plant, component: str) -> bool:
        """Whether a compressor or supply delivers now, or an electrical feed has voltage."""
        parts, controls = self._parts[component], plant.controls
        if parts.source >= 0:
            return bool(plant.network.source[parts.source]["on"] > 0.0)
        return controls.powered(component) if parts.feed else controls.runs(component)

    def drive(self, plant: Plant) -> None:
        """Compressors load and unload; switched-off supplies deliver nothing."""
        network, controls = plant.network, plant.controls
        for spec in self._compressors:
            unloaded = bool(plant.on[spec.watch])
            if spec.component in controls.overrides.never_unload:
                unloaded = False
            on = 1.0 if self.can_deliver(plant, spec.component) and not unloaded else 0.0
            row = network.source[spec.source]
            if row["on"] != on and not self._waits(plant, spec.component):
                plant.restart([network.node_partition[row["node"]]])
                row["on"] = on
                self._switched[spec.component] = plant.now
                plant.say(spec.component, SupplyChanged(bool(on)))
        for name, path, opening in self._openings:
            row = network.restriction[path]
            on = opening if controls.runs(name) else 0.0
            if row["open_max"] != on:
                plant.restart(set(network.node_partition[[row["a"], row["b"]]]) - {-1})
                row["open_max"] = on
                row["open_min"] = min(float(row["open_min"]), on)

    def _waits(self, plant: Plant, compressor: str) -> bool:
        """Whether a compressor has switched just now: then it looks at its pressure again when it
        can. One that is stopped delivers nothing at once."""
        ready = self._switched.get(compressor, -inf) + COMPRESSOR_TIME
        if plant.now >= ready or not self.can_deliver(plant, compressor):
            return False
        self._looks.add((ready, compressor))
        return True
