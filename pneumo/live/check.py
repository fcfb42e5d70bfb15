"""Fail-safe checks: a loss of air or power injected on a copy of the running ride, and judged.

The losses, the demand and the verdict are those of `pneumo verify`; what differs is the state they
start from: the ride as it stands, its faults and all. The ride itself is never touched.

The ride should be compiled with every component on its own (`compile_circuit(circuit, None)`), so
that a loss may be injected in any of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from pneumo.circuit.action import Action, Clear, FaultSpec, Inject, RideStop
from pneumo.circuit.circuit import Circuit, Event
from pneumo.circuit.spelling import near
from pneumo.errors import InputError
from pneumo.live.frame import CheckFrame
from pneumo.report.unsound import unsound_words, why_words
from pneumo.scenario.inject import mode_of
from pneumo.scenario.play import Play
from pneumo.units import DURATION
from pneumo.verification.campaign import run_until_decided, what_stopped
from pneumo.verification.case import Loss
from pneumo.verification.follow import Followed, follow
from pneumo.verification.judge import judge
from pneumo.verification.plan import Trial, losses
from pneumo.verification.spell import latest_end
from pneumo.verification.verdict import VERDICTS, Outcome, Unsound, Verification, not_calculated
from pneumo.verification.wording import injection_words, loss_words, outcome_words


def losses_by_zone(circuit: Circuit) -> dict[str, tuple[Trial, ...]]:
    """The losses that concern each zone, in the order of a verification.

    Finding them takes some 10 ms per zone of the ride: once for all zones, not once for each.
    """
    found = losses(circuit)
    return {
        zone: tuple(trial for trial in found if trial.zone in (None, zone))
        for zone in circuit.zones
    }


def losses_for(circuit: Circuit, zone: str) -> tuple[Trial, ...]:
    """The losses that concern a zone, in the order of a verification."""
    return losses_by_zone(circuit)[zone]


def trial_of(circuit: Circuit, zone: str, loss: Loss | None = None) -> Trial:
    """How a loss is tried on a zone; None: the first that concerns it.

    Raises
    ------
    InputError
        When there is no such zone, or no such loss for it.
    """
    if zone not in circuit.zones:
        raise InputError(
            f"There is no zone {zone}. "
            + near(zone, circuit.zones, f"Zones: {', '.join(circuit.zones)}.")
        )
    known = {trial.injection.loss: trial for trial in losses_for(circuit, zone)}
    if loss is None:
        return next(iter(known.values()))
    if loss not in known:
        there = "; ".join(injection_words(trial.injection) for trial in known.values())
        raise InputError(
            f"There is no loss of {loss_words(loss)} for zone {zone}. Losses: {there}."
        )
    return known[loss]


class Check:
    """A zone after a loss, played beside the ride."""

    def __init__(self, play: Play, zone: str, trial: Trial) -> None:
        """`play`: a copy of the ride that belongs to this check alone, before the loss."""
        assert trial.injection.loss is not None
        self.play = play
        self.zone = zone
        self.loss = trial.injection.loss
        self.injected_at = play.now
        """When the loss was injected [s]."""
        self.injected_during: str = play.actors.controller.logic.zones[zone].state
        """What the logic believed the zone to be then."""
        for action in trial.actions:
            _perform(play, action)
        self.demand = self.injected_at + trial.demand_after
        """When the ride stop comes [s]."""
        play.schedule([Event(self.demand, RideStop())])
        self.clock = self.injected_at if trial.limit_from_injection else self.demand
        """When the zone counts as asked at the latest [s]."""
        self.end = latest_end(play.compiled.circuit.zones.values(), self.clock)
        """When the check is over at the latest [s]."""
        self._zones = follow(play)

    def advance(self, until: float) -> None:
        """Plays on, not beyond `end`."""
        self.play.advance(min(until, self.end))

    def finish(self) -> Outcome:
        """Plays on to the end of a verification's case, the decision on every zone, at once."""
        zones = self._zones.values()
        run_until_decided(self.play, zones, self.injected_at, self.demand, self.end, self.clock)
        outcome = self.outcome
        assert outcome is not None  # the clock has run
        return outcome

    @property
    def decided(self) -> bool:
        """True when nothing can change the verdict on this zone any more."""
        now = self.play.now
        settled = self._followed.decided_at(self.demanded_at)
        return now >= self.demand and (now > settled or now >= self.end)

    @property
    def _followed(self) -> Followed:
        found = self._zones[self.zone]
        found.read()
        return found

    @property
    def demanded_at(self) -> float:
        """When the zone was or will be asked for its safe state: its limit runs from here [s]."""
        return self._followed.asked(self.injected_at, self.clock)

    @property
    def outcome(self) -> Outcome | None:
        """The verdict as far as it goes, final when `decided`; None before the zone is asked."""
        asked = self.demanded_at
        if self.play.now < asked:
            return None
        return judge(self.play, self._followed, self.injected_during, self.injected_at, asked)

    @property
    def frame(self) -> CheckFrame:
        """What is being checked and how far it is."""
        outcome = self.outcome
        if outcome is not None and self.decided:
            return CheckFrame(self.zone, self.loss, outcome.verdict, outcome_words(outcome))
        return CheckFrame(self.zone, self.loss, "", self._progress(outcome))

    def _progress(self, outcome: Outcome | None) -> str:
        now = self.play.now
        if outcome is None:
            return f"ride stop in {self.demanded_at - now:.1f} s"
        waited, side = now - outcome.demanded_at, outcome.safe_state
        if outcome.reached_after is None:
            return f"not {side} yet after {waited:.1f} s (limit {outcome.limit:g} s)"
        there = outcome.reached_after == 0.0 and self.injected_during == side
        after = f"{side} after {outcome.reached_after:.2f} s (limit {outcome.limit:g} s)"
        after = f"already {side}" if there else after
        if outcome.lost_after is not None:
            return f"{after}, lost after {outcome.lost_after:.2f} s"
        hold = self.play.compiled.circuit.zones[self.zone].requirement.hold
        return f"{after}, held {outcome.held:.0f} s so far (required {hold:g} s)"


