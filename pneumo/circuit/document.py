"""YAML text to plain records: nested dicts, lists and strings, and the line of every entry.

Nothing is guessed: every scalar stays the text that was written ("no", "010", "1:30"), equal keys
are findings, and aliases, anchors and tags, which hide what a circuit is made of, are refused.
The tree is built from parser events, so that depth and size are bounded before anything is stored.
Brace ranges such as ``trim_hose_{1..4}`` are expanded by the helpers at the end.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from pneumo.errors import DocumentError, Finding
from pneumo.harmless import first_acting, named, quoted

Place = tuple[str | int, ...]
"""Keys and list positions that lead to an entry, e.g. ("components", "receiver", "volume")."""

LONGEST_RANGE = 500
"""Names one brace range may stand for."""

_LARGEST_FILE = 2_000_000
_LARGEST_TREE = 300_000
_DEEPEST = 12
MOST_FINDINGS = 100
"""Errors with which the reading of a document ends, and warnings that are kept: nobody reads more,
and in a large ride the search for the name that was meant takes its time for each."""

_LOADER: Any = getattr(yaml, "CBaseLoader", yaml.BaseLoader)
"""Resolves no scalar; the C parser when the YAML library was built with it."""

_RANGE = re.compile(r"\{(0|[1-9][0-9]{0,8})\.\.(0|[1-9][0-9]{0,8})\}")


@dataclass
class Findings:
    """Collects what is found in one document."""

    file: str
    lines: dict[Place, int] = field(default_factory=dict)
    items: list[Finding] = field(default_factory=list)
    _seen: dict[Finding, None] = field(default_factory=dict)
    _counts: dict[str, int] = field(default_factory=lambda: {"error": 0, "warning": 0})

    def line(self, place: Place) -> int:
        """Line of an entry, or of the nearest entry around it; 0 when nothing is known."""
        while place and place not in self.lines:
            place = place[:-1]
        return self.lines.get(place, 0)

    def error(
        self, place: Place | int, component: str, name: str, found: str, wanted: str = ""
    ) -> None:
        """Adds an error; raises DocumentError with the last one of MOST_FINDINGS.

        `place` is a place in the tree or a line number.
        """
        self._add("error", place, component, name, found, wanted)

    def warning(
        self, place: Place | int, component: str, name: str, found: str, wanted: str = ""
    ) -> None:
        """Adds a warning."""
        self._add("warning", place, component, name, found, wanted)

    @property
    def has_errors(self) -> bool:
        """True when the document cannot be used."""
        return self._counts["error"] > 0

    @property
    def warnings(self) -> tuple[Finding, ...]:
        """The findings that do not stop the work, by line."""
        return tuple(item for item in self._sorted() if item.level == "warning")

    def stop_on_errors(self) -> None:
        """Raises DocumentError with every finding when one of them is an error."""
        if self.has_errors:
            raise DocumentError(self._sorted())

    def _sorted(self) -> list[Finding]:
        return sorted(self.items, key=lambda item: item.line)

    def _add(
        self, level: Any, place: Place | int, component: str, name: str, found: str, wanted: str
    ) -> None:
        line = place if isinstance(place, int) else self.line(place)
        finding = Finding(
            level=level,
            file=self.file,
            line=line,
            component=_label(component),
            field=_label(name),
            found=found,
            wanted=wanted,
        )
        if finding in self._seen or self._counts[level] >= MOST_FINDINGS:
            return
        self._seen[finding] = None
        self._counts[level] += 1
        self.items.append(finding)
        if self._counts["error"] >= MOST_FINDINGS:
            found = f"Reading stopped after {MOST_FINDINGS} errors."
            wanted = "Correct these first; there may be more."
            last = Finding("error", self.file, 0, "", "", found, wanted)
            raise DocumentError([*self._sorted(), last])


def read_file(path: str | Path) -> str:
    """Text of a document.

    Raises
    ------
    DocumentError
        When there is no such file, it cannot be read, is too large or is not UTF-8 text.
    """
    findings = Findings(str(path))
    wanted = "Give the path of a circuit document in YAML."
    try:
        place = Path(path)
        if (at := first_acting(str(path))) >= 0:
            findings.error(
                0,
                "",
                "",
                f"The name of this file holds an invisible character ({named(str(path)[at])}).",
                "Rename the file, or its folder.",
            )
        elif place.is_dir():
            findings.error(0, "", "", "This is a folder.", wanted)
        elif not place.exists():
            findings.error(0, "", "", "There is no such file.", wanted)
        elif not place.is_file():
            findings.error(0, "", "", "This is not a regular file.", wanted)
        elif place.stat().st_size > _LARGEST_FILE:
            findings.error(
                0, "", "", "This file is larger than 2 MB.", "A circuit document is a few pages."
            )
        else:
            return decoded(place.read_bytes(), str(path))
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        findings.error(0, "", "", f"The file cannot be read: {reason}.", wanted)
    raise DocumentError(findings.items)


def decoded(data: bytes, name: str) -> str:
    """UTF-8 bytes as text, without a byte order mark; raises DocumentError for other bytes."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        findings = Findings(name)
        line = data[: error.start].count(b"\n") + 1
        findings.error(
            line, "", "", f"Byte {error.start} is not UTF-8 text.", "Save the document as UTF-8."
        )
        raise DocumentError(findings.items) from None


