"""The contract every component kind keeps.

A kind is one file: a frozen pydantic model of its parameters, its ports, how it lowers to the few
primitives the kernel knows, and its fault modes. It imports nothing of the circuit, the network or
the simulation: it speaks to them through the two protocols here, `Lowering` (once, when the
circuit is compiled) and `FaultTarget` (when a fault is injected).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar, Literal, Protocol

from pydantic import BaseModel, ConfigDict

from pneumo.components.symbol import Symbol

Role = Literal["supply", "outlet", "exhaust", "pilot", "both"]

Trait = Literal[
    "supply", "store", "shared", "conduit", "crossing", "non-return", "self-venting", "relieving",
    "outside", "repeatable", "brake", "gate", "watcher", "pressure contact", "contact", "reading",
    "feed", "switchable", "turnable", "drainable", "pumping",
]  # fmt: skip
"""What the rest of the program asks of a kind, in place of its name.

On the way of the air: supply: brings air in (`supplied` says at which pressure). store: its
pressure stands, whatever a zone draws or gives. shared: belongs to the ride as a whole, to no zone.
conduit: air goes through it wherever it is let, so it is never what holds air back. crossing: its
ends are out of hearing of each other. non-return: a wave of pressure passes it one way only.
self-venting: vents by itself what is behind it once its inlet is vented. relieving: lets air go
because there is too much. outside: its other side is the open air. repeatable: like ones side by
side move alike, since nothing commands or reads them one by one.

At the machine: brake: may be named by a zone; it has a mover with `ends`, a `spring` that opens or
closes it, port "1" and a `requirement` to meet. gate: may be moved by a group of gates. watcher:
its field `of` names what it watches, `reads` the end. pressure contact: its contact says whether
there is pressure. contact: its contact is an input of the controller. reading: gives the
controller a pressure from its `low` to its `high`. feed: coils name it as theirs.

By hand: switchable, turnable, drainable: what `switch`, `isolate` and `drain` act on. pumping: is
heard while it delivers.
"""

Quantity = Literal["pressure", "reading", "gap", "force", "travel"]
"""What a component tells of itself over time: the pressure at its first port [Pa], what it shows
[Pa], a lining's distance from the fin [m], the force of a ski [N], the way of a piston [m]."""


Ending = Literal[
    "replace", "clean", "refit", "adjust", "free", "reline", "reconnect", "restore"
]  # fmt: skip
"""What a technician does to end a fault: the repairs of `circuit.action.Repair`, and turning a
handle back."""


@dataclass(frozen=True)
class Port:
    """A place where air enters or leaves. Port numbers follow ISO 11727."""

    name: str
    role: Role = "both"
    """An "exhaust" port may stay unconnected: it then ends in the atmosphere."""


@dataclass(frozen=True)
class Severity:
    """The scale on which a fault mode is graded."""

    unit: str
    """"" for a fraction; else a unit `pneumo.units` knows: "mm", "bar", "N", "x" (a factor)."""

    low: float
    """Smallest value [in SI; a fraction or factor as it is]."""

    high: float
    """Largest value [in SI]."""

    default: float
    """Used when the user gives none [in SI]."""

    campaign: tuple[float, ...]
    """The grades a verification campaign runs [in SI]."""

    none: float = 0.0
    """The value that equals no fault (0, or 1 for a factor)."""

    step: float = 0.0
    """What the plant has whole multiples of, such as springs; 0: it may have any value."""


@dataclass(frozen=True)
class FaultMode:
    """One way a component fails (IEC 60812: failure mode)."""

    name: str
    """One hyphenated word, as written in a scenario."""

    effect: str
    """What happens, in a mechanic's words, one sentence."""

    inject: Callable[[Any, FaultTarget, float], None]
    """Called with (component, target, severity); changes the plant through the target only."""

    severity: Severity | None = None
    """None: the fault is all or nothing."""

    standard: str = ""
    """The row of `pneumo.components.iso13849_2` it answers; "" if none."""

    ended_by: tuple[Ending, ...] = field(kw_only=True)
    """What ends it; "replace" for every fault of the part itself: common practice, no source."""

    side: str = field(default="", kw_only=True)
    """The coil whose winding or output it is a fault of; "": of no coil."""

    def is_ended(self, by: Ending, side: str = "") -> bool:
        """Whether an act on the part ends it, or (`side`) one on a coil or its wire. A part is
        replaced with its coils."""
        return by in self.ended_by and (side == self.side or (by == "replace" and not side))


