"""Component kinds. `KINDS` is the table of them all; adding a kind is adding a file and a row."""

from __future__ import annotations

from pneumo.components.accumulator import Accumulator
from pneumo.components.base import Component
from pneumo.components.bladder_brake import BladderBrake
from pneumo.components.check_valve import CheckValve
from pneumo.components.compressor import Compressor
from pneumo.components.cylinder import Cylinder
from pneumo.components.dual_pressure import DualPressure
from pneumo.components.electrical_feed import ElectricalFeed
from pneumo.components.filter import Filter
from pneumo.components.flow_control import FlowControl
from pneumo.components.gauge import Gauge
from pneumo.components.hose import Hose
from pneumo.components.ideal_supply import IdealSupply
from pneumo.components.jaw_switch import JawSwitch
from pneumo.components.manifold import Manifold
from pneumo.components.pipe import Pipe
from pneumo.components.pressure_switch import PressureSwitch
from pneumo.components.quick_exhaust import QuickExhaust
from pneumo.components.receiver import Receiver
from pneumo.components.regulator import Regulator
from pneumo.components.relief_valve import ReliefValve
from pneumo.components.shut_off import ShutOff
from pneumo.components.shuttle import Shuttle
from pneumo.components.silencer import Silencer
from pneumo.components.soft_start import SoftStart
from pneumo.components.transmitter import Transmitter
from pneumo.components.tube import Tube
from pneumo.components.valve_2_2 import Valve22
from pneumo.components.valve_3_2 import Valve32
from pneumo.components.valve_5_2 import Valve52
from pneumo.components.valve_5_3 import Valve53

KINDS: dict[str, type[Component]] = {
    "accumulator": Accumulator,
    "bladder_brake": BladderBrake,
    "check_valve": CheckValve,
    "compressor": Compressor,
    "cylinder": Cylinder,
    "dual_pressure": DualPressure,
    "electrical_feed": ElectricalFeed,
    "filter": Filter,
    "flow_control": FlowControl,
    "gauge": Gauge,
    "hose": Hose,
    "ideal_supply": IdealSupply,
    "jaw_switch": JawSwitch,
    "manifold": Manifold,
    "pipe": Pipe,
    "pressure_switch": PressureSwitch,
    "quick_exhaust": QuickExhaust,
    "receiver": Receiver,
    "regulator": Regulator,
    "relief_valve": ReliefValve,
    "shut_off": ShutOff,
    "shuttle": Shuttle,
    "silencer": Silencer,
    "soft_start": SoftStart,
    "transmitter": Transmitter,
    "tube": Tube,
    "valve_2_2": Valve22,
    "valve_3_2": Valve32,
    "valve_5_2": Valve52,
    "valve_5_3": Valve53,
}
"""Kind, as written in a document, to its class; alphabetical."""

__all__ = ["KINDS", "Component"]