def parse(text: str, findings: Findings) -> dict[str, Any]:
    """The document as nested dicts, lists and strings; fills `findings.lines`.

    Returns an empty dict, with at least one error added, when the text is not usable YAML.
    """
    if _hidden_letters(text, findings):
        return {}
    builder = _Builder(findings)
    try:
        for event in yaml.parse(text, Loader=_LOADER):
            if not builder.take(event):
                return {}
    except yaml.MarkedYAMLError as error:
        _report_syntax(error, text, findings)
        return {}
    except (yaml.YAMLError, ValueError, OverflowError):
        found = "The document cannot be read as YAML."
        findings.error(0, "", "", found, "Check escapes such as \\u0041.")
        return {}
    root = builder.root
    if isinstance(root, dict):
        return root
    if root in (None, ""):
        found = "The document is empty."
    else:
        found = "The document is not a set of named sections."
    if not findings.has_errors:
        findings.error(1, "", "", found, "Start with the sections ride: and components:.")
    return {}


class _Builder:
    """Builds the tree from events and stops at the first thing that makes it useless."""

    def __init__(self, findings: Findings) -> None:
        self.findings = findings
        self.root: Any = None
        self._stack: list[Any] = []
        self._places: list[Place] = []
        self._keys: list[str | None] = []
        self._skip = 0
        self._count = 0
        self._documents = 0

    def take(self, event: Any) -> bool:
        """Takes one parser event; False: stop reading."""
        line = event.start_mark.line + 1
        if isinstance(event, yaml.DocumentStartEvent):
            self._documents += 1
            if self._documents > 1:
                return self._refuse(
                    line, "A second document starts here.", "Keep one document per file."
                )
        elif isinstance(event, yaml.AliasEvent):
            return self._refuse(
                line,
                f"{quoted(f'*{event.anchor}')} refers to another entry.",
                "Write the entry out; a brace range such as hose_{1..4} saves repetition.",
            )
        elif isinstance(event, yaml.NodeEvent):
            return self._node(event, line)
        elif isinstance(event, (yaml.MappingEndEvent, yaml.SequenceEndEvent)):
            self._close()
        return True

    def _node(self, event: Any, line: int) -> bool:
        self._count += 1
        if self._count > _LARGEST_TREE:
            return self._refuse(line, "The document has too many entries.", "Split the ride.")
        if event.anchor is not None:
            return self._refuse(
                line,
                f"{quoted('&' + event.anchor)} marks an entry for reuse.",
                "Leave the mark out and write every entry where it is used.",
            )
        if event.tag not in (None, "!"):
            return self._refuse(
                line, f"{quoted(event.tag)} sets a data type.", "Leave it out: values are text."
            )
        scalar = isinstance(event, yaml.ScalarEvent)
        value = event.value.replace("\r\n", "\n") if scalar else ""
        if (at := first_acting(value, keep="\n\t")) >= 0:
            return self._refuse(line, *_not_shown(value[at]))
        if self._skip:
            self._skip += 0 if scalar else 1
        elif self._awaits_key():
            self._key(event.value if scalar else None, line)
            self._skip += 0 if scalar else 1
        else:
            self._value(event, line)
        if len(self._stack) > _DEEPEST:
            return self._refuse(
                line, "Entries are nested too deeply.", "Check the indentation of this line."
            )
        return True

    def _awaits_key(self) -> bool:
        return bool(self._stack) and isinstance(self._stack[-1], dict) and self._keys[-1] is None

    def _key(self, key: str | None, line: int) -> None:
        owner = self._stack[-1]
        place = self._places[-1]
        if key is None:
            self.findings.error(line, "", "", "A list or mapping is used as a name.", _QUOTE)
            key = ""
        elif key in owner:
            first = self.findings.line((*place, key))
            self.findings.error(
                line,
                str(place[-1]) if place else "",
                key,
                f"The name {quoted(key)} is already used in line {first}.",
                "Keep one of the two, or give it another name.",
            )
        else:
            self.findings.lines[(*place, key)] = line
            self._keys[-1] = key
            return
        # the value that follows is read, and dropped: it hangs under a key no one asks for
        self._keys[-1] = f"\0{line}"

    def _value(self, event: Any, line: int) -> None:
        if isinstance(event, yaml.ScalarEvent):
            self._store(event.value, line)
            return
        fresh: Any = {} if isinstance(event, yaml.MappingStartEvent) else []
        place = self._store(fresh, line)
        self._stack.append(fresh)
        self._places.append(place)
        self._keys.append(None)

    def _store(self, value: Any, line: int) -> Place:
        if not self._stack:
            self.root = value
            return ()
        owner = self._stack[-1]
        if isinstance(owner, list):
            place = (*self._places[-1], len(owner))
            self.findings.lines[place] = line
            owner.append(value)
            return place
        key = self._keys[-1]
        assert key is not None
        self._keys[-1] = None
        if not key.startswith("\0"):
            owner[key] = value
        return (*self._places[-1], key)

    def _close(self) -> None:
        if self._skip:
            self._skip -= 1
            return
        self._stack.pop()
        self._places.pop()
        self._keys.pop()

    def _refuse(self, line: int, found: str, wanted: str) -> bool:
        self.findings.error(line, "", "", found, wanted)
        return False