@dataclass(frozen=True)
class PressureOpening:
    """Opening of a path by pressures: clip((hi_gain p_hi - lo_gain p_lo - threshold) / band).

    Nodes are network nodes; the clip is C1 with rounded corners. A check valve has its own ends as
    hi and lo; a relief valve has the atmosphere as lo.
    """

    hi: int
    lo: int
    threshold: float
    """[Pa]"""
    band: float
    """From closed to fully open [Pa]."""
    hi_gain: float = 1.0
    lo_gain: float = 1.0


@dataclass(frozen=True)
class SpoolOpening:
    """Opening of a path by a spool: 0 at position `closed`, 1 at position `open`, linear
    between."""

    spool: int
    closed: float
    open: float


@dataclass(frozen=True)
class StemOpening:
    """Opening of a path by a regulator's stem: 0 at position `closed`, 1 at position `open`."""

    stem: int
    closed: float
    open: float


@dataclass(frozen=True)
class Chamber:
    """Air that pushes a mover, and whose volume grows with x by direction * count * the integral of
    its area."""

    node: int
    area: float
    """Effective area at x = 0, of one bladder or piston [m2]."""
    slope: float = 0.0
    """Change of the area with x, before the first of `bends` [m2/m]."""
    direction: float = 1.0
    """+1: pressure pushes towards larger x; -1: towards smaller."""
    count: float = 1.0
    """Bladders that act on this node and move alike (2 for a brake with two opposed bladders);
    the force on the mover is that of one."""
    bends: tuple[tuple[float, float], ...] = ()
    """(x [m], change of `slope` from there on [m2/m]), ascending; of a mover's first chamber only,
    16 at most."""


@dataclass(frozen=True)
class Pilot:
    """Air that drives a spool for its coil."""

    node: int
    minimum: float
    """Pressure above the surroundings from which it moves the spool [Pa]."""
    timed_at: float
    """Pressure above the surroundings at which the switching times hold [Pa]."""


@dataclass(frozen=True)
class Regulation:
    """A part that lets through no more than a pressure."""

    inlet: str
    outlet: str
    setting: float
    """The most it lets through [Pa absolute]."""
    least: float
    """What it still gives at full flow [Pa absolute]."""


@dataclass(frozen=True)
class Remark:
    """A parameter that does not fit where the component stands."""

    field: str
    found: str
    wanted: str
    is_error: bool = False
    """False: a warning."""


