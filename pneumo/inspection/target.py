"""What a test is made at, as it is named; what cannot be is refused in a sentence."""

from __future__ import annotations

from collections.abc import Iterable

from pneumo.circuit.circuit import PortRef
from pneumo.circuit.spelling import near
from pneumo.errors import InputError
from pneumo.harmless import quoted
from pneumo.network.compile import Compiled


def component_of(compiled: Compiled, target: str) -> str:
    """A component, perhaps named by one of its ports. Raises InputError when there is none."""
    components = compiled.circuit.components
    name = target if target in components else target.rpartition(".")[0]
    if name in components:
        return name
    raise _unknown("component", target, components, "Name a component of the circuit.")


def port_of(compiled: Compiled, target: str) -> PortRef:
    """A port; of a component with a single one its name will do. Raises InputError when there is
    none."""
    components = compiled.circuit.components
    name, _, port = target.rpartition(".")
    if name in components:
        ports = [p.name for p in components[name].ports()]
        if port in ports:
            return PortRef(name, port)
    elif target in components:
        name, ports = target, [p.name for p in components[target].ports()]
        if len(ports) == 1:
            return PortRef(target, ports[0])
    else:
        known = [f"{n}.{p.name}" for n, part in components.items() for p in part.ports()]
        raise _unknown("port", target, known, "Give one, for example 'header.1'.")
    if not ports:
        raise InputError(f"{name} is {kind_told(compiled, name)} and has no port for a gauge.")
    choice = ", ".join(f"{name}.{p}" for p in ports)
    raise InputError(f"There is no port {quoted(target)}. Its ports are {choice}.")


def coil_of(compiled: Compiled, target: str) -> tuple[str, str]:
    """A coil, as component and side; of a valve with a single one its name will do. Raises
    InputError when there is none."""
    components = compiled.circuit.components
    name, _, side = target.rpartition(".")
    if name in components and side in components[name].coils():
        return name, side
    coils = {f"{n}.{side}": (n, side) for n, part in components.items() for side in part.coils()}
    own = [coil for coil in coils if coil.rpartition(".")[0] == target]
    if len(own) == 1:
        return coils[own[0]]
    if own:
        raise InputError(f"{target} has more than one coil. Choose one: {' or '.join(own)}.")
    name = target if target in components else target.rpartition(".")[0]
    if name in components:
        others = [coil for coil in coils if coil.rpartition(".")[0] == name]
        if others:
            raise InputError(f"There is no coil {quoted(target)}. Did you mean {others[0]}?")
        raise InputError(
            f"{name} is {kind_told(compiled, name)} and has no coil; measure at a valve that has."
        )
    raise _unknown("coil", target, coils, "Give one, for example 'valve.14'.")


def brake_of(compiled: Compiled, target: str) -> str:
    """A brake. Raises InputError when it is none."""
    name = component_of(compiled, target)
    if "brake" not in compiled.circuit.components[name].traits:
        raise InputError(f"{name} is {kind_told(compiled, name)} and has no jaws.")
    return name


def kind_told(compiled: Compiled, component: str) -> str:
    """What a component is, with its article."""
    title = str(compiled.circuit.components[component].title)
    return f"an {title}" if title[:1] in "aeiou" else f"a {title}"


def _unknown(what: str, target: str, known: Iterable[str], otherwise: str) -> InputError:
    return InputError(f"There is no {what} {quoted(target)}. {near(target, known, otherwise)}")
