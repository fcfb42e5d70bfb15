"""From a document to a `Circuit`, or to every finding at once.

Reading goes section by section; what cannot be read is reported and left out, and later checks say
nothing about it, so that one slip gives one finding.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal, TypeVar, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from pneumo.circuit.checks import Subject, run_checks
from pneumo.circuit.circuit import (
    Ambient,
    Circuit,
    Connection,
    Event,
    GateGroup,
    GateGroupEntry,
    PortRef,
    Ride,
    Scenario,
    ScenarioEntry,
    VerificationSettings,
    Zone,
    ZoneEntry,
)
from pneumo.circuit.document import (
    Findings,
    Place,
    RangeError,
    expanded,
    member,
    parse,
    range_length,
    read_file,
)
from pneumo.circuit.former import former_words
from pneumo.circuit.sentence import SentenceError, listed, near, parse_action
from pneumo.circuit.verbs import ALL
from pneumo.components import KINDS
from pneumo.components.base import Component
from pneumo.harmless import quoted
from pneumo.quantity import QuantityError
from pneumo.units import DURATION

SECTIONS = (
    "ride",
    "ambient",
    "components",
    "connections",
    "zones",
    "gates",
    "verification",
    "scenarios",
)
"""Sections of a document."""

_PLUG = "plug"
_ATMOSPHERE = "atmosphere"
_RESERVED = (ALL, _ATMOSPHERE, _PLUG)
_NAME = re.compile(r"[a-z][a-z0-9_]{0,59}")
MOST_COMPONENTS = 20_000
MOST_CONNECTIONS = 40_000

Model = TypeVar("Model", bound=BaseModel)


def load(path: str | Path, kinds: Mapping[str, type[Component]] = KINDS) -> Circuit:
    """Reads and checks a circuit document.

    Parameters
    ----------
    path : str or Path
        The document, YAML in UTF-8.
    kinds : mapping
        Word under `kind` -> component class.

    Raises
    ------
    DocumentError
        With every finding, when at least one of them is an error.
    """
    return load_text(read_file(path), str(path), kinds)


def load_text(text: str, name: str, kinds: Mapping[str, type[Component]] = KINDS) -> Circuit:
    """As `load`, from text; `name` stands for the file in findings."""
    findings = Findings(name)
    root = parse(text, findings)
    if not root:
        findings.stop_on_errors()
    return _Loader(root, findings, kinds).circuit()


class _Unread:
    """Names that are declared in some way, but whose entries could not be read."""

    def __init__(self) -> None:
        self._names: dict[str, None] = {}
        self._patterns: dict[str, re.Pattern[str]] = {}

    def add(self, key: str) -> None:
        """Adds a name, or all names a brace range, even a wrong one, may mean."""
        parts = [re.escape(part) for part in re.split(r"\{[^{}]*\}", key)]
        if len(parts) == 1:
            self._names[key] = None
        else:
            self._patterns[key] = re.compile("[0-9]+".join(parts))

    def __contains__(self, name: object) -> bool:
        text = str(name)
        return text in self._names or any(
            pattern.fullmatch(text) for pattern in self._patterns.values()
        )


class _Loader:
    """Reads the sections of one document in order; later sections need the earlier ones."""

    def __init__(
        self, root: dict[str, Any], findings: Findings, kinds: Mapping[str, type[Component]]
    ) -> None:
        self.root = root
        self.findings = findings
        self.kinds = kinds
        self.context: dict[str, float] = {}
        self.components: dict[str, Component] = {}
        self.places: dict[str, Place] = {}
        self.broken = _Unread()
        self.connections_sound = True
        self._port_names: dict[str, tuple[str, ...]] = {}

    def circuit(self) -> Circuit:
        """The checked circuit; raises DocumentError."""
        for key in self.root:
            if key not in SECTIONS:
                self.findings.error(
                    (key,),
                    "",
                    key,
                    f"There is no section {quoted(key)}.",
                    near(key, SECTIONS, f"Sections are {', '.join(SECTIONS)}."),
                )
        ride = self._section("ride", Ride, required=True)
        ambient = self._section("ambient", Ambient) or Ambient()
        self.context = {
            "ambient_pressure": ambient.pressure,
            "ambient_temperature": ambient.temperature,
        }
        self._read_components()
        connections = tuple(self._connections())
        zones = self._zones()
        gates = self._gates(zones)
        verification = self._section("verification", VerificationSettings)
        draft = Circuit(
            path=self.findings.file,
            ride=ride or Ride(name="?"),
            ambient=ambient,
            components=self.components,
            connections=connections,
            zones=zones,
            gates=gates,
            verification=verification or VerificationSettings(),
            scenarios=self._scenarios(zones, gates),
            lines={name: self.findings.line(place) for name, place in self.places.items()},
        )
        subject = Subject(draft, self.findings, self.places, self.broken)
        run_checks(subject, ports=self.connections_sound)
        self.findings.stop_on_errors()
        return _with_warnings(draft, self.findings)

    # components

    def _read_components(self) -> None:
        for key, entry in self._mapping("components", required=True).items():
            place: Place = ("components", key)
            try:
                names = expanded(key)
            except RangeError as error:
                self.findings.error(place, key, "", error.found, error.wanted)
                self.broken.add(key)
                continue
            if not isinstance(entry, dict):
                self.findings.error(
                    place, key, "", "Its entry is not a mapping.", "Write fields like kind: hose."
                )
                self.broken.add(key)
                continue
            for index, name in enumerate(names):
                if not self._fresh_name(place, name):
                    self.broken.add(name.lower())
                    continue
                if len(self.places) >= MOST_COMPONENTS:
                    self.findings.error(
                        place,
                        key,
                        "",
                        f"There are more than {MOST_COMPONENTS} components.",
                        "Split the ride into documents.",
                    )
                    return
                self.places[name] = place
                component = self._component(place, key, name, index, entry)
                if component is None:
                    self.broken.add(name)
                else:
                    self.components[name] = component

    def _fresh_name(self, place: Place, name: str) -> bool:
        if not self._good_name(place, name):
            return False
        if name in self.places:
            first = self.findings.line(self.places[name])
            self.findings.error(
                place,
                name,
                "",
                f"The name is already used in line {first}.",
                "Give every component its own name.",
            )
            return False
        return True

    def _good_name(self, place: Place, name: str) -> bool:
        if _NAME.fullmatch(name) and name not in _RESERVED:
            return True
        found = f"{quoted(name)} is not a name."
        wanted = "Use lower-case letters, digits and _, starting with a letter, up to 60 of them."
        if name in _RESERVED:
            found, wanted = f"{quoted(name)} has a meaning of its own.", "Choose another name."
        self.findings.error(place, name, "", found, wanted)
        return False

    def _component(
        self, place: Place, key: str, name: str, index: int, entry: dict[str, Any]
    ) -> Component | None:
        # an entry for a range reports its slips once, under the range
        owner = key
        kind = entry.get("kind")
        if not isinstance(kind, str) or not kind:
            found = "It has no kind."
            self.findings.error(place, owner, "kind", found, f"Kinds are {listed(self.kinds, 99)}.")
            return None
        if kind not in self.kinds:
            self.findings.error(
                (*place, "kind"),
                owner,
                "kind",
                f"There is no kind {quoted(kind)}.",
                near(kind, self.kinds, f"Kinds are {listed(self.kinds, 99)}."),
            )
            return None
        data = self._advanced(place, key, index, entry)
        return None if data is None else self._validated(self.kinds[kind], data, place, owner)

    def _advanced(
        self, place: Place, key: str, index: int, entry: dict[str, Any]
    ) -> dict[str, Any] | None:
        """Fields of one member of a range: ranges in values advance with that of the name."""
        data = dict(entry)
        length = range_length(key)
        for field, value in entry.items():
            if field == "about" or not isinstance(value, str) or "{" not in value:
                continue
            try:
                found = range_length(value)
            except RangeError as error:
                self.findings.error((*place, field), key, field, error.found, error.wanted)
                return None
            if found != length:
                self.findings.error(
                    (*place, field),
                    key,
                    field,
                    f"{quoted(value)} stands for {found} names, the entry for {length or 1}.",
                    "Both ranges must be of the same length.",
                )
                return None
            data[field] = member(value, index)
        return data

    # connections

    def _connections(self) -> Iterator[Connection]:
        used: dict[PortRef, int] = {}
        count = 0
        for position, entry in enumerate(self._list("connections")):
            place: Place = ("connections", position)
            line = self.findings.line(place)
            try:
                pairs = _pairs(entry)
            except RangeError as error:
                self.connections_sound = False
                self.findings.error(place, "", "connections", error.found, error.wanted)
                continue
            count += len(pairs)
            if count > MOST_CONNECTIONS:
                self.connections_sound = False
                found = f"There are more than {MOST_CONNECTIONS} connections."
                self.findings.error(place, "", "connections", found, "Split the ride.")
                return
            for left, right in pairs:
                connection = self._connection(place, left, right, line)
                if connection is None:
                    self.connections_sound = False
                    continue
                for port in (connection.a, connection.b):
                    if port is not None:
                        self._use(place, port, used, line)
                yield connection

    def _connection(self, place: Place, left: str, right: str, line: int) -> Connection | None:
        if left in (_PLUG, _ATMOSPHERE):
            left, right = right, left
        first = self._port(place, left)
        if right == _PLUG:
            return Connection(first, None, "plug", line) if first else None
        if right == _ATMOSPHERE:
            return Connection(first, None, "atmosphere", line) if first else None
        second = self._port(place, right)
        if first is None or second is None:
            return None
        if first == second:
            self.findings.error(
                place,
                first.component,
                first.port,
                "The port is connected to itself.",
                "Name two ports, or blank this one: '-> plug'.",
            )
            return None
        return Connection(first, second, "port", line)

    def _port(self, place: Place, text: str) -> PortRef | None:
        name, _, port = text.rpartition(".")
        if not name:
            found = f"{quoted(text)} is not a port."
            wanted = "Write COMPONENT.PORT, plug or atmosphere."
            if text in self.components:
                ports = self._ports_of(text)
                wanted = f"{text} has the ports {listed(ports) or 'none'}: write '{text}.PORT'."
            self.findings.error(place, "", "connections", found, wanted)
            return None
        if name in self.broken:
            return None
        if name not in self.components:
            self.findings.error(
                place,
                name,
                port,
                f"There is no component {quoted(name)}.",
                near(name, self.components, "Declare it under components."),
            )
            return None
        ports = self._ports_of(name)
        if port not in ports:
            found = f"It has no port {quoted(port)}."
            wanted = f"It has {listed(ports)}." if ports else "It has no ports at all."
            self.findings.error(place, name, port, found, wanted)
            return None
        return PortRef(name, port)

    def _ports_of(self, name: str) -> tuple[str, ...]:
        if name not in self._port_names:
            entries = self.components[name].ports()
            self._port_names[name] = tuple(entry.name for entry in entries)
        return self._port_names[name]

    def _use(self, place: Place, port: PortRef, used: dict[PortRef, int], line: int) -> None:
        if port in used:
            self.findings.error(
                place,
                port.component,
                port.port,
                f"The port is already connected in line {used[port]}.",
                "A port takes one connection: branch with a manifold.",
            )
        used.setdefault(port, line)

    # zones, gates, scenarios

    def _zones(self) -> dict[str, Zone]:
        zones: dict[str, Zone] = {}
        for name, entry in self._mapping("zones").items():
            place: Place = ("zones", name)
            if not self._good_name(place, name):
                continue
            read = self._validated(ZoneEntry, entry, place, name)
            if read is None:
                self.broken.add(name)
                continue
            needed = read.requirement.brakes_needed or len(read.brakes)
            filled = {
                **dict(read),
                "name": name,
                "line": self.findings.line(place),
                "starts": read.starts or read.safe_state,
                "requirement": read.requirement.model_copy(update={"brakes_needed": needed}),
                "brakes_needed": needed,
            }
            zones[name] = Zone.model_construct(**filled)
        return zones

    def _gates(self, zones: Mapping[str, Zone]) -> dict[str, GateGroup]:
        gates: dict[str, GateGroup] = {}
        for name, entry in self._mapping("gates").items():
            place: Place = ("gates", name)
            if not self._good_name(place, name):
                continue
            if name in zones:
                self.findings.error(
                    place, name, "", "A zone has this name too.", "Choose another name."
                )
            read = self._validated(GateGroupEntry, entry, place, name)
            if read is None:
                self.broken.add(name)
                continue
            gates[name] = GateGroup.model_construct(
                **dict(read), name=name, line=self.findings.line(place)
            )
        return gates

    def _scenarios(
        self, zones: Mapping[str, Zone], gates: Mapping[str, GateGroup]
    ) -> dict[str, Scenario]:
        scenarios: dict[str, Scenario] = {}
        for name, entry in self._mapping("scenarios").items():
            place: Place = ("scenarios", name)
            if not name.strip() or not name.isprintable():
                self.findings.error(place, name, "", "The scenario has no name.", "Give it one.")
                continue
            if isinstance(entry, dict) and entry.get("events") == "":
                entry = {key: value for key, value in entry.items() if key != "events"}
            read = self._validated(ScenarioEntry, entry, place, name)
            if read is None:
                continue
            events = [
                event
                for position, item in enumerate(read.events)
                if (event := self._event((*place, "events", position), name, item, zones, gates))
            ]
            for event in events:
                if event.time > read.until:
                    self.findings.warning(
                        event.line,
                        name,
                        "events",
                        "This event comes after the end of the scenario.",
                        "Raise until, or bring the event forward.",
                    )
            scenarios[name] = Scenario(
                name=name,
                until=read.until,
                events=tuple(sorted(events, key=lambda event: event.time)),
                about=read.about,
                line=self.findings.line(place),
            )
        return scenarios

    def _event(
        self,
        place: Place,
        owner: str,
        item: object,
        zones: Mapping[str, Zone],
        gates: Mapping[str, GateGroup],
    ) -> Event | None:
        moment, sentence = _moment_and_sentence(item)
        try:
            if moment is None or sentence is None:
                raise SentenceError("This is not an event.", "Write one like 'at 1 s: close trim'.")
            time = DURATION.parse(moment)
            action = parse_action(sentence, self.components, zones, gates, time)
        except (SentenceError, QuantityError) as error:
            words = (sentence or "").split()
            if not any(word.partition(".")[0] in self.broken for word in words):
                self.findings.error(place, owner, "events", error.found, error.wanted)
            return None
        for word, today in former_words(sentence).items():
            self.findings.warning(
                place, owner, "events", f"{quoted(word)} is an earlier word.",
                f"Write {quoted(today)}.",
            )  # fmt: skip
        return Event(time, action, self.findings.line(place))

    # shapes

    def _section(self, name: str, model: type[Model], *, required: bool = False) -> Model | None:
        entry = self.root.get(name, "")
        if entry == "" and not required:
            return None
        if name not in self.root:
            self.findings.error(1, "", name, f"The section {name}: is missing.", "Add it.")
            return None
        return self._validated(model, entry, (name,), name)

    def _mapping(self, name: str, *, required: bool = False) -> dict[str, Any]:
        entry = self.root.get(name, "")
        if isinstance(entry, dict):
            return entry
        if entry != "":
            self.findings.error(
                (name,), "", name, f"{name}: is not a set of named entries.", "Name each entry."
            )
        elif required:
            self.findings.error(
                (name,) if name in self.root else 1,
                "",
                name,
                f"The section {name}: is missing or empty.",
                "Add at least one entry.",
            )
        return {}

    def _list(self, name: str) -> list[Any]:
        entry = self.root.get(name, "")
        if isinstance(entry, list):
            return entry
        if entry != "":
            self.connections_sound = False
            self.findings.error(
                (name,), "", name, f"{name}: is not a list.", "Start each entry with '- '."
            )
        return []

    def _validated(
        self, model: type[Model], data: object, place: Place, owner: str
    ) -> Model | None:
        if not isinstance(data, dict):
            self.findings.error(
                place, owner, "", "Its entry is not a mapping.", "Write fields like name: value."
            )
            return None
        try:
            return model.model_validate(data, context=self.context)
        except ValidationError as error:
            for problem in error.errors(include_url=False):
                field, found, wanted = _explained(dict(problem), model)
                self.findings.error((*place, *problem["loc"]), owner, field, found, wanted)
            return None


def _with_warnings(draft: Circuit, findings: Findings) -> Circuit:
    return replace(draft, warnings=findings.warnings)


def _pairs(entry: object) -> list[tuple[str, str]]:
    """The pairs of ends a connection entry stands for; raises RangeError."""
    wanted = "Write a connection like 'receiver.2 -> filter.1'."
    if not isinstance(entry, str):
        raise RangeError("This is not a connection.", wanted)
    sides = [side.strip() for side in entry.split("->")]
    if len(sides) != 2 or not all(sides):
        raise RangeError(f"{quoted(entry)} is not a connection.", wanted)
    left, right = sides
    counts = range_length(left), range_length(right)
    ends = {_PLUG, _ATMOSPHERE} & {left, right}
    if counts[0] != counts[1] and not ends:
        raise RangeError(
            f"{quoted(entry)} has {counts[0] or 1} ends on the left and {counts[1] or 1} on the "
            "right.",
            "Ranges on both sides must be of the same length.",
        )
    return [(member(left, i), member(right, i)) for i in range(max(*counts, 1))]


def _moment_and_sentence(item: object) -> tuple[str | None, str | None]:
    """("1 s", "close trim") of an event written as text or as a mapping of one entry."""
    if isinstance(item, str):
        key, colon, value = item.partition(":")
        item = {key: value} if colon else {}
    if not isinstance(item, dict) or len(item) != 1:
        return None, None
    (key, value), *_ = item.items()
    match = re.fullmatch(r"\s*at\s+(.+?)\s*", key, re.DOTALL)
    if match is None or not isinstance(value, str):
        return None, None
    return match[1], value


# pydantic's errors as sentences


def _explained(problem: dict[str, Any], model: type[BaseModel]) -> tuple[str, str, str]:
    """Field, what was found, what would be right."""
    *path, last = problem["loc"] or ("",)
    field = ".".join(str(part) for part in problem["loc"])
    kind, context, value = problem["type"], problem.get("ctx", {}), problem.get("input")
    siblings = _fields(model, path)
    if kind == "quantity":
        return field, context["found"], context["wanted"]
    if kind == "missing":
        info = siblings.get(str(last))
        if get_origin(_plain_type(info)) is Literal:
            # which one is right is for the writer to say: name them all, suggest none
            words = " or ".join(f"'{last}: {choice}'" for choice in get_args(_plain_type(info)))
            return field, f"It needs {last}.", f"Add what is true of it: {words}."
        return field, f"It needs {last}.", f"Add it, written like {_example(info, last)}."
    if kind == "extra_forbidden":
        known = [name for name in siblings if name != "kind"]
        wanted = near(str(last), known, f"Fields are {listed(known, 40)}.")
        if value == "" and str(last)[:1].isdigit():
            wanted = "Inside braces a comma ends a value: use a decimal point."
        return field, f"There is no field {quoted(str(last))}.", wanted
    if kind == "literal_error":
        choices = [str(choice) for choice in get_args(_plain_type(siblings.get(str(last))))]
        expected = str(context.get("expected", "another word")).replace("'", "")
        wanted = f"Write {' or '.join(choices) or expected}."
        if isinstance(value, str) and (help_ := near(value, choices)):
            wanted = f"{help_} {wanted}"
        return field, f"{_shown(value)} is not a choice here.", wanted
    if kind in ("value_error", "assertion_error"):
        return field, str(problem["msg"]).removeprefix("Value error, "), ""
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        return field, f"Found {_shown(value)} instead of named fields.", "Write name: value pairs."
    if kind in ("tuple_type", "list_type"):
        return field, f"Found {_shown(value)} instead of a list.", "Start each entry with '- '."
    if kind.startswith("string"):
        return field, f"Found {_shown(value)} where text belongs.", "Write some plain text."
    return field, f"{_shown(value)} does not fit: {problem['msg']}.", ""


def _fields(model: type[BaseModel], path: list[Any]) -> dict[str, FieldInfo]:
    """Written names and fields of the model a path of field names leads to; {} if to none."""
    for part in path:
        inner = _plain_type(model.model_fields.get(str(part)))
        if not (isinstance(inner, type) and issubclass(inner, BaseModel)):
            return {}
        model = inner
    return {info.alias or name: info for name, info in model.model_fields.items()}


def _plain_type(info: FieldInfo | None) -> Any:
    """A field's type without `| None`."""
    if info is None:
        return None
    options = [option for option in get_args(info.annotation) if option is not type(None)]
    union = type(None) in get_args(info.annotation)
    return options[0] if union and len(options) == 1 else info.annotation


def _example(info: FieldInfo | None, name: object) -> str:
    if info is None:
        return f"'{name}: ...'"
    for extra in info.metadata:
        examples = getattr(extra, "json_schema", {}).get("examples") if extra else None
        if examples:
            return f"'{name}: {examples[0]}'"
    choices = get_args(_plain_type(info))
    if choices and all(isinstance(choice, str) for choice in choices):
        return f"'{name}: {choices[0]}'"
    return f"'{name}: ...'"


def _shown(value: object) -> str:
    if isinstance(value, str):
        return quoted(value) if value.strip() else "nothing"
    return "a mapping" if isinstance(value, dict) else "a list"
