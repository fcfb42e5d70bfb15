"""A zone written a second time, from its physics, in plain Python: the solver's independent judge.

Nothing of `pneumo.simulation` or `pneumo.network` is used, and no array layout is shared: nodes and
paths are named, and every law is written in its most direct form (iterated where pneumo is
explicit, integrated where pneumo has a closed form). Units SI, pressures absolute.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from math import log, log10, pi, sqrt

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

R, K, CV, CP = 287.05, 1.4, 287.05 / 0.4, 287.05 * 3.5
RHO_ANR, T_ANR = 1.185, 293.15
AMBIENT, ROOM = 101_300.0, 293.15
GAUGE = AMBIENT

# the zone; `DOCUMENT` says the same to pneumo

PORT = 5e-6  # air in a port of a fitting
SMALLEST = 1e-4  # of a node
SUPPLY = GAUGE + 7e5
SET, DROOP, HYSTERESIS, RESPONSE = GAUGE + 5.5e5, 3e4, 5e3, 0.02
ACCUMULATOR, MANIFOLD = 20e-3, 0.4e-3
HOSES = {1: 1.0, 2: 1.2, 3: 1.4, 4: 1.6}  # lengths
BORE, ROUGHNESS = 10e-3, 2e-6
AREA, AREA_LOSS, FULL_STROKE, GAP, BLADDER, FIN = 0.03, 0.1, 25e-3, 6.5e-3, 2e-4, 10e-3
CURVE = {0.0: 0.03, 1e-3: 0.02975, 2.5e-3: 0.0291, 9e-3: 0.0281, 25e-3: 0.0265}
CURVED = (3,)  # brakes whose area follows that curve, counted from 0
SPRING, RATE, SKI, CONTACT, FRICTION, DAMPING = 8e3, 120e3, 12.0, 4e6, 60.0, 800.0
STOP = 10.0 * CONTACT  # what a retracted ski rests on
SWITCH_SET, SWITCH_HYSTERESIS, WITHIN = GAUGE + 4.5e5, 4e4, 1e-3
TRAVEL = 0.01

DOCUMENT = """
ride: {name: independent zone}
components:
  supply: {kind: ideal_supply, pressure: 7 bar}
  shut_off: {kind: shut_off, C: 25 L/(s·bar), b: 0.3}
  regulator: {kind: regulator, set_pressure: 5.5 bar, C: 10 L/(s·bar), b: 0.4}
  check: {kind: check_valve, C: 10 L/(s·bar), b: 0.4}
  accumulator: {kind: accumulator, volume: 20 L, ports: 2}
  valve_a: {kind: valve_3_2, C: 15 L/(s·bar), b: 0.3}
  valve_b: {kind: valve_3_2, C: 15 L/(s·bar), b: 0.3, switch_on: 45 ms, switch_off: 70 ms}
  silencer_a: {kind: silencer, C: 14 L/(s·bar), b: 0.4}
  silencer_b: {kind: silencer, C: 13 L/(s·bar), b: 0.4}
  silencer_q: {kind: silencer, C: 12 L/(s·bar), b: 0.4}
  quick: {kind: quick_exhaust, C: 12 L/(s·bar), b: 0.3, exhaust_C: 15 L/(s·bar)}
  manifold: {kind: manifold, ports: 6, volume: 0.4 L}
  made: {kind: pressure_switch, set: 4.5 bar}
  hose_1: {kind: hose, bore: 10 mm, length: 1.0 m}
  hose_2: {kind: hose, bore: 10 mm, length: 1.2 m}
  hose_3: {kind: hose, bore: 10 mm, length: 1.4 m}
  hose_4: {kind: hose, bore: 10 mm, length: 1.6 m}
  brake_{1..3}: {kind: bladder_brake, spring: close, area: 300 cm2, spring_force: 8 kN,
                 spring_rate: 120 N/mm}
  brake_4:
    {kind: bladder_brake, spring: close, spring_force: 8 kN, spring_rate: 120 N/mm, area_curve:
      {0 mm: 300 cm2, 1 mm: 297.5 cm2, 2.5 mm: 291 cm2, 9 mm: 281 cm2, 25 mm: 265 cm2}}
  open_{1..4}: {kind: jaw_switch, of: "brake_{1..4}", reads: open}
  closed_{1..4}: {kind: jaw_switch, of: "brake_{1..4}", reads: closed}
