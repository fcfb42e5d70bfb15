"""Circuit -> compiled network: the passes, each from one record to the next."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from functools import cached_property

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.delay import line_delays
from pneumo.network.branches import find_branches
from pneumo.network.builder import ContactSpec, Parts, SourceSpec, SpoolSpec, TransmitterSpec
from pneumo.network.layout import lay_out
from pneumo.network.membership import find_partitions
from pneumo.network.network import Array, Network
from pneumo.network.rows import lower
from pneumo.network.start import at_rest
from pneumo.network.states import number_states
from pneumo.network.watches import BrakeWatch


@dataclass(frozen=True, eq=False)
class Compiled:
    """A circuit ready to run: the arrays and the names of everything in them."""

    circuit: Circuit
    network: Network
    parts: dict[str, Parts]
    node_names: tuple[str, ...]
    spools: tuple[SpoolSpec, ...]
    contacts: tuple[ContactSpec, ...]
    compressors: tuple[SourceSpec, ...]
    transmitters: tuple[TransmitterSpec, ...]
    low_pressure: dict[str, int]
    """Zone -> watch that is made while its transmitter reads below its limit."""
    brakes: dict[str, tuple[BrakeWatch, ...]]
    """Zone -> its brakes."""
    leak_slots: tuple[int, ...]
    """Restrictions kept ready for leaks."""
    fins: tuple[float, ...]
    """Thickness of the fin at each mover, 0 for one that has none [m]."""
    represented: frozenset[str]
    """Parts that are integrated for several or by another: no fault may be injected into them."""
    spool_partitions: tuple[tuple[int, ...], ...]
    """Partitions whose paths each spool opens."""
    raised: tuple[tuple[str, float], ...]
    """Nets calculated with `SMALLEST_VOLUME`, larger by more than `RAISED` than they are:
    "component.port" of one of their ports, and what they hold [m3]; the smallest first."""
    start: Array
    """(nstate,) first guess of the plant at rest: what the supplies reach at their pressure."""

    @cached_property
    def line_delay(self) -> dict[str, float]:
        """Zone -> time in which news comes through its lines [s]; found when first asked for."""
        return line_delays(self.circuit)


def compile_circuit(
    circuit: Circuit, apart: Collection[str] | None = None, *, local: bool = True
) -> Compiled:
    """Lowers every component and lays the states out for the solver.

    Parameters
    ----------
    circuit
        What to compile.
    apart
        Components that must be integrated on their own, because a fault will be injected into
        them: their branch represents no other one and is represented by none. None: no branch is.
    local
        Whether every zone may take steps of its own; False: one step for all.

    Raises
    ------
    ValueError
        When a component lowers wrongly: a defect of pneumo, not of the document.
    """
    branches = find_branches(circuit, apart)
    rows = lower(circuit, branches, apart)
    partitions = find_partitions(rows, local)
    states = number_states(rows, partitions)
    network = lay_out(rows, partitions, states)
    return Compiled(
        circuit=circuit,
        network=network,
        parts=rows.parts,
        node_names=tuple(row["name"] for row in rows.nodes),
        spools=tuple(rows.build.spools),
        contacts=tuple(rows.build.contacts),
        compressors=tuple(rows.build.compressors),
        transmitters=tuple(rows.build.transmitters),
        low_pressure=rows.low_pressure,
        brakes=rows.brakes,
        leak_slots=rows.leak_slots,
        fins=tuple(rows.build.fins),
        represented=frozenset((*branches.representative, *branches.count)),
        spool_partitions=partitions.spool,
        raised=rows.raised,
        start=at_rest(rows, states, network),
    )
