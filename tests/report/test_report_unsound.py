"""What a circuit does wrong without any fault, told by the terminal and the report before any
verdict: a valve of which two ports are swapped."""

from __future__ import annotations

import io
from collections.abc import Callable
from functools import cache
from html import unescape

import pytest
from documents import replaced, shipped_text
from rich.console import Console

from pneumo.circuit.circuit import Circuit
from pneumo.circuit.validate import load_text
from pneumo.report.html import html_report
from pneumo.report.text import print_verification, summary
from pneumo.verification.campaign import Campaign
from pneumo.verification.verdict import UNSOUND, Verification

SWAPPED = (("main.2 -> valve.1", "main.2 -> valve.2"), ("valve.2 -> man", "valve.1 -> man"))
"""Supply and zone of the valve: its springs cannot close the brakes, the air stays in them."""


@cache
def verified(swapped: bool) -> tuple[Circuit, Verification]:
    """The circuit without a fault, as `pneumo verify --no-faults` has it; its losses left out."""
    text = replaced(shipped_text("02_spring_close_single"), *(SWAPPED if swapped else ()))
    circuit = load_text(text, "yard.yaml")
    campaign = Campaign(circuit)
    cases = tuple(
        result.case
        for job in campaign.jobs()
        if job.trial.injection.kind == "none"
        for result in campaign.run(job)
    )
    wrong = campaign.unsound()
    name = circuit.ride.name
    return circuit, Verification("yard.yaml", name, "", cases, (), (), (), "1", wrong)


def printed(verification: Verification) -> str:
    out = io.StringIO()
    print_verification(Console(file=out, width=120), verification)
    return out.getvalue()


def on_the_page(verification: Verification) -> str:
    return unescape(html_report(verification, verified(True)[0]))


@pytest.mark.parametrize("shown", [printed, on_the_page])
def test_it_is_told_before_the_verdicts_with_the_part_and_what_to_look_for(
    shown: Callable[[Verification], str],
) -> None:
    circuit, verification = verified(True)
    said = " ".join(shown(verification).split())
    (wrong,) = verification.unsound
    assert wrong.cause is not None and circuit.lines is not None
    seen = (
        "block: unsafe: its safe state is not reached or not kept, seen at 23.500 s, "
        "commanded closed"
    )
    cause = f"First cause: valve (line {circuit.lines['valve']}): trapped pressure: 5.49 bar"
    places = [said.index(part) for part in (UNSOUND, seen, cause, summary(verification)[:40])]
    assert places == sorted(places)
    assert "check whether its ports are swapped" in said[places[2] :]
    assert not verification.all_safe and summary(verification).startswith("NOT SOUND")


def test_of_a_sound_circuit_it_says_nothing() -> None:
    circuit, verification = verified(False)
    assert verification.unsound == () and verification.all_safe
    for said in (printed(verification), html_report(verification, circuit)):
        assert UNSOUND not in said and "First cause" not in said