connections:
  - supply.2 -> shut_off.1
  - shut_off.2 -> regulator.1
  - regulator.2 -> check.1
  - check.2 -> accumulator.1
  - accumulator.2 -> valve_a.1
  - valve_a.2 -> valve_b.1
  - valve_a.3 -> silencer_a.1
  - valve_b.2 -> quick.1
  - valve_b.3 -> silencer_b.1
  - quick.2 -> manifold.1
  - quick.3 -> silencer_q.1
  - manifold.2 -> made.1
  - manifold.{3..6} -> hose_{1..4}.1
  - hose_{1..4}.2 -> brake_{1..4}.1
zones:
  block:
    brakes: ["brake_{1..4}"]
    outputs: {valve_a.14: charge, valve_b.14: charge}
    pressure_switches: [made]
    safe_state: closed
    requirement: {within: 2 s, clamping_force: 5 kN}
scenarios:
  there and back:
    until: 1.6 s
    events:
      - at 0.1 s: open block
      - at 0.9 s: close block
"""

BRAKES = tuple(f"brake_{i}.1" for i in HOSES)
NODES = (
    "supply.2", "shut_off.2", "regulator.2", "accumulator.1", "valve_a.2", "valve_b.2", "quick.2",
    "silencer_a.1", "silencer_b.1", "silencer_q.1", *BRAKES,
)  # fmt: skip
"""Named after one of the ports that meet there."""


def wall(volume: float) -> float:
    """Conductance of the wall around a volume: 15 W/(m2 K) over the surface of a cube."""
    return 15.0 * 6.0 * volume ** (2.0 / 3.0)


# brakes: x from retracted to the fin at CONTACT_AT, a stroke grows as the ski retracts

CONTACT_AT = GAP / 2.0
FLATTEST_AT = CONTACT_AT + FIN / 2.0


def effective_area(i: int, x: float) -> float:
    stroke = CONTACT_AT - x
    if i not in CURVED:
        return AREA * (1.0 - AREA_LOSS * stroke / FULL_STROKE)
    strokes = list(CURVE)
    if stroke < strokes[1]:  # also below 0, where the first line goes on
        return CURVE[0.0] + (CURVE[strokes[1]] - CURVE[0.0]) * stroke / strokes[1]
    return float(np.interp(stroke, strokes, list(CURVE.values())))


def bladder(i: int, x: float) -> float:
    """Air of one bladder; its area is linear in x between the points of its curve, so its mean
    value there is that half-way."""
    places = sorted({x, FLATTEST_AT, *(CONTACT_AT - s for s in CURVE if x < CONTACT_AT - s)})
    return BLADDER + sum((b - a) * effective_area(i, 0.5 * (a + b)) for a, b in pairwise(places))


def _volumes() -> tuple[dict[str, float], dict[str, float]]:
    ports = {
        "supply.2": 2, "shut_off.2": 2, "regulator.2": 2, "accumulator.1": 2, "valve_a.2": 2,
        "valve_b.2": 2, "quick.2": 2, "silencer_a.1": 2, "silencer_b.1": 2, "silencer_q.1": 2,
    }  # fmt: skip
    volume = {name: n * PORT for name, n in ports.items()}
    heat = {name: n * wall(PORT) for name, n in ports.items()}
    for name, size in (("accumulator.1", ACCUMULATOR), ("quick.2", MANIFOLD)):
        volume[name] += size
        heat[name] += wall(size)
    for i, length in HOSES.items():
        end = f"brake_{i}.1"
        volume[end] = PORT  # and the bladders, which move
        heat[end] = wall(PORT + 2.0 * bladder(i - 1, 0.0))
        for name in ("quick.2", end):
            volume[name] += 0.5 * length * pi / 4.0 * BORE**2
            heat[name] += 0.5 * length * pi * BORE * 20.0
    for name in ports:
        volume[name] = max(volume[name], SMALLEST)
    return volume, heat


VOLUME, HEAT = _volumes()


# laws


def rounded(u: float, corner: float = 0.05) -> float:
    """0..1 following u, its slope rising and falling linearly over the corners: integrated."""

    def slope(v: float) -> float:
        return max(0.0, min(v / corner, (1.0 - v) / corner, 1.0)) / (1.0 - corner)

    u = min(max(u, 0.0), 1.0)
    area, last = 0.0, 0.0
    for knot in (min(u, corner), min(u, 1.0 - corner), u):  # the slope is linear in each piece
        area += 0.5 * (slope(last) + slope(knot)) * (knot - last)
        last = knot
    return area


def nozzle(c: float, b: float, pa: float, ta: float, pb: float, tb: float) -> tuple[float, float]:
    """Flow and carried temperature of an ISO 6358 path."""
    t = ta if pa >= pb else tb
    p1, p2, sign = (pa, pb, 1.0) if pa >= pb else (pb, pa, -1.0)

    def curve(ratio: float) -> float:
        return 1.0 if ratio <= b else sqrt(1.0 - ((ratio - b) / (1.0 - b)) ** 2)

    drop = 1.0 - p2 / p1
    if drop >= 0.005:
        phi = curve(p2 / p1)
    else:  # parabola through zero with the curve's value and slope where it ends
        e = 0.005
        value = curve(1.0 - e)
        slope = (1.0 - e - b) / ((1.0 - b) ** 2 * value)
        phi = value * (drop / e) + (value - slope * e) * (drop / e) * (1.0 - drop / e)
    return sign * c * RHO_ANR * p1 * sqrt(T_ANR / t) * phi, t


def line(
    length: float,
    pa: float,
    ta: float,
    pb: float,
    tb: float,
    bore: float = BORE,
    roughness: float = ROUGHNESS,
    cuts: int = 1,
) -> tuple[float, float]:
    """Flow and carried temperature of a line, or of one of so many equal cuts of it: isothermal
    friction, Colebrook by iteration."""
    t = ta if pa >= pb else tb
    if pa == pb:
        return 0.0, t
    p1, p2, sign = (pa, pb, 1.0) if pa >= pb else (pb, pa, -1.0)
    mu = 1.716e-5 * (t / 273.15) ** 1.5 * (273.15 + 110.4) / (t + 110.4)
    drive = (p1 - p2) * (p1 + p2) / (R * t)
    # no steeper at zero than the straight line through the flow with f = 0.03 where the whole line
    # loses 1e-4 of p1
    gentle = drive * sqrt(bore / (0.03 * length)) / sqrt(2e-4 * p1**2 / (R * t * cuts))
    laminar = min(drive * bore**2 / (64.0 * mu * length), gentle)
    f = 0.02
    for _ in range(100):
        resistance = f * length / bore
        ratio = p1 / p2
        if ratio**2 - 1.0 > resistance + 2.0 * log(ratio):  # choked
            ratio = _choking(resistance)
            turbulent = p1 / (ratio * sqrt(R * t))
        else:
            turbulent = sqrt(drive / (resistance + 2.0 * log(ratio)))
        reynolds = turbulent * bore / mu
        before = f
        f = (-2.0 * log10(roughness / bore / 3.7 + 2.51 / (reynolds * sqrt(f)))) ** -2
        if reynolds < 5.0 or abs(f - before) < 1e-13 * f:
            break
    flux = laminar if reynolds < 5.0 else (laminar**-8 + turbulent**-8) ** -0.125
    return sign * flux * pi / 4.0 * bore**2, t


def _choking(resistance: float) -> float:
    low, high = 1.0, 2.0 + resistance
    for _ in range(60):
        middle = 0.5 * (low + high)
        if middle**2 - 1.0 - 2.0 * log(middle) > resistance:
            high = middle
        else:
            low = middle
    return low


def stem_speed(z: float, p: float) -> float:
    """Regulator stem: seeks (setting - p)/droop within its travel, stands still inside its play."""
    relief = 1e4 / DROOP
    low, high, soft = -relief - 1.1, 1.1, 0.05
    goal = (SET - p) / DROOP
    if goal > high - soft:  # the limit, rounded over +-soft
        goal = high - max(high + soft - goal, 0.0) ** 2 / (4.0 * soft)
    elif goal < low + soft:
        goal = low + max(goal - low + soft, 0.0) ** 2 / (4.0 * soft)
    play = 0.5 * HYSTERESIS / DROOP
    corner = 0.25 * play
    beyond = abs(goal - z) - play
    if beyond <= 0.0:
        return 0.0
    pull = 0.5 * beyond**2 / corner if beyond < corner else beyond - 0.5 * corner
    return (pull if goal > z else -pull) / RESPONSE


def restart(depth: float, stiffness: float) -> tuple[float, float]:
    """Force of a contact and its damper's constant, both taking hold over +-0.1 mm."""
    soft = 1e-4
    closed = min(max(0.5 + 0.5 * depth / soft, 0.0), 1.0)
    sunk = depth if closed == 1.0 else soft * closed**2  # the integral of how far it is closed
    return stiffness * sunk, 2.0 * 0.3 * sqrt(stiffness * SKI) * closed


