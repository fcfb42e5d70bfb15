"""`pneumo diagnosability`: which faults of a ride can be told apart, and what would tell more."""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from rich.console import Console
from rich.text import Text

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.shipped import find_document
from pneumo.circuit.symmetry import span
from pneumo.commands.console import (
    error_console,
    kernels,
    load_with_warnings,
    progress,
    result_console,
    write_results,
)
from pneumo.components.base import kind_of
from pneumo.diagnosis.acting import Acted, Apart, Way, acted
from pneumo.diagnosis.diagnosability import Added, Diagnosability, Group, Hidden, diagnosability
from pneumo.diagnosis.store import library_of
from pneumo.diagnosis.suspects import Candidate
from pneumo.diagnosis.telling import severity_told
from pneumo.drill.telling import minutes
from pneumo.live.cautions import CAUTIONS, line_caution_keys
from pneumo.live.drill import is_drill, read_ride
from pneumo.report.files import check_targets

FORMAT, VERSION = "pneumo-diagnosability", 1

MOST_LISTED = 12
"""Lines of a list; --all prints them all."""

LOOKED_AT = (
    "Looked at: the panel and every cheap test with the ride standing open and closed, and moved "
    "from there. Then, with each fault at its worst and the ride standing open or closed: one "
    "valve driven alone or by its override, a shut-off valve closed, a supply or feed switched "
    "off, air drained, somebody who listens while a zone moves. Their minutes are without putting"
    " it back. What is measured before a zone trips, and a bar at a jaw, may tell more. A "
    "transmitter shows all that a pressure switch at the same port would. This is a calculation "
    "about a description of a circuit; it certifies nothing."
)


class Listed(NamedTuple):
    """Lines under a heading."""

    title: str
    """"" = they are sentences of their own."""
    lines: tuple[str, ...]


def main(options: argparse.Namespace) -> int:
    """Prints what can be told; exit code 3 when a fault could not be calculated or the file not
    written."""
    path = find_document(options.file)
    circuit = read_ride(path) if is_drill(path) else load_with_warnings(options.file)
    check_targets(path, options.json)
    kernels()
    found = judged(circuit)
    written = write_results(((options.json, lambda: _json(circuit, found)),), debug=options.debug)
    _print(result_console(), circuit, found, None if options.everything else MOST_LISTED)
    return 0 if written and found.finished else 3


class Judged(NamedTuple):
    """What can be told of the faults of a ride."""

    without: Diagnosability
    """By the panel and by tests."""
    acted: Acted
    """By acts, beyond that."""

    @property
    def finished(self) -> bool:
        """Whether everything could be calculated."""
        return not (self.without.not_examined or self.acted.lost)


def judged(circuit: Circuit) -> Judged:
    """What can be told of the faults of a ride, calculated where it is not kept, with how far it
    is. Raises UnfinishedError when it cannot be."""
    with progress(error_console(), "Faults", "faults at their severities") as report:
        library = library_of(circuit, report)
    found = diagnosability(library)
    del library  # for the memory of the processes that are forked next
    with progress(error_console(), "Acts", "faults and groups on which acts are tried") as report:
        return Judged(found, acted(circuit, found, report))


def listed(circuit: Circuit, judged: Judged) -> Iterator[Listed]:
    """What is told, list by list."""
    found, by_acts = judged
    words = _Words(found)
    yield Listed("", tuple(_summary(words, judged)))
    yield Listed("Faults that nothing available separates", tuple(
        _group_told(words, groups) for groups in _alike(circuit, words, found.ambiguous)
    ))  # fmt: skip
    yield Listed("Acts that tell some of them apart", tuple(_apart_told(words, by_acts.apart)))
    yield Listed("Faults that nothing shows until they are needed, and the quickest act that does",
                 tuple(_shown_told(words, by_acts.shown)))  # fmt: skip
    yield Listed("Faults that nothing shows, no act either", tuple(
        words.faults(fault for group in groups for fault in group.faults)
        for groups in _alike(circuit, words, _by_part(by_acts.unseen))
    ))  # fmt: skip
    shown = [hidden for hidden in found.hidden if hidden.test is not None]
    yield Listed("Faults that the panel does not show, and the quickest test that does",
                 tuple(_hidden_told(words, shown)))  # fmt: skip
    yield Listed("Test points that would tell most apart, one after the other",
                 tuple(map(_added_told, found.apart)))  # fmt: skip
    yield Listed("Instruments at which most would show that the panel does not, one after the "
                 "other", tuple(map(_added_told, found.by_itself)))  # fmt: skip
    yield Listed("", (LOOKED_AT,))


