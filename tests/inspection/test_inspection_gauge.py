"""A test gauge: what it reads, and where it can be fitted."""

from __future__ import annotations

import numpy as np
import pytest
from inspection_bench import after, bench, charged, found, resting, says

from pneumo.circuit.circuit import PortRef
from pneumo.circuit.couplings import test_points as points_of
from pneumo.errors import InputError
from pneumo.inspection.evidence import Reading
from pneumo.inspection.gauge import GAUGE_STEP
from pneumo.scenario.pressure import node_pressure

FITTED = "hose_2.2"


def gauge(play: object, target: str) -> Reading:
    return found(play, "read", target, Reading, FITTED)  # type: ignore[arg-type]


@pytest.mark.parametrize("target", ["receiver.1", "store.1", "tee.5", "brake_1.1", "hose_2.2"])
def test_a_gauge_reads_the_pressure_there_to_its_step(target: str) -> None:
    for play in (resting(), charged()):
        component, port = target.split(".")
        node = bench().parts[component].ports[port]
        state = play.plant.state()[None]
        true = float(node_pressure(play.plant.network, state, node)[0]) - 101300.0
        read = gauge(play, target)
        assert (read.port, read.open_end) == (target, False)
        assert abs(read.shown - true) <= GAUGE_STEP / 2 + 1e-4
        assert np.isclose(read.shown / GAUGE_STEP, round(read.shown / GAUGE_STEP))


def test_a_gauge_sees_air_come_and_go() -> None:
    assert gauge(resting(), "brake_1.1").shown == 0.0
    assert gauge(charged(), "brake_1.1").shown > 5e5
    shown = gauge(charged(), "brake_1.1").shown
    assert says(charged(), "read", "brake_1.1") == (
        f"A test gauge at brake_1.1 reads {shown / 1e5:.2f} bar."
    )


def test_an_open_port_tells_nothing() -> None:
    read = gauge(charged(), "start.3")
    assert (read.open_end, read.shown, read.idle) == (True, 0.0, True)
    assert "open to the air" in says(charged(), "read", "start.3")


def test_a_component_with_one_port_needs_no_port() -> None:
    assert gauge(charged(), "brake_1") == gauge(charged(), "brake_1.1")


def test_a_gauge_is_idle_where_nothing_is_commanded_and_nothing_is_left() -> None:
    assert gauge(resting(), "brake_1.1").idle
    assert not gauge(charged(), "brake_1.1").idle
    # behind what feeds the zone, though the zone does not name it
    assert gauge(resting(), "charge.2").idle
    # what serves the whole ride should never be empty
    empty = after(resting(), 0.1, "switch off compressor", "drain receiver open", "isolate main",
                  "drain store open")  # fmt: skip
    empty.advance(empty.now + 90.0)
    read = gauge(empty, "receiver.1")
    assert (read.shown, read.idle) == (0.0, False)
    # air that should have gone
    stuck = after(charged(), 0.1, "fault valve stuck")
    assert not gauge(after(stuck, 4.0, "open trim"), "brake_1.1").idle
    # commanded, and nothing arrives
    dead = after(resting(), 2.0, "fault valve coil-open", "close trim")
    assert gauge(dead, "brake_1.1") == Reading("brake_1.1", 0.0, open_end=False, idle=False)


# test points


def names(*fitted: str) -> set[str]:
    return {str(port) for port in points_of(bench().circuit, fitted)}


def test_the_document_names_test_points_and_their_whole_net_has_one() -> None:
    # a vessel is one place: what is joined to it has its coupling
    assert {"receiver.1", "receiver.4", "back.2", "relief.1", "run.1", "store.1"} <= names()
    assert {"brake_1.1", "hose_1.2"} <= names()
    assert "compressor.2" not in names()


def test_a_gauge_that_is_there_has_a_coupling_and_so_has_a_plug() -> None:
    assert {"dial.1", "charge.2", "valve.2", "hose_1.1", "hose_2.1"} <= names()
    # a plugged port is taken out by itself
    assert {"tee.5", "plain.2"} <= names()
    assert not {"tee.1", "tee.2", "start.2", "hose_2.2", "brake_2.1"} & names()


def test_a_tee_that_was_fitted_is_one() -> None:
    assert {"hose_2.2", "brake_2.1"} <= names("hose_2.2")
    with pytest.raises(InputError):
        found(charged(), "read", "brake_2.1", Reading)
    assert found(charged(), "read", "brake_2.1", Reading, "hose_2.2").shown > 5e5


def test_a_refusal_names_the_nearest() -> None:
    with pytest.raises(InputError) as caught:
        found(charged(), "read", "start.2", Reading)
    told = str(caught.value)
    assert told.startswith("There is no test point at start.2. The nearest: tee.5, ")
    assert told.endswith("Elsewhere a tee has to be fitted first.")
    with pytest.raises(InputError, match=r"no test point at brake_2\.1\. The nearest: hose_2\.1,"):
        found(charged(), "read", "brake_2.1", Reading)


def test_points_are_ports_of_the_circuit() -> None:
    assert all(isinstance(port, PortRef) for port in points_of(bench().circuit))
    assert all(name.split(".")[0] in bench().circuit.components for name in names())
