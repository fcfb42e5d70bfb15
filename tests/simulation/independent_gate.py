"""A station gate written a second time, in plain Python: parts that `independent_zone` has not.

A cylinder with two chambers, static friction and a load; a 5/2 valve whose ways overlap; flow
controls with their free way; a tube in segments; silencers; a vessel that states its wall; and what
faults do to them. Laws that both share are written in `independent_zone`. Units SI, pressures
absolute. Nothing of `pneumo.simulation` or `pneumo.network` is used.
"""

from __future__ import annotations

from math import pi, sqrt

from independent_zone import (
    AMBIENT,
    CP,
    CV,
    GAUGE,
    PORT,
    RHO_ANR,
    ROOM,
    SMALLEST,
    T_ANR,
    K,
    R,
    line,
    nozzle,
    rounded,
    wall,
)

DOCUMENT = """
ride: {name: independent gate}
components:
  works: {kind: ideal_supply, pressure: 6.3 bar, C: 9 L/(s·bar)}
  store: {kind: accumulator, volume: 8 L, ports: 2, wall_heat: 1.5 W/K}
  valve: {kind: valve_5_2, C: 4 L/(s·bar), b: 0.32, exhaust_C: 3.5 L/(s·bar), crossover: open,
    switch_on: 21 ms, switch_off: 37 ms, travel: 22 ms}
  mute_3: {kind: silencer, C: 3 L/(s·bar), b: 0.4}
  mute_5: {kind: silencer, C: 2.5 L/(s·bar), b: 0.5}
  cap_flow: {kind: flow_control, C: 0.9 L/(s·bar), b: 0.25, bypass_C: 3 L/(s·bar)}
  rod_flow: {kind: flow_control, C: 0.7 L/(s·bar), b: 0.25, bypass_C: 3 L/(s·bar)}
  cap_tube: {kind: tube, bore: 6 mm, length: 2.2 m}
  rod_tube: {kind: tube, bore: 6 mm, length: 2.6 m, segments: 3}
  ram: {kind: cylinder, bore: 63 mm, rod_diameter: 20 mm, stroke: 220 mm, moving_mass: 38 kg,
    friction: 85 N, static_friction: 140 N, load: 210 N, damping: 260 N·s/m}
connections:
  - works.2 -> store.1
  - store.2 -> valve.1
  - valve.3 -> mute_3.1
  - valve.5 -> mute_5.1
  - valve.4 -> cap_tube.1
  - cap_tube.2 -> cap_flow.2
  - cap_flow.1 -> ram.cap
  - valve.2 -> rod_tube.1
  - rod_tube.2 -> rod_flow.2
  - rod_flow.1 -> ram.rod
gates:
  gate: {cylinders: [ram], outputs: {valve.14: open}, starts: closed}
scenarios:
  sound:
    until: 3 s
    events:
      - at 0.1 s: override valve.14
      - at 1.6 s: release valve.14
  faults:
    until: 3 s
    events:
      - at 0.1 s: override valve.14
      - at 0.5 s: fault ram piston-seal-leak 3 mm
      - at 0.5 s: fault ram dragging 300 N
      - at 0.5 s: fault ram leak 2 mm
      - at 0.6 s: fault mute_3 blocked 90 %
      - at 0.6 s: fault valve internal-leak 10 %
      - at 1.6 s: release valve.14
"""

PLACES = {
    "store": ("store", "1"), "outlet_4": ("valve", "4"), "outlet_2": ("valve", "2"),
    "mute_3": ("mute_3", "1"), "mute_5": ("mute_5", "1"), "cap_flow": ("cap_flow", "2"),
    "rod_flow": ("rod_flow", "2"), "inner_1": ("rod_tube", "inner 1"),
    "inner_2": ("rod_tube", "inner 2"), "cap": ("ram", "cap"), "rod": ("ram", "rod"),
}  # fmt: skip
"""Our name of a volume -> a component and its port or inner volume there."""

BORE, ROD, STROKE, MASS, LOAD, DAMPING = 63e-3, 20e-3, 0.22, 38.0, 210.0, 260.0
SLIDING, STATIC, END = 85.0, 140.0, 0.01
PISTON = pi / 4.0 * BORE**2
ANNULUS = PISTON - pi / 4.0 * ROD**2
COVER = 2e9 * PISTON
TUBE_BORE, TUBE_ROUGHNESS, CAP_TUBE, ROD_TUBE, CUTS = 6e-3, 2e-6, 2.2, 2.6, 3
SOUND: dict[str, float] = {"seal": 0.0, "drag": 0.0, "leak": 0.0, "mute_3": 1.0, "worn": 0.0}
FAULTY: dict[str, float] = {"seal": 3e-3, "drag": 300.0, "leak": 2e-3, "mute_3": 0.1, "worn": 0.1}
"""What the scenario `faults` leaves: bores of holes [m], friction added [N], the share of a
silencer that is left and the opening of ways that should be closed [-]."""

Rates = dict[str, tuple[float, float]]


def hole(bore: float) -> float:
    """Sonic conductance of a sharp-edged hole: choked flow of an ideal nozzle, 65 % of it."""
    flux = sqrt(K / (R * T_ANR)) * (2.0 / (K + 1.0)) ** ((K + 1.0) / (2.0 * (K - 1.0)))
    return 0.65 * pi / 4.0 * bore**2 * flux / RHO_ANR


NARROW = (2.0 / (K + 1.0)) ** (K / (K - 1.0))


