"""Tests for pneumo/components: what every kind must keep."""

from __future__ import annotations

import pytest
from component_toys import ATMOSPHERE, EXAMPLES, VARIANTS, lowered, make, variant
from pydantic import ValidationError

from pneumo.components import KINDS
from pneumo.components.fitting import PORT_VOLUME
from pneumo.units import QUANTITIES, QUANTITY_MARK, RANGE_MARK

NAMES = [f"{kind}-{i}" for i, (kind, _) in enumerate(VARIANTS)]
MERGED = {"accumulator", "manifold", "receiver"}
ROLES_ISO_11727 = {"3": "exhaust", "5": "exhaust", "14": "pilot"}


def test_table_is_alphabetical_and_each_kind_answers_to_its_key() -> None:
    assert list(KINDS) == sorted(KINDS)
    assert sorted(EXAMPLES) == list(KINDS)
    for kind, model in KINDS.items():
        assert model.model_fields["kind"].default == kind


@pytest.mark.parametrize("kind", list(KINDS))
def test_each_kind_is_documented(kind: str) -> None:
    model = KINDS[kind]
    assert model.title
    assert model.__doc__ is not None
    assert "Labels: " in model.__doc__ or "labels" in model.__doc__


def test_titles_are_unique() -> None:
    titles = [model.title for model in KINDS.values()]
    assert len(set(titles)) == len(titles)


@pytest.mark.parametrize(("kind", "parameters"), VARIANTS, ids=NAMES)
def test_every_port_is_used_and_gets_air(kind: str, parameters: dict[str, str]) -> None:
    component = variant(kind, parameters)
    ledger = lowered(component)
    for port in component.ports():
        node = ledger.ports[port.name]
        assert node in ledger.touched, port.name
        assert node == ATMOSPHERE or ledger.volumes[node] > 0.0, port.name


@pytest.mark.parametrize(("kind", "parameters"), VARIANTS, ids=NAMES)
def test_port_names_and_roles(kind: str, parameters: dict[str, str]) -> None:
    component = variant(kind, parameters)
    names = [port.name for port in component.ports()]
    assert len(set(names)) == len(names)
    for port in component.ports():
        if kind not in MERGED:
            assert port.role == ROLES_ISO_11727.get(port.name, port.role)
        assert (port.role == "exhaust") <= (port.name in {"3", "5"})


@pytest.mark.parametrize(("kind", "parameters"), VARIANTS, ids=NAMES)
def test_passages_are_the_paths_it_lowers(kind: str, parameters: dict[str, str]) -> None:
    component = variant(kind, parameters)
    if kind in MERGED or kind == "cylinder":
        return
    ledger = lowered(component)
    nodes = ledger.ports
    lines = {frozenset((nodes[a], nodes[b])) for a, b in component.passages()}
    inside = set(nodes.values())
    direct = {
        frozenset((path["a"], path["b"]))
        for path in ledger.paths.values()
        if path["a"] in inside and path["b"] in inside and len(component.ports()) > 1
    }
    if kind in ("pipe", "hose", "tube"):
        direct = {frozenset((nodes["1"], nodes["2"]))}
    assert lines == direct


@pytest.mark.parametrize("kind", ["accumulator", "manifold", "receiver"])
def test_vessel_is_one_volume_however_many_ports(kind: str) -> None:
    vessel = make(kind, volume="50 L", ports="5")
    assert vessel.merged_ports() == (("1", "2", "3", "4", "5"),)
    ledger = lowered(vessel)
    assert len(set(ledger.ports.values())) == 1
    assert sum(ledger.volumes.values()) == pytest.approx(0.05, rel=1e-12)
    reached = {"1"} | {b for _, b in vessel.passages()}
    assert reached == {"1", "2", "3", "4", "5"}


@pytest.mark.parametrize(
    "kind",
    [
        "check_valve", "dual_pressure", "flow_control", "gauge", "ideal_supply", "pressure_switch",
        "quick_exhaust", "regulator", "relief_valve", "shut_off", "shuttle", "silencer",
        "soft_start", "transmitter", "valve_2_2", "valve_3_2", "valve_5_2", "valve_5_3",
    ],
)  # fmt: skip
def test_small_fittings_hold_their_port_volume(kind: str) -> None:
    ledger = lowered(make(kind))
    closed = [port for port, node in ledger.ports.items() if node != ATMOSPHERE]
    assert sum(ledger.volumes.values()) == pytest.approx(PORT_VOLUME * len(closed), rel=1e-12)


@pytest.mark.parametrize("kind", list(KINDS))
def test_unknown_fields_are_refused_and_components_cannot_change(kind: str) -> None:
    with pytest.raises(ValidationError):
        make(kind, colour="red")
    with pytest.raises(ValidationError):
        make(kind).about = "changed"


