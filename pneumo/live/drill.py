"""A drill: the whole ride in one file, with what has been done to it before the drill begins.

What the trainer hides in it is sealed by a passphrase, or obscured, not encrypted (`seal`).
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import astuple, dataclass, replace
from pathlib import Path
from typing import Any, NoReturn, TypeVar

from pneumo.circuit.action import Clear, Inject
from pneumo.circuit.circuit import Circuit, Event
from pneumo.circuit.document import Findings, Place, decoded, parse, read_file
from pneumo.circuit.former import DRILL
from pneumo.circuit.sentence import parse_action
from pneumo.circuit.shipped import find_document
from pneumo.circuit.spelling import listed, near
from pneumo.circuit.storm import storm
from pneumo.circuit.validate import load_text
from pneumo.drill.brief import UNTOLD, Brief, read_brief
from pneumo.errors import DocumentError, Finding, InputError, UnfinishedError
from pneumo.harmless import quoted
from pneumo.live.hidden import MOST_ACTS, fit_hints, hidden_text, read_hidden
from pneumo.live.journal import Act, read_act
from pneumo.live.seal import LOCK_FIELDS, NONCE, OBSCURED, Ask, Seal, Sealed, read_lock
from pneumo.live.written import (
    LARGEST_DOCUMENT,
    LONGEST_NAME,
    brief_lines,
    check_name,
    in_quotes,
    scalar,
)
from pneumo.quantity import QuantityError
from pneumo.report.files import check_target, write_atomically
from pneumo.units import DURATION

FORMAT, SEALED = "2", "3"
"""Versions of drill files: of one that is obscured, and of one that is sealed by a passphrase. In
version 1 its actions were *acts*, and had been *said*, and there was no briefing."""

LARGEST_DRILL = 4_000_000
"""Bytes of a drill file: twice the largest circuit document."""

_KEYS = (
    "pneumo_drill", "title", "briefing", "hints", "ride", "start", "actions", "sealed", "hidden",
    "document",
)  # fmt: skip
T = TypeVar("T")

_ACTION_KEYS = ("at", "entered", "seat", "sentence")
"""Of an action, beside `hidden: yes` of one that is not hidden yet."""


@dataclass(frozen=True)
class Drill:
    """A ride to practise on, from an instant on."""

    title: str
    document: str
    """Text of the ride's document."""
    circuit: Circuit
    acts: tuple[Act, ...]
    """The journal up to the start, in the order in which it was entered."""
    start: float
    """Where the ride stands when the drill begins [s]."""
    brief: Brief = UNTOLD
    """What is told of it."""
    ride: str = ""
    """Name of the ride when it comes with pneumo; "" = the drill holds its document."""
    seal: Seal = OBSCURED
    """How it is hidden, what is to be found."""
    former: bool = False
    """Of version 1."""
    obscured: bool = False
    """What is to be found is not readable at a glance, and takes no passphrase."""

    @property
    def remark(self) -> str:
        """Tells whoever opens a drill of version 1 of its earlier words; "" of the present one."""
        words = " ".join(f"'{word}' is now '{today}'." for word, today in DRILL.items())
        return f"The drill has version 1: {words} Save it again to renew it." if self.former else ""

    @property
    def work(self) -> float:
        """What a second of it takes to calculate where a storm of changes makes it slow [s of one
        processor], else 0."""
        return _work(self.circuit, self.acts)


