"""Fault modes that many kinds share."""

from __future__ import annotations

import math
from typing import Any

from pneumo import air
from pneumo.components.base import Ending, FaultMode, FaultTarget, Severity
from pneumo.components.iso13849_2 import B15_WRONG

SHARP_EDGE = 0.65
"""Coefficient of discharge of a hole with a sharp edge [-]: compressed-air handbook table."""

ALL_OR_PART = Severity(unit="", low=0.0, high=1.0, default=1.0, campaign=(1.0,))
"""A fraction lost, all of it unless said otherwise."""

OFF_SEAT = Severity(unit="", low=0.0, high=1.0, default=1.0, campaign=(0.05, 1.0))
"""Opening that remains [-]: from dirt on the seat to no seat at all."""

HOLE = Severity(unit="mm", low=0.0, high=0.025, default=0.002, campaign=(0.002,))
"""Diameter of a hole [m]."""

DRAGS = (0.3, 1.2)
"""Grades of a stiff mover, as shares of the largest force that its springs or its air move it by:
one that it still overcomes and one that it does not [-]; estimated."""

MOST_DRAG = 1e5
"""[N]"""

REPLACED: tuple[Ending, ...] = ("replace",)
"""What ends most faults. Also a spool that sticks and a seat that does not close: dirt may be the
cause, but what it has scored stays, and a valve taken apart on site is no longer the one that was
tested; common practice, no source."""


def hole_conductance(diameter: float) -> float:
    """Sonic conductance [m3/(s Pa)] of a sharp-edged round hole [m]; `air.orifice_conductance`."""
    return air.orifice_conductance(math.pi / 4.0 * diameter**2, SHARP_EDGE)


def leak(port: str, standard: str = "", *, name: str = "leak", effect: str = "") -> FaultMode:
    """A hole to the surroundings at a port; severity is its diameter [m]."""

    def inject(component: Any, target: FaultTarget, severity: float) -> None:
        target.leak(port, hole_conductance(severity), air.ORIFICE_CRITICAL)

    return FaultMode(
        name=name,
        effect=effect or f"Continuous leak at port {port}.",
        inject=inject,
        severity=HOLE,
        standard=standard,
        ended_by=("refit", "replace"),
    )


def burst(
    port: str,
    conductance: float,
    standard: str = "",
    *,
    name: str = "burst",
    effect: str = "",
) -> FaultMode:
    """The component is torn open at a port; the opening's sonic conductance [m3/(s Pa)]."""

    def inject(component: Any, target: FaultTarget, severity: float) -> None:
        target.leak(port, conductance, air.ORIFICE_CRITICAL)

    return FaultMode(
        name=name,
        effect=effect or f"Burst at port {port}: the air there is lost at once.",
        inject=inject,
        standard=standard,
        ended_by=REPLACED,
    )


def dragging(name: str, effect: str, driven_by: float) -> FaultMode:
    """A mover with more friction, at rest and sliding; severity is the force added [N].

    `driven_by` is the largest force that moves it in normal service [N].
    """

    def inject(component: Any, target: FaultTarget, force: float) -> None:
        target.drag(force)

    grades = tuple(float(f"{share * driven_by:.2g}") for share in DRAGS)
    severity = Severity(
        unit="N", low=0.0, high=max(MOST_DRAG, grades[-1]), default=grades[0], campaign=grades
    )
    return FaultMode(name, effect, inject, severity, ended_by=("free", "replace"))


def seized(name: str, effect: str) -> FaultMode:
    """A mover that does not move whatever pushes it."""

    def inject(component: Any, target: FaultTarget, severity: float) -> None:
        target.seize()

    return FaultMode(name, effect, inject, ended_by=("free", "replace"))


def throttled(
    name: str,
    effect: str,
    labels: tuple[str, ...],
    standard: str = "",
    severity: Severity = ALL_OR_PART,
    *,
    ended_by: tuple[Ending, ...] = REPLACED,
) -> FaultMode:
    """The named paths lose a fraction of their opening."""

    def inject(component: Any, target: FaultTarget, fraction: float) -> None:
        for label in labels:
            target.throttle(label, fraction)

    return FaultMode(name, effect, inject, severity, standard, ended_by=ended_by)


def held_open(
    name: str,
    effect: str,
    labels: tuple[str, ...],
    standard: str = "",
    severity: Severity = ALL_OR_PART,
) -> FaultMode:
    """The named paths never close below a fraction of their full opening."""

    def inject(component: Any, target: FaultTarget, fraction: float) -> None:
        for label in labels:
            target.hold_open(label, fraction)

    return FaultMode(name, effect, inject, severity, standard, ended_by=REPLACED)


def blocked(
    labels: tuple[str, ...], standard: str = "", severity: Severity = ALL_OR_PART
) -> FaultMode:
    """Dirt, ice or a foreign body takes away a fraction of every named path."""
    return throttled(
        "blocked", "Blocked in part or fully by dirt or ice.", labels, standard, severity,
        ended_by=("clean", "replace"),
    )  # fmt: skip


def contact_faults() -> tuple[FaultMode, ...]:
    """Faults of a contact and its input: always ON, always OFF (words: IEC 61131-2)."""
    return (
        FaultMode(
            "stuck-on",
            "Contact welded or bridged: always ON.",
            _stick_on,
            standard=B15_WRONG,
            ended_by=REPLACED,
        ),
        FaultMode(
            "stuck-off",
            "Contact does not close, or wire off: always OFF.",
            _stick_off,
            standard=B15_WRONG,
            ended_by=("replace", "reconnect"),
        ),
    )


def _stick_on(component: Any, target: FaultTarget, severity: float) -> None:
    target.hold_contact(True)


def _stick_off(component: Any, target: FaultTarget, severity: float) -> None:
    target.hold_contact(False)
