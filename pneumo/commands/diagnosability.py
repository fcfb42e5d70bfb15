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
from pneumo.diagnosis.diagnosability import Added, Diagnosability, Group, Hidden, diagnosability
from pneumo.diagnosis.store import library_of
from pneumo.diagnosis.suspects import Candidate
from pneumo.diagnosis.telling import severity_told
from pneumo.drill.telling import minutes
from pneumo.live.cautions import CAUTIONS
from pneumo.report.files import check_targets

FORMAT, VERSION = "pneumo-diagnosability", 1

MOST_LISTED = 12
"""Lines of a list; --all prints them all."""

LOOKED_AT = (
    "Looked at: the panel and every cheap test with the ride standing open, closed and open "
    "again. Valves switched alone, what is measured before a zone trips, a gauge that is watched "
    "and a bar at a jaw may tell more. A transmitter shows all that a pressure switch at the same "
    "port would. This is a calculation about a description of a circuit; it certifies nothing."
)


class Listed(NamedTuple):
    """Lines under a heading."""

    title: str
    """"" = they are sentences of their own."""
    lines: tuple[str, ...]


def main(options: argparse.Namespace) -> int:
    """Prints what can be told; exit code 3 when a fault could not be calculated or the file not
    written."""
    circuit = load_with_warnings(options.file)
    check_targets(find_document(options.file), options.json)
    kernels()
    found = judged(circuit)
    written = write_results(((options.json, lambda: _json(circuit, found)),), debug=options.debug)
    _print(result_console(), circuit, found, None if options.everything else MOST_LISTED)
    return 0 if written and not found.not_examined else 3


def judged(circuit: Circuit) -> Diagnosability:
    """What can be told of the faults of a ride, calculated where it is not kept, with how far it
    is. Raises UnfinishedError when it cannot be."""
    with progress(error_console(), "Faults", "faults at their severities") as report:
        library = library_of(circuit, report)
    return diagnosability(library)


def listed(circuit: Circuit, found: Diagnosability) -> Iterator[Listed]:
    """What is told, list by list."""
    words = _Words(found)
    yield Listed("", tuple(_summary(words, found)))
    yield Listed("Faults that nothing available separates", tuple(
        _group_told(words, groups) for groups in _alike(circuit, words, found.ambiguous)
    ))  # fmt: skip
    yield Listed("Faults that nothing shows", tuple(
        words.faults(fault for group in groups for fault in group.faults)
        for groups in _alike(circuit, words, _by_part(found.unseen))
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


def _print(console: Console, circuit: Circuit, found: Diagnosability, most: int | None) -> None:
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
    for key in ("codes", "lock out", "stored", "jaws"):
        _say(console, f"CAUTION: {CAUTIONS[key]}")


def _say(console: Console, line: str, style: str = "") -> None:
    console.print(Text(line, style=style), soft_wrap=True)


def _summary(words: _Words, found: Diagnosability) -> Iterator[str]:
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
    if found.not_examined:
        lost = words.faults(found.not_examined)
        yield f"NOT FINISHED: not calculated, so nothing is known of {lost}."


def _group_told(words: _Words, groups: Sequence[Group]) -> str:
    first = groups[0]
    told = f"{_count(len(first.repairs), 'repair')}: {words.faults(first.faults)}"
    return told if len(groups) == 1 else f"{told} (and {_count(len(groups) - 1, 'group')} alike)"


def _by_part(group: Group) -> list[Group]:
    by_part: dict[str, list[Candidate]] = {}
    for fault in group.faults:
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


def _added_told(added: Added) -> str:
    if added.sort == "test point":
        return (
            f"a test point at {added.at}: {_count(added.gain, 'group')} more, "
            f"{added.bits:.2f} bit less to find out"
        )
    what = f"a jaw switch for {added.end} on" if added.sort == "jaw switch" else "a transmitter at"
    return f"{what} {added.at}: {_count(added.gain, 'fault')} more"


# for other programs


def _json(circuit: Circuit, found: Diagnosability) -> str:
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


def _added_data(added: Added) -> Mapping[str, Any]:
    return {"instrument": added.sort, "at": added.at, "end": added.end, "gain": added.gain,
            "bits": added.bits}  # fmt: skip