class Lowering(Protocol):
    """What a component may ask for while it is compiled. Every label is unique in its component."""

    ambient_pressure: float
    ambient_temperature: float
    atmosphere: int
    """The boundary node of the surroundings."""

    def node(self, port: str) -> int:
        """Network node of a port; the atmosphere for an open exhaust or an open end."""

    def is_open_end(self, port: str) -> bool:
        """True when the port is not connected to anything but the atmosphere."""

    def inner_node(self, label: str, volume: float, heat: float | None = None) -> int:
        """A volume of the component's own [m3], with wall conductance [W/K] (None: estimated)."""

    def add_volume(self, node: int, volume: float, heat: float | None = None) -> None:
        """Adds volume [m3] to a node; a boundary node ignores it."""

    def boundary(self, label: str, pressure: float, temperature: float) -> int:
        """A reservoir that holds its pressure [Pa abs] and temperature [K]."""

    def restriction(
        self,
        label: str,
        a: int,
        b: int,
        conductance: float,
        critical: float,
        *,
        spool: SpoolOpening | None = None,
        pressure: PressureOpening | None = None,
        stem: StemOpening | None = None,
    ) -> int:
        """An ISO 6358 path between two nodes; C [m3/(s Pa)], b [-]; openings multiply."""

    def pipe(
        self,
        label: str,
        a: int,
        b: int,
        bore: float,
        length: float,
        roughness: float,
        segments: int = 1,
    ) -> int:
        """A length of pipe's friction between two nodes, one of so many equal `segments` of a line
        (its volume is added apart) [m]."""

    def spool(
        self,
        label: str,
        *,
        rest: float,
        at_14: float,
        at_12: float | None = None,
        memory: bool = False,
        start: float | None = None,
        switch_on: float,
        switch_off: float,
        travel: float,
        feed: str | None = None,
        pilot: Pilot | None = None,
        standing: bool = False,
    ) -> int:
        """A spool driven by coils 14 (and 12).

        Positions are numbers; `rest` is where its spring puts it; with `memory` it stays at the
        last commanded end (bistable). `switch_on`, `switch_off`: delays from coil to first motion
        [s]; `travel`: time for a distance of 1 [s]. `pilot`: what drives it.
        `standing`: coil 14 is energised from the start without any zone asking for it.
        Coils are then known to zones as "COMPONENT.14" and "COMPONENT.12".
        """

    def hand_valve(self, label: str, *, start: float, travel: float) -> int:
        """A spool turned by hand between 0 (isolated) and 1 (in service). Returns its spool."""

    def stem(
        self,
        label: str,
        node: int,
        *,
        setting: float,
        band: float,
        dead_band: float,
        response: float,
    ) -> int:
        """A regulator's stem that follows (setting - p(node)) / band [Pa abs, Pa].

        `dead_band`: half the hysteresis as a fraction of band; `response`: lag [s].
        The stem stands at 0 when the outlet is at the setting, at 1 fully open, below 0 too high.
        """

    def source(
        self,
        label: str,
        node: int,
        *,
        delivery: float,
        rated_at: float,
        fall: float,
        temperature: float,
        load_at: float,
        unload_at: float,
        feed: str | None,
    ) -> int:
        """A compressor: free-air delivery [m3/s ANR] falling by `fall` [1/Pa] of itself."""

    def mover(
        self,
        label: str,
        *,
        mass: float,
        chambers: tuple[Chamber, ...],
        spring_force: float,
        spring_rate: float,
        friction: float,
        static_friction: float | None,
        damping: float,
        low: float,
        low_stiffness: float,
        high: float,
        high_stiffness: float,
        fin_thickness: float = 0.0,
        start: float = 0.0,
    ) -> int:
        """A ski or piston at x between two contacts. Spring pushes with spring_force -
        spring_rate * x towards larger x. `friction` brakes it while it slides; at rest it holds up
        to `static_friction`, which is no less (None: the same). `high` is the contact with the fin
        (without a fin it lies half its thickness further); units N, N/m, N s/m, kg, m."""

    def switchable_supply(self, label: str, restriction: int) -> None:
        """Marks a restriction that `switch off` closes (ideal supply)."""

    def feed(self, label: str) -> None:
        """Declares an electrical feed named like the component."""

    def pressure_contact(
        self, label: str, node: int, *, on_at: float, off_at: float, delay: float
    ) -> int:
        """A switch that is ON above `makes`, OFF below `breaks` [Pa abs]."""

    def position_contact(
        self,
        label: str,
        component: str,
        *,
        end: Literal["low", "high"],
        within: float,
        delay: float,
    ) -> int:
        """A switch: ON when the named component's mover is within a distance [m] of an end."""

    def transmitter(self, label: str, node: int, *, lag: float, low: float, high: float) -> int:
        """A pressure reading behind a first-order lag [s], range [Pa abs]."""


