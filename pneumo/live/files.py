"""Saving the running situation: as a scenario of a circuit document, or as a drill.

A scenario is for everyone to read. A drill carries the whole ride in one file, and keeps what the
trainer hides under a seal: against a glance, it is no lock.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import isfinite
from pathlib import Path
from typing import Any, NoReturn

from pneumo.circuit.action import Clear, Strike
from pneumo.circuit.circuit import Circuit, Event
from pneumo.circuit.document import Findings, Place, decoded, parse, read_file
from pneumo.circuit.sentence import parse_action
from pneumo.circuit.spelling import listed, near
from pneumo.circuit.storm import storm
from pneumo.circuit.validate import load_text
from pneumo.errors import DocumentError, Finding, InputError
from pneumo.harmless import quoted
from pneumo.live.journal import Act, read_act
from pneumo.live.seal import seal, unseal
from pneumo.quantity import QuantityError
from pneumo.report.files import check_target, write_atomically
from pneumo.units import DURATION

FORMAT = "1"
"""Version of drill files."""

LARGEST_DRILL = 4_000_000
"""Bytes of a drill file: twice the largest circuit document."""

_LARGEST_DOCUMENT = 2_000_000
_LONGEST_NAME = 80
_MOST_ACTS = 20_000
_KEYS = ("pneumo_drill", "title", "start", "acts", "hidden", "document")
_ACT_KEYS = ("at", "said", "seat", "sentence")

_PLAIN = re.compile(r"[A-Za-z][A-Za-z0-9_./%()·-]*( [A-Za-z0-9_./%()·-]+)*")
"""Text that YAML reads as it stands."""


# a scenario


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
    if len(text.encode("utf-8")) > _LARGEST_DOCUMENT:
        raise InputError(f"{path}: the document would be larger than 2 MB; save a shorter run.")
    write_atomically(path, text)
    return f"Saved the scenario {quoted(name)} in {path}."


def with_scenario(
    text: str, name: str, acts: Sequence[Act], until: float, file: str = "document"
) -> str:
    """The text of a document with one more scenario; the rest of it is kept byte for byte.

    Acts that take effect only after `until` [s] are part of it: it then lasts until the last one.
    """
    _check_name(name, "scenario")
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
            f"{_scalar(self.name)}:",
            f"  about: {_scalar(self.about)}",
            f"  until: {DURATION.text(self.until)}",
            *(["  events:"] if self.events else []),
            *(f"    - at {DURATION.text(t)}: {_scalar(what)}" for t, what in self.events),
        ]
        return "".join(f"{indent}{line}{newline}" for line in lines)

    def flow(self) -> str:
        """On one line, with everything in quotes."""
        events = ", ".join(
            f"{{{_in_quotes(f'at {DURATION.text(t)}')}: {_in_quotes(what)}}}"
            for t, what in self.events
        )
        return (
            f'{_in_quotes(self.name)}: {{"about": {_in_quotes(self.about)}, '
            f'"until": {_in_quotes(DURATION.text(self.until))}, "events": [{events}]}}'
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


# a drill


@dataclass(frozen=True)
class Drill:
    """A ride to practise on, from an instant on."""

    title: str
    document: str
    """Text of the ride's document."""
    circuit: Circuit
    acts: tuple[Act, ...]
    """The journal up to the start, in the order in which it was said."""
    start: float
    """Where the ride stands when the drill begins [s]."""

    @property
    def work(self) -> float:
        """What a second of it takes to calculate where a storm of changes makes it slow [s of one
        processor], else 0."""
        return _work(self.circuit, self.acts)


