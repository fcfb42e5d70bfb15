"""The words of what is tried and of what came of it. For people: no program reads them back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pneumo.verification.case import Condition, Injection, Loss
from pneumo.verification.verdict import GRACE

if TYPE_CHECKING:
    from pneumo.verification.verdict import Case, Outcome

WORTH_SAYING = 0.005
"""What is added for a zone's lines is named from here on [s]."""

MOVING = ("opening", "closing", "venting")


def loss_words(loss: Loss) -> str:
    """ "air: header vented", "power"."""
    if loss.what == "feed cut":
        return f"air: {loss.zone} feed cut"
    return loss.what if loss.what in ("power", "air and power") else f"air: {loss.what}"


def injection_words(injection: Injection) -> str:
    """What happens, in whatever state: "loss of air: header vented", "trim_hose_1 leak 2 mm"."""
    if injection.loss is not None:
        return f"loss of {loss_words(injection.loss)}"
    return " and ".join(fault.sentence for fault in injection.faults) or "no fault"


def state_words(condition: Condition, state: str) -> str:
    """The state during which it happens: that of the zone concerned, or the condition where several
    are; both when the zone is not where the condition should have brought it."""
    expected = MOVING if condition in ("to open", "to closed") else (condition,)
    if not state:
        return condition
    return state if state in expected else f"{condition}, {state}"


def case_words(case: Case) -> str:
    """The name of a case, unique in a verification: "trim_hose_1 leak 2 mm / closing"."""
    return f"{injection_words(case.injection)} / {state_words(case.injected_during, case.state)}"


def outcome_words(outcome: Outcome) -> str:
    """What decided a verdict, one sentence."""
    basis, limit = outcome.basis, outcome.limit
    if basis is None:
        return outcome.trouble
    whole = "the brake" if basis.brakes == 1 else "all brakes"
    fewer = f"at least {basis.needed} of {basis.brakes} brakes"
    what = f"{fewer if basis.needed < basis.brakes else whole} {outcome.safe_state}"
    if basis.clamping_force:
        what += f" with {basis.clamping_force / 1000.0:g} kN"
    ending = "the run ended" if basis.ended_by == "run" else "the demand was withdrawn"
    after = outcome.reached_after
    if after is None and not outcome.decided:
        return f"{what} not reached when {ending} after {basis.watched:.2f} s (limit {limit:g} s)"
    if after is None:
        return f"{what} not reached (limit {limit:g} s, watched for {limit + GRACE:g} s)"
    lines = ""
    if after > 0.0 and outcome.line_delay >= WORTH_SAYING:
        lines = f"; includes {outcome.line_delay:.2f} s of line delay"
    took = f"{after:.2f} s (limit {limit:g} s{lines})"
    if outcome.lost_after is not None:
        return f"{what} after {took}, but lost again after {outcome.lost_after:.2f} s"
    if outcome.verdict == "late":
        return f"{what} only after {took}"
    if outcome.held < basis.hold:
        return (
            f"{what} after {took}, held for {outcome.held:.2f} s when {ending} "
            f"(required {basis.hold:g} s)"
        )
    return f"{what} after {took}, held for the required {outcome.held:g} s"
