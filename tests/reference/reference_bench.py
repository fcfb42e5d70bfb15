"""A test bench for published checks: a small circuit, its gas set by hand, run by the kernel.

The checks are about single vessels, restrictions and pipes in limits that no document describes
(isothermal, adiabatic, a pressure that stands still), so rows of the compiled network are changed
before it runs. Everything else is the simulator's own.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from pathlib import Path

import numpy as np
from ledger import ledger_total

from pneumo.air import CV, GAS_CONSTANT
from pneumo.circuit.validate import load_text
from pneumo.network.compile import Compiled, compile_circuit
from pneumo.network.network import (
    WATCH,
    WATCHES,
    Array,
    Network,
    copy_for_change,
)
from pneumo.simulation.advance import EVENT, STOPPED, advance, read_state
from pneumo.simulation.balance import rates
from pneumo.simulation.part import hold_all, make_part
from pneumo.simulation.position import NOW, new_position
from pneumo.simulation.solver import Scratch, make_scratch

HERE = Path(__file__).parent
BAR = 1e5
STANDING = 1e12
"""A vessel so large that its pressure stands still [m3]."""


def table(name: str) -> list[dict[str, str]]:
    """Rows of a table in this folder; comment lines at its top say where it is from."""
    lines = (HERE / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


class Bench:
    """A compiled circuit whose nodes and paths are named "component.port" and "component label"."""

    def __init__(self, text: str, rtol: float = 1e-9) -> None:
        self.compiled: Compiled = compile_circuit(load_text(text, "bench"), local=False)
        self.network: Network = copy_for_change(self.compiled.network)
        self.rtol = rtol
        self.y: Array = self.compiled.start.copy()
        self.scratch: Scratch = make_scratch(self.network)

    # the bench's fittings

    def node(self, port: str) -> int:
        component, _, name = port.partition(".")
        parts = self.compiled.parts[component]
        return parts.ports[name] if name in parts.ports else parts.nodes[name]

    def path(self, label: str) -> Array:
        """Row of a restriction, to be changed."""
        component, _, name = label.partition(" ")
        row: Array = self.network.restriction[self.compiled.parts[component].restrictions[name]]
        return row

    def close(self, label: str) -> None:
        self.path(label)["open_max"] = 0.0

    def vessel(
        self, port: str, volume: float, pressure: float, temperature: float = 293.15
    ) -> None:
        """Makes a node a vessel of exactly this volume, filled to this state."""
        row = self.network.node[self.node(port)]
        row["volume"] = volume
        self.y[row["mass"]] = pressure * volume / (GAS_CONSTANT * temperature)
        self.y[row["energy"]] = pressure * volume * CV / GAS_CONSTANT

    def isothermal(self, port: str) -> None:
        self.network.node[self.node(port)]["isothermal"] = 1

    def adiabatic(self, port: str) -> None:
        self.network.node[self.node(port)]["heat"] = 0.0

    def standing(self, port: str, pressure: float, temperature: float = 293.15) -> None:
        """A vessel whose pressure does not move, whatever flows."""
        self.vessel(port, STANDING, pressure, temperature)

    # measurements

    def gas(self, port: str) -> tuple[float, float]:
        """Pressure [Pa] and temperature [K] of a node now."""
        self._rates()
        n = self.node(port)
        return float(self.scratch.gas.p[n]), float(self.scratch.gas.t[n])

    def inflow(self, port: str) -> float:
        """Mass flow into a node now, all its paths together [kg/s]."""
        self._rates()
        return float(self.scratch.start_rate[self.network.node[self.node(port)]["mass"]])

    def _rates(self) -> None:
        """Fills the scratch arrays with the gas and its rates now."""
        s, part = self.scratch, make_part(self.network)
        hold_all(self.network, 0.0, part)
        assert rates(self.network, part, self.y, 0.0, s.gas, s.flows, s.start_rate)

    def given_off(self) -> float:
        """Air that has gone to the atmosphere since the bench was set up [kg]."""
        outside = self.network.node[self.network.dynamic]
        return ledger_total(self.network, self.y, outside["mass"])

    def run(self, duration: float) -> None:
        """Runs for a time [s]."""
        status, _ = self._advance(self.network, duration)
        assert status == STOPPED

    def time_to(self, port: str, pressure: float, longest: float = 1e4) -> float:
        """Runs until a node's pressure passes a value, from above or below; the time it took."""
        watch = np.zeros(1, dtype=WATCH)
        falling = self.gas(port)[0] > pressure
        sign = -1.0 if falling else 1.0
        watch["index"] = self.node(port)
        watch["gain"] = sign
        watch["on_at"] = sign * pressure
        watch["off_at"] = sign * pressure - 1e9
        watch["role"] = 2
        member, members = np.append(self.network.member, 0), self.network.members.copy()
        members[WATCHES] = len(member) - 1, len(member)  # all there is to watch, in the only cell
        network = self.network._replace(watch=watch, member=member, members=members)
        status, moment = self._advance(network, longest)
        assert status == EVENT
        return moment

    def _advance(self, network: Network, duration: float) -> tuple[int, float]:
        position = new_position(network, self.y, self.rtol, 16)
        status, _ = advance(
            network, position, make_part(network), self.scratch, duration, np.inf, 0.02, self.rtol,
            1e6, np.zeros((16, 3)), 0.0, 0.0, np.zeros((0, len(self.y))),
        )  # fmt: skip
        now = float(position.run[NOW])
        read_state(network, position, now, self.y)
        return status, now


def circuit(
    components: Mapping[str, str], connections: list[str], ambient: str = "1 bar abs"
) -> str:
    """Text of a small circuit document; `components`: name -> its kind and parameters."""
    lines = ["ride: {name: bench}", f"ambient: {{pressure: {ambient}, temperature: 20 C}}"]
    lines += ["components:", *(f"  {name}: {{{what}}}" for name, what in components.items())]
    lines += ["connections:", *(f"  - {link}" for link in connections)]
    return "\n".join(lines) + "\n"