@pytest.mark.parametrize(
    ("kind", "parameters", "field", "words"),
    [
        ("bladder_brake", {"bladders": "3"}, "bladders", "Give 1 or 2"),
        ("bladder_brake", {"full_stroke": "5 mm"}, "full_stroke", "8.25 mm or more"),
        ("bladder_brake", {"contact_stiffness": "50 N/mm"}, "contact_stiffness", "stiffer"),
        ("compressor", {"unload_at": "8 bar"}, "unload_at", "higher pressure than load_at"),
        ("cylinder", {"rod_diameter": "50 mm"}, "rod_diameter", "smaller than the bore"),
        ("cylinder", {"load": "50 kN"}, "load", "wider bore"),
        ("regulator", {"droop": "0 bar"}, "droop", "from 0.001 bar to 10 bar"),
        ("relief_valve", {"accumulation": "0 bar"}, "accumulation", "from 0.001 bar"),
        ("check_valve", {"full_open_after": "0 bar"}, "full_open_after", "from 0.001 bar"),
        ("valve_3_2", {"travel": "0 ms"}, "travel", "from 0.1 ms to 60 s"),
        ("soft_start", {"full_at": "100 %"}, "full_at", "10 % to 90 %"),
        ("transmitter", {"low": "12 bar"}, "high", "higher pressure than low"),
    ],
)
def test_impossible_values_say_what_would_be_right(
    kind: str, parameters: dict[str, str], field: str, words: str
) -> None:
    with pytest.raises(ValidationError) as caught:
        make(kind, **parameters)
    (error,) = caught.value.errors()
    assert error["loc"] == (field,)
    assert words in error["msg"]


def test_a_wrong_value_is_told_once_even_when_others_depend_on_it() -> None:
    with pytest.raises(ValidationError) as caught:
        make("bladder_brake", gap="far", area="wide")
    assert [error["loc"] for error in caught.value.errors()] == [("area",), ("gap",)]


def test_gauge_defaults_follow_the_surroundings() -> None:
    model = KINDS["transmitter"]
    high_up = model.model_validate({"kind": "transmitter"}, context={"ambient_pressure": 8e4})
    assert high_up.model_dump()["low"] == pytest.approx(8e4)
    assert high_up.model_dump()["high"] == pytest.approx(1.08e6)


@pytest.mark.parametrize(
    ("kind", "field", "value", "limits"),
    [
        ("hose", "length", "100000 m", "from 10 mm to 2000 m"),
        ("hose", "length", "1e-13 m", "from 10 mm to 2000 m"),
        ("pipe", "bore", "0.01 mm", "from 0.5 mm to 500 mm"),
        ("tube", "roughness", "1 m", "from 0 mm to 5 mm"),
        ("bladder_brake", "ski_mass", "1e-300 kg", "from 0.01 kg to 20000 kg"),
        ("bladder_brake", "area", "2 mm2", "from 0.5 cm2 to 5000 cm2"),
        ("bladder_brake", "spring_force", "900 kN", "from 0 N to 500 kN"),
        ("cylinder", "moving_mass", "1 g", "from 0.01 kg to 20000 kg"),
        ("receiver", "volume", "0.1 mL", "from 0.001 L to 50000 L"),
        ("check_valve", "C", "1e-9 L/(s·bar)", "from 0.0001 L/(s·bar) to 1000 L/(s·bar)"),
        ("compressor", "free_air_delivery", "1e-6 L/min", "from 0.1 L/min to 200000 L/min"),
        ("ideal_supply", "pressure", "900 bar", "from 0.01 bar abs to 50 bar gauge"),
        ("jaw_switch", "delay", "2 h", "from 0 s to 60 s"),
    ],
)
def test_numbers_that_no_brake_has_are_refused_with_their_limits(
    kind: str, field: str, value: str, limits: str
) -> None:
    with pytest.raises(ValidationError) as caught:
        make(kind, **{field: value})
    (error,) = caught.value.errors()
    assert error["loc"] == (field,)
    assert "is out of range for" in error["msg"] and f"It must be {limits}." in error["msg"]


def test_every_number_of_every_kind_has_limits_that_are_published() -> None:
    """Whatever number a part takes, its schema says the smallest and the largest."""
    counted = 0
    for kind, model in KINDS.items():
        schema = model.model_json_schema()
        for name, entry in schema["properties"].items():
            for option in (entry, *entry.get("anyOf", ())):
                if QUANTITY_MARK not in option:
                    continue
                counted += 1
                low, high = option[RANGE_MARK]
                quantity = QUANTITIES[option[QUANTITY_MARK]]
                smallest, largest = (quantity.parse(text) for text in (low, high))
                assert smallest < largest, (kind, name)
                (example,) = option["examples"]
                assert smallest <= quantity.parse(example) <= largest, (kind, name)
                assert option["description"].endswith((f"to {high}", f"to {high} gauge"))
    assert counted > 100
