"""What can be done to a ride: one frozen record for each. `verbs` has the sentences that say it.

Nothing is loaded for the records alone: a screen that is just opening knows them, too.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class FaultSpec:
    """One fault: where, what, how bad, when and in what shape."""

    component: str
    mode: str
    severity: float | None = None
    """[SI]; None: the mode is all or nothing."""
    unit: str = ""
    """Unit in which the severity is written, see `components.base.Severity`."""
    at: float = 0.0
    """Onset [s]."""
    over: float | None = None
    """Grows from nothing to its severity in this time [s]; None: at once."""
    every: float | None = None
    """Comes and goes with this period [s]; None: it stays."""
    on_for: float | None = None
    """Part of each period during which it is present [s]."""

    @property
    def sentence(self) -> str:
        """The fault without its onset."""
        return " ".join((*self._head(), *self._shape()))

    @property
    def words(self) -> tuple[str, ...]:
        """The fault without its component and its onset, as in an event."""
        return (*self._head()[1:], *self._shape())

    @property
    def text(self) -> str:
        """The fault with its onset; `parse_fault` gives it back."""
        return " ".join((*self._head(), f"at {_time(self.at)}", *self._shape()))

    @property
    def severity_text(self) -> str:
        """The severity with its unit, "" when the mode has none."""
        if self.severity is None:
            return ""
        from pneumo.units import format_severity

        return format_severity(self.severity, self.unit)

    def _head(self) -> tuple[str, ...]:
        return tuple(part for part in (self.component, self.mode, self.severity_text) if part)

    def _shape(self) -> tuple[str, ...]:
        if self.over is not None:
            return (f"over {_time(self.over)}",)
        if self.every is not None and self.on_for is not None:
            return (f"every {_time(self.every)}", f"for {_time(self.on_for)}")
        return ()


class _Said:
    """Something that can be said in a sentence of the document language."""

    @property
    def text(self) -> str:
        """The sentence."""
        from pneumo.circuit.verbs import said

        return said(self)


@dataclass(frozen=True)
class Command(_Said):
    """An operator's wish for a zone, a group of gates, or every zone ("all")."""

    target: str
    to: Literal["open", "close"]


@dataclass(frozen=True)
class RideStop(_Said):
    """Every zone is commanded to its safe state."""


@dataclass(frozen=True)
class Acknowledge(_Said):
    """An operator acknowledges the alarm of a zone, or of every zone ("all")."""

    target: str


@dataclass(frozen=True)
class Reset(_Said):
    """An operator resets the fault latch of a zone, or of every zone ("all")."""

    target: str


@dataclass(frozen=True)
class Switch(_Said):
    """A supply, feed or soft-start valve is switched."""

    component: str
    on: bool


@dataclass(frozen=True)
class Power(_Said):
    """All electrical power to the coils and feeds is lost, or comes back."""

    on: bool


@dataclass(frozen=True)
class Turn(_Said):
    """A shut-off valve is turned by hand."""

    component: str
    in_service: bool


@dataclass(frozen=True)
class Fin(_Said):
    """A train's fin enters the jaws of a zone, or leaves them."""

    zone: str
    present: bool


@dataclass(frozen=True)
class Inject(_Said):
    """A fault begins."""

    fault: FaultSpec


@dataclass(frozen=True)
class Clear(_Said):
    """A fault is put right."""

    component: str
    mode: str


@dataclass(frozen=True)
class ForceInput(_Said):
    """The controller reads an input as ON or OFF, whatever its contact says."""

    name: str
    """A switch, or a transmitter that is watched for low pressure (ON: reads low)."""
    on: bool


@dataclass(frozen=True)
class ForceOutput(_Said):
    """The controller commands a coil on or off, whatever its logic says."""

    component: str
    side: str
    on: bool


@dataclass(frozen=True)
class Unforce(_Said):
    """An input, an output "valve.14", or everything ("all") is left to itself again."""

    target: str


@dataclass(frozen=True)
class HandOverride(_Said):
    """The manual override of a coil is held down, or released."""

    component: str
    side: str
    held: bool


@dataclass(frozen=True)
class Drain(_Said):
    """The drain of a vessel is opened by hand, or shut; or a hose is put on a test point, or a
    fitting is loosened."""

    component: str
    """Or a port, "hose_1.2"."""
    open: bool


RepairKind = Literal["replace", "clean", "refit", "adjust", "free", "reline", "reconnect"]
"""Replace by a new one; clean; make a joint or fitting tight; set to its setting again; free and
grease; give new linings; remake a wire, or move it to a spare terminal."""


@dataclass(frozen=True)
class Repair(_Said):
    """A part is repaired, or (`side`) one of its coils or the wire to it."""

    how: RepairKind
    component: str
    side: str = ""


@dataclass(frozen=True)
class Block(_Said):
    """A mechanical block is put between the jaws of a brake, or of every brake of a zone, or taken
    out."""

    target: str
    blocked: bool


@dataclass(frozen=True)
class Swap(_Said):
    """The plugs of two coils "valve.14" are exchanged."""

    coil: str
    other: str


Action = (
    Command | RideStop | Acknowledge | Reset | Switch | Power | Turn | Fin | Inject | Clear
    | ForceInput | ForceOutput | Unforce | HandOverride | Drain | Repair | Block | Swap
)  # fmt: skip


def _time(seconds: float) -> str:
    from pneumo.units import DURATION

    return DURATION.text(seconds)
