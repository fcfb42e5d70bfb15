"""What is said of a zone that is not safe; the frame says that it is not."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from tui import text

if TYPE_CHECKING:
    from pneumo.live.frame import Frame
    from pneumo.live.places import Places
    from pneumo.live.plant import Plant

ENGAGED = 100.0
"""Clamping force that is told as wanted where none is required [N], see
`pneumo.network.watches`."""

TOUCHING = 5e-5
"""Gap below which a lining is said to touch [m]; shown it would read 0.0 mm."""


def trouble(plant: Plant, frame: Frame, index: int) -> str | None:
    """Why a zone is not safe, in one line, the cause first; None: it is, has time or is not
    demanded to be, as far as the seat can tell."""
    zone = frame.zones[index]
    if not zone.judged.not_safe:
        return None
    causes = {
        "fault": zone.first_out or "faulted",
        "power": "no power",
        "stop": f"ride stop ({frame.stopped_by})" if frame.stopped_by else "ride stop",
        None: "",
    }
    wrong = _switches_tell if zone.gap is None else _jaws_are
    return f"{causes[zone.judged.demanded_by]}: {wrong(plant.places[index], frame, index)}"


def first_in_trouble(plant: Plant, frame: Frame) -> int | None:
    """The first zone that is not safe, else the first that is faulted; None: there is none."""
    zones = range(len(plant.zones))
    faulted = (i for i in zones if frame.zones[i].state == "faulted")
    return next((i for i in zones if frame.zones[i].judged.not_safe), next(faulted, None))


def _switches_tell(place: Places, frame: Frame, index: int) -> str:
    unseen = [place.numbers[k] for k in frame.zones[index].judged.lacking]
    return f"{_named(place, unseen)} not confirmed {place.zone.safe_state}"


def _jaws_are(place: Places, frame: Frame, index: int) -> str:
    zone = place.zone
    still: list[str] = []
    short: list[tuple[str, float, float]] = []
    for k in frame.zones[index].judged.lacking:
        gap, force = frame.gaps[place.brakes[k]] or 0.0, frame.forces[place.brakes[k]] or 0.0
        if (gap < TOUCHING) == (zone.safe_state == "open"):
            still.append(place.numbers[k])
        else:
            short.append((place.numbers[k], gap, force))
    if still:
        other = "closed" if zone.safe_state == "open" else "open"
        return f"{_named(place, still)} still {other}"
    names = _named(place, [number for number, _, _ in short])
    if zone.safe_state == "open":
        return f"{names} only {text.gap(min(gap for _, gap, _ in short))} clear"
    weakest = text.force(min(force for _, _, force in short), unit=False)
    wanted = text.force(max(zone.requirement.clamping_force or 0.0, ENGAGED))
    return f"{names} at {weakest} of {wanted}"


def _named(place: Places, numbers: Sequence[str]) -> str:
    if len(place.numbers) == 1:
        return "brake"
    return f"brake{'s' if len(numbers) > 1 else ''} {text.listed(numbers).replace('…', '–')}"
