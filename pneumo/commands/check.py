"""`pneumo check`: every finding about a document, or what it contains."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from functools import partial

from pneumo.api import how_to_open
from pneumo.circuit.circuit import Circuit
from pneumo.circuit.shipped import find_document
from pneumo.commands.console import error_console, load_with_warnings, result_console
from pneumo.commands.passphrase import asked
from pneumo.harmless import quoted

SHOWN = 4
"""Nets named in the remark about those that are calculated with a larger volume."""


def main(options: argparse.Namespace) -> int:
    """Loads and compiles the document; raises DocumentError with every finding. Of a drill it tells
    no more than its title and its ride: a trainee may be reading."""
    from pneumo.live.drill import is_drill, read_drill
    from pneumo.network.compile import compile_circuit

    path = find_document(options.file)
    if is_drill(path):
        drill = read_drill(path, partial(asked, options, options.file))
        compile_circuit(drill.circuit)
        result_console().print(
            f"{options.file}: a drill, {quoted(drill.title)}, at {drill.circuit.ride.name}, no "
            f"errors.\n{how_to_open(options.file)}",
            markup=False,
        )
        if drill.remark:
            error_console().print(
                f"{options.file}: remark: {drill.remark}", markup=False, soft_wrap=True
            )
        if drill.work:
            # not what it is that makes it slow: that is for the trainee to find
            error_console().print(
                f"{options.file}: remark: a second of this drill takes about {drill.work:.2g} s to "
                "calculate; on a slow machine it falls behind real time.",
                markup=False,
                soft_wrap=True,
            )
        return 0
    circuit = load_with_warnings(options.file)
    print_raised(circuit, compile_circuit(circuit).raised)
    console = result_console()
    console.print(f"{circuit.path}: {circuit.ride.name}, no errors.", markup=False)
    console.print(
        f"{len(circuit.components)} components of {len(circuit.by_kind)} kinds, "
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


def print_raised(circuit: Circuit, nets: Sequence[tuple[str, float]]) -> None:
    """One remark about all nets that hold less than they are calculated with, the smallest named.

    `nets`: as `Compiled.raised` has them.
    """
    from pneumo.network.nodes import SMALLEST_VOLUME

    if not nets:
        return
    named = []
    for net, volume in nets[:SHOWN]:
        line = (circuit.lines or {}).get(net.partition(".")[0])
        place = "" if line is None else f"line {line}, "
        named.append(f"{net} ({place}{volume * 1e3:.2g} L)")
    left = len(nets) - len(named)
    rest = f" and {left} more" if left else ""
    least = f"{SMALLEST_VOLUME * 1e3:g} L"
    which = "1 air space holds" if len(nets) == 1 else f"{len(nets)} air spaces hold"
    counted = "is" if len(nets) == 1 else "are"
    error_console().print(
        f"{circuit.path}: remark: {which} less than {least} and {counted} calculated with {least}, "
        f"so the pressure there changes more slowly: {', '.join(named)}{rest}.",
        markup=False,
        soft_wrap=True,
    )


def _count(brakes: int) -> str:
    return "1 brake" if brakes == 1 else f"{brakes} brakes"
