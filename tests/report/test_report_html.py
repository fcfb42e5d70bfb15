"""Tests for pneumo/report/html.py and its template."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from circuit_pieces import circuit, piece, two_zones
from report_examples import case, missing, outcome, trace, verification

from pneumo.circuit.validate import load
from pneumo.harmless import first_acting
from pneumo.report.cautions import CAUTIONS, LIMITS
from pneumo.report.html import html_report
from pneumo.verification.verdict import Verification
from pneumo.verification.wording import case_words

VOID = {"meta", "br", "img", "link", "input", "hr"}


class Outline(HTMLParser):
    """Checks nesting and gathers ids, links, tags and the matrix cells."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.stack: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.tags: set[str] = set()
        self.cells: list[tuple[str, str, str]] = []
        self.feed(text)
        self.close()
        assert not self.stack

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        known = dict(attrs)
        self.tags.add(tag)
        if known.get("id"):
            self.ids.append(str(known["id"]))
        for name in ("href", "src"):
            if known.get(name):
                self.links.append(str(known[name]))
        if tag == "td" and "cell" in str(known.get("class", "")).split():
            self.cells.append((str(known["class"]), str(known.get("title", "")), ""))
        if tag not in VOID:
            self.stack.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.stack.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.cells and self.stack[-1:] in (["td"], ["a"]) and not self.cells[-1][2]:
            self.cells[-1] = (*self.cells[-1][:2], data.strip())


@pytest.fixture(scope="module")
def report() -> str:
    return html_report(verification(), two_zones())


def test_it_is_one_file_that_asks_for_nothing(report: str) -> None:
    outline = Outline(report)
    assert all(link.startswith("#") for link in outline.links)
    assert {link[1:] for link in outline.links} <= set(outline.ids)
    assert not outline.tags & {"script", "link", "img", "iframe", "object", "embed"}
    rest = report.replace("http://www.w3.org/2000/svg", "")
    assert not re.search(r"https?:|//[a-z]|url\(|@import|\bon[a-z]+=", rest)


def test_every_case_and_zone_has_its_cell(report: str) -> None:
    cells = Outline(report).cells
    for one in verification().cases:
        for result in one.outcomes:
            (cell,) = [
                c for c in cells if c[1] == f"{case_words(one)}: {result.zone} {result.verdict}"
            ]
            letter = result.verdict[0].upper()
            assert letter in cell[0].split()
            # the verdict is there as a letter and a sign, not by colour alone
            assert letter in cell[2] and cell[2][0] in "✓◔✗"
    assert sum(text.endswith("°") for _, _, text in cells) == 5


def test_cases_that_are_not_safe_are_told_in_full(report: str) -> None:
    for one in verification().cases:
        told = report.count(f"<h3>{case_words(one)}</h3>")
        assert told == (one.worst != "safe")
    assert report.count('<svg xmlns="http://www.w3.org/2000/svg" class="chart"') == 9
    assert "pneumo run ride.yaml --scenario closed --fault &#34;trim_valve_a" in report
    assert (
        "at least 2 of 4 brakes closed with 6 kN not reached (limit 1.5 s, watched for 11.5 s); "
        "furthest from safe trim_brake_2…3: "
        "clearance 0.00 mm, force 6.30 kN. At the end the controller"
    ) in report
    assert "It showed closed and the brakes were not" in report
    assert "trim_hose_1…4 leak 2 mm" in report


def test_cautions_limits_assumptions_and_lines_to_sign(report: str) -> None:
    for sentence in (*CAUTIONS, *LIMITS, *verification().assumptions):
        assert sentence.replace("'", "&#39;") in report
    for word in ("Name", "Role", "Signature", "Date"):
        assert f"<td>{word}</td>" in report
    words = " ".join(CAUTIONS)
    for part in (
        "lock out",
        "vent",
        "verify zero energy",
        "clear of the jaws",
        "Local codes",
        "licensed",
        "not certify",
    ):
        assert part in words


def test_the_same_input_gives_the_same_bytes_and_no_date(report: str) -> None:
    assert html_report(verification(), two_zones()) == report
    assert "Made on" not in report
    assert "17 March" in html_report(verification(), two_zones(), made_on="17 March")


def test_everything_from_outside_is_escaped() -> None:
    evil = '<script>alert("x")</script>&'
    bad = outcome(
        evil,
        verdict="unsafe",
        reached_after=None,
        basis=None,
        trouble=evil,
        indicated=evil,
        alarm=evil,
        lost_after=1.0,
    )
    one = case(
        evil,
        evil,
        evil,
        (bad,),
        effect=evil,
        standard=evil,
        replay=evil,
        represents=(evil, "b"),
    )
    result = Verification(
        evil, evil, evil, (one,), (trace(one, (evil,), 30),), (evil,), (evil,), evil
    )
    made = circuit(
        {"supply": piece("ideal_supply"), "brake": piece("bladder_brake")},
        "supply.2->brake.1",
        ride=evil,
        zones={evil: ("brake",)},
    )
    text = html_report(result, made, made_on=evil, cautions=[evil], limits=[evil])
    outline = Outline(text)
    assert "script" not in outline.tags
    assert "<script" not in text


def test_all_safe_says_so() -> None:
    fine = verification(cases=(case(),), traces=())
    text = html_report(fine, two_zones())
    assert "in the one case that was run" in text
    assert "Every loss and every fault was detected by an alarm" in text
    assert 'class="tag U"> ' not in text


def test_what_was_not_calculated_is_told_in_full_and_never_counted() -> None:
    page = html_report(verification(cases=(case(), missing())), two_zones())
    assert "<b>1</b>" in page and "NOT FINISHED" in page
    assert "Cases that were not calculated" in page
    assert '<a href="#missing-1">?&#8239;N</a>' in page and 'id="missing-1"' in page
    assert missing().trouble in page
    assert "Every loss and every fault that was calculated was detected" in page
    assert "Cases that were not calculated" not in html_report(verification(), two_zones())


def test_no_case_is_no_proof() -> None:
    text = html_report(verification(cases=(), traces=()), two_zones())
    assert "nothing is shown to be safe" in text


def test_a_case_without_a_trace_is_still_told() -> None:
    text = html_report(verification(traces=()), two_zones())
    assert 'class="chart"' not in text
    assert Outline(text).ids == ["case-1", "case-2", "case-3"]


def test_a_whole_ride_has_its_requirements_and_drawings() -> None:
    ride = load(Path(__file__).parents[2] / "circuits" / "sand_martin.yaml")
    text = html_report(replace(verification(), ride=ride.ride.name), ride)
    Outline(text)
    for name, zone in ride.zones.items():
        assert f"<td>{name}</td>" in text
        assert f"<td>{zone.brakes_needed} of {len(zone.brakes)}</td>" in text
        assert f"Zone {name} ·" in text
    assert text.rindex("Zone storage") < text.index(">Sand Martin · Millbeck Pier</text>")


def test_letters_that_act_on_what_shows_them_are_taken_out() -> None:
    acting = "\x1b]0;all safe\x07\x9b2J\u202eefas\u2028"
    made = verification(document=acting, site=acting)
    text = html_report(made, two_zones(), made_on=acting, cautions=[acting])
    assert "all safe" in text and first_acting(text, keep="\n\t") == -1
