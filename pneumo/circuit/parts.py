"""The components of a document, by name."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from pneumo.circuit.document import Place, RangeError, expanded, member, range_length
from pneumo.circuit.sections import Sections
from pneumo.circuit.spelling import listed, near
from pneumo.components.base import Component
from pneumo.harmless import quoted

MOST_COMPONENTS = 20_000


class Unread:
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


class Parts:
    """What the section components: holds, and what of it could not be read."""

    def __init__(self, sections: Sections, kinds: Mapping[str, type[Component]]) -> None:
        self._sections = sections
        self._findings = sections.findings
        self.kinds = kinds
        """Word under `kind` -> component class."""
        self.components: dict[str, Component] = {}
        self.places: dict[str, Place] = {}
        """Component -> place of its entry."""
        self.unread = Unread()
        self._ports: dict[str, tuple[str, ...]] = {}

    def ports_of(self, name: str) -> tuple[str, ...]:
        """Names of the ports of a component."""
        if name not in self._ports:
            self._ports[name] = tuple(port.name for port in self.components[name].ports())
        return self._ports[name]

    def read(self) -> None:
        """Reads the section; to be called once."""
        for key, entry in self._sections.mapping("components", required=True).items():
            place: Place = ("components", key)
            try:
                names = expanded(key)
            except RangeError as error:
                self._findings.error(place, key, "", error.found, error.wanted)
                self.unread.add(key)
                continue
            if not isinstance(entry, dict):
                self._findings.error(
                    place, key, "", "Its entry is not a mapping.", "Write fields like kind: hose."
                )
                self.unread.add(key)
                continue
            for index, name in enumerate(names):
                if not self._fresh_name(place, name):
                    self.unread.add(name.lower())
                    continue
                if len(self.places) >= MOST_COMPONENTS:
                    self._findings.error(
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
                    self.unread.add(name)
                else:
                    self.components[name] = component

    def _fresh_name(self, place: Place, name: str) -> bool:
        if not self._sections.good_name(place, name):
            return False
        if name in self.places:
            first = self._findings.line(self.places[name])
            self._findings.error(
                place,
                name,
                "",
                f"The name is already used in line {first}.",
                "Give every component its own name.",
            )
            return False
        return True

    def _component(
        self, place: Place, key: str, name: str, index: int, entry: dict[str, Any]
    ) -> Component | None:
        # an entry for a range reports its slips once, under the range
        owner = key
        kind = entry.get("kind")
        if not isinstance(kind, str) or not kind:
            found = "It has no kind."
            self._findings.error(
                place, owner, "kind", found, f"Kinds are {listed(self.kinds, 99)}."
            )
            return None
        if kind not in self.kinds:
            self._findings.error(
                (*place, "kind"),
                owner,
                "kind",
                f"There is no kind {quoted(kind)}.",
                near(kind, self.kinds, f"Kinds are {listed(self.kinds, 99)}."),
            )
            return None
        data = self._advanced(place, key, index, entry)
        return (
            None if data is None else self._sections.validated(self.kinds[kind], data, place, owner)
        )

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
                self._findings.error((*place, field), key, field, error.found, error.wanted)
                return None
            if found != length:
                self._findings.error(
                    (*place, field),
                    key,
                    field,
                    f"{quoted(value)} gives {found} names, the entry has {length or 1}.",
                    "Both ranges must be of the same length.",
                )
                return None
            data[field] = member(value, index)
        return data
