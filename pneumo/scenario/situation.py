"""The network as actors, faults, open drains, blocks and fins change it, kept for when they come
again.

A fault that flickers leads back and forth between the same few networks: each is built once, and
so is what has to change from one to the next.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from hashlib import blake2b
from typing import Any

import numpy as np

from pneumo.circuit.action import FaultSpec
from pneumo.network.compile import Compiled
from pneumo.network.network import Array, Network, copy_for_change
from pneumo.scenario.controls import Place
from pneumo.scenario.inject import Overrides, Standing, injected

MOST_KEPT = 16
"""Networks kept before all are forgotten: a fault that grows or a campaign makes ever new ones."""

_TABLES = (
    "node", "restriction", "mover", "stem", "lag", "source", "watch", "slot_restriction",
    "column_restriction",
)  # fmt: skip
"""What actors, faults, drains, blocks and fins change; spools are moved by the run alone."""


@dataclass(frozen=True)
class Situation:
    """What the network depends on besides the run itself; the order of faults and drains counts."""

    standing: tuple[Standing, ...]
    drained: tuple[str, ...]
    blocked: tuple[str, ...]
    """Brakes with a block between their jaws, in document order."""
    absent_fins: tuple[int, ...]
    """Movers without a fin between their jaws."""
    altered: tuple[tuple[Place, float], ...]
    """See `Controls.altered`."""

    @staticmethod
    def of(
        standing: Iterable[Standing],
        drained: Iterable[str],
        blocked: Iterable[str],
        fins: Sequence[bool],
        altered: Mapping[Place, float],
    ) -> Situation:
        """`fins`: for each mover whether its fin is there."""
        absent = tuple(j for j, present in enumerate(fins) if not present)
        return Situation(
            tuple(standing), tuple(drained), tuple(blocked), absent, tuple(altered.items())
        )


HEALTHY = Situation((), (), (), (), ())


@dataclass(frozen=True)
class Change:
    """What leads from one network to another of the same circuit."""

    rows: tuple[tuple[str, Array, Array], ...]
    """(table, rows that differ, their new values)."""
    partitions: frozenset[int]
    """Partitions in which they differ; a path between a zone and the shared partition is of
    both."""
    partitions_behind_borders: frozenset[int]
    """The same where such a path is of the zone alone."""

    def apply(self, network: Network) -> None:
        """Changes the rows in place; what a run itself sets, such as a source being on, stays."""
        for table, rows, values in self.rows:
            target = getattr(network, table)
            if table == "source":
                on = target["on"].copy()
                target[rows] = values
                target["on"] = on
            else:
                target[rows] = values


def change(before: Network, after: Network) -> Change:
    """What leads from one network to another of the same circuit, spools aside."""
    found: dict[str, Array] = {}
    for table in _TABLES:
        differ = getattr(before, table) != getattr(after, table)
        if differ.ndim > 1:
            differ = differ.any(axis=tuple(range(1, differ.ndim)))
        if differ.any():
            found[table] = np.flatnonzero(differ)
    return Change(
        tuple((table, rows, getattr(after, table)[rows]) for table, rows in found.items()),
        frozenset(_partitions(before, after, found, borders=True)),
        frozenset(_partitions(before, after, found, borders=False)),
    )


def fingerprint(compiled: Compiled, faults: Iterable[FaultSpec]) -> bytes:
    """Equal for faults that change the same of a plant: runs of one circuit with the one or the
    other go on in the same way. Raises InputError when they cannot be injected."""
    network, overrides = injected(compiled, [Standing.fully(compiled, each) for each in faults])
    found = blake2b(digest_size=16)
    for table in _TABLES:
        found.update(getattr(network, table).tobytes())
    for name, value in vars(overrides).items():
        told = value.items() if isinstance(value, dict) else value
        found.update(f"{name}{sorted(map(repr, told))}".encode())
    return found.digest()


class Situations:
    """Networks of a circuit by situation, and the changes between them."""

    def __init__(self, compiled: Compiled) -> None:
        self._compiled = compiled
        self._built: dict[Situation, tuple[Network, Overrides]] = {}
        self._changes: dict[tuple[Situation, Situation], Change] = {}

    def overrides(self, situation: Situation) -> Overrides:
        """What the faults of a situation do to the controls; not to be changed.

        Raises
        ------
        InputError
            When there are more leaks and open drains than there are slots for them.
        """
        return self._network(situation)[1]

    def change(self, before: Situation, after: Situation) -> Change:
        """What leads from one situation to another."""
        key = (before, after)
        if key not in self._changes:
            self._changes[key] = change(self._network(before)[0], self._network(after)[0])
        return self._changes[key]

    def _network(self, situation: Situation) -> tuple[Network, Overrides]:
        if situation not in self._built:
            base = altered(self._compiled.network, situation.altered)
            standing, drained = situation.standing, situation.drained
            network, overrides = injected(
                self._compiled, standing, drained, situation.blocked, base
            )
            for j in situation.absent_fins:
                network.mover[j]["high"] += 0.5 * self._compiled.fins[j]
            if len(self._built) >= MOST_KEPT:
                self._built.clear()
                self._changes.clear()
            self._built[situation] = network, overrides
        return self._built[situation]


def altered(network: Network, places: Iterable[tuple[Place, float]]) -> Network:
    """A network with other numbers at some places, itself left as it is.

    Raises
    ------
    ValueError
        When there is no such number, or it is not for actors to change.
    """
    new = copy_for_change(network)
    for (table, row, name), value in places:
        if table not in _TABLES:
            raise ValueError(f"{table} is none of the tables that may be altered: {_TABLES}")
        getattr(new, table)[row][name] = value
    return new


def _partitions(
    before: Network, after: Network, rows: dict[str, Array], *, borders: bool
) -> set[int]:
    """Partitions in which two networks differ, by the rows that differ in each table."""
    nothing: Any = np.zeros(0, dtype=np.int64)
    of, state_partition = after.node_partition, after.state_partition
    shared = len(after.state) - 2
    partitions: set[int] = set(of[rows.get("node", nothing)].tolist())
    for r in rows.get("restriction", nothing).tolist():
        for row in (before.restriction[r], after.restriction[r]):
            sides = {int(of[row["a"]]), int(of[row["b"]])}
            if not borders and len(sides - {-1}) == 2:
                sides.discard(shared)
            partitions |= sides
    for table, key in (("mover", "x"), ("stem", "z"), ("lag", "r")):
        changed = getattr(after, table)[rows.get(table, nothing)]
        partitions.update(state_partition[changed[key]].tolist())
    partitions.update(of[after.source[rows.get("source", nothing)]["node"]].tolist())
    partitions.update(after.watch_partition[rows.get("watch", nothing)].tolist())
    return partitions - {-1}