def begin(play: Play, zone: str, loss: Loss | None = None) -> Check:
    """Injects a loss on a copy of the ride as it stands; None: the zone's first.

    Raises
    ------
    InputError
        When the zone or the loss does not exist.
    """
    return Check(play.snapshot(), zone, trial_of(play.compiled.circuit, zone, loss))


def each_outcome(play: Play, zone: str) -> Iterator[tuple[Loss, Outcome]]:
    """Every loss of a zone from the ride as it stands, one after the other, each run to its end."""
    asked = play.compiled.circuit.zones[zone]
    state: str = play.actors.controller.logic.zones[zone].state
    for trial in losses_for(play.compiled.circuit, zone):
        check = Check(play.snapshot(), zone, trial)
        try:
            outcome = check.finish()
        except Exception as error:  # nothing that goes wrong with a copy may cost the ride
            clock = play.now + (0.0 if trial.limit_from_injection else trial.demand_after)
            outcome = not_calculated(
                zone, state, asked.safe_state, clock, asked.requirement.within, what_stopped(error)
            )
        yield check.loss, outcome


def stopped_words(check: Check, error: Exception) -> str:
    """What is said when the check that is played cannot go on."""
    return (
        f"The check of {check.zone}, loss of {loss_words(check.loss)}, could not be calculated. "
        f"{what_stopped(error)} Nothing is known of this loss: it does NOT count as safe."
    )


def quick(play: Play, zone: str) -> tuple[tuple[Loss, Outcome], ...]:
    """(loss, final verdict) of every loss of a zone, from the ride as it stands."""
    return tuple(each_outcome(play, zone))


def outcome_data(loss: Loss | None, outcome: Outcome) -> dict[str, Any]:
    """One verdict as plain data; SI, None where there is no value. `loss`: None of a fault."""
    return {
        "loss": loss,
        "injected_during": outcome.injected_during,
        "safe_state": outcome.safe_state,
        "verdict": outcome.verdict,
        "decided": outcome.decided,
        "reached_after": outcome.reached_after,
        "line_delay": outcome.line_delay,
        "limit": outcome.limit,
        "margin": outcome.margin,
        "lost_after": outcome.lost_after,
        "held": outcome.held,
        "why": outcome_words(outcome),
        "detected": outcome.detected,
        "alarm": outcome.alarm,
        "least_force": outcome.least_force,
    }


def answer_data(
    zone: str,
    loss: Loss | None,
    found: Iterable[tuple[Loss, Outcome]],
    wrong: Iterable[Unsound] = (),
) -> dict[str, Any]:
    """What the answer to a check carries: the loss that is played (None: none any more), what the
    circuit does wrong without any fault (what is seen and its first cause, in words), and the
    verdicts known."""
    return {
        "zone": zone,
        "loss": loss,
        "unsound": [(unsound_words(each), why_words(each)) for each in wrong],
        "outcomes": [outcome_data(each, outcome) for each, outcome in found],
    }


def verified(results: Verification, zone: str, loss: Loss, state: str) -> Outcome | None:
    """What a verification says of a zone after a loss that is injected in a state of it (open,
    closing, ...), without any fault before; the worst of several; None: not run in that state."""
    found = [
        outcome
        for case in results.cases
        if case.injection.loss == loss
        for outcome in case.outcomes
        if outcome.zone == zone and outcome.injected_during == state
    ]
    return max(found, key=lambda outcome: VERDICTS.index(outcome.verdict), default=None)


def _perform(play: Play, action: Action) -> None:
    """An action of a loss. A fault that the ride already has, growing, coming and going, or worse
    than the loss's, stands from now on at the worse of both."""
    if isinstance(action, Inject):
        fault = action.fault
        for own, _ in play.actors.faults.standing:
            if (own.component, own.mode) == (fault.component, fault.mode):
                play.act(Clear(own.component, own.mode))
                action = Inject(_worse(play, fault, own))
    play.act(action)


def _worse(play: Play, new: FaultSpec, own: FaultSpec) -> FaultSpec:
    """The new fault at its severity or at that of one that was there, whichever is further from
    none."""
    grade = mode_of(play.compiled, new).severity
    if grade is None:
        return new
    of, severity = (grade.default if f.severity is None else f.severity for f in (own, new))
    worse = abs(of - grade.none) > abs(severity - grade.none)
    return FaultSpec(new.component, new.mode, of if worse else severity, grade.unit)


def about(trial: Trial) -> str:
    """What is done and when the safe state is demanded, one sentence."""
    done = ", ".join(action.text for action in trial.actions)
    stop = f"ride stop {DURATION.text(trial.demand_after)} later"
    from_loss = trial.limit_from_injection
    runs = f"; the limit runs from the {'loss' if from_loss else 'ride stop'}"
    return f"{done}; {stop}{runs}."
