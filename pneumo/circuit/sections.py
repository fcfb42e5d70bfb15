"""The sections of a document as mappings, lists and models; what has another shape is a finding."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from pneumo.circuit.document import Findings, Place
from pneumo.circuit.explain import explained
from pneumo.circuit.verbs import ALL
from pneumo.harmless import quoted

PLUG, ATMOSPHERE = "plug", "atmosphere"
"""What a port may be connected to in place of another port."""

_RESERVED = (ALL, ATMOSPHERE, PLUG)
_NAME = re.compile(r"[a-z][a-z0-9_]{0,59}")

Model = TypeVar("Model", bound=BaseModel)


@dataclass
class Sections:
    """A document that is being read."""

    root: dict[str, Any]
    findings: Findings
    surroundings: dict[str, float] = field(default_factory=dict)
    """Pressure [Pa] and temperature [K] against which quantities are read."""

    def section(self, name: str, model: type[Model], *, required: bool = False) -> Model | None:
        """A section as a model; None: left out, or not to be read."""
        entry = self.root.get(name, "")
        if entry == "" and not required:
            return None
        if name not in self.root:
            self.findings.error(1, "", name, f"The section {name}: is missing.", "Add it.")
            return None
        return self.validated(model, entry, (name,), name)

    def mapping(self, name: str, *, required: bool = False) -> dict[str, Any]:
        """A section of named entries."""
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

    def listed(self, name: str) -> list[Any] | None:
        """A section that is a list; None: it is something else."""
        entry = self.root.get(name, "")
        if isinstance(entry, list):
            return entry
        if entry != "":
            self.findings.error(
                (name,), "", name, f"{name}: is not a list.", "Start each entry with '- '."
            )
            return None
        return []

    def validated(self, model: type[Model], data: object, place: Place, owner: str) -> Model | None:
        """An entry as a model; None: it cannot be read."""
        if not isinstance(data, dict):
            self.findings.error(
                place, owner, "", "Its entry is not a mapping.", "Write fields like name: value."
            )
            return None
        try:
            return model.model_validate(data, context=self.surroundings)
        except ValidationError as error:
            for problem in error.errors(include_url=False):
                field, found, wanted = explained(dict(problem), model)
                self.findings.error((*place, *problem["loc"]), owner, field, found, wanted)
            return None

    def good_name(self, place: Place, name: str) -> bool:
        """Whether a name may be given to something."""
        if _NAME.fullmatch(name) and name not in _RESERVED:
            return True
        found = f"{quoted(name)} is not a name."
        wanted = "Use lower-case letters, digits and _, starting with a letter, up to 60 of them."
        if name in _RESERVED:
            found, wanted = f"{quoted(name)} has a meaning of its own.", "Choose another name."
        self.findings.error(place, name, "", found, wanted)
        return False
