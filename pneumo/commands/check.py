"""`pneumo check`: every finding about a document, or what it contains."""

from __future__ import annotations

import argparse
from collections import Counter

from pneumo.circuit.sentence import kind_of
from pneumo.commands.console import load_circuit, result_console


def main(options: argparse.Namespace) -> int:
    """Loads and compiles the document; raises DocumentError with every finding."""
    circuit = load_circuit(options.file, warn=True)
    from pneumo.network.compile import compile_circuit

    compile_circuit(circuit)
    kinds = Counter(kind_of(component) for component in circuit.components.values())
    console = result_console()
    console.print(f"{circuit.path}: {circuit.ride.name}, no errors.", markup=False)
    console.print(
        f"{len(circuit.components)} components of {len(kinds)} kinds, "
        f"{len(circuit.connections)} connections, {len(circuit.scenarios)} scenarios."
    )
    for name, zone in circuit.zones.items():
        console.print(
            f"zone {name}: spring-{circuit.zone_spring(name)}, {_count(len(zone.brakes))}, "
            f"safe state {zone.safe_state} within {zone.requirement.within:g} s "
            f"({zone.brakes_needed} needed), held for {zone.requirement.hold:g} s.",
            markup=False,
        )
    return 0


def _count(brakes: int) -> str:
    return "1 brake" if brakes == 1 else f"{brakes} brakes"