def save_drill(
    document: str, circuit: Circuit, journal: Sequence[Act], until: float, path: Path, name: str,
    seal: Seal = OBSCURED,
) -> str:  # fmt: skip
    """Writes a drill that starts where the ride stands. Parameters, result as `save_scenario`;
    `seal`: see `Drill`.

    A file that holds the same drill, by its title, is replaced.
    """
    check_name(name, "drill")
    check_target(path)
    check_replaced(path, name)
    # in a drill everything that was broken is to be found, shown before or not
    found = [act for act in journal if act.entered <= until]
    does = [read_act(circuit, act.sentence, act.time)[1] for act in found]
    broken = [isinstance(action, Inject | Clear) for action in does]
    acts = [a._replace(hidden=a.hidden or of) for a, of in zip(found, broken, strict=True)]
    text = drill_text(document, acts, until, name, seal=seal)
    write_drill(path, text, name)
    hidden = sum(act.hidden for act in acts)
    how = "encrypted; keep the passphrase" if seal.encrypts else "obscured, not encrypted"
    word = "" if not hidden else f"; {hidden} hidden in it ({how})"
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


def write_drill(path: Path, text: str, title: str) -> None:
    """Writes the text of a drill; a file that holds another one, or something else, is left alone.

    Raises
    ------
    InputError
        When it cannot be written there, or is too large to be read again.
    """
    check_replaced(path, title)
    if len(text.encode("utf-8")) > LARGEST_DRILL:
        raise InputError(f"{path}: the drill would be larger than 4 MB; save a shorter run.")
    write_atomically(path, text)


def rewritten(drill: Drill, seal: Seal, *, plain: bool = False) -> str:
    """The text of a drill that was read, under another seal. `plain`: what is hidden stands in
    clear, to be edited."""
    document = "" if drill.ride else drill.document
    return drill_text(
        document, drill.acts, drill.start, drill.title, drill.brief, drill.ride, seal, plain=plain
    )


def drill_text(
    document: str,
    acts: Sequence[Act],
    start: float,
    title: str,
    brief: Brief = UNTOLD,
    ride: str = "",
    seal: Seal = OBSCURED,
    *,
    plain: bool = False,
) -> str:
    """The text of a drill file.

    Parameters
    ----------
    document, ride
        The whole text of the ride's document; or "", and the name of a ride that comes with
        pneumo.
    acts, start, title, brief, seal
        As in `Drill`.
    plain
        What is hidden stands in clear.
    """
    shown = [act for act in acts if plain or not act.hidden]
    how = "not readable at a glance. It is obscured, not encrypted."
    if seal.encrypts or plain:
        how = "marked, in clear." if plain else "encrypted: this drill opens by its passphrase."
    lines = [
        "# A drill for pneumo: a ride, and what has been done to it before the drill begins.",
        f"# What the trainer hides is {how}",
        f'pneumo_drill: "{SEALED if seal.encrypts else FORMAT}"',
        f"title: {scalar(title)}",
        *brief_lines(brief),
        *([f"ride: {scalar(ride)}"] if ride else []),
        f"start: {DURATION.text(start)}",
        *(["actions:"] if shown else []),
        *(_action_line(act) for act in shown),
    ]
    if plain:
        lines += ["hints:", *(f"  - {in_quotes(hint)}" for hint in brief.hints)]
    else:
        told = replace(brief, hints=())
        opens = _open_parts(title, told, ride, document, start, shown) if seal.encrypts else ""
        lines += _hidden_lines(acts, brief.hints, seal, opens)
    head = "\n".join(lines)
    return f"{head}\n" if ride else _with_document(head, document)


def _with_document(head: str, document: str) -> str:
    body = "\n".join(f"  {line}" if line else "" for line in document.split("\n"))
    text = f"{head}\ndocument: |2{'+' if document.endswith(chr(10)) else '-'}\n{body}"
    text = text if document.endswith("\n") else text + "\n"
    if parse(text, Findings("")).get("document") == document:
        return text
    # line ends of other systems, say, are kept only inside quotes
    return f"{head}\ndocument: {in_quotes(document)}\n"


def _action_line(act: Act) -> str:
    return (
        f"  - {{at: {DURATION.text(act.time)}, entered: {DURATION.text(act.entered)}, "
        f"seat: {act.seat}, sentence: {in_quotes(act.sentence)}"
        f"{', hidden: yes' if act.hidden else ''}}}"
    )


