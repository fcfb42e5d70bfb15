"""What valves actuated by solenoids share: the spool, its coils, its paths and its faults.

A valve is a table of paths. Each path is open or closed by the position of one spool: 0 where the
spring (or, bistable, coil 12) puts it, 1 where coil 14 puts it, and -1 for coil 12 of a valve with
three positions. Pairs of paths that share an outlet (1-2 and 2-3) share the middle of the travel:
there both are closed (closed crossover) or both half open (open crossover).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, ClassVar, Literal, NamedTuple

from pydantic import ValidationInfo, field_validator

from pneumo.components.base import (
    Component,
    FaultMode,
    FaultTarget,
    Lowering,
    Pilot,
    Port,
    Severity,
    SpoolOpening,
)
from pneumo.components.common_faults import REPLACED, blocked, burst, held_open, leak
from pneumo.components.fields import Delay, Offset, TravelTime, ValveConductance, refused
from pneumo.components.fitting import add_port_volumes, both_ways
from pneumo.components.iso13849_2 import (
    B3_BREAKS,
    B3_LEAKS,
    B3_SLOW,
    B3_STUCK,
    B3_UNTOLD,
)
from pneumo.components.symbol import Symbol
from pneumo.units import CriticalRatio

SLOWER = Severity(unit="x", low=1.0, high=1000.0, default=5.0, campaign=(5.0,), none=1.0)
"""Factor on delays and travel."""

WORN_SEALS = Severity(unit="", low=0.0, high=1.0, default=0.1, campaign=(0.1,))
"""Fraction of C that every closed path lets pass."""

OUTPUT_WORDS = (
    ("stuck-on", True, "Output of coil {side} stuck ON: the coil is always energised."),
    ("stuck-off", False, "Output of coil {side} stuck OFF: the coil gets no voltage."),
)


class Path(NamedTuple):
    """A flow path of the valve, between ports `a` and `b`; its label is "a-b"."""

    a: str
    b: str
    closed: float
    """Spool position at which it is just closed."""
    open: float
    """Spool position at which it is fully open."""


class SolenoidValve(Component):
    """Base of the solenoid valves.

    Direct operated, the solenoid moves the spool. Pilot operated, the solenoid only admits pilot
    air, which needs `minimum_pilot` to move the spool, taken from port 1 (internal) or from port
    14 (external). `feed` names the electrical feed of the coils; None: they never lose power.

    Labels: spool "spool"; paths as in `paths`, "1-2", "2-3", ....
    """

    symbol: ClassVar[Symbol] = Symbol("spool", values=("feed",))

    C: ValveConductance
    b: CriticalRatio
    operation: Literal["direct", "pilot"] = "direct"
    minimum_pilot: Offset = 2.5e5
    """Above the surroundings."""
    pilot_supply: Literal["internal", "external"] = "internal"
    timed_at: Offset = 6e5
    """Pilot pressure above the surroundings at which `switch_on` and `travel` hold; with less the
    spool takes longer, the longer the nearer it is to `minimum_pilot`."""
    switch_on: Delay = 0.025
    switch_off: Delay = 0.04
    travel: TravelTime = 0.01
    feed: str | None = None

    @field_validator("timed_at")
    @classmethod
    def _has_force_left(cls, value: float, info: ValidationInfo) -> float:
        minimum = info.data.get("minimum_pilot")
        if minimum is not None and value <= minimum:
            raise refused(
                f"Its switching times are stated at {value / 1e5:g} bar, and below its "
                f"minimum pilot of {minimum / 1e5:g} bar it does not switch.",
                "Give the pilot pressure at which the maker states the times, above minimum_pilot.",
            )
        return value

    def paths(self) -> tuple[Path, ...]:
        """Every flow path of the valve."""
        raise NotImplementedError

    def exhaust(self) -> float:
        """Conductance of the paths to an exhaust port [m3/(s Pa)]."""
        return self.C

    def opens_across(self) -> bool:
        """True when a flow path opens before the other is closed (open crossover)."""
        return False

    def bistable(self) -> bool:
        """True when the spool stays where the last coil put it."""
        return False

    def three_positions(self) -> bool:
        """True when springs centre the spool between two coils."""
        return False

    def main_ports(self) -> tuple[Port, ...]:
        """Its ports without the pilot port."""
        raise NotImplementedError

    def ports(self) -> tuple[Port, ...]:
        external = self.operation == "pilot" and self.pilot_supply == "external"
        return (*self.main_ports(), Port("14", "pilot")) if external else self.main_ports()

    def coils(self) -> tuple[str, ...]:
        return ("14", "12") if self.bistable() or self.three_positions() else ("14",)

    def passages(self) -> tuple[tuple[str, str], ...]:
        return both_ways(*((path.a, path.b) for path in self.paths()))

    def lower(self, low: Lowering) -> None:
        add_port_volumes(self, low)
        spool = low.spool(
            "spool",
            rest=0.0,
            at_14=1.0,
            at_12=-1.0 if self.three_positions() else 0.0 if self.bistable() else None,
            memory=self.bistable(),
            switch_on=self.switch_on,
            switch_off=self.switch_off,
            travel=self.travel,
            feed=self.feed,
            pilot=self._pilot(low),
        )
        exhausts = {port.name for port in self.ports() if port.role == "exhaust"}
        for path in self.paths():
            closed = path.closed
            if self.opens_across() and not closed.is_integer():
                # closed in the middle of a movement: an open crossover takes all of it instead
                closed = 2.0 * closed - path.open
            low.restriction(
                f"{path.a}-{path.b}",
                low.node(path.a),
                low.node(path.b),
                self.exhaust() if path.b in exhausts else self.C,
                self.b,
                spool=SpoolOpening(spool, closed, path.open),
            )

    def _pilot(self, low: Lowering) -> Pilot | None:
        if self.operation == "direct":
            return None
        port = "1" if self.pilot_supply == "internal" else "14"
        return Pilot(low.node(port), self.minimum_pilot, self.timed_at)

    def fault_modes(self) -> tuple[FaultMode, ...]:
        labels = tuple(f"{path.a}-{path.b}" for path in self.paths())
        modes = (
            leak("2", B3_LEAKS),
            burst("2", 2.0 * self.C, B3_BREAKS),
            blocked(labels),
            *spool_faults(self.three_positions()),
            held_open(
                "internal-leak",
                "Worn seals: closed flow paths leak.",
                labels,
                B3_LEAKS,
                WORN_SEALS,
            ),
            *coil_faults(self.coils()),
        )
        if self.operation == "direct":
            return modes
        effect = "No pilot pressure: the coils cannot switch the valve."
        return (
            *modes,
            FaultMode(
                "pilot-lost", effect, _lose_pilot, standard=B3_STUCK, ended_by=("clean", "replace")
            ),
        )


def spool_faults(three_positions: bool = False) -> tuple[FaultMode, ...]:
    """Ways in which a spool driven by coils goes wrong."""
    modes = [
        FaultMode(
            "stuck", "Spool stuck where it is.", _hold(None), standard=B3_STUCK, ended_by=REPLACED
        ),
        FaultMode(
            "stuck-rest", "Spool stuck at rest.", _hold(0.0), standard=B3_STUCK, ended_by=REPLACED
        ),
        FaultMode(
            "stuck-actuated",
            "Spool stuck in the actuated position of coil 14.",
            _hold(1.0),
            standard=B3_STUCK,
            ended_by=REPLACED,
        ),
        FaultMode(
            "stuck-midway",
            "Spool stuck half-way between rest and the actuated position of coil 14.",
            _hold(0.5),
            standard=B3_STUCK,
            ended_by=REPLACED,
        ),
        FaultMode("slow", "Switches late and slowly.", _slow, SLOWER, B3_SLOW, ended_by=REPLACED),
        FaultMode(
            "uncommanded-actuation",
            "Goes to the actuated position of coil 14 without a command and stays there.",
            _force(1.0),
            standard=B3_UNTOLD,
            ended_by=REPLACED,
        ),
        FaultMode(
            "uncommanded-return",
            "Returns to rest without a command and stays there.",
            _force(0.0),
            standard=B3_UNTOLD,
            ended_by=REPLACED,
        ),
    ]
    if three_positions:
        modes += [
            FaultMode(
                "stuck-actuated-12",
                "Spool stuck in the actuated position of coil 12.",
                _hold(-1.0),
                standard=B3_STUCK,
                ended_by=REPLACED,
            ),
            FaultMode(
                "uncommanded-actuation-12",
                "Goes to the actuated position of coil 12 without a command and stays there.",
                _force(-1.0),
                standard=B3_UNTOLD,
                ended_by=REPLACED,
            ),
        ]
    return tuple(modes)


def coil_faults(sides: tuple[str, ...]) -> tuple[FaultMode, ...]:
    """Faults of the coils and of the outputs that drive them; sides are named if there are two."""
    modes = []
    for side in sides:
        mark = f"{side}-" if len(sides) > 1 else ""
        modes.append(
            FaultMode(
                f"coil-{mark}open",
                f"Coil {side}: open circuit, it never pulls in.",
                _open_coil(side),
                ended_by=REPLACED,
                side=side,
            )
        )
        # in the controller or its wire: the valve is sound, and moving the wire to a spare output
        # of the card ends it
        modes += [
            FaultMode(
                f"output-{mark}{word}",
                effect.format(side=side),
                _force_output(side, on),
                ended_by=("reconnect",),
                side=side,
            )
            for word, on, effect in OUTPUT_WORDS
        ]
    return tuple(modes)


Inject = Callable[[Any, FaultTarget, float], None]


def _hold(position: float | None) -> Inject:
    def inject(component: Any, target: FaultTarget, severity: float) -> None:
        target.hold_spool(position)

    return inject


def _force(position: float) -> Inject:
    def inject(component: Any, target: FaultTarget, severity: float) -> None:
        target.force_spool(position)

    return inject


def _open_coil(side: str) -> Inject:
    def inject(component: Any, target: FaultTarget, severity: float) -> None:
        target.open_coil(side)

    return inject


def _force_output(side: str, on: bool) -> Inject:
    def inject(component: Any, target: FaultTarget, severity: float) -> None:
        target.force_output(side, on)

    return inject


def _slow(component: Any, target: FaultTarget, factor: float) -> None:
    target.slow_spool(factor)


def _lose_pilot(component: Any, target: FaultTarget, severity: float) -> None:
    target.lose_pilot()
