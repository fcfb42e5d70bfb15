"""What the jaws of a zone do now, and which brake is the furthest from the safe state."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pneumo.circuit.circuit import Zone
from pneumo.scenario.play import Play
from pneumo.scenario.signal import jaws
from pneumo.verification.spell import safe_watches


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
    gaps, forces = brakes_now(play, zone)
    worst = furthest_now(play.compiled.circuit.zones[zone], gaps, forces)
    node = int(play.plant.network.mover[brakes[worst].mover]["node_0"])
    return ZoneNow(
        pressure=play.plant.pressure(node),
        gap=gaps[worst],
        force=forces[worst],
        brake=brakes[worst].component,
    )


def brakes_now(play: Play, zone: str) -> tuple[list[float], list[float]]:
    """Lining-to-fin distance [m] and clamping force [N] of each brake of a zone now."""
    movers = [brake.mover for brake in play.compiled.brakes[zone]]
    gaps, forces = jaws(play.plant.network, play.plant.state(), movers)
    return gaps.tolist(), forces.tolist()


def furthest(play: Play, zone: Zone, since: float) -> tuple[int, list[float], list[float]]:
    """The number of the brake of a zone that was out of the safe state for longest since a time
    [s], the furthest from it now of those that were for as long; and now of each brake its
    lining-to-fin distance [m] and its clamping force [N]."""
    brakes = play.compiled.brakes[zone.name]
    clearances, forces = brakes_now(play, zone.name)
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