def save_drill(
    document: str, circuit: Circuit, journal: Sequence[Act], until: float, path: Path, name: str
) -> str:
    """Writes a drill that starts where the ride stands. Parameters, result as `save_scenario`.

    A file that holds the same drill, by its title, is replaced.
    """
    _check_name(name, "drill")
    check_target(path)
    if path.exists():
        _check_replaced(path, name)
    # in a drill everything that was broken is to be found, shown before or not
    found = [act for act in journal if act.entered <= until]
    does = [read_act(circuit, act.sentence, act.time)[1] for act in found]
    broken = [isinstance(action, Strike | Clear) for action in does]
    acts = [a._replace(hidden=a.hidden or of) for a, of in zip(found, broken, strict=True)]
    text = drill_text(document, acts, until, name)
    if len(text.encode("utf-8")) > LARGEST_DRILL:
        raise InputError(f"{path}: the drill would be larger than 4 MB; save a shorter run.")
    write_atomically(path, text)
    sealed = sum(act.hidden for act in acts)
    word = "" if not sealed else f"; {sealed} hidden in it (obscured, not encrypted)"
    work = _work(circuit, acts)
    slow = (
        ""
        if not work
        else (
            f" Its repeating faults change so often that a second of it takes about {work:.2g} s "
            "to calculate; let them repeat every 0.1 s or more."
        )
    )
    return f"Saved the drill {quoted(name)} as {path}{word}.{slow}"


def _work(circuit: Circuit, acts: Iterable[Act]) -> float:
    events = [Event(*read_act(circuit, act.sentence, act.time)) for act in acts]
    found = storm(events)
    return 0.0 if found is None else found.work


def drill_text(document: str, acts: Sequence[Act], start: float, title: str) -> str:
    """The text of a drill file; `start` [s]."""
    lines = [
        "# A drill for pneumo: a ride, and what has been done to it before the drill begins.",
        "# What the trainer hides is not readable at a glance. It is obscured, not encrypted.",
        f'pneumo_drill: "{FORMAT}"',
        f"title: {_scalar(title)}",
        f"start: {DURATION.text(start)}",
    ]
    shown = [act for act in acts if not act.hidden]
    if shown:
        lines.append("acts:")
    for act in shown:
        lines.append(
            f"  - {{at: {DURATION.text(act.time)}, said: {DURATION.text(act.entered)}, "
            f"seat: {act.seat}, sentence: {_in_quotes(act.sentence)}}}"
        )
    hidden = [
        [place, act.time, act.entered, act.seat, act.sentence]
        for place, act in enumerate(acts)
        if act.hidden
    ]
    if hidden:
        sealed = seal(json.dumps(hidden))
        lines += ["hidden: |", *(f"  {sealed[i : i + 76]}" for i in range(0, len(sealed), 76))]
    head = "\n".join(lines)
    body = "\n".join(f"  {line}" if line else "" for line in document.split("\n"))
    text = f"{head}\ndocument: |2{'+' if document.endswith(chr(10)) else '-'}\n{body}"
    text = text if document.endswith("\n") else text + "\n"
    if parse(text, Findings("")).get("document") == document:
        return text
    # line ends of other systems, say, are kept only inside quotes
    return f"{head}\ndocument: {_in_quotes(document)}\n"


def is_drill(path: str | Path) -> bool:
    """True for a file that says at its beginning that it is a drill, whether or not it is right."""
    try:
        with open(path, "rb") as stream:
            head = stream.read(4096)
    except (OSError, ValueError):
        return False
    return re.search(rb"^\W*pneumo_drill\W*:", head, re.MULTILINE) is not None


def read_drill(path: str | Path) -> Drill:
    """Reads and checks a drill.

    Raises
    ------
    InputError
        With one message: the place, what was found and what would be right.
    """
    place = Path(path)
    try:
        if place.is_file() and place.stat().st_size > LARGEST_DRILL:
            raise InputError(
                f"{path}: error: This file is larger than 4 MB. A drill is a few pages."
            )
        if not place.is_file():
            raise InputError(f"{path}: error: There is no such file. Give the path of a drill.")
        data = place.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"{path}: error: The file cannot be read: {reason}.") from None
    try:
        return _Reader(decoded(data, str(path)), str(path)).drill()
    except DocumentError as error:
        first, more = error.findings[0], len(error.findings) - 1
        rest = f" ({more} more found after it.)" if more else ""
        raise InputError(f"{first}{rest}") from None


