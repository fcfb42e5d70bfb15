"""`pneumo faults`: what can be injected where."""

from __future__ import annotations

import argparse

from pneumo.api import load
from pneumo.circuit.spelling import listed, near
from pneumo.commands.console import result_console
from pneumo.errors import InputError
from pneumo.report.text import print_faults


def main(options: argparse.Namespace) -> int:
    """Prints every fault mode of every component."""
    circuit = load(options.file)
    components = dict(circuit.components)
    if options.component is not None:
        if options.component not in components:
            hint = near(options.component, components, f"Components: {listed(components)}.")
            raise InputError(f"{circuit.path}: there is no component {options.component}. {hint}")
        components = {options.component: components[options.component]}
    print_faults(result_console(), components)
    return 0