def _sizes() -> tuple[dict[str, float], dict[str, float]]:
    """Volumes [m3], without what the piston sweeps, and conductances of their walls [W/K]."""

    def tube(length: float) -> tuple[float, float]:
        return length * pi / 4.0 * TUBE_BORE**2, length * pi * TUBE_BORE * 20.0

    cap, rod = tube(CAP_TUBE), tube(ROD_TUBE / CUTS)
    port = (PORT, wall(PORT))
    ends = {"cap": PORT + PISTON * END, "rod": PORT + ANNULUS * (END + STROKE)}
    parts = {
        "store": [port, port, (8e-3, 1.5)],
        "outlet_4": [port, (cap[0] / 2.0, cap[1] / 2.0)],
        "outlet_2": [port, (rod[0] / 2.0, rod[1] / 2.0)],
        "mute_3": [port, port],
        "mute_5": [port, port],
        "cap_flow": [port, (cap[0] / 2.0, cap[1] / 2.0)],
        "rod_flow": [port, (rod[0] / 2.0, rod[1] / 2.0)],
        "inner_1": [rod],
        "inner_2": [rod],
        "cap": [port, (ends["cap"], wall(ends["cap"]))],
        "rod": [port, (ends["rod"], wall(ends["rod"]))],
    }
    volume = {name: sum(v for v, _ in some) for name, some in parts.items()}
    for name in volume:
        if not name.startswith("inner"):
            volume[name] = max(volume[name], SMALLEST)
    return volume, {name: sum(h for _, h in some) for name, some in parts.items()}


VOLUME, HEAT = _sizes()


def size(name: str, x: float) -> float:
    """Volume with the piston at x [m3]."""
    return VOLUME[name] + {"cap": PISTON, "rod": -ANNULUS}.get(name, 0.0) * x


def push(x: float, cap: float, rod: float) -> float:
    """All that acts on the piston but friction and dampers [N]."""
    ends = cover(-x)[0] - cover(x - STROKE)[0]
    return PISTON * (cap - AMBIENT) - ANNULUS * (rod - AMBIENT) - LOAD + ends


def cover(depth: float) -> tuple[float, float]:
    """Force of a cover and its damper's constant, both taking hold over +-0.1 mm."""
    closed = min(max(0.5 + 0.5 * depth / 1e-4, 0.0), 1.0)
    sunk = depth if closed == 1.0 else 1e-4 * closed**2
    return COVER * sunk, 2.0 * 0.3 * sqrt(COVER * MASS) * closed


def rates(
    gas: Rates, x: float, v: float, spool: float, wrong: dict[str, float]
) -> tuple[Rates, float]:
    """(dm/dt, dU/dt) of every volume and the piston's acceleration, from (m, U) of every volume."""
    p = {n: (K - 1.0) * u / size(n, x) for n, (_, u) in gas.items()}
    t = {n: u / (m * CV) for n, (m, u) in gas.items()}
    p |= {"reservoir": GAUGE + 6.3e5, "outside": AMBIENT}
    t |= {"reservoir": ROOM, "outside": ROOM}
    into = dict.fromkeys(gas, 0.0)
    heat = {n: HEAT[n] * (ROOM - t[n]) for n in gas}

    def carry(a: str, b: str, flow: float, kelvin: float) -> None:
        for name, sign in ((a, -1.0), (b, 1.0)):
            if name in into:
                into[name] += sign * flow
                heat[name] += sign * flow * CP * kelvin

    def path(a: str, b: str, c: float, critical: float, opening: float = 1.0) -> None:
        flow, kelvin = nozzle(c, critical, p[a], t[a], p[b], t[b])
        carry(a, b, opening * flow, kelvin)

    def way(a: str, b: str, litres: float, opening: float) -> None:
        path(a, b, litres * 1e-8, 0.32, wrong["worn"] + (1.0 - wrong["worn"]) * rounded(opening))

    def tube(a: str, b: str, length: float, cuts: int) -> None:
        flow = line(length / cuts, p[a], t[a], p[b], t[b], TUBE_BORE, TUBE_ROUGHNESS, cuts)
        carry(a, b, *flow)

    def throttle(a: str, b: str, litres: float) -> None:
        """Throttled from a to b, and freely from b to a."""
        path(a, b, litres * 1e-8, 0.25)
        path(b, a, 3e-8, 0.25, rounded((p[b] - p[a]) / 1e4))

    path("reservoir", "store", 9e-8, 0.5)
    way("store", "outlet_2", 4.0, 1.0 - spool)
    way("outlet_4", "mute_5", 3.5, 1.0 - spool)
    way("store", "outlet_4", 4.0, spool)
    way("outlet_2", "mute_3", 3.5, spool)
    path("mute_3", "outside", 3e-8, 0.4, wrong["mute_3"])
    path("mute_5", "outside", 2.5e-8, 0.5)
    tube("outlet_4", "cap_flow", CAP_TUBE, 1)
    for a, b in (("outlet_2", "inner_1"), ("inner_1", "inner_2"), ("inner_2", "rod_flow")):
        tube(a, b, ROD_TUBE, CUTS)
    throttle("cap", "cap_flow", 0.9)
    throttle("rod", "rod_flow", 0.7)
    path("cap", "rod", hole(wrong["seal"]), NARROW)
    path("cap", "outside", hole(wrong["leak"]), NARROW)
    heat["cap"] -= p["cap"] * PISTON * v
    heat["rod"] += p["rod"] * ANNULUS * v

    force = push(x, p["cap"], p["rod"])
    friction = SLIDING + wrong["drag"]
    holds = STATIC + wrong["drag"]
    if abs(v) <= 1e-10 and abs(force) <= holds:
        return {n: (into[n], heat[n]) for n in gas}, 0.0
    towards = force if abs(v) <= 1e-10 else v
    damper = DAMPING + cover(-x)[1] + cover(x - STROKE)[1]
    slowed = (friction if towards > 0.0 else -friction) + damper * v
    return {n: (into[n], heat[n]) for n in gas}, (force - slowed) / MASS