class _Reader:
    """Reads the parts of one drill in order; stops at the first that is not right."""

    def __init__(self, text: str, file: str) -> None:
        self.text = text
        self.file = file
        self.findings = Findings(file)

    def drill(self) -> Drill:
        root = parse(self.text, self.findings)
        for finding in self.findings.items:
            wanted = finding.wanted
            if "components:" in wanted:  # said of circuit documents
                wanted = "Open a drill that was saved from a ride."
            self._stop(finding.line, finding.found, wanted, finding.component, finding.field)
        if "pneumo_drill" not in root:
            found = "This is not a drill."
            if "components" in root:
                found = "This is a circuit document, not a drill."
            self._stop(1, found, "Open a drill that was saved from a ride.")
        if root["pneumo_drill"] != FORMAT:
            self._wrong(
                ("pneumo_drill",),
                f"The drill has version {_shown(root['pneumo_drill'])}.",
                f"This program reads version {FORMAT}.",
            )
        for key in root:
            if key not in _KEYS:
                self._wrong(
                    (key,),
                    f"There is no field {quoted(key)} in a drill.",
                    near(key, _KEYS, f"Fields are {', '.join(_KEYS)}."),
                )
        title = self._text(root, "title", "Give the drill a title.")
        if len(title) > _LONGEST_NAME or not title.isprintable():
            self._wrong(
                ("title",), "The title is too long, or not plain text.", "Write one short line."
            )
        start = self._time(root.get("start", ""), ("start",))
        circuit, document = self._circuit(root)
        acts = self._acts(root, circuit, start)
        return Drill(title, document, circuit, acts, start)

    def _circuit(self, root: dict[str, Any]) -> tuple[Circuit, str]:
        document = self._text(root, "document", "Put the ride's document there.")
        if len(document.encode("utf-8")) > _LARGEST_DOCUMENT:
            self._wrong(("document",), "The ride's document is larger than 2 MB.", "Shorten it.")
        try:
            return load_text(document, self.file), document
        except DocumentError as error:
            at = self.findings.line(("document",))
            line = self.text.splitlines()[at - 1]
            # below "document: |" the lines of the ride stand as they are
            below = at if re.search(r":\s*\|", line) else 0
            raise DocumentError(
                [
                    Finding(
                        f.level, f.file, f.line + below if f.line and below else at, f.component,
                        f.field, f.found, f.wanted,
                    )
                    for f in error.findings
                    if f.level == "error"
                ]
            ) from None  # fmt: skip

    def _acts(self, root: dict[str, Any], circuit: Circuit, start: float) -> tuple[Act, ...]:
        entries = root.get("acts", "") or []
        if not isinstance(entries, list):
            self._wrong(("acts",), "acts: is not a list.", "Start each entry with '- '.")
        acts = [self._act(entry, ("acts", i)) for i, entry in enumerate(entries)]
        places: list[Place] = [("acts", i) for i in range(len(acts))]
        for position, act in self._hidden(root):
            acts.insert(position, act)
            places.insert(position, ("hidden",))
        if len(acts) > _MOST_ACTS:
            self._wrong(("acts",), f"There are {len(acts)} actions.", f"At most {_MOST_ACTS}.")
        for act, place, before in zip(acts, places, [None, *acts], strict=False):
            # what is sealed is not quoted in a message: the trainee may be reading
            what = "A hidden action" if act.hidden else f"The action {quoted(act.sentence)}"
            if act.entered > start or act.time < act.entered:
                self._wrong(
                    place,
                    f"{what} is entered after the start of the drill, or takes effect before it is "
                    "entered.",
                    "Write times with said <= at and said <= start.",
                )
            if before is not None and act.entered < before.entered:
                self._wrong(place, f"{what} is out of order.", "Put the actions in order of said.")
            try:
                parse_action(act.sentence, circuit.components, circuit.zones, circuit.gates, 0.0)
            except InputError as error:
                found = "It does not fit this ride." if act.hidden else str(error)
                self._wrong(place, f"{what} cannot be carried out. {found}", "")
        return tuple(acts)

    def _act(self, entry: object, place: Place) -> Act:
        if not isinstance(entry, dict):
            self._wrong(place, "This is not an action.", f"Give it {listed(_ACT_KEYS)}.")
        for key in (*entry, *_ACT_KEYS):
            if key not in _ACT_KEYS or key not in entry:
                found = (
                    f"The action has no {key}."
                    if key in _ACT_KEYS
                    else f"{quoted(key)} is no field."
                )
                self._wrong(place, found, f"An action has {listed(_ACT_KEYS)}.")
        return Act(
            self._time(entry["at"], (*place, "at")),
            self._seat(entry["seat"], (*place, "seat")),
            self._sentence(entry["sentence"], (*place, "sentence")),
            False,
            self._time(entry["said"], (*place, "said")),
        )

    def _hidden(self, root: dict[str, Any]) -> list[tuple[int, Act]]:
        sealed = root.get("hidden", "")
        if sealed == "":
            return []
        place: Place = ("hidden",)
        again = "Ask for an undamaged copy of the drill."
        if not isinstance(sealed, str):
            self._wrong(place, "The hidden part is not text.", again)
        try:
            rows = json.loads(unseal(sealed))
        except InputError as error:
            self._wrong(place, str(error), "")
        except (ValueError, RecursionError):
            self._wrong(place, "The hidden part does not hold actions.", again)
        found: list[tuple[int, Act]] = []
        for row in rows if isinstance(rows, list) else [None]:
            match row:
                case [int(at), float() | int() as time, float() | int() as said, str(seat), str(s)]:
                    times_are_good = all(isfinite(t) and 0.0 <= t <= DURATION.high
                                         for t in (time, said))  # fmt: skip
                    if 0 <= at < _MOST_ACTS and times_are_good:
                        act = Act(float(time), self._seat(seat, place), s, True, float(said))
                        found.append((at, act))
                        continue
            self._wrong(place, "The hidden part does not hold actions.", again)
        return found

    def _text(self, root: dict[str, Any], key: str, wanted: str) -> str:
        value = root.get(key, "")
        if not isinstance(value, str) or not value.strip():
            self._wrong((key,), f"The drill has no {key}.", wanted)
        return str(value)

    def _sentence(self, value: object, place: Place) -> str:
        if not isinstance(value, str):
            self._wrong(place, "The sentence is not text.", "Write one like 'close trim'.")
        return str(value)

    def _seat(self, value: object, place: Place) -> Any:
        if value not in ("trainer", "trainee"):
            self._wrong(place, f"{_shown(value)} is not a seat.", "Write trainer or trainee.")
        return value

    def _time(self, value: object, place: Place) -> float:
        try:
            return DURATION.parse(value if isinstance(value, str) else "")
        except QuantityError as error:
            self._wrong(place, error.found, error.wanted)

    def _wrong(self, place: Place, found: str, wanted: str) -> NoReturn:
        owner = str(place[0]) if place else ""
        self._stop(self.findings.line(place) or 1, found, wanted, owner)

    def _stop(
        self, line: int, found: str, wanted: str, owner: str = "", field: str = ""
    ) -> NoReturn:
        raise DocumentError([Finding("error", self.file, line, owner, field, found, wanted)])