# words


def _count(number: int, what: str) -> str:
    return f"{number:,} {what}" if number == 1 else f"{number:,} {what}s"


class _Words:
    """Names of the faults of a ride."""

    def __init__(self, found: Diagnosability) -> None:
        sides = Counter((fault.component, fault.mode) for fault in found.faults)
        self._both = {key for key, count in sides.items() if count > 1}

    def mode(self, fault: Candidate) -> str:
        """ "leak"; of a mode that goes both ways how far, too: "drift to -1 bar"."""
        if (fault.component, fault.mode) not in self._both:
            return fault.mode
        return f"{fault.mode} to {severity_told(fault, 1.0)}"

    def faults(self, faults: Iterable[Candidate]) -> str:
        """ "hose_1 blocked, kinked; brake_1 leak", parts with the same modes together."""
        by_part: dict[str, list[str]] = {}
        for fault in faults:
            by_part.setdefault(fault.component, []).append(self.mode(fault))
        by_modes: dict[tuple[str, ...], list[str]] = {}
        for part, modes in by_part.items():
            by_modes.setdefault(tuple(modes), []).append(part)
        return "; ".join(f"{span(parts)} {', '.join(modes)}" for modes, parts in by_modes.items())


def _alike(circuit: Circuit, words: _Words, groups: Sequence[Group]) -> Iterable[list[Group]]:
    """Groups of the same kinds of parts with the same modes, together."""
    found: dict[object, list[Group]] = {}
    for group in groups:
        key = tuple((kind_of(circuit.components[f.component]), words.mode(f)) for f in group.faults)
        found.setdefault(key, []).append(group)
    return found.values()


def _print(console: Console, circuit: Circuit, found: Judged, most: int | None) -> None:
    site = f" at {circuit.ride.site}" if circuit.ride.site else ""
    _say(console, f"{circuit.ride.name}{site} ({circuit.path})", "bold")
    for number, (title, lines) in enumerate(listed(circuit, found)):
        if number and lines:
            console.print()
        if title and lines:
            _say(console, title, "bold")
        for line in lines[:most]:
            _say(console, f"  {line}" if title else line)
        if most is not None and len(lines) > most:
            _say(console, f"  and {_count(len(lines) - most, 'more line')}: --all prints them.")
    said = (line for way in _ways(found.acted) for line in _said(way))
    acts = tuple(key for line in said for key in line_caution_keys(line))
    keys = ("codes", "lock out", "stored", "jaws", *acts)
    for key in dict.fromkeys(keys):
        _say(console, f"CAUTION: {CAUTIONS[key]}")


def _say(console: Console, line: str, style: str = "") -> None:
    console.print(Text(line, style=style), soft_wrap=True)


