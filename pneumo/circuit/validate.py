"""From a document to a `Circuit`, or to every finding at once.

Reading goes section by section; what cannot be read is reported and left out, and later checks say
nothing about it, so that one slip gives one finding.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from pneumo.circuit.checks import Subject, run_checks
from pneumo.circuit.circuit import Ambient, Circuit, Downtime, Ride, VerificationSettings
from pneumo.circuit.connections import Connections
from pneumo.circuit.document import Findings, parse, read_file
from pneumo.circuit.failures import read_failures
from pneumo.circuit.groups import read_gates, read_scenarios, read_zones
from pneumo.circuit.parts import Parts
from pneumo.circuit.sections import Sections
from pneumo.circuit.spelling import near
from pneumo.components import KINDS
from pneumo.components.base import Component
from pneumo.harmless import quoted

SECTIONS = (
    "ride",
    "ambient",
    "components",
    "connections",
    "zones",
    "gates",
    "verification",
    "downtime",
    "failures",
    "scenarios",
)
"""Sections of a document."""


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
    for key in root:
        if key not in SECTIONS:
            findings.error(
                (key,),
                "",
                key,
                f"There is no section {quoted(key)}.",
                near(key, SECTIONS, f"Sections are {', '.join(SECTIONS)}."),
            )
    return _circuit(Sections(root, findings), kinds)


def _circuit(sections: Sections, kinds: Mapping[str, type[Component]]) -> Circuit:
    """The checked circuit, section by section; raises DocumentError."""
    findings = sections.findings
    ride = sections.section("ride", Ride, required=True)
    ambient = sections.section("ambient", Ambient) or Ambient()
    sections.surroundings = {
        "ambient_pressure": ambient.pressure,
        "ambient_temperature": ambient.temperature,
    }
    parts = Parts(sections, kinds)
    parts.read()
    connections = Connections(sections, parts)
    joined = tuple(connections.read())
    zones = read_zones(sections, parts.unread)
    gates = read_gates(sections, parts.unread, zones)
    verification = sections.section("verification", VerificationSettings)
    downtime = sections.section("downtime", Downtime)
    draft = Circuit(
        path=findings.file,
        ride=ride or Ride(name="?"),
        ambient=ambient,
        components=parts.components,
        connections=joined,
        zones=zones,
        gates=gates,
        verification=verification or VerificationSettings(),
        scenarios=read_scenarios(sections, parts, zones, gates),
        lines={name: findings.line(place) for name, place in parts.places.items()},
        downtime=downtime or Downtime(),
        failures=read_failures(sections, parts),
    )
    subject = Subject(draft, findings, parts.places, parts.unread)
    run_checks(subject, ports=connections.are_sound)
    findings.stop_on_errors()
    return replace(draft, warnings=findings.warnings)