_QUOTE = 'Put a name with braces in quotes: "brake_{1..4}".'


def _report_syntax(error: yaml.MarkedYAMLError, text: str, findings: Findings) -> None:
    mark = error.problem_mark or error.context_mark
    number = mark.line + 1 if mark else 0
    lines = text.splitlines()
    line = lines[number - 1] if 0 < number <= len(lines) else ""
    before = lines[number - 2] if 1 < number <= len(lines) + 1 else ""
    if "\t" in line or ("\t" in before and not line.strip()):
        found, wanted = "The line holds a tab.", "Indent with spaces only."
    elif "nesting" in str(error.problem):
        found, wanted = "Entries are nested too deeply.", "Check for brackets left open."
    elif _RANGE.search(line) or (not line.strip() and _RANGE.search(before)):
        line = line if line.strip() else before
        found, wanted = f"The braces in {quoted(line)} are not in quotes.", _QUOTE
    elif error.problem and "mapping values are not allowed" in error.problem:
        found = f"The indentation or a colon is wrong at {quoted(line)}."
        wanted = "Indent entries of one section alike; put text that holds a colon in quotes."
    else:
        found = f"The line cannot be read: {error.problem or 'unknown reason'}."
        wanted = "Check quotes, brackets and indentation here and in the line before."
    findings.error(number, "", "", found, wanted)


def _hidden_letters(text: str, findings: Findings) -> bool:
    """Reports every line that holds a letter which acts instead of being shown."""
    found = False
    for number, line in enumerate(text.replace("\r\n", "\n").split("\n"), 1):
        if (at := first_acting(line, keep="\t")) >= 0:
            findings.error(number, "", "", *_not_shown(line[at]))
            found = True
    return found


def _not_shown(letter: str) -> tuple[str, str]:
    return f"The line holds an invisible character ({named(letter)}).", "Remove it."


def _label(text: str) -> str:
    """A name fit for a message: printable and short."""
    if text.isprintable() and len(text) <= 60:
        return text
    return quoted(text)[1:-1]


# brace ranges


class RangeError(ValueError):
    """A brace range that cannot be expanded: what was found, what would be right."""

    def __init__(self, found: str, wanted: str) -> None:
        self.found = found
        self.wanted = wanted
        super().__init__(f"{found} {wanted}")


def range_length(text: str) -> int:
    """Names a text stands for through its brace range; 0 when it has no braces.

    Raises
    ------
    RangeError
        For braces that are no range, two ranges in one name, and ranges backwards or too long.
    """
    matches = list(_RANGE.finditer(text))
    rest = _RANGE.sub("", text)
    if "{" in rest or "}" in rest:
        raise RangeError(
            f"{quoted(text)} has braces that are not a range.", "Write a range like hose_{1..4}."
        )
    if not matches:
        return 0
    if len(matches) > 1:
        raise RangeError(f"{quoted(text)} has two ranges.", "Use one range in a name.")
    first, last = int(matches[0][1]), int(matches[0][2])
    if last < first:
        raise RangeError(f"{quoted(text)} counts backwards.", f"Write {{{last}..{first}}}.")
    if last - first >= LONGEST_RANGE:
        raise RangeError(
            f"{quoted(text)} gives {last - first + 1} names.",
            f"A range holds at most {LONGEST_RANGE}.",
        )
    return last - first + 1


def expanded(text: str) -> list[str]:
    """Every name a text stands for: "hose_{1..3}" -> ["hose_1", "hose_2", "hose_3"]."""
    length = range_length(text)
    return [text] if not length else [member(text, index) for index in range(length)]


def member(text: str, index: int) -> str:
    """The name at a position of a range, counted from 0; a text without range is itself."""
    return _RANGE.sub(lambda match: str(int(match[1]) + index), text)
