"""What ends which fault: every mode of every kind."""

from __future__ import annotations

from typing import get_args

import pytest
from component_toys import VARIANTS, make, variant

from pneumo.circuit.action import RepairKind
from pneumo.components.base import Ending

NAMES = [f"{kind}-{i}" for i, (kind, _) in enumerate(VARIANTS)]

ELSEWHERE = {
    "closed-by-mistake", "signal-lost", "output-stuck-on", "output-stuck-off",
    "output-14-stuck-on", "output-14-stuck-off", "output-12-stuck-on", "output-12-stuck-off",
}  # fmt: skip
"""Faults that are not in the part: how its handle stands, its wire, the output for its coil. A new
part ends every fault but these."""


def ended(kind: str, by: Ending, side: str = "", **parameters: str) -> set[str]:
    modes = make(kind, **parameters).fault_modes()
    return {mode.name for mode in modes if mode.is_ended(by, side)}


def test_a_repair_is_what_ends_a_fault_and_turning_a_handle_back_is_the_only_other() -> None:
    assert {*get_args(RepairKind), "restore"} == set(get_args(Ending))


@pytest.mark.parametrize(("kind", "parameters"), VARIANTS, ids=NAMES)
def test_every_fault_can_be_ended_where_somebody_can_act(
    kind: str, parameters: dict[str, str]
) -> None:
    component = variant(kind, parameters)
    for mode in component.fault_modes():
        assert mode.ended_by and len(set(mode.ended_by)) == len(mode.ended_by), mode.name
        for by in mode.ended_by:
            assert mode.is_ended(by, mode.side), mode.name
            assert mode.side in component.repaired_at(by), mode.name
        assert mode.side in ("", *component.coils())


@pytest.mark.parametrize(("kind", "parameters"), VARIANTS, ids=NAMES)
def test_a_new_part_ends_every_fault_of_the_part_itself(
    kind: str, parameters: dict[str, str]
) -> None:
    modes = variant(kind, parameters).fault_modes()
    names = {mode.name for mode in modes}
    assert {mode.name for mode in modes if mode.is_ended("replace")} == names - ELSEWHERE


def test_a_coil_and_its_output_are_two_things() -> None:
    for kind in ("valve_3_2", "soft_start"):
        assert ended(kind, "replace", "14") == {"coil-open"}
        assert ended(kind, "reconnect", "14") == {"output-stuck-on", "output-stuck-off"}
        assert ended(kind, "reconnect") == set()
        assert make(kind).repaired_at("reconnect") == ("14",)
        assert make(kind).repaired_at("replace") == ("", "14")
    assert ended("valve_5_3", "replace", "12") == {"coil-12-open"}
    assert ended("valve_5_3", "reconnect", "14") == {"output-14-stuck-on", "output-14-stuck-off"}


def test_each_other_repair_ends_only_what_it_is_made_for() -> None:
    for by, modes in (
        ("refit", {"leak"}),
        ("clean", {"blocked", "pilot-lost", "weak"}),
        ("adjust", {"drift", "gain", "drift-high", "drift-low", "setting-changed"}),
        ("free", {"jaw-seized", "jaw-dragging", "seized", "dragging", "stuck"}),
        ("reline", {"lining-worn"}),
        ("restore", {"closed-by-mistake"}),
    ):
        found = {
            mode.name
            for kind, parameters in VARIANTS
            for mode in variant(kind, parameters).fault_modes()
            if mode.is_ended(by)  # type: ignore[arg-type]
        }
        assert found == modes, by


def test_a_spool_or_seat_that_sticks_is_replaced_and_a_seized_handle_is_freed() -> None:
    assert ended("valve_3_2", "free") == set()
    assert "stuck" not in ended("valve_3_2", "clean")
    assert "stuck-open" not in ended("check_valve", "clean")
    assert ended("shut_off", "free") == {"stuck"}
    assert ended("relief_valve", "adjust") == set(), "its setting is sealed"
    assert (
        ended("pressure_switch", "reconnect") == ended("jaw_switch", "reconnect") == {"stuck-off"}
    )


def test_what_has_no_such_fault_cannot_be_repaired_so() -> None:
    hose = make("hose")
    assert hose.repaired_at("reline") == hose.repaired_at("reconnect") == ()
    assert hose.repaired_at("refit") == ("",)
    assert make("bladder_brake").repaired_at("reline") == ("",)