def driving_force(i: int, x: float, p: float) -> float:
    """All that acts on a ski but friction and dampers."""
    force = SPRING + RATE * (CONTACT_AT - x) - effective_area(i, x) * (p - AMBIENT)
    return force + restart(-x, STOP)[0] - restart(x - CONTACT_AT, CONTACT)[0]


def acceleration(i: int, x: float, v: float, p: float, way: int) -> float:
    """Of a ski that slides one way (1, -1); 0 while friction holds it."""
    if way == 0:
        return 0.0
    damper = DAMPING + restart(x - CONTACT_AT, CONTACT)[1] + restart(-x, STOP)[1]
    return (driving_force(i, x, p) - way * FRICTION - damper * v) / SKI


def way_of(v: float, force: float) -> int:
    """Which way a ski slides: as it moves; at rest as the force drives it, if it is too much for
    friction."""
    if abs(v) > 1e-9:
        return 1 if v > 0.0 else -1
    if abs(force) <= FRICTION:
        return 0
    return 1 if force > 0.0 else -1


# the zone's equations

Spool = Callable[[float], float]


class Zone:
    """dy/dt of the zone. State: mass and energy of each node of `NODES` as shares of their size at
    ambient, then x [mm], v [m/s] of each brake, then the stem."""

    def __init__(self, valve_a: Spool, valve_b: Spool) -> None:
        self.valve_a = valve_a
        self.valve_b = valve_b
        self.mass = np.array([AMBIENT * VOLUME[n] / (R * ROOM) for n in NODES])
        self.energy = np.array([AMBIENT * VOLUME[n] * CV / R for n in NODES])
        self.index = {name: i for i, name in enumerate(NODES)}
        self.size = 2 * len(NODES) + 2 * len(BRAKES) + 1
        self.ways = [0] * len(BRAKES)
        """Which way each ski slides, until it stops or breaks away: see `turns`."""

    def state(
        self, gas: dict[str, tuple[float, float]], skis: list[tuple[float, float]], stem: float
    ) -> Array:
        """From (mass, energy) by node, (x, v) by brake, and the stem."""
        masses = [gas[n][0] for n in NODES] / self.mass
        energies = [gas[n][1] for n in NODES] / self.energy
        x, v = np.array(skis).T
        return np.concatenate([masses, energies, x * 1e3, v, [stem]])

    def split(self, y: Array) -> tuple[list[float], list[float], list[float], list[float], float]:
        """Pressures and temperatures by node; x and v by brake; the stem."""
        n, b = len(NODES), len(BRAKES)
        mass = (y[:n] * self.mass).tolist()
        energy = (y[n : 2 * n] * self.energy).tolist()
        x = (y[2 * n : 2 * n + b] * 1e-3).tolist()
        v = y[2 * n + b : 2 * n + 2 * b].tolist()
        volume = [VOLUME[name] for name in NODES]
        for i, name in enumerate(BRAKES):
            volume[self.index[name]] += 2.0 * bladder(i, x[i])
        p = [(K - 1.0) * e / size for e, size in zip(energy, volume, strict=True)]
        t = [e / (m * CV) for e, m in zip(energy, mass, strict=True)]
        return p, t, x, v, float(y[-1])

    def __call__(self, time: float, y: Array) -> Array:
        p, t, x, v, z = self.split(y)
        n = len(NODES)
        into = np.zeros(n)
        heat = np.array([HEAT[name] * (ROOM - t[i]) for i, name in enumerate(NODES)])
        self._flows(time, p, t, z, into, heat)
        for i, name in enumerate(BRAKES):
            heat[self.index[name]] += p[self.index[name]] * 2.0 * effective_area(i, x[i]) * v[i]
        a = [
            acceleration(i, x[i], v[i], p[self.index[name]], self.ways[i])
            for i, name in enumerate(BRAKES)
        ]
        stem = stem_speed(z, p[self.index["regulator.2"]])
        return np.concatenate([into / self.mass, heat / self.energy, np.array(v) * 1e3, a, [stem]])

    def choose_ways(self, y: Array) -> None:
        """Which way each ski slides from this state on."""
        p, _, x, v, _ = self.split(y)
        self.ways = [
            way_of(v[i], driving_force(i, x[i], p[self.index[name]]))
            for i, name in enumerate(BRAKES)
        ]

    def turns(self, i: int) -> Callable[[float, Array], float]:
        """What rises through zero when a ski stops or breaks away."""

        def turn(time: float, y: Array) -> float:
            p, _, x, v, _ = self.split(y)
            if self.ways[i] != 0:
                return -self.ways[i] * v[i]
            return (abs(driving_force(i, x[i], p[self.index[BRAKES[i]]])) - FRICTION) / FRICTION

        turn.terminal = True  # type: ignore[attr-defined]
        turn.direction = 1.0  # type: ignore[attr-defined]
        return turn

    def _flows(
        self, time: float, p: list[float], t: list[float], z: float, into: Array, heat: Array
    ) -> None:
        at = self.index

        def gas(name: str) -> tuple[float, float]:
            if name == "reservoir":
                return SUPPLY, ROOM
            return (AMBIENT, ROOM) if name == "outside" else (p[at[name]], t[at[name]])

        def carry(a: str, b: str, flow: float, kelvin: float) -> None:
            for name, sign in ((a, -1.0), (b, 1.0)):
                if name in at:
                    into[at[name]] += sign * flow
                    heat[at[name]] += sign * flow * CP * kelvin

        def path(a: str, b: str, c: float, critical: float, opening: float = 1.0) -> None:
            if opening > 0.0:
                flow, kelvin = nozzle(c * 1e-8, critical, *gas(a), *gas(b))
                carry(a, b, opening * flow, kelvin)

        relief = 1e4 / DROOP
        store, front, back = gas("accumulator.1")[0], gas("valve_b.2")[0], gas("quick.2")[0]
        a, b = self.valve_a(time), self.valve_b(time)
        path("reservoir", "supply.2", 20.0, 0.5)
        path("supply.2", "shut_off.2", 25.0, 0.3)
        path("shut_off.2", "regulator.2", 10.0, 0.4, rounded(z))
        lifted = (gas("regulator.2")[0] - gas("shut_off.2")[0] - 2e4) / 2e4
        path("regulator.2", "shut_off.2", 10.0, 0.4, rounded(lifted))
        path("regulator.2", "outside", 0.3, 0.4, rounded(-z - relief))
        path("regulator.2", "accumulator.1", 10.0, 0.4,
             rounded((gas("regulator.2")[0] - store - 5e3) / 1e4))  # fmt: skip
        path("accumulator.1", "valve_a.2", 15.0, 0.3, rounded(2.0 * a - 1.0))
        path("valve_a.2", "silencer_a.1", 15.0, 0.3, rounded(1.0 - 2.0 * a))
        path("valve_a.2", "valve_b.2", 15.0, 0.3, rounded(2.0 * b - 1.0))
        path("valve_b.2", "silencer_b.1", 15.0, 0.3, rounded(1.0 - 2.0 * b))
        path("valve_b.2", "quick.2", 12.0, 0.3, rounded((front - back) / 5e3))
        path("quick.2", "silencer_q.1", 15.0, 0.3, rounded((back - front - 1e4) / 1e4))
        path("silencer_a.1", "outside", 14.0, 0.4)
        path("silencer_b.1", "outside", 13.0, 0.4)
        path("silencer_q.1", "outside", 12.0, 0.4)
        for i, length in HOSES.items():
            carry("quick.2", f"brake_{i}.1", *line(length, *gas("quick.2"), *gas(f"brake_{i}.1")))
