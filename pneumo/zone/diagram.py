"""The zone table as mermaid text, for the documents.

Made from the table itself: the library's own export knows only edges, since the guards are kept
out of its machine.
"""

from __future__ import annotations

from pneumo.zone.machine import STATES, TABLE, Row
from pneumo.zone.sensed import Spring


def mermaid(spring: Spring) -> str:
    """Mermaid state diagram of one sort of zone; the lines of a label in order of priority."""
    labels: dict[tuple[str, str], list[str]] = {}
    for row in TABLE:
        if row.spring in (spring, "any"):
            for source in row.sources:
                labels.setdefault((source, row.destination), []).append(_label(row))
    reached = {destination for _, destination in labels}
    lines = ["stateDiagram-v2", "    direction LR"]
    lines += [f"    {state}" for state in STATES if state in reached]
    lines += [
        f"    {source} --> {destination} : {'<br/>'.join(texts)}"
        for (source, destination), texts in labels.items()
        if source in reached
    ]
    return "\n".join(lines) + "\n"


def _label(row: Row) -> str:
    guard = "" if row.guard.__name__ == "always" else f"[{row.guard.__name__.replace('_', ' ')}]"
    cause = "" if row.cause is None else f"/ {row.cause}"
    trigger = "" if row.trigger in ("arrive", "fault") else row.trigger
    return " ".join(part for part in (trigger, guard, cause) if part)
