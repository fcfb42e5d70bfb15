"""The connections of a document."""

from __future__ import annotations

from collections.abc import Iterator

from pneumo.circuit.circuit import Connection, PortRef
from pneumo.circuit.document import Place, RangeError, member, range_length
from pneumo.circuit.parts import Parts
from pneumo.circuit.sections import ATMOSPHERE, PLUG, Sections
from pneumo.circuit.spelling import listed, near
from pneumo.harmless import quoted

MOST_CONNECTIONS = 40_000


class Connections:
    """What the section connections: holds, and whether all of it could be read."""

    def __init__(self, sections: Sections, parts: Parts) -> None:
        self._sections = sections
        self._findings = sections.findings
        self._parts = parts
        self._used: dict[PortRef, int] = {}
        """Port -> line of its connection."""
        self.are_sound = True

    def read(self) -> Iterator[Connection]:
        """Those that can be read, in order."""
        entries = self._sections.listed("connections")
        self.are_sound = entries is not None
        count = 0
        for position, entry in enumerate(entries or ()):
            place: Place = ("connections", position)
            try:
                pairs = _pairs(entry)
            except RangeError as error:
                self.are_sound = False
                self._findings.error(place, "", "connections", error.found, error.wanted)
                continue
            count += len(pairs)
            if count > MOST_CONNECTIONS:
                self.are_sound = False
                found = f"There are more than {MOST_CONNECTIONS} connections."
                self._findings.error(place, "", "connections", found, "Split the ride.")
                return
            for left, right in pairs:
                connection = self._connection(place, left, right)
                if connection is None:
                    self.are_sound = False
                    continue
                for port in (connection.a, connection.b):
                    if port is not None:
                        self._use(place, port, connection.line)
                yield connection

    def _connection(self, place: Place, left: str, right: str) -> Connection | None:
        line = self._findings.line(place)
        if left in (PLUG, ATMOSPHERE):
            left, right = right, left
        first = self._port(place, left)
        if right == PLUG:
            return Connection(first, None, "plug", line) if first else None
        if right == ATMOSPHERE:
            return Connection(first, None, "atmosphere", line) if first else None
        second = self._port(place, right)
        if first is None or second is None:
            return None
        if first == second:
            self._findings.error(
                place,
                first.component,
                first.port,
                "The port is connected to itself.",
                "Write two different ports, or plug this one: '-> plug'.",
            )
            return None
        return Connection(first, second, "port", line)

    def _port(self, place: Place, text: str) -> PortRef | None:
        name, _, port = text.rpartition(".")
        if not name:
            found = f"{quoted(text)} is not a port."
            wanted = "Write COMPONENT.PORT, plug or atmosphere."
            if text in self._parts.components:
                ports = self._parts.ports_of(text)
                wanted = f"{text} has the ports {listed(ports) or 'none'}: write '{text}.PORT'."
            self._findings.error(place, "", "connections", found, wanted)
            return None
        if name in self._parts.unread:
            return None
        if name not in self._parts.components:
            self._findings.error(
                place,
                name,
                port,
                f"There is no component {quoted(name)}.",
                near(name, self._parts.components, "Declare it under components."),
            )
            return None
        ports = self._parts.ports_of(name)
        if port not in ports:
            found = f"It has no port {quoted(port)}."
            wanted = f"It has {listed(ports)}." if ports else "It has no ports at all."
            self._findings.error(place, name, port, found, wanted)
            return None
        return PortRef(name, port)

    def _use(self, place: Place, port: PortRef, line: int) -> None:
        if port in self._used:
            self._findings.error(
                place,
                port.component,
                port.port,
                f"The port is already connected in line {self._used[port]}.",
                "A port takes one connection: branch with a manifold.",
            )
        self._used.setdefault(port, line)


def _pairs(entry: object) -> list[tuple[str, str]]:
    """The pairs of ends a connection entry stands for; raises RangeError."""
    wanted = "Write a connection like 'receiver.2 -> filter.1'."
    if not isinstance(entry, str):
        raise RangeError("This is not a connection.", wanted)
    sides = [side.strip() for side in entry.split("->")]
    if len(sides) != 2 or not all(sides):
        raise RangeError(f"{quoted(entry)} is not a connection.", wanted)
    left, right = sides
    counts = range_length(left), range_length(right)
    ends = {PLUG, ATMOSPHERE} & {left, right}
    if counts[0] != counts[1] and not ends:
        raise RangeError(
            f"{quoted(entry)} has {counts[0] or 1} ends on the left and {counts[1] or 1} on the "
            "right.",
            "Ranges on both sides must be of the same length.",
        )
    return [(member(left, i), member(right, i)) for i in range(max(*counts, 1))]
