"""Which act shows a fault that nothing else does, and which tells faults apart that nothing else
does: tried on rides that have them, at their worst.

Every act is done on a ride that stands open and on one that stands closed, some seconds after the
fault was injected. Of parts that are alike one is tried.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf, log2
from pathlib import Path

import numpy as np

from pneumo.circuit.action import FaultSpec, Inject
from pneumo.circuit.circuit import Circuit
from pneumo.diagnosis import acts
from pneumo.diagnosis.acts import Act, acts_at, owners
from pneumo.diagnosis.diagnosability import Diagnosability, Repair, repair_of, seconds_of
from pneumo.diagnosis.library import Test
from pneumo.diagnosis.marks import marks
from pneumo.diagnosis.rehearsal import STANDS, STRUCK, Rehearsal, Struck
from pneumo.diagnosis.signatures import steps_off
from pneumo.diagnosis.store import folder_of
from pneumo.diagnosis.suspects import Candidate, candidates
from pneumo.diagnosis.twins import Twins
from pneumo.errors import InputError, UnfinishedError
from pneumo.inspection.evidence import Evidence
from pneumo.inspection.survey import Marks, Surveyor
from pneumo.network.network import Array
from pneumo.packing import PackingError, pack, unpack
from pneumo.pool import worker_pool
from pneumo.report.files import write_atomically
from pneumo.scenario.play import Play

MOST_WAYS = 3
"""Ways that are told to tell one group apart, one after the other."""

LITTLE = 1e-9
"""A way that tells no more than this is none [bit]."""

NOTICED = 0.5
"""What is off by less is as without a fault [steps]."""

Parts = tuple[tuple[int, ...], ...]
"""Numbers of what looks the same, together."""


@dataclass(frozen=True)
class Way:
    """An act, and a test after it."""

    stands: Struck
    """Where the zones stand for it."""
    lines: tuple[str, ...]
    """What is done, as it is said in a drill."""
    after: float
    """The test is made so much later [s]."""
    test: Test | None
    """None: the panel shows it."""
    moving: bool
    """It is heard while the zones move, by somebody who stands there."""
    seconds: float
    """Downtime of all of it; putting it back comes on top [s]."""


@dataclass(frozen=True)
class Job:
    """Faults that acts are tried on."""

    numbers: tuple[int, ...]
    """Of the candidates; -1: no fault."""
    alike: int = 1
    """So many groups are alike, this one included."""


@dataclass(frozen=True)
class Tried:
    """What came of a job."""

    ways: tuple[Way, ...]
    """The one that tells most first, each beside those before it; () = none of them tells
    anything."""
    told: Parts
    """Numbers of what looks the same after all of them."""
    why: str = ""
    """Why no act could be tried."""


@dataclass(frozen=True)
class Apart:
    """Faults that nothing else separates."""

    ways: tuple[Way, ...]
    """As of `Tried`."""
    told: tuple[tuple[Candidate, ...], ...]
    """Those that look the same after all of them."""
    alike: int
    """So many groups are alike, this one included."""


@dataclass(frozen=True)
class Acted:
    """What acts tell beyond everything else."""

    shown: tuple[tuple[Candidate, Way], ...]
    """Faults that nothing else shows, each with the quickest way that does."""
    unseen: tuple[Candidate, ...]
    """Faults that no act shows either."""
    apart: tuple[Apart, ...]
    """Of groups that nothing else separates those in which an act does."""
    lost: tuple[tuple[Candidate, str], ...]
    """Faults on which none could be tried, with what stopped it."""


_Off = Mapping[str, float]
"""Aspect -> how far off it is [steps]; what is as without a fault is left out."""


@dataclass(frozen=True)
class _Sound:
    """What an act comes to without a fault."""

    stands: Struck
    act: Act
    marks: Marks
    found: Mapping[Test, Evidence]
    shown: Array
    """(places,)"""


class Acting:
    """Acts tried on some faults, as work for a pool.

    Parameters
    ----------
    jobs
        What is to be told apart.
    """

    def __init__(self, circuit: Circuit, jobs: tuple[Job, ...]) -> None:
        self.circuit, self._jobs = circuit, jobs
        self._candidates = candidates(circuit)
        self._rehearsal = Rehearsal(circuit)
        self._of = owners(circuit)
        self._surveyor = Surveyor(self._rehearsal.compiled)
        self._scales = [place.scale for place in self._rehearsal.panel.places]
        self._sound: tuple[str, tuple[_Sound, ...]] | None = None
        """Of the zone that was last."""

    def __reduce__(self) -> tuple[object, ...]:
        # to a process that was not forked only what cannot be made again is sent
        return Acting, (self.circuit, self._jobs)

    def jobs(self) -> tuple[Job, ...]:
        """Everything to be tried, in order."""
        return self._jobs

    def given_up(self, job: Job, why: str) -> Tried:
        """Of a job that could not be run."""
        return Tried((), (job.numbers,), why)

    def run(self, job: Job) -> Tried:
        """Tries acts on some faults, the quickest first, until one tells all."""
        numbers, why = job.numbers, "nothing can be done at it"
        owner = self._of.get(self._candidates[max(numbers)].component, "")
        stand: dict[tuple[Struck, int], Play] = {}
        seen: dict[Way, list[_Off]] = {}
        whole = (tuple(range(len(numbers))),)
        all_told_in = inf
        for sound in self._without(owner):
            if sound.act.seconds(self.circuit) >= all_told_in:
                break
            try:
                told = [self._tried(stand, sound, number) for number in numbers]
            except (UnfinishedError, InputError) as error:
                why = str(error) if why else ""
                continue
            why = ""
            for test in dict.fromkeys(test for each in told for test in each):
                offs = [each.get(test, {}) for each in told]
                way = self._way(sound, test)
                seen[way] = offs
                if self._left(numbers, _split(whole, offs)) < LITTLE:
                    all_told_in = min(all_told_in, way.seconds)
        return replace(self._chosen(numbers, seen), why=why)

    def _chosen(self, job: tuple[int, ...], seen: Mapping[Way, list[_Off]]) -> Tried:
        """The ways that tell most, one after the other."""
        own = {self._candidates[number].component for number in job if number >= 0}
        parts: Parts = (tuple(range(len(job))),)
        ways: list[Way] = []
        while len(ways) < MOST_WAYS:
            left = {way: self._left(job, _split(parts, offs)) for way, offs in seen.items()}
            best = min(
                left,
                key=lambda way: (round(left[way], 9), way.seconds, _target(way) not in own),
                default=None,
            )
            if best is None or self._left(job, parts) - left[best] < LITTLE:
                break
            ways.append(best)
            parts = _split(parts, seen[best])
        return Tried(tuple(ways), tuple(tuple(job[m] for m in part) for part in parts))

    def _left(self, job: tuple[int, ...], parts: Parts) -> float:
        """What is left to find out about the repair [bit]."""
        shares = [self._candidates[n].prior if n >= 0 else 0.0 for n in job]
        # that nothing is wrong is as probable as the rest
        shares = [share or sum(shares) for share in shares]
        whole, left = sum(shares), 0.0
        for part in parts:
            by_repair: dict[Repair | None, float] = {}
            for m in part:
                n = job[m]
                how = repair_of(self.circuit, self._candidates[n]) if n >= 0 else None
                by_repair[how] = by_repair.get(how, 0.0) + shares[m] / whole
            together = sum(by_repair.values())
            left += sum(p * log2(together / p) for p in by_repair.values() if p > 0.0)
        return left

    def _way(self, sound: _Sound, test: Test | None) -> Way:
        act = sound.act
        seconds = act.seconds(self.circuit)
        if test is not None:
            seconds += seconds_of(self.circuit, test)
        return Way(sound.stands, act.lines, act.after, test, act.moving, seconds)

    # rides

    def _without(self, owner: str) -> tuple[_Sound, ...]:
        """What all acts that concern a zone come to without a fault, the quickest first."""
        if self._sound is None or self._sound[0] != owner:
            found = []
            for struck in STRUCK:
                stands = self._standing(struck, None)
                for act in acts_at(stands, struck, self._of, owner):
                    try:
                        play, shown = self._acted(stands, act)
                    except UnfinishedError:
                        continue
                    told = self._surveyor.evidence(play, self._surveyor.pairs)
                    marked = self._surveyor.marks(play)
                    found.append(_Sound(struck, act, marked, told, shown))
            found.sort(key=lambda sound: sound.act.seconds(self.circuit))
            self._sound = owner, tuple(found)
        return self._sound[1]

    def _standing(self, stands: Struck, fault: FaultSpec | None) -> Play:
        """A ride that stands, some seconds after a fault was injected."""
        play = self._rehearsal.sound(stands)[0].stands.snapshot()
        if fault is not None:
            play.act(Inject(fault))
        play.advance(play.now + STANDS)
        return play

    def _acted(self, stands: Play, act: Act) -> tuple[Play, Array]:
        """A ride after an act, and what the panel has shown since."""
        play = stands.snapshot()
        began, before = play.now, len(play.plant.log.events)
        for action in act.actions:
            play.act(action)
        play.advance(began + act.after)
        panel = self._rehearsal.panel
        return play, panel.stretch(began, play.plant.log.events[before:], panel.shown(play))

    def _tried(
        self, stand: dict[tuple[Struck, int], Play], sound: _Sound, number: int
    ) -> dict[Test | None, _Off]:
        """What an act tells of a fault: test -> aspects that are off. `stand`: rides with it that
        stand, those that are made included."""
        if number < 0:
            return {}
        key = sound.stands, number
        if key not in stand:
            stand[key] = self._standing(sound.stands, self._candidates[number].fault(1.0))
        play, shown = self._acted(stand[key], sound.act)
        pairs = self._surveyor.differing(self._surveyor.marks(play), sound.marks)
        if sound.act.moving:
            pairs = tuple(pair for pair in pairs if pair[0] == "listen")
        found = {test: _off(result, sound.found[test])
                 for test, result in self._surveyor.evidence(play, pairs).items()}  # fmt: skip
        told: dict[Test | None, _Off] = {test: off for test, off in found.items() if off}
        if not sound.act.moving:
            steps = steps_off(shown[:, None], sound.shown, self._scales)[:, 0]
            odd = np.flatnonzero(np.abs(steps) > NOTICED)
            if len(odd):
                told[None] = {str(place): float(steps[place]) for place in odd.tolist()}
        return told


def _off(found: Evidence, usual: Evidence) -> _Off:
    """How far what a test gave is off from what it gives without a fault."""
    own, without = ({mark.aspect: mark for mark in marks(each)} for each in (found, usual))
    aspects = without | own
    values = [own[each].value if each in own else mark.usual for each, mark in aspects.items()]
    usuals = [
        without[each].value if each in without else mark.usual for each, mark in aspects.items()
    ]
    steps = steps_off(
        np.array(values)[:, None], np.array(usuals), [mark.scale for mark in aspects.values()]
    )
    return {aspect: float(step) for aspect, step in zip(aspects, steps[:, 0], strict=True)
            if abs(step) > NOTICED}  # fmt: skip


def _target(way: Way) -> str:
    """The part that a test is made at."""
    return "" if way.test is None else way.test[1].partition(".")[0]


def _split(parts: Parts, offs: Sequence[_Off]) -> Parts:
    """Each part divided into those that look the same."""
    found: list[tuple[int, ...]] = []
    for part in parts:
        divided: list[list[int]] = []
        for m in part:
            same = [own for own in divided if any(_alike(offs[m], offs[n]) for n in own)]
            divided = [own for own in divided if own not in same]
            divided.append([*(n for own in same for n in own), m])
        found += sorted(tuple(sorted(own)) for own in divided)
    return tuple(found)


def _alike(one: _Off, other: _Off) -> bool:
    return all(
        abs(one.get(aspect, 0.0) - other.get(aspect, 0.0)) <= 1.0
        for aspect in one.keys() | other.keys()
    )


# which faults


def jobs_of(circuit: Circuit, found: Diagnosability) -> tuple[Job, ...]:
    """What acts are tried on: each fault that nothing shows, against none, and of groups that are
    alike one. Those of one zone stand together."""
    listed = candidates(circuit)
    number = {(c.component, c.mode, c.side): n for n, c in enumerate(listed)}
    of, twins = owners(circuit), Twins(circuit)
    groups: dict[object, list[tuple[int, ...]]] = {}
    for group in found.ambiguous:
        parts = {fault.component for fault in group.faults}
        exchanges = {twins.renamings[part] for part in parts & twins.renamings.keys()}
        key = tuple((twins.first.get(f.component, f.component), f.mode, f.side)
                    for f in group.faults)  # fmt: skip
        numbers = tuple(number[f.component, f.mode, f.side] for f in group.faults)
        # one exchange makes another group of the whole of it
        alike = len(exchanges) <= 1 and len({*key}) == len(key)
        groups.setdefault(key if alike else numbers, []).append(numbers)
    jobs = [Job((-1, number[f.component, f.mode, f.side])) for f in found.unseen.faults]
    jobs += [Job(several[0], len(several)) for several in groups.values()]
    order = {name: place for place, name in enumerate(("", *circuit.zones, *circuit.gates))}
    jobs.sort(key=lambda job: order[of.get(listed[max(job.numbers)].component, "")])
    return tuple(jobs)


def acted(
    circuit: Circuit,
    found: Diagnosability,
    say: Callable[[int, int], None] = lambda done, of: None,
    workers: int | None = None,
) -> Acted:
    """What acts tell beyond everything else: read, or calculated and kept beside the library. The
    kernels must be there.

    Parameters
    ----------
    found
        What is told without them.
    say
        Takes how many of the jobs are done, and how many there are, while they are calculated.
    workers
        Processes that calculate; None: one for each processor. This one should have no threads.
    """
    jobs = jobs_of(circuit, found)
    with folder_of(circuit) as folder:
        path, name = folder / "acts.json", _name_of(jobs)
        tried = _read(path, name)
        if tried is None:
            tried = []
            with worker_pool(Acting(circuit, jobs), workers) as pool:
                for each in pool.results():
                    tried.append(each)
                    say(len(tried), len(jobs))
            if not any(each.why for each in tried):
                kept = json.dumps([name, [pack(each) for each in tried]])
                write_atomically(path, kept.encode())
    return told(circuit, jobs, tried)


def _name_of(jobs: tuple[Job, ...]) -> str:
    """Names what the results depend on, besides what the library does."""
    digest = hashlib.sha256(repr(jobs).encode())
    for source in (acts.__file__, __file__):
        digest.update(Path(source).read_bytes())
    return digest.hexdigest()


def _read(path: Path, name: str) -> list[Tried] | None:
    """What was kept; None: nothing, or of other faults or another version, or damaged."""
    try:
        kept, listed = json.loads(path.read_bytes())
        return [unpack(Tried, each) for each in listed] if kept == name else None
    except (OSError, ValueError, TypeError, PackingError, RecursionError):
        return None


def told(circuit: Circuit, jobs: Iterable[Job], tried: Iterable[Tried]) -> Acted:
    """What came of all jobs."""
    listed = candidates(circuit)
    shown: list[tuple[Candidate, Way]] = []
    unseen: list[Candidate] = []
    apart: list[Apart] = []
    lost: list[tuple[Candidate, str]] = []
    for job, each in zip(jobs, tried, strict=True):
        hidden = job.numbers[0] < 0
        if each.why:
            lost += [(listed[n], each.why) for n in job.numbers if n >= 0]
        elif not hidden and each.ways:
            parts = tuple(tuple(listed[n] for n in part) for part in each.told)
            apart.append(Apart(each.ways, parts, job.alike))
        elif hidden and each.ways:
            shown.append((listed[job.numbers[1]], each.ways[0]))
        elif hidden:
            unseen.append(listed[job.numbers[1]])
    return Acted(tuple(shown), tuple(unseen), tuple(apart), tuple(lost))
