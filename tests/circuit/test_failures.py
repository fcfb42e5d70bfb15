"""How often parts fail: what a document says of it, and what follows where it says nothing."""

from __future__ import annotations

import re
from pathlib import Path
from statistics import median

import jsonschema
import pytest

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.document import Findings, parse
from pneumo.circuit.failures import prior
from pneumo.circuit.schema import document_schema
from pneumo.circuit.validate import load_text
from pneumo.errors import DocumentError

RIDE = """\
ride: {name: Curlew, site: Millbeck Pier}
components:
  supply: {kind: ideal_supply, pressure: 6 bar}
  tee: {kind: manifold, ports: 4}
  receiver: {kind: receiver, volume: 20 L}
  hose_{1..2}: {kind: hose, bore: 9 mm, length: 1 m}
  dial_{1..2}: {kind: gauge}
connections:
  - supply.2 -> tee.1
  - tee.2 -> receiver.1
  - receiver.2 -> plug
  - tee.{3..4} -> hose_{1..2}.1
  - hose_{1..2}.2 -> dial_{1..2}.1
"""

INVENTED = """\
failures:
  every hose: 0.04 per year
  every hose burst: 0.01 per year
  hose_2 leak: 0.5 /year
  receiver: 1e-3 per year
  every relief_valve: 0.1 per year
"""

CIRCUITS = Path(__file__).parents[2] / "circuits"
LANGUAGE = (CIRCUITS / "README.md").read_text("utf-8")
SAND_MARTIN = (CIRCUITS / "sand_martin.yaml").read_text("utf-8")

YEAR = 365.25 * 24.0 * 3600.0


def ride(section: str) -> Circuit:
    return load_text(f"{RIDE}{section}\n", "ride")


def modes(circuit: Circuit, component: str) -> list[str]:
    return [mode.name for mode in circuit.components[component].fault_modes()]


def per_year(circuit: Circuit, component: str) -> dict[str, float]:
    return {mode: YEAR * prior(circuit, component, mode) for mode in modes(circuit, component)}


def test_all_are_equal_where_nothing_is_said() -> None:
    for section in ("", "failures:", "failures: {}", "failures: {every silencer: 1 per year}"):
        circuit = ride(section)
        known = [(name, mode) for name in circuit.components for mode in modes(circuit, name)]
        assert {prior(circuit, *fault) for fault in known} == {1.0}


def test_a_rate_of_a_part_is_shared_by_the_modes_that_have_none_of_their_own() -> None:
    circuit = ride(INVENTED)
    hose = per_year(circuit, "hose_1")
    assert set(hose) == {"leak", "burst", "blocked", "kinked"}
    assert hose["burst"] == pytest.approx(0.01)
    assert hose["leak"] == pytest.approx(0.01) == pytest.approx(hose["kinked"])
    receiver = per_year(circuit, "receiver")
    assert len(set(receiver.values())) == 1
    assert sum(receiver.values()) == pytest.approx(1e-3)


def test_of_one_mode_a_component_takes_the_place_of_its_kind_in_that_mode_alone() -> None:
    circuit = ride(INVENTED)
    one, other = per_year(circuit, "hose_1"), per_year(circuit, "hose_2")
    assert other["leak"] == pytest.approx(0.5)
    assert {**one, "leak": other["leak"]} == other


def test_of_a_whole_part_a_component_takes_the_place_of_all_that_is_said_of_its_kind() -> None:
    found = per_year(ride(f"{INVENTED}  hose_1: 0.3 per year"), "hose_1")
    assert found == pytest.approx(dict.fromkeys(found, 0.3 / 4))
    found = per_year(ride(f"{INVENTED}  hose_2: 0.9 per year"), "hose_2")
    assert found == pytest.approx(
        {"leak": 0.5, **dict.fromkeys(("burst", "blocked", "kinked"), 0.4 / 3)}
    )


def test_a_range_of_names_gives_each_its_rate() -> None:
    circuit = ride('failures: {"hose_{1..2} kinked": 2 per year}')
    assert list(circuit.failures.rates) == [("hose_1", "kinked"), ("hose_2", "kinked")]
    assert prior(circuit, "hose_2", "kinked") == pytest.approx(2.0 / YEAR)


def test_what_is_left_out_is_as_likely_as_the_middle_one_of_what_is_given() -> None:
    circuit = ride(INVENTED)
    given = circuit.failures.rates.values()
    assert len(given) == 8 + len(modes(circuit, "receiver"))
    for name in ("supply", "tee", "dial_1"):
        for mode in modes(circuit, name):
            assert prior(circuit, name, mode) == median(given)


