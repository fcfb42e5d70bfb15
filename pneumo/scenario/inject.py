"""Faults injected on a compiled circuit: changed rows of the network and overrides of its controls.

Whenever the set of standing faults, of open drains or of blocked brakes changes, the network
becomes the one without any, with every standing fault injected on it, every such drain opened and
every such brake held (`pneumo.scenario.situation`), so that ending a fault, closing a drain or
taking out a block leaves no trace.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from pneumo.air import ORIFICE_CRITICAL
from pneumo.circuit.action import FaultSpec
from pneumo.components.base import FaultMode
from pneumo.components.common_faults import hole_conductance
from pneumo.errors import InputError
from pneumo.network.compile import Compiled
from pneumo.network.network import READING, Array, Network, copy_for_change

FROZEN_LAG = 1e12
"""Time constant of a transmitter that no longer follows [s]."""

BLEED_BORE = 0.002
"""Hole of a hose on a test point, or of a fitting that is loosened [m]; estimated."""

DRAIN_BORE = 0.004
"""Hole that an open drain of a vessel is [m]: common practice, no source."""


@dataclass
class Overrides:
    """What faults do that the rows of the network do not tell: to the controls, to springs."""

    spool_held: dict[int, float | None] = field(default_factory=dict)
    """Spool -> position it is frozen at; None: wherever it is."""
    spool_forced: dict[int, float] = field(default_factory=dict)
    spool_slow: dict[int, float] = field(default_factory=dict)
    coils_open: set[tuple[str, str]] = field(default_factory=set)
    """Coils without a sound winding."""
    output_forced: dict[tuple[str, str], bool] = field(default_factory=dict)
    """Output, by the coil it is for -> what it is, whatever is commanded."""
    pilot_lost: set[int] = field(default_factory=set)
    off: set[str] = field(default_factory=set)
    """Components that do not run: compressors, supplies, feeds."""
    never_unload: set[str] = field(default_factory=set)
    contact_held: dict[int, bool] = field(default_factory=dict)
    """Watch -> what its contact says."""
    springs_broken: dict[int, float] = field(default_factory=dict)
    """Mover -> share of its springs that is broken; what they push no more is in the network."""


@dataclass(frozen=True)
class Standing:
    """A fault that stands now, at its present severity."""

    fault: FaultSpec
    mode: FaultMode = field(compare=False)
    """The one that `fault` names."""
    severity: float

    @staticmethod
    def fully(compiled: Compiled, fault: FaultSpec) -> Standing:
        """A fault once it is all there. Raises InputError when there is none such."""
        mode = mode_of(compiled, fault)
        severity = 1.0
        if mode.severity is not None:
            severity = mode.severity.default if fault.severity is None else fault.severity
        return Standing(fault, mode, severity)


def mode_of(compiled: Compiled, fault: FaultSpec) -> FaultMode:
    """The fault mode a specification names.

    Raises
    ------
    InputError
        When the component has no such mode.
    """
    component = compiled.circuit.components[fault.component]
    for mode in component.fault_modes():
        if mode.name == fault.mode:
            return mode
    names = ", ".join(mode.name for mode in component.fault_modes())
    raise InputError(f"{fault.component} has no fault mode {fault.mode}; it has: {names}.")


def is_none(mode: FaultMode, severity: float) -> bool:
    """True for a severity that equals no fault."""
    return mode.severity is not None and severity == mode.severity.none


def injected(
    compiled: Compiled,
    standing: Iterable[Standing],
    drained: Iterable[str] = (),
    blocked: Iterable[str] = (),
    base: Network | None = None,
) -> tuple[Network, Overrides]:
    """The network and overrides with every standing fault injected, every named vessel's drain open
    and the jaws of every named brake blocked, in order. `base`: the network without them, which is
    left as it is; None: the compiled.

    Raises
    ------
    InputError
        When there are more leaks and open drains than there are slots for them.
    """
    base = compiled.network if base is None else base
    network = copy_for_change(base)
    overrides = Overrides()
    slots = deque(compiled.leak_slots)
    for item in standing:
        component = compiled.circuit.components[item.fault.component]
        name = item.fault.component
        target = _Target(compiled, base, network, overrides, name, slots.popleft)
        item.mode.inject(component, target, item.severity)
    for name in drained:
        # from the other end, so that a leak that comes or goes does not move an open drain; a
        # filter's bowl is on its inlet side, the ports of a receiver are all one place
        owner, port = drain_port(compiled, name)
        target = _Target(compiled, base, network, overrides, owner, slots.pop)
        bore = DRAIN_BORE if owner == name else BLEED_BORE
        target.leak(port, hole_conductance(bore), ORIFICE_CRITICAL)
    for name in blocked:
        _Target(compiled, base, network, overrides, name, slots.pop).seize()
    return network, overrides


def drain_port(compiled: Compiled, name: str) -> tuple[str, str]:
    """Component and port at which a drain lets air out: of a vessel by its name its first port, or
    the port "hose_1.2" that is named."""
    component, _, port = name.partition(".")
    return component, port or compiled.circuit.components[component].ports()[0].name


class _Target:
    """The `FaultTarget` of one component."""

    def __init__(
        self,
        compiled: Compiled,
        base: Network,
        network: Network,
        overrides: Overrides,
        component: str,
        next_slot: Callable[[], int],
    ) -> None:
        self._compiled, self._base = compiled, base
        self._network = network
        self._overrides = overrides
        self._component = component
        self._parts = compiled.parts[component]
        self._next_slot = next_slot

    def _path(self, label: str) -> Array:
        row: Array = self._network.restriction[self._parts.restrictions[label]]
        return row

    def leak(self, port: str, conductance: float, critical: float) -> None:
        network = self._network
        node = self._parts.ports[port]
        if node >= network.dynamic:
            return  # an open end cannot leak any further
        try:
            slot = self._next_slot()
        except IndexError:
            raise InputError(
                f"{self._component}: more than {len(self._compiled.leak_slots)} leaks and open "
                "drains at one time; clear or close one first."
            ) from None
        row = network.restriction[slot]
        row["a"] = node
        row["b"] = network.dynamic
        row["conductance"] = conductance
        row["critical"] = critical
        row["open_max"] = 1.0
        own = network.node[node]
        columns = [own["mass"], own["energy"], -1]
        if own["mover"] >= 0:
            columns[2] = network.mover[own["mover"]]["x"]
        network.column_restriction[slot, :3] = columns
        network.slot_restriction[slot, 0, :3] = network.slot_node[node, 0, :3]
        network.slot_restriction[slot, 1, :3] = network.slot_node[node, 1, :3]

    def throttle(self, label: str, fraction: float) -> None:
        row = self._path(label)
        row["open_max"] *= 1.0 - fraction
        row["open_min"] = min(row["open_min"], row["open_max"])

    def hold_open(self, label: str, fraction: float) -> None:
        row = self._path(label)
        row["open_min"] = max(row["open_min"], min(fraction, row["open_max"]))

    def shift_threshold(self, label: str, difference: float) -> None:
        self._path(label)["threshold"] += difference

    def shift_setting(self, label: str, difference: float) -> None:
        self._network.stem[self._parts.stem]["setting"] += difference

    def hold_spool(self, position: float | None) -> None:
        self._overrides.spool_held[self._parts.spool] = position

    def slow_spool(self, factor: float) -> None:
        slow = self._overrides.spool_slow
        slow[self._parts.spool] = slow.get(self._parts.spool, 1.0) * factor

    def force_spool(self, position: float) -> None:
        self._overrides.spool_forced[self._parts.spool] = position

    def open_coil(self, side: str) -> None:
        self._overrides.coils_open.add((self._component, side))

    def force_output(self, side: str, on: bool) -> None:
        self._overrides.output_forced[self._component, side] = on

    def lose_pilot(self) -> None:
        self._overrides.pilot_lost.add(self._parts.spool)

    def switch_off(self) -> None:
        self._overrides.off.add(self._component)

    def never_unload(self) -> None:
        self._overrides.never_unload.add(self._component)

    def scale_delivery(self, factor: float) -> None:
        self._network.source[self._parts.source]["delivery"] *= factor

    def scale_spring(self, factor: float) -> None:
        row = self._network.mover[self._parts.mover]
        row["spring_force"] *= factor
        row["spring_rate"] *= factor

    def break_springs(self, fraction: float) -> None:
        self.scale_spring(1.0 - fraction)
        broken, mover = self._overrides.springs_broken, self._parts.mover
        broken[mover] = 1.0 - (1.0 - broken.get(mover, 0.0)) * (1.0 - fraction)

    def seize(self) -> None:
        self._network.mover[self._parts.mover]["static"] = math.inf

    def drag(self, force: float) -> None:
        row = self._network.mover[self._parts.mover]
        row["friction"] += force
        row["static"] += force

    def wear(self, distance: float) -> None:
        self._network.mover[self._parts.mover]["high"] += distance

    def _contact_watch(self) -> int:
        return self._compiled.contacts[self._parts.contact].watch

    def hold_contact(self, on: bool) -> None:
        self._overrides.contact_held[self._contact_watch()] = on

    def shift_contact(self, difference: float) -> None:
        row = self._network.watch[self._contact_watch()]
        row["on_at"] += difference
        row["off_at"] += difference

    def shift_reading(self, difference: float) -> None:
        self._change_reading(1.0, difference)

    def scale_reading(self, factor: float) -> None:
        low = self._transmitter_range()[0]
        self._change_reading(factor, low * (1.0 - factor))

    def freeze_reading(self) -> None:
        self._network.lag[self._parts.lag]["lag"] = FROZEN_LAG

    def lose_reading(self) -> None:
        # a two-wire transmitter whose wire is off reads a quarter of its span below zero
        low, high = self._transmitter_range()
        self._change_reading(0.0, low - 0.25 * (high - low))

    def _transmitter_range(self) -> tuple[float, float]:
        for spec in self._compiled.transmitters:
            if spec.component == self._component:
                return spec.low, spec.high
        raise LookupError(f"{self._component} is not a transmitter")

    def _change_reading(self, gain: float, offset: float) -> None:
        """reading = gain * (reading so far) + offset, for every watch on it."""
        row = self._network.lag[self._parts.lag]
        row["offset"] = gain * row["offset"] + offset
        row["gain"] *= gain
        healthy = self._base.watch
        for w in range(len(healthy)):
            if healthy[w]["signal"] == READING and healthy[w]["index"] == self._parts.lag:
                watch = self._network.watch[w]
                watch["gain"] = healthy[w]["gain"] * row["gain"]
                watch["offset"] = healthy[w]["gain"] * row["offset"]
