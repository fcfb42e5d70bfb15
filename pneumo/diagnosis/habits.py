"""How a ride differs from the calculated one while nothing is wrong with it.

Wall heat, friction and areas of a real ride are a little other than in its document, and so each
contact changes a little sooner or later than calculated, every time. By how much is learned while
nothing is odd; a contact that was never seen to change may be further off.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from pneumo.diagnosis.likelihood import Seen, misfit
from pneumo.diagnosis.panel import Panel
from pneumo.diagnosis.record import SOON, Stretch
from pneumo.network.network import Array

EARLY = SOON + 0.05
"""A contact that changes until then after the beginning of a stretch may be read before it on
another ride [s]: a scan more or less on either of them."""

ODD = -2.0
"""Log likelihood from which on a number does not fit any more: two spreads off."""

LOOSE = 0.1
"""Share of its time by which a contact may be off that was never seen to change [-]; estimated."""


class Habits(NamedTuple):
    """What was learned until each stretch began."""

    later: tuple[Array, ...]
    """(places,) by how much later than calculated each contact changes [s]."""
    loose: tuple[Array, ...]
    """(places,) bool: a contact that was not seen to change yet."""


def numbers(panel: Panel, stretch: Stretch, values: Array, loose: Array) -> Seen:
    """What the panel showed in a stretch, with how near an expectation must come to it.

    Parameters
    ----------
    values
        (places,) see `Panel.stretch`.
    loose
        (places,) bool, see `Habits`.
    """
    edges = panel.edges
    return Seen(
        values, panel.least, np.where(loose, LOOSE, panel.share), panel.smooth,
        panel.instrument, panel.family,
        np.where(edges, stretch.ended - stretch.began, np.inf),
        np.where(edges & (stretch.number > 0), EARLY, -np.inf),
    )  # fmt: skip


def learned(
    panel: Panel, cut: Sequence[Stretch], shown: Sequence[Array], sound: Mapping[int, Array]
) -> Habits:
    """What is learned until something is odd.

    Parameters
    ----------
    shown, sound
        (places,) of each stretch, what was seen and what a ride without a fault shows.
    """
    edges = panel.edges
    later, times, whole = np.zeros(len(edges)), np.zeros(len(edges)), np.zeros(len(edges))
    found = Habits((), ())
    learning = True
    for stretch, values in zip(cut, shown, strict=True):
        loose = edges & (times == 0)
        found = Habits((*found.later, later), (*found.loose, loose))
        if not learning:
            continue
        of = numbers(panel, stretch, corrected(values, later), loose)
        usual = sound[stretch.number]
        if (misfit(of, usual[None, :]) < ODD).any():
            learning = False
            continue
        with np.errstate(invalid="ignore"):
            off = values - usual
        seen = edges & np.isfinite(off) & (values > EARLY)
        whole[seen] += off[seen]
        times[seen] += 1.0
        later = whole / np.maximum(times, 1.0)
    return found


def corrected(values: Array, later: Array) -> Array:
    """(places,) what was seen, with contacts as the calculated ride would change them."""
    return np.asarray(np.where(np.isfinite(values), values - later, values))
