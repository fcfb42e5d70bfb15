"""The words of what is tried. They are for people: no program reads them back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pneumo.verification.case import Condition, Injection, Loss

if TYPE_CHECKING:
    from pneumo.verification.verdict import Case

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
    return f"{injection_words(case.injection)} / {state_words(case.struck_in, case.state)}"
