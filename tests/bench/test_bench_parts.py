"""Who tests part by part takes what the published model says, and no part is overlooked."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import permutations
from pathlib import Path
from typing import Any

import pytest
from parts_in_turn import Part, in_parts, may_depend_on, minutes_in_turn, parts_of

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.validate import load
from pneumo.diagnosis.suspects import candidates

pytestmark = pytest.mark.quick

CIRCUITS = Path(__file__).parents[2] / "circuits"


def circuit_of(name: str) -> Circuit:
    return load(CIRCUITS / f"{name}.yaml")


def by_name(circuit: Circuit) -> dict[str, Part]:
    return {part.name: part for part in parts_of(circuit)}


def expected(order: Sequence[Part]) -> Any:
    """Minutes to be expected of an order when exactly one part is defective."""
    whole = sum(part.prior for part in order)
    return sum(part.prior / whole * minutes_in_turn(order, part.name) for part in order)


def test_no_order_is_expected_to_take_less_than_that_by_cost_over_prior() -> None:
    """All orders of six parts, in exact fractions."""
    for seed in range(4):
        draw = random.Random(seed)
        parts: list[Any] = [
            Part(str(n), Fraction(draw.randint(1, 20)), Fraction(draw.randint(1, 20)),  # type: ignore[arg-type]
                 by_repair=n == 3)
            for n in range(6)
        ]  # fmt: skip
        rule = sorted(parts, key=lambda part: part.cost_over_prior)
        every = [expected(order) for order in permutations(parts)]
        assert expected(rule) == min(every) < max(every)


def test_the_rule_on_three_parts() -> None:
    """Minutes over prior: hose 4 / 1, valve 6 / 6, switch 2 / 1."""
    parts = Part("hose", 1, 4), Part("valve", 6, 6), Part("switch", 1, 2)
    names = [part.name for part in parts]
    times = [in_parts(parts, names, name) for name in names]
    assert times == [(4, 12), (10, 6), (12, 8)]


def test_one_permit_is_enough_and_the_right_part_is_repaired_without_trying_it() -> None:
    parts = Part("a", 1, 4, permit=10), Part("b", 1, 3, permit=10), Part("c", 1, 20, by_repair=True)
    assert [minutes_in_turn(parts, name) for name in "abc"] == [14, 17, 17]
    assert parts[0].cost_over_prior == 14
    with pytest.raises(ValueError, match="not among"):
        minutes_in_turn(parts, "d")


def test_a_part_outside_the_zone_is_found_after_all_that_were_suspected() -> None:
    parts = Part("far", 9, 1), Part("near", 1, 5), Part("other", 2, 8), Part("nearer", 2, 5)
    among = {"near", "nearer"}
    assert in_parts(parts, among, "near") == (5, 10)
    assert in_parts(parts, among, "nearer") == (10, 5)
    assert in_parts(parts, among, "far") == (11, 11)
    assert in_parts(parts, among, "other") == (19, 19)


def test_a_part_costs_its_quickest_test_with_what_goes_before() -> None:
    circuit = circuit_of("02_spring_close_single")
    work = circuit.downtime
    parts = by_name(circuit)
    valve = next(name for name, part in circuit.components.items() if part.coils())
    feed, switch = "feed", "open_1"
    assert parts[valve].minutes == work.listen / 60
    assert parts[feed].minutes == work.cycle / 60
    assert parts[switch].minutes == 2 * work.command / 60

    dear = dict.fromkeys(("listen", "soap", "look", "cycle", "command"), 7200.0)
    read = by_name(replace(circuit, downtime=work.model_copy(update=dear)))
    assert read["hose_1"].minutes == work.read / 60
    dear |= {"measure": 7200.0, "measure_card": 7200.0}
    bare = replace(circuit, ride=circuit.ride.model_copy(update={"test_points": ()}))
    tee = by_name(replace(bare, downtime=work.model_copy(update=dear)))
    assert tee[valve].minutes == (work.fit_gauge + work.read) / 60
    dear = {**dear, "read": 7200.0, "measure": work.measure}
    measured = by_name(replace(circuit, downtime=work.model_copy(update=dear)))[valve]
    assert (measured.minutes, measured.permit) == (work.measure / 60, work.permit / 60)


def test_priors_are_those_of_the_suspects_and_what_has_no_test_is_repaired() -> None:
    circuit = circuit_of("02_spring_close_single")
    parts = parts_of(circuit)
    assert sum(part.prior for part in parts) == pytest.approx(
        sum(each.prior for each in candidates(circuit))
    )
    assert [part.name for part in parts] == list(circuit.components)
    # without the valve nothing is fed
    fed = {name: part for name, part in circuit.components.items() if not part.coils()}
    idle = by_name(replace(circuit, components=fed))["feed"]
    work = circuit.downtime
    assert idle.by_repair
    assert idle.minutes == (min(work.replace, work.reconnect) + work.function_test) / 60


def test_a_zone_depends_on_its_own_and_on_what_is_shared_before_it() -> None:
    circuit = circuit_of("sand_martin")
    trim, gates = may_depend_on(circuit, "trim"), may_depend_on(circuit, "station_gates")
    assert {"feed_a", "header", "compressor_1", "receiver", "trim_open_1"} <= trim
    assert not any(name.startswith(("block_", "final_")) for name in trim | gates)
    assert "header" in gates
    shared = may_depend_on(circuit, "")
    assert {"header", "feed_b"} <= shared
    assert "trim_open_1" not in shared