def _hidden_lines(acts: Sequence[Act], hints: tuple[str, ...], seal: Seal, opens: str) -> list[str]:
    """How it is hidden, and what; `opens`: what it belongs to."""
    word = hidden_text(acts, hints, seal.bound(opens))
    lines: list[str] = []
    if isinstance(seal, Sealed):
        fields = {**seal.lock.fields(), "nonce": word[:NONCE]}
        lines += ["sealed:", *(f"  {key}: {in_quotes(value)}" for key, value in fields.items())]
        word = word[NONCE:]
    if word:
        lines += ["hidden: |", *(f"  {word[i : i + 76]}" for i in range(0, len(word), 76))]
    return lines


def is_drill(path: str | Path) -> bool:
    """True for a file that says at its beginning that it is a drill, whether or not it is right."""
    try:
        if not Path(path).is_file():  # a pipe would be waited for
            return False
        with open(path, "rb") as stream:
            head = stream.read(4096)
    except (OSError, ValueError):
        return False
    return re.search(rb"^\W*pneumo_drill\W*:", head, re.MULTILINE) is not None


def read_drill(path: str | Path, ask: Ask | None = None) -> Drill:
    """Reads and checks a drill. `ask`: called for the passphrase when it is sealed.

    Raises
    ------
    InputError
        With one message: the place, what was found and what would be right.
    """
    return _read(path, lambda reader: reader.drill(ask))


def read_title(path: str | Path) -> str:
    """The title of a drill, which may be sealed. Raises InputError as `read_drill`."""
    return _read(path, lambda reader: reader.title(reader.root()))


def read_ride(path: str | Path) -> Circuit:
    """The ride of a drill, which may be sealed. Raises InputError as `read_drill`."""
    return _read(path, lambda reader: reader.ride(reader.root())[0])


def is_sealed(path: str | Path) -> bool:
    """Whether it takes a passphrase to open a drill. Raises InputError as `read_drill`."""
    return _read(path, lambda reader: "sealed" in reader.root())