def _summary(words: _Words, judged: Judged) -> Iterator[str]:
    found, by_acts = judged
    one_repair = sum(len(g.faults) > 1 and len(g.repairs) == 1 for g in found.groups)
    yield (
        f"{_count(len(found.faults), 'fault')}. What shows falls into "
        f"{_count(len(found.groups), 'group')} that can be told apart: in "
        f"{len(found.ambiguous)} of them it matters which fault it is and nothing tells; in "
        f"{one_repair} several faults are mended in the same way, so it need not be told. "
        f"Nothing shows {_count(len(found.unseen.faults), 'fault')}, the panel does not show "
        f"{len(found.hidden)}. Once everything was looked at, {found.bits:.2f} bit are left to "
        "find out about the repair."
    )
    apart = sum(each.alike for each in by_acts.apart)
    yield (
        f"Acts that nobody does from day to day show {len(by_acts.shown)} of what nothing shows, "
        f"and tell faults apart in {apart} of the groups in which nothing does."
    )
    if by_acts.lost:
        lost = words.faults(fault for fault, _ in by_acts.lost)
        yield f"NOT FINISHED: no act could be tried on {lost}: {by_acts.lost[0][1]}"
    if found.not_examined:
        lost = words.faults(found.not_examined)
        yield f"NOT FINISHED: not calculated, so nothing is known of {lost}."


def _group_told(words: _Words, groups: Sequence[Group]) -> str:
    first = groups[0]
    told = f"{_count(len(first.repairs), 'repair')}: {words.faults(first.faults)}"
    return told if len(groups) == 1 else f"{told} (and {_count(len(groups) - 1, 'group')} alike)"


def _by_part(unseen: Iterable[Candidate]) -> list[Group]:
    by_part: dict[str, list[Candidate]] = {}
    for fault in unseen:
        by_part.setdefault(fault.component, []).append(fault)
    return [Group(tuple(faults), ()) for faults in by_part.values()]


def _hidden_told(words: _Words, hidden: Sequence[Hidden]) -> Iterator[str]:
    """A line for each sort of fault, with the test at the first part."""
    by_mode: dict[tuple[str, str, str, float], list[Hidden]] = {}
    for each in hidden:
        assert each.test is not None
        key = (words.mode(each.fault), each.test[0], each.stands, each.seconds)
        by_mode.setdefault(key, []).append(each)
    for (mode, word, stands, seconds), several in by_mode.items():
        parts = tuple(dict.fromkeys(each.fault.component for each in several))
        first = several[0]
        assert first.test is not None
        at = first.test[1] if len(several) == 1 else f"{first.test[1]}, …"
        yield f"{span(parts)} {mode}: {word} {at}, zones {stands} ({minutes(seconds)})"


# acts


def _ways(by_acts: Acted) -> Iterator[Way]:
    yield from (way for _, way in by_acts.shown)
    yield from (way for each in by_acts.apart for way in each.ways)


def _said(way: Way) -> tuple[str, ...]:
    """The lines of a way, as they are said in a drill."""
    return way.lines if way.test is None else (*way.lines, " ".join(way.test))


def _way_told(way: Way, more: bool = False) -> str:
    """What is done. `more`: it is an example, others are at other parts."""
    *before, last = _said(way)
    watched = minutes(way.after)
    if way.test is None:
        told = f"{', '.join(way.lines)}, watch the panel for {watched}"
    elif way.moving:
        told = f"{', '.join(before)}, {last} meanwhile"
    else:
        told = f"{', '.join(before)}, after {watched} {last}"
    example = ", …" if more else ""
    return f"{told}{example}; zones {way.stands} ({minutes(way.seconds)})"


def _form(way: Way) -> object:
    """What ways have in common that do the same at other parts."""
    return tuple(line.split()[0] for line in _said(way)), way.stands, way.test is None, way.seconds


def _shown_told(words: _Words, shown: Iterable[tuple[Candidate, Way]]) -> Iterator[str]:
    """A line for each sort of act, with the first one."""
    by_way: dict[Way, list[Candidate]] = {}
    for fault, way in shown:
        by_way.setdefault(way, []).append(fault)
    by_form: dict[object, list[tuple[Way, list[Candidate]]]] = {}
    for way, faults in by_way.items():
        modes = tuple(sorted({words.mode(fault) for fault in faults}))
        by_form.setdefault((modes, _form(way)), []).append((way, faults))
    for several in by_form.values():
        told = words.faults(fault for _, faults in several for fault in faults)
        yield f"{told}: {_way_told(several[0][0], len(several) > 1)}"


