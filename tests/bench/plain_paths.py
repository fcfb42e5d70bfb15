"""The paths of a plant that may pass air, and what passes them, in plain numpy."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from plain_laws import Array, line, nozzle, opened

from pneumo.network.network import PIPE, Network

NUDGE = 1e-6
"""Relative change of a pressure with which the slope of a line's flow is found [-]."""


class Flows(NamedTuple):
    """What passes each path."""

    flow: Array
    """From a to b [kg/s]."""
    carried: Array
    """Temperature of the air [K]."""
    ahead: Array
    """Whether it comes from a."""


class Slopes(NamedTuple):
    """Of each path's flow."""

    by_p: tuple[Array, Array, Array, Array]
    """With the pressures at a, b, hi and lo."""
    by_z: Array
    by_t: Array
    """With the temperature carried."""


class Driven(NamedTuple):
    """Paths that something opens."""

    at: Array
    """Which of the live paths."""
    of: Array
    """The spool, node or stem of each."""
    rows: list[Array]
    """Numbers of its law."""


def columns(table: Array, *names: str) -> list[Array]:
    """Fields of a structured array as arrays of their own."""
    return [np.array(table[name]) for name in names]


class Paths:
    """The live paths of a network, from a time until something outside the plant changes a row."""

    def __init__(self, network: Network, time: float) -> None:
        spools = np.array(network.spool)
        self.row = row = _live(network, spools, time)
        self.moving = bool(_moving(row, spools, time).any())
        self.a, self.b, self.weight_a, self.weight_b, self._least, most = columns(
            row, "a", "b", "weight_a", "weight_b", "open_min", "open_max"
        )
        self._reach = most - self._least
        self._gather_openings(spools)
        self._pipe = row["law"] == PIPE
        self._orifice = ~self._pipe
        self._nozzles = columns(row[self._orifice], "conductance", "critical")
        self._lines = columns(row[self._pipe], "conductance", "critical", "roughness", "segments")

    def _gather_openings(self, spools: Array) -> None:
        """What opens the paths: spools, pressures and stems."""
        row = self.row
        at = np.flatnonzero(row["spool"] >= 0)
        of, on = row["spool"][at], row[at]
        spool = columns(spools[of], "position", "rate", "since", "until")
        closed, open_at = columns(on, "spool_closed", "spool_open")
        self._sliding = Driven(at, of, [*spool, closed, open_at - closed])
        at = np.flatnonzero(row["hi"] >= 0)
        on = row[at]
        law = columns(on, "hi_gain", "lo_gain", "threshold", "band")
        self._lifted, self._against = Driven(at, np.array(on["hi"]), law), np.array(on["lo"])
        at = np.flatnonzero(row["stem"] >= 0)
        on = row[at]
        closed, open_at = columns(on, "stem_closed", "stem_open")
        self._stemmed = Driven(at, np.array(on["stem"]), [closed, open_at - closed])

    def _opening(self, time: float, p: Array, z: Array) -> tuple[Array, Array, Array]:
        """Opening of each path, its slope with what presses it open, and with the stem."""
        sliding, lifted, stemmed = self._sliding, self._lifted, self._stemmed
        shares = [np.ones(len(self.row)) for _ in range(3)]
        slopes = [np.zeros(len(self.row)) for _ in range(2)]
        if len(sliding.at):
            position, rate, since, until, closed, span = sliding.rows
            place = position + rate * (np.minimum(time, until) - since)
            shares[0][sliding.at] = opened((place - closed) / span)[0]
        if len(lifted.at):
            hi_gain, lo_gain, threshold, band = lifted.rows
            drive = hi_gain * p[lifted.of] - lo_gain * p[self._against] - threshold
            shares[1][lifted.at], slope = opened(drive / band)
            slopes[0][lifted.at] = slope / band
        if len(stemmed.at):
            closed, span = stemmed.rows
            shares[2][stemmed.at], slope = opened((z[stemmed.of] - closed) / span)
            slopes[1][stemmed.at] = slope / span
        by_spool = self._reach * shares[0]
        return (
            self._least + by_spool * shares[1] * shares[2],
            by_spool * shares[2] * slopes[0],
            by_spool * shares[1] * slopes[1],
        )

    def flows(self, time: float, p: Array, t: Array, z: Array) -> Flows:
        """What passes at the pressures and temperatures of all nodes and places of the stems."""
        ahead = p[self.a] >= p[self.b]
        up, down = np.where(ahead, self.a, self.b), np.where(ahead, self.b, self.a)
        flow = np.where(ahead, 1.0, -1.0) * self._opening(time, p, z)[0]
        full = np.empty(len(flow))
        p1, p2, carried = p[up], p[down], t[up]
        of = self._orifice
        full[of] = nozzle(*self._nozzles, p1[of], p2[of], carried[of])[0]
        of = self._pipe
        full[of] = line(*self._lines, p1[of], p2[of], carried[of])
        return Flows(flow * full, carried, ahead)

    def slopes(self, time: float, p: Array, t: Array, z: Array) -> tuple[Flows, Slopes]:
        """The same with its slopes."""
        ahead = p[self.a] >= p[self.b]
        up, down = np.where(ahead, self.a, self.b), np.where(ahead, self.b, self.a)
        sign, carried = np.where(ahead, 1.0, -1.0), t[up]
        share, pressed, by_z = self._opening(time, p, z)
        full, by_up, by_down, by_t = self._full(p[up], p[down], carried)
        flows = Flows(sign * share * full, carried, ahead)
        by_up, by_down = sign * share * by_up, sign * share * by_down
        by_a, by_b = np.where(ahead, by_up, by_down), np.where(ahead, by_down, by_up)
        pressed = sign * full * pressed
        by_p = (by_a, by_b, pressed * self.row["hi_gain"], -pressed * self.row["lo_gain"])
        return flows, Slopes(by_p, sign * full * by_z, sign * share * by_t)

    def _full(self, p1: Array, p2: Array, t: Array) -> tuple[Array, Array, Array, Array]:
        """Flow of each path as if fully open, from the higher pressure to the lower, and its slopes
        with both and with the temperature."""
        flow, by_up, by_down, by_t = (np.zeros(len(self.row)) for _ in range(4))
        of = self._orifice
        flow[of], by_up[of], by_down[of] = nozzle(*self._nozzles, p1[of], p2[of], t[of])
        by_t[of] = -0.5 * flow[of] / t[of]
        of = self._pipe
        up, down, warm = p1[of], p2[of], t[of]
        ups = np.array([up, up * (1.0 + NUDGE), up, up])
        downs = np.array([down, down, down * (1.0 - NUDGE), down])
        warms = np.array([warm, warm, warm, warm * (1.0 + NUDGE)])
        found = line(*self._lines, ups, downs, warms)
        flow[of] = found[0]
        by_up[of] = (found[1] - found[0]) / (up * NUDGE)
        by_down[of] = (found[0] - found[2]) / (down * NUDGE)
        by_t[of] = (found[3] - found[0]) / (warm * NUDGE)
        return flow, by_up, by_down, by_t


def _moving(path: Array, spool: Array, time: float) -> Array:
    """Whether the spool of each path is on its way."""
    if not len(spool):
        return np.zeros(len(path), dtype=np.bool_)
    of = spool[np.maximum(path["spool"], 0)]
    return (path["spool"] >= 0) & (of["rate"] != 0.0) & (time < of["until"])


def _live(network: Network, spool: Array, time: float) -> Array:
    """Rows of the paths that may pass air until something outside the plant changes them."""
    path = network.restriction
    shut = (path["open_max"] == 0.0) & (path["open_min"] == 0.0)
    if len(spool):
        of = spool[np.maximum(path["spool"], 0)]
        at = of["position"] + of["rate"] * (np.minimum(time, of["until"]) - of["since"])
        span = np.where(path["spool"] >= 0, path["spool_open"] - path["spool_closed"], 1.0)
        closed = (path["spool"] >= 0) & ((at - path["spool_closed"]) / span <= 0.0)
        shut |= closed & ~_moving(path, spool, time) & (path["open_min"] == 0.0)
    return path[~shut].copy()