def _read(path: str | Path, what: Callable[[_Reader], T]) -> T:
    place = Path(path)
    try:
        if place.is_file() and place.stat().st_size > LARGEST_DRILL:
            raise InputError(
                f"{path}: error: This file is larger than 4 MB. A drill is a few pages."
            )
        if place.is_dir():
            raise InputError(f"{path}: error: This is a folder. Give the path of a drill.")
        if not place.is_file():
            raise InputError(f"{path}: error: There is no such file. Give the path of a drill.")
        data = place.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"{path}: error: The file cannot be read: {reason}.") from None
    try:
        return what(_Reader(decoded(data, str(path)), str(path)))
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
        self.former = False

    def root(self) -> dict[str, Any]:
        """The fields of the drill, under the keys of the present version."""
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
        version = root["pneumo_drill"]
        if version not in ("1", FORMAT, SEALED):
            self._wrong(
                ("pneumo_drill",),
                f"The drill has version {_shown(version)}.",
                f"This program reads versions 1 to {SEALED}.",
            )
        self.former = version == "1"
        if self.former:
            root = self._renewed(root)
        for key in root:
            if key not in _KEYS:
                self._wrong(
                    (key,),
                    f"There is no field {quoted(key)} in a drill.",
                    near(key, _KEYS, f"Fields are {', '.join(_KEYS)}."),
                )
        if ("sealed" in root) != (version == SEALED):
            found = f"A drill that is sealed has version {SEALED} and a field 'sealed'."
            self._wrong(("pneumo_drill",), found, "Use the file as it was.")
        return root

    def title(self, root: dict[str, Any]) -> str:
        title = self._text(root, "title", "Give the drill a title.")
        if len(title) > LONGEST_NAME or not title.isprintable():
            self._wrong(
                ("title",), "The title is too long, or not plain text.", "Write one short line."
            )
        return title

    def drill(self, ask: Ask | None) -> Drill:
        root = self.root()
        title = self.title(root)
        start = self._time(root.get("start", ""), ("start",))
        seal = self._seal(root, ask)
        circuit, document = self.ride(root)
        ride = str(root.get("ride", ""))
        shown = self._shown(root)
        brief = read_brief(root.get("briefing", ""), self._hints(root), self._wrong)
        bound = seal
        if seal.encrypts:
            bound = seal.bound(_open_parts(title, brief, ride, document, start, shown))
        hidden, hints = self._hidden(root, bound)
        acts = self._acts(shown, circuit, start, hidden)
        brief = replace(brief, hints=(*brief.hints, *hints))
        obscured = "hidden" in root and not seal.encrypts
        return Drill(
            title, document, circuit, acts, start, brief, ride, seal, self.former, obscured
        )

    def _hints(self, root: dict[str, Any]) -> tuple[str, ...]:
        """Hints that are not hidden yet."""
        hints = root.get("hints", "") or []
        if not fit_hints(hints):
            found = "These are not hints, or there are too many."
            self._wrong(("hints",), found, "Start each with '- ', up to 40.")
        return tuple(hints)

    def _seal(self, root: dict[str, Any], ask: Ask | None) -> Seal:
        """How the drill is hidden; the passphrase is asked for."""
        if "sealed" not in root:
            return OBSCURED
        fields, place = root["sealed"], ("sealed",)
        if not isinstance(fields, dict) or set(fields) != {*LOCK_FIELDS, "nonce"}:
            self._wrong(place, "This is not how a drill is sealed.", "Use the file as it was.")
        try:
            lock = read_lock(fields)
            if ask is None:
                raise InputError("This drill is sealed; it takes its passphrase to open it.")
            return lock.opened(ask())
        except UnfinishedError:
            raise
        except InputError as error:
            self._wrong(place, str(error), "")

    def _hidden(
        self, root: dict[str, Any], seal: Seal
    ) -> tuple[list[tuple[int, Act]], tuple[str, ...]]:
        word = root.get("hidden", "")
        if seal.encrypts:
            # a sealed drill without its hidden part is one that was cut
            word = f"{root['sealed']['nonce']}{word}"

        def wrong(found: str, wanted: str) -> NoReturn:
            self._wrong(("hidden",), found, wanted)

        return read_hidden(word, seal, wrong)

    def _renewed(self, root: dict[str, Any]) -> dict[str, Any]:
        """The entries of version 1 under the keys of the present one, each with its line."""
        acts = root.get("acts")
        if isinstance(acts, list):
            acts = [_rekeyed(act) if isinstance(act, dict) else act for act in acts]
        for place, line in tuple(self.findings.lines.items()):
            today = tuple(DRILL.get(key, key) if isinstance(key, str) else key for key in place)
            self.findings.lines.setdefault(today, line)
        return _rekeyed(root if acts is None else {**root, "acts": acts})

    def ride(self, root: dict[str, Any]) -> tuple[Circuit, str]:
        """The ride, and its document."""
        if "ride" in root:
            return self._shipped(root)
        document = self._text(root, "document", "Put the ride's document there.")
        if len(document.encode("utf-8")) > LARGEST_DOCUMENT:
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

    def _shipped(self, root: dict[str, Any]) -> tuple[Circuit, str]:
        """A ride that comes with pneumo, by its name."""
        place: Place = ("ride",)
        name = self._text(root, "ride", "Name a ride that comes with pneumo.")
        if "document" in root:
            self._wrong(place, "The drill has both a ride and a document.", "Keep one of them.")
        if not re.fullmatch(r"[a-z0-9_]+", name):
            self._wrong(place, f"{quoted(name)} is no name.", "Name a ride that comes with pneumo.")
        try:
            text = read_file(find_document(name))
            return load_text(text, name), text
        except DocumentError as error:
            self._wrong(place, f"The ride {name} cannot be read: {error.findings[0]}", "")
        except InputError as error:
            self._wrong(place, str(error), "")

    def _shown(self, root: dict[str, Any]) -> list[Act]:
        entries = root.get("actions", "") or []
        if not isinstance(entries, list):
            self._wrong(("actions",), "actions: is not a list.", "Start each entry with '- '.")
        return [self._act(entry, ("actions", i)) for i, entry in enumerate(entries)]

    def _acts(
        self,
        shown: Sequence[Act],
        circuit: Circuit,
        start: float,
        hidden: Sequence[tuple[int, Act]],
    ) -> tuple[Act, ...]:
        acts = list(shown)
        places: list[Place] = [("actions", i) for i in range(len(acts))]
        for position, act in hidden:
            acts.insert(position, act)
            places.insert(position, ("hidden",))
        if len(acts) > MOST_ACTS:
            self._wrong(("actions",), f"There are {len(acts)} actions.", f"At most {MOST_ACTS}.")
        for act, place, before in zip(acts, places, [None, *acts], strict=False):
            # what is sealed is not quoted in a message: the trainee may be reading
            what = "A hidden action" if act.hidden else f"The action {quoted(act.sentence)}"
            if act.entered > start or act.time < act.entered:
                self._wrong(
                    place,
                    f"{what} is entered after the start of the drill, or takes effect before it is "
                    "entered.",
                    "Write times with entered <= at and entered <= start.",
                )
            if before is not None and act.entered < before.entered:
                self._wrong(
                    place, f"{what} is out of order.", "Put the actions in order of entered."
                )
            try:
                parse_action(act.sentence, circuit.components, circuit.zones, circuit.gates, 0.0)
            except InputError as error:
                found = "It does not fit this ride." if act.hidden else str(error)
                self._wrong(place, f"{what} cannot be carried out. {found}", "")
        return tuple(acts)

    def _act(self, entry: object, place: Place) -> Act:
        if not isinstance(entry, dict):
            self._wrong(place, "This is not an action.", f"Give it {listed(_ACTION_KEYS)}.")
        hidden = entry.get("hidden", "no")
        if hidden not in ("yes", "no"):
            self._wrong((*place, "hidden"), f"{_shown(hidden)} is not yes or no.", "Write yes.")
        for key in (*(key for key in entry if key != "hidden"), *_ACTION_KEYS):
            if key not in _ACTION_KEYS or key not in entry:
                found = (
                    f"The action has no {key}."
                    if key in _ACTION_KEYS
                    else f"{quoted(key)} is no field."
                )
                self._wrong(place, found, f"An action has {listed(_ACTION_KEYS)}.")
        return Act(
            self._time(entry["at"], (*place, "at")),
            self._seat(entry["seat"], (*place, "seat")),
            self._sentence(entry["sentence"], (*place, "sentence")),
            hidden == "yes",
            self._time(entry["entered"], (*place, "entered")),
        )

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


def _open_parts(
    title: str, brief: Brief, ride: str, document: str, start: float, shown: Sequence[Act]
) -> str:
    """What anybody may read of a drill: by what it says, not by how it is laid out in the file."""
    said = parse(document, Findings("")) if document and not ride else ride
    told = astuple(brief)
    if not brief.test_hints:
        told = told[:-1]  # a drill that was sealed before there were any still opens
    return json.dumps([SEALED, title, told, said, start, [list(act) for act in shown]])


def check_replaced(path: Path, name: str) -> None:
    """Refuses to replace a file that is not the drill of this title. Raises InputError."""
    if not path.exists():
        return
    try:
        title = read_title(path)
    except InputError:
        raise InputError(f"{path}: this file is not a drill; choose another name.") from None
    if title != name:
        raise InputError(f"{path}: this file holds the drill {quoted(title)}; choose another name.")


def _rekeyed(entry: dict[str, Any]) -> dict[str, Any]:
    return {DRILL.get(key, key): value for key, value in entry.items()}


def _shown(value: object) -> str:
    return quoted(value) if isinstance(value, str) else "something that is not text"