def _apart_told(words: _Words, apart: Iterable[Apart]) -> Iterator[str]:
    """A line for each sort of group, with the first one."""
    by_form: dict[object, list[Apart]] = {}
    for each in apart:
        modes = tuple(tuple(map(words.mode, part)) for part in each.told)
        by_form.setdefault((modes, *map(_form, each.ways)), []).append(each)
    for several in by_form.values():
        first, count = several[0], sum(each.alike for each in several)
        told = " from ".join(words.faults(part) for part in first.told)
        ways = "; then ".join(map(_way_told, first.ways))
        alike = f" (and {_count(count - 1, 'group')} alike)" if count > 1 else ""
        yield f"{told}: {ways}{alike}"


def _added_told(added: Added) -> str:
    if added.sort == "test point":
        return (
            f"a test point at {added.at}: {_count(added.gain, 'group')} more, "
            f"{added.bits:.2f} bit less to find out"
        )
    what = f"a jaw switch for {added.end} on" if added.sort == "jaw switch" else "a transmitter at"
    return f"{what} {added.at}: {_count(added.gain, 'fault')} more"


# for other programs


def _json(circuit: Circuit, judged: Judged) -> str:
    found, by_acts = judged
    import pneumo
    from pneumo.report.json_report import json_text

    return json_text({
        "format": FORMAT,
        "version": VERSION,
        "program": pneumo.__version__,
        "document": circuit.path,
        "ride": circuit.ride.name,
        "faults": len(found.faults),
        "bits": found.bits,
        "groups": [_group_data(group) for group in found.groups],
        "unseen": _group_data(found.unseen),
        "hidden": [_hidden_data(hidden) for hidden in found.hidden],
        "apart": [_added_data(added) for added in found.apart],
        "by_itself": [_added_data(added) for added in found.by_itself],
        "not_examined": [_fault_data(fault) for fault in found.not_examined],
        "acts": {
            "show": [{"fault": _fault_data(fault), **_way_data(way)}
                     for fault, way in by_acts.shown],
            "unseen": [_fault_data(fault) for fault in by_acts.unseen],
            "apart": [
                {"faults": [[_fault_data(fault) for fault in part] for part in each.told],
                 "alike": each.alike, "by": [_way_data(way) for way in each.ways]}
                for each in by_acts.apart
            ],
            "lost": [{"fault": _fault_data(fault), "why": why} for fault, why in by_acts.lost],
        },
    })  # fmt: skip


def _fault_data(fault: Candidate) -> Mapping[str, Any]:
    weak, full = (fault.fault(place).severity for place in (0.0, 1.0))
    return {"component": fault.component, "mode": fault.mode, "side": fault.spot.side,
            "from": weak, "to": full, "unit": fault.unit}  # fmt: skip


def _group_data(group: Group) -> Mapping[str, Any]:
    return {
        "faults": [_fault_data(fault) for fault in group.faults],
        "repairs": [
            {"component": repair.spot.component, "side": repair.spot.side, "how": repair.how}
            for repair in group.repairs
        ],
    }


def _hidden_data(hidden: Hidden) -> Mapping[str, Any]:
    return {
        "fault": _fault_data(hidden.fault),
        "test": None if hidden.test is None else " ".join(hidden.test),
        "stands": hidden.stands,
        "seconds": hidden.seconds,
        "shown_from": hidden.fault.fault(hidden.place).severity,
    }


def _way_data(way: Way) -> Mapping[str, Any]:
    return {
        "lines": list(way.lines),
        "test": None if way.test is None else " ".join(way.test),
        "after": way.after,
        "meanwhile": way.moving,
        "stands": way.stands,
        "seconds": way.seconds,
    }


def _added_data(added: Added) -> Mapping[str, Any]:
    return {"instrument": added.sort, "at": added.at, "end": added.end, "gain": added.gain,
            "bits": added.bits}  # fmt: skip