class FaultTarget(Protocol):
    """What a fault may change on its component. Labels as given while lowering."""

    def leak(self, port: str, conductance: float, critical: float) -> None: ...
    def throttle(self, label: str, fraction: float) -> None:
        """Takes away a fraction of a path's opening, also of a pipe (1: closed; below 0:
        widened)."""

    def hold_open(self, label: str, fraction: float) -> None:
        """The path never closes below this opening."""

    def shift_threshold(self, label: str, difference: float) -> None:
        """Moves the opening pressure of a path [Pa]."""

    def shift_setting(self, label: str, difference: float) -> None:
        """Moves a regulator's setting [Pa]."""

    def hold_spool(self, position: float | None) -> None:
        """Freezes the spool at a position, or where it is (None)."""

    def slow_spool(self, factor: float) -> None:
        """Multiplies delays and travel."""

    def force_spool(self, position: float) -> None:
        """The spool travels to a position whatever its coils say."""

    def open_coil(self, side: str) -> None:
        """The winding of a coil is open: no current flows in it."""

    def force_output(self, side: str, on: bool) -> None:
        """The controller's output for a coil is on or off whatever is commanded."""

    def lose_pilot(self) -> None: ...
    def switch_off(self) -> None: ...
    def never_unload(self) -> None: ...
    def scale_delivery(self, factor: float) -> None: ...
    def scale_spring(self, factor: float) -> None: ...
    def break_springs(self, fraction: float) -> None:
        """That share of a mover's springs pushes no more, and is seen to be broken."""

    def seize(self) -> None: ...
    def drag(self, force: float) -> None:
        """Adds to a mover's friction, at rest and sliding [N]."""

    def wear(self, distance: float) -> None:
        """Moves a mover's contact with the fin away by this much of its travel [m]."""

    def hold_contact(self, on: bool) -> None: ...
    def shift_contact(self, difference: float) -> None: ...
    def shift_reading(self, difference: float) -> None: ...
    def scale_reading(self, factor: float) -> None: ...
    def freeze_reading(self) -> None: ...
    def lose_reading(self) -> None: ...


class Component(BaseModel):
    """Base of every kind. Subclasses add `kind: Literal["..."]` and their parameters."""

    # built when first read: a document has few of the kinds, and building all takes longer than it
    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    title: ClassVar[str] = ""
    """The kind in plain words, e.g. "check valve"."""

    symbol: ClassVar[Symbol] = Symbol("box")
    """How it is drawn."""

    traits: ClassVar[frozenset[Trait]] = frozenset()

    quantities: ClassVar[tuple[Quantity, ...]] = ()
    """What a screen records of it, in the order in which it is shown."""

    ends: ClassVar[tuple[str, ...]] = ()
    """Names of the low and the high end of its mover, as a switch reads them; () if it has none."""

    about: str | None = None

    def ports(self) -> tuple[Port, ...]:
        """Ports in drawing order; may depend on parameters."""
        return ()

    def merged_ports(self) -> tuple[tuple[str, ...], ...]:
        """Groups of its ports that open into one and the same volume (a vessel, a manifold).

        The circuit is compiled with such ports on one network node, so `Lowering.node` of any of
        them is that node.
        """
        return ()

    def coils(self) -> tuple[str, ...]:
        """Sides of its coils, () if it has none: ("14",) or ("14", "12")."""
        return ()

    def passages(self) -> tuple[tuple[str, str], ...]:
        """Pairs of ports between which air can pass in some position, in the direction it can."""
        return ()

    def is_one_place(self) -> bool:
        """True when all its ports open into one volume."""
        names = {port.name for port in self.ports()}
        return len(names) == 1 or any(names == set(group) for group in self.merged_ports())

    def line_length(self) -> float:
        """Length of line between its ports [m]."""
        return 0.0

    def supplied(self) -> tuple[float, float]:
        """Of a supply: the pressure it gives at least while it can, and at most [Pa absolute]."""
        raise NotImplementedError

    def regulation(self) -> Regulation | None:
        """What it regulates to; None: it does not."""
        return None

    def remarks(self, ambient: float) -> Iterator[Remark]:
        """What does not fit, seen by itself in surroundings of that pressure [Pa]."""
        return iter(())

    def remarks_under(self, most: Mapping[str, float], ambient: float) -> Iterator[Remark]:
        """What does not fit the most that the supplies bring to its ports [Pa absolute]; a port
        that none reaches is left out."""
        return iter(())

    def lower(self, low: Lowering) -> None:
        """Adds this component's primitives to the network."""
        raise NotImplementedError

    def fault_modes(self) -> tuple[FaultMode, ...]:
        """Every way it can fail."""
        return ()

    def repaired_at(self, by: Ending) -> tuple[str, ...]:
        """Where such an act may end a fault: "" is the part itself, "14" a coil or its wire."""
        modes = self.fault_modes()
        sides = ("", *self.coils())
        return tuple(side for side in sides if any(mode.is_ended(by, side) for mode in modes))


def kind_of(component: Component) -> str:
    """The word under `kind` in the document."""
    return str(getattr(component, "kind", ""))
