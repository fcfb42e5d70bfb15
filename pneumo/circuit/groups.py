"""Zones, groups of gates and scenarios of a document."""

from __future__ import annotations

import re
from collections.abc import Mapping

from pneumo.circuit.circuit import (
    Event,
    GateGroup,
    GateGroupEntry,
    Scenario,
    ScenarioEntry,
    Zone,
    ZoneEntry,
)
from pneumo.circuit.document import Place
from pneumo.circuit.former import LIMITS, former_words
from pneumo.circuit.parts import Parts, Unread
from pneumo.circuit.sections import Sections
from pneumo.circuit.sentence import SentenceError, parse_action
from pneumo.harmless import quoted
from pneumo.quantity import QuantityError
from pneumo.units import DURATION


def read_zones(sections: Sections, unread: Unread) -> dict[str, Zone]:
    """The section zones:, with what it leaves out filled in."""
    zones: dict[str, Zone] = {}
    for name, entry in sections.mapping("zones").items():
        place: Place = ("zones", name)
        if not sections.good_name(place, name):
            continue
        read = sections.validated(ZoneEntry, _renewed(sections, place, entry), place, name)
        if read is None:
            unread.add(name)
            continue
        needed = read.requirement.brakes_needed or len(read.brakes)
        filled = {
            **dict(read),
            "name": name,
            "line": sections.findings.line(place),
            "starts": read.starts or read.safe_state,
            "requirement": read.requirement.model_copy(update={"brakes_needed": needed}),
            "brakes_needed": needed,
        }
        zones[name] = Zone.model_construct(**filled)
    return zones


def _renewed(sections: Sections, place: Place, entry: object) -> object:
    """The entry of a zone in today's words, with a warning for each earlier one."""
    limits = entry.get("limits") if isinstance(entry, dict) else None
    if not isinstance(entry, dict) or not isinstance(limits, dict):
        return entry
    former = {word: today for word, today in LIMITS.items() if word in limits}
    for word, today in former.items():
        if today in limits:
            return entry  # both: the earlier one is refused
        sections.findings.warning(
            (*place, "limits", word), str(place[-1]), f"limits.{word}",
            f"{quoted(word)} is a word of an earlier version.", f"Write {quoted(today)}.",
        )  # fmt: skip
    return {**entry, "limits": {former.get(key, key): value for key, value in limits.items()}}


def read_gates(
    sections: Sections, unread: Unread, zones: Mapping[str, Zone]
) -> dict[str, GateGroup]:
    """The section gates:."""
    gates: dict[str, GateGroup] = {}
    for name, entry in sections.mapping("gates").items():
        place: Place = ("gates", name)
        if not sections.good_name(place, name):
            continue
        if name in zones:
            sections.findings.error(
                place, name, "", "A zone has this name too.", "Choose another name."
            )
        read = sections.validated(GateGroupEntry, entry, place, name)
        if read is None:
            unread.add(name)
            continue
        gates[name] = GateGroup.model_construct(
            **dict(read), name=name, line=sections.findings.line(place)
        )
    return gates


def read_scenarios(
    sections: Sections, parts: Parts, zones: Mapping[str, Zone], gates: Mapping[str, GateGroup]
) -> dict[str, Scenario]:
    """The section scenarios:."""
    scenarios: dict[str, Scenario] = {}
    for name, entry in sections.mapping("scenarios").items():
        place: Place = ("scenarios", name)
        if not name.strip() or not name.isprintable():
            sections.findings.error(place, name, "", "The scenario has no name.", "Give it one.")
            continue
        if isinstance(entry, dict) and entry.get("events") == "":
            entry = {key: value for key, value in entry.items() if key != "events"}
        read = sections.validated(ScenarioEntry, entry, place, name)
        if read is None:
            continue
        places = [(*place, "events", position) for position in range(len(read.events))]
        found = (
            _event(sections, parts, at, name, item, zones, gates)
            for at, item in zip(places, read.events, strict=True)
        )
        events = [event for event in found if event is not None]
        for event in events:
            if event.time > read.until:
                sections.findings.warning(
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
            line=sections.findings.line(place),
        )
    return scenarios


def _event(
    sections: Sections,
    parts: Parts,
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
        action = parse_action(sentence, parts.components, zones, gates, time)
    except (SentenceError, QuantityError) as error:
        words = (sentence or "").split()
        if not any(word.partition(".")[0] in parts.unread for word in words):
            sections.findings.error(place, owner, "events", error.found, error.wanted)
        return None
    for word, today in former_words(sentence).items():
        sections.findings.warning(
            place, owner, "events", f"{quoted(word)} is a word of an earlier version.",
            f"Write {quoted(today)}.",
        )  # fmt: skip
    return Event(time, action, sections.findings.line(place))


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