def test_the_example_of_the_language_is_right() -> None:
    example = re.search(r"```yaml\n  failures:\n(.*?)```", LANGUAGE, re.DOTALL)
    assert example
    found = load_text(f"{SAND_MARTIN}\nfailures:\n{example[1]}", "ride")
    assert per_year(found, "trim_valve_b")["leak"] == YEAR * found.failures.left_out
    assert sum(per_year(found, "trim_valve_a").values()) == pytest.approx(0.3)
    assert per_year(found, "trim_hose_4")["leak"] == pytest.approx(0.1)
    assert per_year(found, "final_1_hose_1")["burst"] == pytest.approx(0.01)


def test_the_order_of_the_entries_means_nothing() -> None:
    head, *entries = INVENTED.splitlines()
    turned = "\n".join([head, *reversed(entries)])
    assert ride(turned).failures == ride(INVENTED).failures
    assert list(ride(turned).failures.rates) == list(ride(INVENTED).failures.rates)


@pytest.mark.parametrize(
    ("entry", "told"),
    [
        ("hose_9: 1 per year", "There is no component 'hose_9'. Did you mean 'hose_"),
        ("hose: 1 per year", "There is no component 'hose'. Of all of a kind say 'every hose'."),
        ("every hoes: 1 per year", "There is no kind 'hoes'. Did you mean 'hose'?"),
        ("every hose brust: 1 per year", "hose has no fault mode 'brust'. Did you mean 'burst'?"),
        ("hose_1 stuck: 1 per year", "hose_1 has no fault mode 'stuck'. It has leak, burst, "),
        ("hose_1 leak burst: 1 per year", "'leak burst' is no fault mode. Write one word"),
        ('"hose_{2..1}": 1 per year', "hose_{2..1}"),
        ('"hose_{1..2}": 1 per year', "The rate of hose_2 is in line 16 already. Give each once."),
        ("every  hose: 1 per year", "The rate of hose is in line 15 already. Give each once."),
        ("hose_1 leak: 1", "'1' has no unit. Write a failure rate like 0.2 per year."),
        ("hose_1 leak: often", "'often' is not a failure rate."),
        ("hose_1 leak: 0 per year", "It must be from 0.000001 per year to 1000 per year."),
        ("hose_1 leak: 1 per hour", "Give how often in a year of service, like 0.2 per year."),
        ("hose_1 leak: 1e-6 /h", "Give how often in a year of service, like 0.2 per year."),
        ("hose_1 leak: [1]", "Found a list where a failure rate belongs."),
        (
            "every hose leak: 0.04 per year",
            "0.04 per year for all fault modes together is no more than the 0.04 per year of those "
            "that are given apart. Give more, to leave something for burst, blocked, kinked.",
        ),
    ],
)
def test_a_slip_is_one_finding(entry: str, told: str) -> None:
    section = f"failures:\n  every hose: 0.04 per year\n  hose_2: 0.5 per year\n  {entry}"
    with pytest.raises(DocumentError) as caught:
        ride(section)
    (error,) = [found for found in str(caught.value).splitlines() if ": error: " in found]
    assert told in error
    line = 15 if told.startswith("0.04") else 17
    assert error.startswith(f"ride:{line}: error: "), error


def test_it_is_a_set_of_named_entries() -> None:
    with pytest.raises(DocumentError, match="failures: is not a set of named entries"):
        ride("failures: [hose_1]")


def test_of_a_part_that_cannot_be_read_nothing_more_is_said() -> None:
    with pytest.raises(DocumentError) as caught:
        load_text(RIDE.replace("volume: 20 L", "volume: 20") + INVENTED, "ride")
    assert len([line for line in str(caught.value).splitlines() if ": error: " in line]) == 1


@pytest.mark.parametrize(
    ("entry", "right"),
    [
        ("every hose: 0.1 per year", True),
        ("every hose burst: 0.1 /year", True),
        ('"hose_{1..2} leak": 3e-2 per year', True),
        ("receiver: 1 per year", True),
        ("Receiver: 1 per year", False),
        ("every hose leak burst: 1 per year", False),
        ("hose_1: 1", False),
        ("hose_1: {leak: 1 per year}", False),
    ],
)
def test_the_schema_knows_it(entry: str, right: bool) -> None:
    validator = jsonschema.Draft202012Validator(document_schema())
    root = parse(f"{RIDE}failures:\n  {entry}\n", Findings("ride"))
    assert validator.is_valid(root) == right
