"""Every air space of a ride, as a test gauge would show it if it could be put on there."""

from __future__ import annotations

import numpy as np

from pneumo.circuit.circuit import PortRef
from pneumo.circuit.couplings import joined_ports
from pneumo.diagnosis.twins import Renaming
from pneumo.inspection.gauge import GAUGE_STEP
from pneumo.inspection.moment import Moment
from pneumo.network.compile import Compiled
from pneumo.network.network import Array
from pneumo.scenario.play import Play


class Nets:
    """Ports that are joined, also through a vessel, in a fixed order; those in the open air are
    left out."""

    def __init__(self, compiled: Compiled) -> None:
        outside, parts = compiled.network.dynamic, compiled.parts
        self.ports: tuple[tuple[PortRef, ...], ...] = tuple(
            tuple(net)
            for net in joined_ports(compiled.circuit)
            if parts[net[0].component].ports[net[0].port] < outside
        )
        """Of each."""
        firsts = [net[0] for net in self.ports]
        self._nodes = np.array([parts[p.component].ports[p.port] for p in firsts], dtype=np.int64)

    def shown(self, play: Play) -> Array:
        """(nets,) int16, what a gauge would show at each now [GAUGE_STEP]."""
        above = np.maximum(Moment(play).above[self._nodes], 0.0)
        shown: Array = np.rint(above / GAUGE_STEP).astype(np.int16)
        return shown

    def exchanged(self, renaming: Renaming) -> Array:
        """(nets,) where what is shown at each is taken from when twins are exchanged."""
        at = {str(port): number for number, net in enumerate(self.ports) for port in net}
        found = [at[renaming.name(str(net[0]))] for net in self.ports]
        return np.array(found, dtype=np.int64)
