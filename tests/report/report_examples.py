"""Hand-made verification records for the tests of pneumo/report."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from pneumo.circuit.action import FaultSpec
from pneumo.verification.case import CONDITIONS, Injection, Loss
from pneumo.verification.verdict import Basis, Case, Outcome, Trace, Verification, not_calculated

# verification records


def outcome(zone: str = "trim", **changes: Any) -> Outcome:
    """A safe, detected outcome, with changes."""
    values: dict[str, Any] = {
        "zone": zone,
        "injected_during": "",
        "safe_state": "closed",
        "demanded_at": 6.0,
        "verdict": "safe",
        "decided": True,
        "detected": True,
        "alarm": "low supply",
        "reached_after": 0.8,
        "limit": 1.5,
        "lost_after": None,
        "held": 60.0,
        "least_force": 6300.0,
        "indicated": "closed",
        "false_indication": False,
        "basis": Basis(2, 4, 6000.0, 60.0, 62.0, "run"),
        "furthest": (f"{zone}_brake_2", f"{zone}_brake_3"),
        "clearance": 0.0,
        "force": 6300.0,
    }
    return Outcome(**(values | changes))


GRADES = {"": (None, ""), "2 mm": (0.002, "mm"), "3 x": (3.0, "x")}


def case(
    component: str = "trim_valve_a",
    mode: str = "stuck-actuated",
    state: Any = "closed",
    outcomes: tuple[Outcome, ...] = (),
    severity: str = "",
    **changes: Any,
) -> Case:
    """A fault case, with changes; its outcomes take over its state unless they have their own."""
    fault = FaultSpec(component, mode, *GRADES[severity])
    values: dict[str, Any] = {
        "injection": Injection(faults=(fault,)),
        "effect": "The spool stays actuated.",
        "standard": "B.3-2 does not switch",
        "injected_during": state if state in CONDITIONS else "to closed",
        "state": "" if state in CONDITIONS else state,
        "injected_at": 4.0,
        "demand_at": 6.0,
        "limit_from": 6.0,
        "represents": (component,),
        "outcomes": tuple(
            o if o.injected_during else replace(o, injected_during=state)
            for o in outcomes or (outcome(),)
        ),
        "replay": f'pneumo run ride.yaml --scenario {state} --fault "{fault.sentence} at 4 s"',
    }
    return Case(**(values | changes))


def missing(zones: tuple[str, ...] = ("trim", "block"), **changes: Any) -> Case:
    """A case that could not be calculated."""
    why = "The integration stopped at 4.1 s: no step is short enough."
    outcomes = tuple(not_calculated(zone, "closed", "closed", 6.0, 1.5, why) for zone in zones)
    return case("trim_hose_2", "burst", outcomes=outcomes, trouble=why, **changes)


def trace(of: Case, zones: tuple[str, ...] = ("trim", "block"), count: int = 400) -> Trace:
    """Signals that fall and rise, all zones a little apart."""
    time = tuple(12.0 * i / (count - 1) for i in range(count))

    def falling(k: int, start: float, end: float) -> tuple[float, ...]:
        return tuple(
            start if t < 6 + k * 0.2 else end + (start - end) / (1 + (t - 6) ** 2) for t in time
        )

    return Trace(
        of,
        time,
        {z: f"{z}_brake_2" for z in zones},
        dict.fromkeys(zones, 6e3),
        {z: falling(k, 5.5e5, 0.2e5) for k, z in enumerate(zones)},
        {z: falling(k, 3.2e-3, 0.0) for k, z in enumerate(zones)},
        {z: falling(k, 0.0, 9e3) for k, z in enumerate(zones)},
    )


def verification(**changes: Any) -> Verification:
    """A small campaign on two zones with a late, an unsafe and an undetected case."""
    unsafe = outcome(
        verdict="unsafe",
        reached_after=None,
        held=0.0,
        detected=False,
        alarm="",
        least_force=0.0,
        indicated="closed",
        false_indication=True,
    )
    late = outcome("block", verdict="late", reached_after=2.1)
    cases = (
        case(
            "",
            "",
            "closed",
            (outcome(), outcome("block")),
            injection=Injection(),
            effect="",
        ),
        case(
            "",
            "",
            "closed",
            (outcome(), outcome("block")),
            injection=Injection(Loss("header vented")),
            effect="",
        ),
        case(
            "",
            "",
            "open",
            (outcome(), late),
            injection=Injection(Loss("header vented")),
            effect="",
        ),
        case(
            "trim_valve_a", "stuck-actuated", "closed", (unsafe, outcome("block", detected=False))
        ),
        case("trim_valve_a", "stuck-actuated", "open", (unsafe, outcome("block"))),
        case(
            "trim_hose_1",
            "leak",
            "closed",
            (outcome(detected=False), outcome("block", detected=False)),
            severity="2 mm",
            represents=tuple(f"trim_hose_{i}" for i in range(1, 5)),
        ),
        case("trim_valve_a", "slow", "venting", severity="3 x"),
    )
    values: dict[str, Any] = {
        "document": "ride.yaml",
        "ride": "Sand Martin",
        "site": "Millbeck Pier",
        "cases": cases,
        "traces": tuple(trace(c) for c in cases if c.worst != "safe"),
        "untested": (),
        "assumptions": ("The surroundings stayed at 20 C.",),
        "version": "0.1.0",
    }
    return Verification(**(values | changes))
