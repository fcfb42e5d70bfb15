"""What a verification held fixed and what it did not run, in sentences for the report."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.delay import line_delays, speed_of_sound
from pneumo.network.nodes import SMALLEST_VOLUME
from pneumo.scenario.plant import FOLLOWED_SHARE, RTOL
from pneumo.scenario.play import SETTLE
from pneumo.units import format_pressure, format_temperature
from pneumo.verification.judge import BOUNCE, GRACE
from pneumo.verification.plan import DRAIN, DRAINED, READY, Trial


def assumptions(circuit: Circuit, trials: Sequence[Trial]) -> tuple[str, ...]:
    """Sentences that belong beside every verdict of this campaign."""
    ambient = circuit.ambient
    kinds = Counter(trial.kind for trial in trials)
    stands_for = sum(max(len(trial.stands_for), 1) for trial in trials if trial.kind == "fault")
    after = circuit.verification.demand_after
    return (
        f"Surroundings at {format_pressure(ambient.pressure, 0.0)} absolute and "
        f"{format_temperature(ambient.temperature)}; the plant is charged and has been at rest for "
        f"{SETTLE:g} s, each zone in the state in which it starts.",
        f"The zones are brought to a state and left there for {READY:g} s before anything is "
        "tried; movements are struck in the middle of each state passed on the way.",
        f"A ride stop {after:g} s after the event asks for the safe state, if the logic has not "
        "done so before. It must be reached within the zone's limit, counted from the first time "
        "the zone was asked; at a loss of power the limit runs from the loss.",
        f"With the supply stopped each receiver drains through a hole of {DRAIN * 1e3:g} mm for "
        f"{DRAINED:g} s before the ride stop.",
        _lines(circuit),
        f"A safe state lost for at most {BOUNCE:g} s is a bounce. A zone is waited for "
        f"{GRACE:g} s beyond its limit; what takes longer counts as not reached.",
        "A fin is between the jaws of every brake. The controller itself, its wiring and its "
        "supply do not fail; power loss means that no coil can be energised.",
        f"Run: {kinds['loss']} losses and {kinds['fault']} single faults, each in every operating "
        f"state. By symmetry the faults stand for {stands_for}. Not run: pairs of faults, other "
        "severities than those shown, other instants of a movement.",
        "Zones that a fault does not reach move as in the run without it, until a zone has drawn "
        f"more or less air than there by {FOLLOWED_SHARE * 1e2:g} % of what the rest of the ride "
        "holds; from then on every zone is calculated.",
        "Area, spring force and spring rate of a brake are those of one ski, and so is every "
        "clamping force shown; the gap it is given is that of both sides together, a clearance "
        "that of one lining.",
        f"Nets of ports smaller than {SMALLEST_VOLUME * 1e3:g} L are calculated with that volume, "
        "the inner volumes of a line with their own (`pneumo check` names the nets); relative "
        f"tolerance of a step {RTOL:g}.",
    )


def _lines(circuit: Circuit) -> str:
    """What is added to the time of each zone for its lines."""
    speed = speed_of_sound(circuit.ambient.temperature)
    added = ", ".join(
        f"{zone} {delay * 1e3:.0f} ms" for zone, delay in line_delays(circuit).items()
    )
    return (
        "Pressure waves in the lines are not followed; to what a zone takes is added the length of "
        f"its longest way through lines over the speed of sound, {speed:.0f} m/s: {added}."
    )
