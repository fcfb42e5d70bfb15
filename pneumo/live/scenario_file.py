"""Saving the running situation as a scenario of a circuit document, for everyone to read."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.document import Findings, parse, read_file
from pneumo.errors import InputError
from pneumo.harmless import quoted
from pneumo.live.journal import Act
from pneumo.live.written import LARGEST_DOCUMENT, check_name, in_quotes, scalar
from pneumo.report.files import check_target, write_atomically
from pneumo.units import DURATION


def save_scenario(
    document: str, circuit: Circuit, journal: Sequence[Act], until: float, path: Path, name: str
) -> str:
    """Writes the document with one more scenario, which brings a ride where this one stands.

    A file that already holds this ride, perhaps with other scenarios, gets the new one added.

    Parameters
    ----------
    document, circuit
        Text of the document of the ride, and the circuit it was read as.
    journal
        What has been done, in the order in which it was said.
    until
        How far the ride has come [s]; what was said later is left out.
    path
        File to write.
    name
        Of the scenario.

    Returns
    -------
    str
        One sentence for whoever asked.

    Raises
    ------
    InputError
        When the name is taken, the file holds something else or it cannot be written.
    """
    base = document
    check_target(path)
    if path.exists():
        base = read_file(path)
        if not _same_ride(base, document):
            raise InputError(f"{path}: this file holds another ride; choose another name.")
    acts = [act for act in journal if act.entered <= until]
    text = with_scenario(base, name, acts, until, str(path))
    if len(text.encode("utf-8")) > LARGEST_DOCUMENT:
        raise InputError(f"{path}: the document would be larger than 2 MB; save a shorter run.")
    write_atomically(path, text)
    return f"Saved the scenario {quoted(name)} in {path}."


def with_scenario(
    text: str, name: str, acts: Sequence[Act], until: float, file: str = "document"
) -> str:
    """The text of a document with one more scenario; the rest of it is kept byte for byte.

    Acts that take effect only after `until` [s] are part of it: it then lasts until the last one.
    """
    check_name(name, "scenario")
    findings = Findings(file)
    root = parse(text, findings)
    findings.stop_on_errors()
    section = root.get("scenarios", "")
    if name in section:
        raise InputError(
            f"{file}: there is a scenario {quoted(name)} already; choose another name."
        )
    if until <= 0.0:
        raise InputError("Nothing has happened yet: let the ride run for a moment, then save it.")
    in_order = sorted(acts, key=lambda act: act.time)
    entry = _Entry(
        name,
        f"saved at {DURATION.text(round(until, 3))} of a run",
        max([until, *(act.time for act in acts)]),
        [(act.time, act.sentence) for act in in_order],
    )
    for candidate in _with_entry(text, root, findings, entry):
        if _holds(candidate, root, entry):
            return candidate
    raise InputError(
        f"{file}: its scenarios are laid out so that none can be added by a program; write "
        "'scenarios:' on a line of its own, with the entries indented below it."
    )


@dataclass(frozen=True)
class _Entry:
    """A scenario to be written."""

    name: str
    about: str
    until: float
    events: list[tuple[float, str]]

    def block(self, indent: str, newline: str) -> str:
        """As lines."""
        lines = [
            f"{scalar(self.name)}:",
            f"  about: {scalar(self.about)}",
            f"  until: {DURATION.text(self.until)}",
            *(["  events:"] if self.events else []),
            *(f"    - at {DURATION.text(t)}: {scalar(what)}" for t, what in self.events),
        ]
        return "".join(f"{indent}{line}{newline}" for line in lines)

    def flow(self) -> str:
        """On one line, with everything in quotes."""
        events = ", ".join(
            f"{{{in_quotes(f'at {DURATION.text(t)}')}: {in_quotes(what)}}}"
            for t, what in self.events
        )
        return (
            f'{in_quotes(self.name)}: {{"about": {in_quotes(self.about)}, '
            f'"until": {in_quotes(DURATION.text(self.until))}, "events": [{events}]}}'
        )

    def tree(self) -> dict[str, Any]:
        """As a reader of the document finds it."""
        entry: dict[str, Any] = {"about": self.about, "until": DURATION.text(self.until)}
        if self.events:
            entry["events"] = [{f"at {DURATION.text(t)}": what} for t, what in self.events]
        return entry


def _with_entry(
    text: str, root: dict[str, Any], findings: Findings, entry: _Entry
) -> Iterator[str]:
    """Texts with the entry put where it may belong, the likeliest first."""
    yield from _as_lines(text, root, findings, entry)
    # braces: after the section's own one, or before the one that ends the document
    if "scenarios" in root:
        lines = text.splitlines(keepends=True)
        start = sum(len(line) for line in lines[: findings.line(("scenarios",)) - 1])
        comma = ", " if root["scenarios"] else ""
        for match in re.finditer(r"""["']?scenarios["']?\s*:\s*\{""", text[start:]):
            place = start + match.end()
            yield f"{text[:place]}{entry.flow()}{comma}{text[place:]}"
    elif "}" in text:
        place = text.rindex("}")
        comma = "" if text[:place].rstrip().endswith(",") else ", "
        yield f'{text[:place]}{comma}"scenarios": {{{entry.flow()}}}{text[place:]}'


def _as_lines(text: str, root: dict[str, Any], findings: Findings, entry: _Entry) -> Iterator[str]:
    """The entry as lines of its own."""
    newline = "\r\n" if "\r\n" in text else "\n"
    lines = text.splitlines(keepends=True)
    top = {findings.line((key,)): key for key in root}
    margin = _indent(lines[min(top) - 1])
    if "scenarios" not in root:
        block = f"{margin}scenarios:{newline}{entry.block(margin + '  ', newline)}"
        yield _joined(lines, _last(lines, len(lines), 0), newline + block, newline)
        return
    at = findings.line(("scenarios",))
    inside = [findings.line(("scenarios", name)) for name in root["scenarios"] or ()]
    if not inside:
        yield _joined(lines, at, entry.block(margin + "  ", newline), newline)
    elif min(inside) > at:
        indent = _indent(lines[min(inside) - 1])
        end = min([line - 1 for line in top if line > at], default=len(lines))
        yield _joined(lines, _last(lines, end, len(indent)), entry.block(indent, newline), newline)


def _last(lines: list[str], end: int, indent: int) -> int:
    """Number of lines before `end` without the blank ones, the marks of a document's end and, in
    a section that is indented, the comments of the next section at their end."""
    while end > 0:
        line = lines[end - 1]
        outer = line.lstrip().startswith("#") and len(_indent(line)) < indent
        if line.strip() and not outer and line.strip() != "...":
            break
        end -= 1
    return end


def _joined(lines: list[str], at: int, block: str, newline: str) -> str:
    """The lines with a block after the first `at` of them."""
    before = "".join(lines[:at])
    if before and before.splitlines(keepends=True)[-1] == before.splitlines()[-1]:
        before += newline
    return before + block + "".join(lines[at:])


def _indent(line: str) -> str:
    return line[: len(line) - len(line.lstrip(" "))]


def _holds(text: str, before: dict[str, Any], entry: _Entry) -> bool:
    """True when a text is the document of before and the entry, and nothing else."""
    findings = Findings("")
    root = parse(text, findings)
    if findings.has_errors or not isinstance(root.get("scenarios"), dict):
        return False
    found = root["scenarios"].pop(entry.name, None)
    if isinstance(found, dict) and not found.get("events", True):
        del found["events"]
    if not root["scenarios"] and not before.get("scenarios"):
        root.pop("scenarios")
        before = {key: value for key, value in before.items() if key != "scenarios"}
    return found == entry.tree() and root == before


def _same_ride(one: str, other: str) -> bool:
    """True for documents that differ in nothing but layout and scenarios."""
    roots = [parse(text, Findings("")) for text in (one, other)]
    for root in roots:
        root.pop("scenarios", None)
    return bool(roots[0]) and roots[0] == roots[1]
