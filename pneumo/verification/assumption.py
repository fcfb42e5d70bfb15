"""What a verification held fixed and what it did not run, in sentences for the report."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.delay import line_delays, speed_of_sound
from pneumo.network.nodes import SMALLEST_VOLUME
from pneumo.scenario.actor import Actor
from pneumo.scenario.plant import RTOL
from pneumo.scenario.reference import REPLAYED_SHARE
from pneumo.scenario.start import TO_REST
from pneumo.units import format_pressure, format_temperature
from pneumo.verification.plan import DRAIN, DRAINED, READY, Trial
from pneumo.verification.verdict import BOUNCE, GRACE


def assumptions(
    circuit: Circuit, trials: Sequence[Trial], actors: Sequence[Actor] = ()
) -> tuple[str, ...]:
    """Sentences that belong beside every verdict of this campaign; `actors`: who acts besides."""
    ambient = circuit.ambient
    kinds = Counter(trial.injection.kind for trial in trials)
    represents = sum(
        max(len(trial.represents), 1) for trial in trials if trial.injection.kind == "fault"
    )
    after = circuit.verification.demand_after
    besides = ", ".join(type(actor).__name__ for actor in actors)
    return (
        f"Surroundings at {format_pressure(ambient.pressure, 0.0)} absolute and "
        f"{format_temperature(ambient.temperature)}; the plant is charged and has been at rest for "
        f"{TO_REST:g} s, each zone in the state in which it starts.",
        f"Each event is injected after the zones have been in a state for {READY:g} s, and during "
        "a movement in the middle of each state on the way.",
        f"A ride stop {after:g} s after the event demands the safe state, if the logic has not "
        "done so before. It must be reached within the zone's limit, counted from the first "
        "demand; at a loss of power the limit runs from the loss.",
        f"With the supply stopped each receiver drains through a hole of {DRAIN * 1e3:g} mm for "
        f"{DRAINED:g} s before the ride stop.",
        _lines(circuit),
        f"A safe state lost for at most {BOUNCE:g} s is a bounce and does not count. A zone is "
        f"watched for {GRACE:g} s beyond its limit; what takes longer counts as not reached.",
        *((f"In every case these act besides: {besides}.",) if besides else ()),
        f"A fin is between the jaws of every brake{', unless they act otherwise' * bool(besides)}. "
        "The controller itself, its wiring and its "
        "supply do not fail; power loss means that no coil can be energised.",
        f"Run: {kinds['loss']} losses and {kinds['fault']} single faults, each in every operating "
        f"state. By symmetry they cover {represents} faults. Not run: pairs of faults, other "
        "severities than those shown, other instants of a movement.",
        "Zones that a fault does not affect move as in the run without it, until the air that a "
        f"zone has drawn differs from that run by {REPLAYED_SHARE * 1e2:g} % of what the rest of "
        "the ride holds; from then on every zone is calculated.",
        "Area, spring force and spring rate of a brake are those of one ski, and so is every "
        "clamping force shown; a gap is that of both sides together when open, a clearance that "
        "of one lining to the fin.",
        f"Air spaces smaller than {SMALLEST_VOLUME * 1e3:g} L are calculated with that volume, "
        "the inner volumes of a line with their own (`pneumo check` names them); relative "
        f"tolerance of a step {RTOL:g}.",
    )


def _lines(circuit: Circuit) -> str:
    """What is added to the time of each zone for its lines."""
    speed = speed_of_sound(circuit.ambient.temperature)
    added = ", ".join(
        f"{zone} {delay * 1e3:.0f} ms" for zone, delay in line_delays(circuit).items()
    )
    return (
        "Pressure waves in the lines are not calculated; the time of each zone includes a line "
        "delay, the length of its longest path through lines over the speed of sound, "
        f"{speed:.0f} m/s: {added}."
    )