def _check_replaced(path: Path, name: str) -> None:
    try:
        title = read_drill(path).title
    except InputError:
        raise InputError(f"{path}: this file is not a drill; choose another name.") from None
    if title != name:
        raise InputError(f"{path}: this file holds the drill {quoted(title)}; choose another name.")


def _check_name(name: str, what: str) -> None:
    if not name.strip() or not name.isprintable() or len(name) > _LONGEST_NAME:
        raise InputError(
            f"{quoted(name)} cannot be the name of a {what}. Write one short line of text, up to "
            f"{_LONGEST_NAME} letters."
        )


# YAML


def _scalar(text: str) -> str:
    """A text as YAML reads it back, in quotes only where it must be."""
    return text if _PLAIN.fullmatch(text) else _in_quotes(text)


def _in_quotes(text: str) -> str:
    return '"' + "".join(_escaped(text)) + '"'


def _escaped(text: str) -> Iterable[str]:
    names = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\r": "\\r", "\t": "\\t"}
    for letter in text:
        if letter in names:
            yield names[letter]
        elif letter.isprintable() and letter not in "\x85\u2028\u2029\ufeff":
            yield letter
        else:
            yield f"\\U{ord(letter):08x}"


def _shown(value: object) -> str:
    return quoted(value) if isinstance(value, str) else "something that is not text"
