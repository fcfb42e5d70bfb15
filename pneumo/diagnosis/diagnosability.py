"""What can be told of the faults of a ride by all that is there: a judgement of its design.

A system is diagnosable when no two faults look the same whatever is done (Sampath and others,
Diagnosability of discrete-event systems, IEEE Transactions on Automatic Control 40, 1995; there of
sequences of events, here of what stands after each part of a rehearsal).

Two faults look the same when, at every severity of the one that shows at all, something of the
other does: one that was calculated, or one between two. Looked at are the panel and every cheap
test after each part of the rehearsals: where the fault struck, after the first movement, and of
what sticks after the one back. What acts tell beyond that, such as a valve driven alone: `acting`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import log2
from typing import Literal, NamedTuple

import numpy as np

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.couplings import test_points
from pneumo.components.base import Ending
from pneumo.diagnosis.library import Library, Test
from pneumo.diagnosis.marks import CODE
from pneumo.diagnosis.opinion import repair_time
from pneumo.diagnosis.signatures import APART, Alike, Column, Signatures
from pneumo.diagnosis.suspects import Candidate, Spot
from pneumo.inspection.tests import TESTS
from pneumo.network.network import Array

MOST_ADDED = 5
"""Instruments that are proposed, one after the other."""

HARDLY = 0.005
"""An instrument that tells less is not proposed [bit]."""


class Repair(NamedTuple):
    """What has to be known to mend a ride."""

    spot: Spot
    how: Ending
    """The quickest that ends the fault."""


@dataclass(frozen=True)
class Group:
    """Faults that nothing available separates."""

    faults: tuple[Candidate, ...]
    """In document order."""
    repairs: tuple[Repair, ...]
    """What would mend them; with one they need not be told apart."""


@dataclass(frozen=True)
class Hidden:
    """A fault that nothing on the panel shows while the ride cycles as it does every day."""

    fault: Candidate
    test: Test | None
    """The quickest that shows it; None: none does."""
    stands: Literal["open", "closed", ""]
    """Where the zones stand for that test; "": there is none."""
    seconds: float
    """Downtime of that test [s]."""
    place: float
    """The weakest severity, on its scale, that it shows."""


Sort = Literal["test point", "transmitter", "jaw switch"]


@dataclass(frozen=True)
class Added:
    """An instrument that the ride does not have. What it gains, it gains beside those before it."""

    sort: Sort
    at: str
    """A port, or the brake or cylinder that a switch watches."""
    end: str
    """Of a switch, where it is ON; else ""."""
    gain: int
    """Of a test point, groups more; of the others, faults of which the panel then shows
    something."""
    bits: float
    """Of a test point, by how much less is left to find out about the repair [bit]; else 0."""


@dataclass(frozen=True)
class Diagnosability:
    """What can be told of the faults of a ride."""

    faults: tuple[Candidate, ...]
    """All that were calculated."""
    groups: tuple[Group, ...]
    """Of faults that show; also those of one. Those with most repairs first."""
    unseen: Group
    """Faults that nothing shows."""
    hidden: tuple[Hidden, ...]
    """Faults that the panel does not show, also those that nothing does."""
    bits: float
    """What is left to find out about the repair once everything was looked at [bit]: the mean over
    all faults, each as frequent as it is."""
    apart: tuple[Added, ...]
    """Instruments that tell most faults apart, the best first."""
    by_itself: tuple[Added, ...]
    """Instruments at which most shows of what the panel does not show, the best first."""
    not_examined: tuple[Candidate, ...]

    @property
    def ambiguous(self) -> tuple[Group, ...]:
        """Groups in which it matters which fault it is."""
        return tuple(group for group in self.groups if len(group.repairs) > 1)


def diagnosability(library: Library) -> Diagnosability:
    """What can be told of the faults of a ride by all that is there."""
    return _Judging(library).verdict()


def repair_of(circuit: Circuit, candidate: Candidate) -> Repair:
    """The quickest that ends a fault."""
    spot, downtime = candidate.spot, circuit.downtime
    _, how = min((repair_time(spot, how, downtime), how) for how in candidate.ended_by)
    return Repair(spot, how)


def seconds_of(circuit: Circuit, test: Test) -> float:
    """Downtime of a test [s], with the permit that it needs."""
    row, downtime = TESTS[test[0]], circuit.downtime
    return float(getattr(downtime, row.work)) + (downtime.permit if row.wires else 0.0)


class _Judging:
    def __init__(self, library: Library) -> None:
        self.library, self.circuit = library, library.circuit
        self.candidates = library.candidates
        self.repairs = [repair_of(library.circuit, candidate) for candidate in self.candidates]
        """Of each candidate."""
        self.signatures = Signatures(library)
        self.examined = np.unique(self.signatures.candidate).tolist()
        self.same = Same(self.signatures)

    def verdict(self) -> Diagnosability:
        groups = self.same.groups()
        hidden = self._hidden()
        listed = [self._group(group) for group in groups]
        return Diagnosability(
            faults=tuple(self.candidates[n] for n in self.examined),
            groups=tuple(sorted(listed, key=lambda of: (-len(of.repairs), -len(of.faults)))),
            unseen=self._group(self.same.unseen),
            hidden=tuple(hidden.values()),
            bits=self._left([*groups, self.same.unseen]),
            apart=tuple(self._telling_apart()),
            by_itself=tuple(self._showing(list(hidden))),
            not_examined=self.library.not_examined,
        )

    def _group(self, numbers: Sequence[int]) -> Group:
        return Group(
            tuple(self.candidates[n] for n in numbers),
            tuple(dict.fromkeys(self.repairs[n] for n in numbers)),
        )

    def _left(self, groups: Iterable[Sequence[int]]) -> float:
        """What is left to find out about the repair when the group is known [bit]."""
        whole = sum(self.candidates[n].prior for n in self.examined)
        left = 0.0
        for group in groups:
            by_repair: dict[Repair, float] = {}
            for n in group:
                share = self.candidates[n].prior / whole
                by_repair[self.repairs[n]] = by_repair.get(self.repairs[n], 0.0) + share
            together = sum(by_repair.values())
            left += sum(p * log2(together / p) for p in by_repair.values() if p > 0.0)
        return left

    # what the panel does not show

    def _hidden(self) -> dict[int, Hidden]:
        """Number of the candidate -> what is to be said of it."""
        signatures = self.signatures
        on_panel = signatures.shows(signatures.on_panel)
        shown = {*signatures.candidate[on_panel].tolist()}
        tests = np.flatnonzero(~signatures.on_panel)
        seconds = np.array([
            seconds_of(self.circuit, test) for c in tests.tolist()
            if (test := signatures.columns[c].test) is not None
        ])  # fmt: skip
        targets = [_target(signatures.columns[c]) for c in tests.tolist()]
        off = signatures.is_off[tests]
        found: dict[int, Hidden] = {}
        for n in self.examined:
            if n in shown:
                continue
            fault = self.candidates[n]
            entries = np.flatnonzero(signatures.candidate == n)
            # what shows it at its worst, if anything does; else at any severity
            worst = entries[-1:]
            which = np.flatnonzero(off[:, worst if off[:, worst].any() else entries].any(axis=1))
            if not len(which):
                found[n] = Hidden(fault, None, "", 0.0, 1.0)
                continue
            best = int(min(which, key=lambda t: (seconds[t], targets[t] != fault.component)))
            column = signatures.columns[int(tests[best])]
            closed = (column.struck == "closed") != (column.part == 1)
            weakest = signatures.place[entries[off[best, entries]]].min()
            found[n] = Hidden(
                fault, column.test, "closed" if closed else "open", float(seconds[best]),
                float(weakest),
            )  # fmt: skip
        return found

    # what more would tell

    def _telling_apart(self) -> Iterator[Added]:
        """Test points where there are none: each time the one with which least is left."""
        points = test_points(self.circuit)
        nets = [net for net, ports in enumerate(self.library.nets.ports)
                if not points.issuperset(ports)]  # fmt: skip
        gauges = self.signatures.gauges()
        same = self.same
        now = [*same.groups(), same.unseen]
        for _ in range(MOST_ADDED):
            left = {net: self._left(self._with(same, gauges[:, net])) for net in nets}
            best = min(nets, key=lambda net: (left[net], net), default=-1)
            if best < 0 or self._left(now) - left[best] < HARDLY:
                return
            same = same.beside(gauges[:, best])
            groups = [*same.groups(), same.unseen]
            gain = sum(map(bool, groups)) - sum(map(bool, now))
            bits = self._left(now) - self._left(groups)
            yield Added("test point", str(self.library.nets.ports[best][0]), "", gain, bits)
            now = groups
            nets.remove(best)

    def _with(self, same: Same, gauges: Array) -> list[list[int]]:
        """Groups with one gauge more, but for what it shows that nothing did: that is one."""
        seen = self._seen(gauges, same.unseen)
        return [*same.groups(same.also(gauges)), sorted(seen), sorted({*same.unseen} - seen)]

    def _seen(self, gauges: Array, of: Sequence[int]) -> set[int]:
        """Candidates of some that something shows. `gauges`: (parts, entries) steps off."""
        return {*self.signatures.candidate[_shows(gauges)].tolist()} & {*of}

    def _showing(self, hidden: Sequence[int]) -> Iterator[Added]:
        """Instruments of the panel: each time the one at which most shows that did not."""
        meters = {name for name, part in self.circuit.components.items()
                  if "reading" in part.quantities}  # fmt: skip
        gauges = self.signatures.gauges()
        found: list[tuple[Sort, str, str, set[int]]] = [
            ("transmitter", str(ports[0]), "", self._seen(gauges[:, net], hidden))
            for net, ports in enumerate(self.library.nets.ports)
            if not any(port.component in meters for port in ports)
        ]
        found += [
            ("jaw switch", part, end, self._seen(self._switch(part, end), hidden))
            for part, end in self._unwatched()
        ]
        left = {*hidden}
        for _ in range(MOST_ADDED):
            sort, at, end, seen = max(
                found, key=lambda each: len(each[3] & left), default=("transmitter", "", "", set())
            )
            if not seen & left:
                return
            yield Added(sort, at, end, len(seen & left), 0.0)
            left -= seen

    def _unwatched(self) -> Iterator[tuple[str, str]]:
        """Ends of brakes and cylinders that no switch watches."""
        watched = {
            (getattr(switch, "of", ""), getattr(switch, "reads", ""))
            for switch in self.circuit.having("watcher").values()
        }
        for name, part in self.circuit.components.items():
            yield from ((name, end) for end in part.ends if (name, end) not in watched)

    def _switch(self, part: str, end: str) -> Array:
        """(parts of the rehearsals, entries) by how much a switch would be off [steps]."""
        found = np.zeros((1, len(self.signatures.candidate)))
        for number, column in enumerate(self.signatures.columns):
            if column.test != ("look", part) or column.aspect != "state":
                continue
            usual = column.usual
            code = np.rint(usual + self.signatures.off[number] * APART * CODE.least)
            on = (code == _AT[end]) != (usual == _AT[end])
            found = np.concatenate([found, 2.0 * on[None, :]])
        return found


def _target(column: Column) -> str:
    """The part that a test is made at."""
    return "" if column.test is None else column.test[1].partition(".")[0]


_AT = {"closed": 0.0, "open": 2.0, "retracted": 0.0, "extended": 2.0}
"""End -> the number that stands for it in what is seen of a brake or a cylinder, see `marks`."""


class Same:
    """Which candidates look the same, and the groups that follow.

    Parameters
    ----------
    pairs
        What looks the same; None: it is looked for here.
    added
        Of instruments more than the ride has, (parts, entries) steps off each; NaN: not known.
    """

    def __init__(
        self, signatures: Signatures, pairs: Alike | None = None, added: tuple[Array, ...] = ()
    ) -> None:
        shows = signatures.shows()
        for gauges in added:
            shows |= _shows(gauges)
        visible = self._visible = np.flatnonzero(shows)
        self._signatures, self._added = signatures, added
        count = np.bincount(signatures.candidate[visible], minlength=len(signatures.candidate))
        self._shown: list[int] = np.flatnonzero(count).tolist()
        self.unseen: list[int] = sorted({*signatures.candidate.tolist()} - {*self._shown})
        """Candidates that nothing shows."""
        if pairs is None:
            pairs = signatures.alike(visible)
        own, other = signatures.candidate[pairs.entry], signatures.candidate[pairs.low]
        order = np.lexsort((pairs.entry, other, own))
        self._pairs = Alike(*(each[order] for each in pairs))
        own, other = own[order], other[order]
        # within them, what one entry shares with one candidate, and two candidates with each other
        entry = self._pairs.entry
        self._by_entry = _starts(own, other, entry)
        self._by_two = _starts(own[self._by_entry], other[self._by_entry])
        self._own = own[self._by_entry][self._by_two]
        self._other = other[self._by_entry][self._by_two]
        self._needed = count[self._own]
        back = {
            two: n
            for n, two in enumerate(zip(self._own.tolist(), self._other.tolist(), strict=True))
        }
        self._back = np.array([back.get((b, a), -1) for a, b in back], dtype=np.int64)
        self._all: Array = np.ones(len(entry), dtype=bool)

    def also(self, gauges: Array) -> Array:
        """(pairs,) bool, which look the same at a further instrument, too. `gauges`: (parts,
        entries) steps off; NaN: not known."""
        return _same(self._pairs, gauges)

    def beside(self, gauges: Array) -> Same:
        """With one instrument more; `gauges` as above."""
        same, added = self.also(gauges), (*self._added, gauges)
        # what shows only now is looked at anew
        fresh = self._signatures.alike(np.setdiff1d(np.flatnonzero(_shows(gauges)), self._visible))
        still = np.ones(len(fresh.entry), dtype=bool)
        for each in added:
            still &= _same(fresh, each)
        both = (
            np.concatenate([of[same], new[still]])
            for of, new in zip(self._pairs, fresh, strict=True)
        )
        return Same(self._signatures, Alike(*both), added)

    def groups(self, still: Array | None = None) -> list[list[int]]:
        """Numbers of the candidates in each group. `still`: (pairs,) bool, those that look the
        same; None: all."""
        leader = {n: n for n in self._shown}
        if len(self._own):
            given = self._all if still is None else still
            entries = np.logical_or.reduceat(given, self._by_entry)
            covered = np.add.reduceat(entries.astype(np.int64), self._by_two) == self._needed
            mutual = covered & (self._back >= 0) & covered[self._back]
            for a, b in zip(self._own[mutual].tolist(), self._other[mutual].tolist(), strict=True):
                a, b = _leader(leader, a), _leader(leader, b)
                leader[max(a, b)] = min(a, b)
        found: dict[int, list[int]] = {}
        for n in self._shown:
            found.setdefault(_leader(leader, n), []).append(n)
        return list(found.values())


def _shows(gauges: Array) -> Array:
    """(entries,) bool, whether a gauge can be told from no fault. `gauges`: (parts, entries) steps
    off; NaN: not known."""
    return np.asarray((np.abs(gauges) > 1.0).any(axis=0))


def _same(pairs: Alike, gauges: Array) -> Array:
    """(pairs,) bool, which look the same at a gauge."""
    entry, low, high = pairs
    least = np.fmin(gauges[:, low], gauges[:, high]) - 1.0
    most = np.fmax(gauges[:, low], gauges[:, high]) + 1.0
    given = gauges[:, entry]
    unknown = np.isnan(given) | np.isnan(least)
    return np.asarray(((least <= given) & (given <= most) | unknown).all(axis=0))


def _leader(leader: dict[int, int], n: int) -> int:
    while leader[n] != n:
        leader[n] = leader[leader[n]]
        n = leader[n]
    return n


def _starts(*keys: Array) -> Array:
    """(runs,) where each run of equal keys begins, of keys in order."""
    if not len(keys[0]):
        return np.zeros(0, dtype=np.int64)
    changes = np.zeros(len(keys[0]), dtype=bool)
    changes[0] = True
    for key in keys:
        changes[1:] |= key[1:] != key[:-1]
    return np.flatnonzero(changes)
