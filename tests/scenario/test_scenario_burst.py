"""Random circuits torn open anywhere at any time: every case is calculated, and no air is lost."""

from __future__ import annotations

import math
import random

import pytest
from play_toys import balances

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.validate import load_text
from pneumo.errors import DocumentError
from pneumo.verification.campaign import Campaign

SEEDS = (*range(12), 64, 77, 92, 101, 151)
"""The last five once stopped: a tank was told too late what a torn zone had drawn from it."""

CASES = 6


class Maker:
    """Writes a random ride of up to three zones."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)
        self.parts: list[str] = []
        self.ways: list[str] = []
        self.zones: list[str] = []

    def between(self, low: float, high: float) -> str:
        """A number, its order of magnitude even."""
        return f"{math.exp(self.random.uniform(math.log(low), math.log(high))):.3g}"

    def way(self, low: float, high: float) -> str:
        """C and b of something that air passes."""
        b = self.random.choice([0.0, 0.1, 0.3, 0.5, 0.8, 0.95])
        return f"C: {self.between(low, high)} L/(s·bar), b: {b}"

    def part(self, name: str, text: str) -> str:
        self.parts.append(f"  {name}: {{{text}}}")
        return name

    def join(self, one: str, other: str) -> None:
        self.ways.append(f"  - {one} -> {other}")

    def document(self) -> str:
        zones = self.random.choice([1, 1, 2, 3])
        self.part("feed", "kind: electrical_feed")
        self.part("head", f"kind: manifold, ports: {zones + 1}")
        self.join(self.supply(), "head.1")
        for zone in range(zones):
            self.zone(zone, f"head.{zone + 2}")
        sections = {"components": self.parts, "connections": self.ways, "zones": self.zones}
        body = [line for name, lines in sections.items() for line in (f"{name}:", *lines)]
        return "\n".join(["ride: {name: torn open}", *body, ""])

    def supply(self) -> str:
        """The port that air comes from."""
        if self.random.random() < 0.5:
            bar = f"{self.random.uniform(5, 10):.2f} bar"
            return self.part("supply", f"kind: ideal_supply, pressure: {bar}") + ".2"
        load = self.random.uniform(5.5, 8.0)
        self.part(
            "supply",
            f"kind: compressor, free_air_delivery: {self.between(50, 3000)} L/min, "
            f"load_at: {load:.2f} bar, unload_at: {load + 0.05 + self.random.random():.2f} bar",
        )
        self.part("behind", f"kind: check_valve, {self.way(5, 40)}")
        self.part("receiver", f"kind: receiver, volume: {self.between(5, 500)} L")
        self.join("supply.2", "behind.1")
        self.join("behind.2", "receiver.1")
        return "receiver.2"

    def zone(self, zone: int, before: str) -> None:
        for place in range(self.random.randint(0, 5)):
            name = self.part(f"z{zone}_{place}", self.line())
            self.join(before, f"{name}.1")
            before = f"{name}.2"
        valve = self.part(f"valve_{zone}", f"kind: valve_3_2, feed: feed, {self.way(1, 40)}")
        hose = self.part(
            f"hose_{zone}",
            f"kind: hose, bore: {self.between(4, 19)} mm, length: {self.between(0.2, 8)} m",
        )
        area = float(self.between(60, 400))
        spring = self.random.choice(["close", "open"])
        brake = self.part(
            f"brake_{zone}",
            f"kind: bladder_brake, spring: {spring}, area: {area} cm2, "
            f"spring_force: {area * self.random.uniform(1.0, 3.5) / 100:.3g} kN, "
            f"spring_rate: {self.between(20, 200)} N/mm",
        )
        self.join(before, f"{valve}.1")
        self.join(f"{valve}.2", f"{hose}.1")
        self.join(f"{hose}.2", f"{brake}.1")
        safe = "closed" if spring == "close" else "open"
        wanted = "clamping_force: 0.2 kN" if safe == "closed" else "clearance: 1 mm"
        self.zones += [
            f"  zone_{zone}:",
            f"    brakes: [{brake}]",
            f"    outputs: {{{valve}.14: charge}}",
            f"    safe_state: {safe}",
            f"    requirement: {{within: 1.5 s, hold: 5 s, {wanted}}}",
        ]

    def line(self) -> str:
        """Something between a supply and a valve."""
        size = f"bore: {self.between(3, 40)} mm, length: {self.between(0.05, 60)} m"
        setting = f"{self.random.uniform(2.5, 5):.2f} bar"
        return self.random.choice(
            [
                f"kind: check_valve, {self.way(0.3, 80)}",
                f"kind: receiver, volume: {self.between(0.2, 200)} L",
                f"kind: regulator, set_pressure: {setting}, {self.way(0.3, 80)}",
                f"kind: regulator, set_pressure: {setting}, {self.way(0.3, 80)}, "
                "reverse_flow: no, relieving: no",
                f"kind: shut_off, {self.way(0.3, 80)}",
                f"kind: flow_control, {self.way(0.1, 10)}, bypass_C: {self.between(1, 40)} "
                "L/(s·bar)",
                f"kind: soft_start, {self.way(2, 80)}, slow_C: 0.5 L/(s·bar), dump_C: 5 L/(s·bar)",
                f"kind: filter, {self.way(0.3, 80)}",
                f"kind: pipe, {size}",
                f"kind: hose, {size}, segments: 3",
            ]
        )


def made(seed: int) -> Circuit | None:
    """A random ride; None: its regulators stand in an order that no document may have."""
    try:
        return load_text(Maker(seed).document(), f"ride {seed}")
    except DocumentError as error:
        assert all(item.field == "set_pressure" for item in error.findings if item.level == "error")
        return None


@pytest.mark.parametrize("seed", SEEDS)
def test_every_burst_and_leak_is_calculated(seed: int) -> None:
    circuit = made(seed)
    if circuit is None:
        return
    campaign = Campaign(circuit)
    jobs = [
        job
        for job in campaign.jobs()
        if any(fault.mode in ("burst", "leak") for fault in job.trial.injection.faults)
    ]
    for job in random.Random(seed).sample(jobs, CASES):
        for time in campaign._inject_times(job.trial, job.condition):
            before = balances(campaign.prepared(job.trial.apart, job.condition, time))
            play = campaign.play_case(job, time).play
            air, held, *_ = balances(play)
            assert air == pytest.approx(before[0], rel=1e-10)
            assert held == pytest.approx(before[1], rel=1e-10)
            node = play.plant.network.node[: play.plant.network.dynamic]
            assert (play.plant.state()[node["mass"]] > 0.0).all()


def test_most_random_rides_are_rides() -> None:
    assert sum(made(seed) is not None for seed in SEEDS) > 0.8 * len(SEEDS)
