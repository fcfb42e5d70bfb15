"""What can be told of the faults of a ride: against each pair compared in full, and against the
ride with what was proposed."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from copy import copy
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from pneumo.circuit.validate import load_text
from pneumo.cli import main
from pneumo.commands import diagnosability as command
from pneumo.diagnosis.diagnosability import Diagnosability, Same, diagnosability
from pneumo.diagnosis.library import Library, Work
from pneumo.diagnosis.marks import Scale
from pneumo.diagnosis.signatures import APART, FAR, Signatures, steps_off
from pneumo.diagnosis.suspects import Candidate
from pneumo.errors import UnfinishedError
from pneumo.live.cautions import CAUTIONS

CIRCUITS = Path(__file__).parents[2] / "circuits"
PAIR, VENT = "02_spring_close_single", "12_vent_check"

SOME = ("feed_a", "main", "valve_a", "vent", "hose_1", "brake_1")
"""Parts of which the faults are calculated."""


def text_of(name: str, *changes: tuple[str, str]) -> str:
    text = (CIRCUITS / f"{name}.yaml").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return text


@cache
def library(text: str, *parts: str) -> Library:
    """Of the faults of parts whose names begin so; of none: of all."""
    work = Work(load_text(text, "ride"))
    jobs = [job for job in work.jobs()
            if work.candidates[job.candidate].component.startswith(parts or "")]  # fmt: skip
    return Library(work.circuit, [work.run(job) for job in jobs], work.sound)


@cache
def judged(text: str, *parts: str) -> Diagnosability:
    return diagnosability(library(text, *parts))


KEPT = (text_of(PAIR), "hose", "brake", "silencer", "charged", "valve")


def names(faults: tuple[Candidate, ...]) -> set[str]:
    return {f"{fault.component} {fault.mode}" for fault in faults}


# which look the same


def pairs_in_full(signatures: Signatures) -> Iterator[tuple[int, int]]:
    """(entry, candidate) that look the same: every number of every pair compared."""
    off, candidate = signatures.off.astype(float), signatures.candidate
    for entry in range(len(candidate)):
        own = off[:, entry]
        if not (np.abs(np.nan_to_num(own)) > 1.0).any():
            continue
        for low in range(len(candidate)):
            for high in (low, low + 1):
                if high == len(candidate) or candidate[high] != candidate[low]:
                    continue
                ends = off[:, [low, high]]
                least, most = np.fmin(*ends.T) - 1.0, np.fmax(*ends.T) + 1.0
                fits = (least <= own) & (own <= most) | np.isnan(own) | np.isnan(least)
                if candidate[low] != candidate[entry] and fits.all():
                    yield entry, int(candidate[low])


def test_groups_are_those_of_every_pair_compared_in_full() -> None:
    signatures = Signatures(library(text_of(PAIR), "feed", "valve", "hose", "manifold"))
    alike = signatures.alike(np.flatnonzero(signatures.shows()))
    found = set(zip(alike.entry.tolist(), signatures.candidate[alike.low].tolist(), strict=True))
    whole = set(pairs_in_full(signatures))
    assert found == whole

    entries = np.flatnonzero(signatures.shows())
    own = signatures.candidate[entries]
    shown = np.unique(own).tolist()
    same = {n: {n} for n in shown}
    for a in shown:
        for b in shown:
            if a != b and all(
                (entry, two) in whole
                for one, two in ((a, b), (b, a))
                for entry in entries[own == one].tolist()
            ):
                same[a].add(b)
    for _ in shown:
        same = {n: set().union(*(same[other] for other in group)) for n, group in same.items()}
    assert {frozenset(group) for group in Same(signatures).groups()} == {
        frozenset(group) for group in same.values()
    }
    assert any(len(group) > 1 for group in same.values())


def test_steps_are_equal_for_what_can_not_be_told_apart() -> None:
    scale = Scale(0.1, 0.01)
    off = steps_off(
        np.array([[5.0, 5.0 + APART * 0.15, math.inf, math.nan], [math.inf, 1.0, 1.1, 40.0]]),
        np.array([5.0, math.inf]),
        [scale, scale],
    )
    np.testing.assert_allclose(off[0], [0.0, 1.0, FAR, math.nan], rtol=1e-6)
    assert off[1, 0] == 0.0
    assert min(off[1, 1:]) > 1.0
    assert abs(off[1, 1] - off[1, 2]) < 1.0 < abs(off[1, 1] - off[1, 3])


# what is told of a ride


def test_what_is_told_of_a_vent_check() -> None:
    found = judged(text_of(VENT), *SOME)
    together = [names(group.faults) for group in found.ambiguous]
    assert {"hose_3 blocked", "hose_3 kinked"} in together
    assert names(found.unseen.faults) >= {"main stuck", "vent_check stuck-closed"}
    hidden = {f"{each.fault.component} {each.fault.mode}": each for each in found.hidden}
    # a second valve in series holds the air: nothing on the panel tells of the first
    stuck = hidden["valve_a stuck-actuated"]
    assert (stuck.test, stuck.stands, stuck.seconds) == (("read", "valve_a.2"), "closed", 180.0)
    worn = hidden["brake_2 lining-worn"]
    assert worn.test == ("callipers", "brake_2")
    (first, *_) = found.by_itself
    assert (first.sort, first.at) == ("transmitter", "valve_a.2")


def test_each_fault_is_in_one_group_or_unseen() -> None:
    found = judged(text_of(VENT), *SOME)
    groups = [*found.groups, found.unseen]
    assert sorted((f.component, f.mode, f.prior) for g in groups for f in g.faults) == sorted(
        (f.component, f.mode, f.prior) for f in found.faults
    )
    assert {each.fault for each in found.hidden} >= set(found.unseen.faults)


def test_a_test_point_gains_what_was_promised() -> None:
    few = text_of(VENT, ("  test_points: [main.2, tee.1, manifold.1]\n", ""))
    before = judged(few, "feed_a", "valve_a", "supply")
    (first, *_) = before.apart
    more = few.replace("ride:\n", f"ride:\n  test_points: [{first.at}]\n", 1)
    after = judged(more, "feed_a", "valve_a", "supply")
    assert first.bits > 0.05
    assert after.bits == pytest.approx(before.bits - first.bits, abs=1e-9)
    groups = [sum(bool(g.faults) for g in (*f.groups, f.unseen)) for f in (before, after)]
    assert groups[1] == groups[0] + first.gain


def test_a_transmitter_shows_what_was_promised() -> None:
    before = judged(text_of(PAIR), "charged", "silencer")
    (added,) = before.by_itself
    assert (added.sort, added.at, added.gain) == ("transmitter", "valve.2", 1)
    after = judged(text_of(
        PAIR,
        ("kind: manifold, ports: 4}", "kind: manifold, ports: 5}\n"
         "  meter: {kind: transmitter}"),
        ("manifold.2 -> charged.1\n", "manifold.2 -> charged.1\n  - manifold.5 -> meter.1\n"),
        ), "charged", "silencer", "meter")  # fmt: skip
    were = names(tuple(each.fault for each in before.hidden))
    are = {name for name in names(tuple(each.fault for each in after.hidden))
           if not name.startswith("meter ")}  # fmt: skip
    assert were - are == {"charged burst"}
    assert are < were


def test_how_often_parts_fail_counts() -> None:
    often = (
        text_of(PAIR) + "\nfailures:\n  hose_1 blocked: 5 per year\n  every hose: 0.001 per year\n"
    )
    assert judged(often, "hose").bits < judged(text_of(PAIR), "hose").bits


# the command


@pytest.fixture
def kept(monkeypatch: pytest.MonkeyPatch) -> None:
    """The command takes a library that is here already, as if it held all faults of the ride."""
    some = copy(library(*KEPT))
    some.not_examined = ()
    monkeypatch.setattr(command, "library_of", lambda circuit, say: some)


@pytest.mark.usefixtures("kept", "compiled")
def test_the_command_prints_what_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "found.json"
    assert main(["diagnosability", PAIR, "--json", str(file)]) == 0
    told = capsys.readouterr().out
    for line in (
        "  2 repairs: hose_1 blocked, kinked (and 1 group alike)",
        "  silencer leak, burst: close block, listen silencer meanwhile; zones open (3 min)",
        "  brake_1…2 lining-worn: callipers brake_1, …, zones open (5 min)",
        "  a transmitter at valve.2: 1 fault more",
    ):
        assert line in told.splitlines()
    assert "CAUTION: " in told and "certifies nothing" in told
    data = json.loads(file.read_text(encoding="utf-8"))
    found = judged(*KEPT)
    assert (data["format"], data["version"]) == ("pneumo-diagnosability", 1)
    assert len(data["groups"]) == len(found.groups) and data["bits"] == found.bits
    assert [each["test"] for each in data["hidden"]].count(None) == len(found.unseen.faults)
    acts = data["acts"]
    assert [each["fault"]["component"] for each in acts["show"]] == ["silencer", "silencer"]
    assert acts["show"][0]["lines"] == ["close block"] and acts["show"][0]["meanwhile"]
    assert (acts["unseen"], acts["lost"]) == ([], [])
    # cautions of the acts, too
    assert CAUTIONS["jet"] in told


@pytest.mark.usefixtures("kept", "compiled")
def test_a_fault_that_was_not_calculated_is_told(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    partly = library(*KEPT)
    monkeypatch.setattr(command, "library_of", lambda circuit, say: partly)
    assert main(["diagnosability", PAIR]) == 3
    (told,) = (line for line in capsys.readouterr().out.splitlines()
               if line.startswith("NOT FINISHED"))  # fmt: skip
    assert "nothing is known of feed lost; supply leak, burst, lost; " in told
    assert "hose" not in told and "stuck-off" in told


@pytest.mark.usefixtures("kept", "compiled")
def test_the_report_of_a_verification_tells_it_too(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    page = tmp_path / "report.html"
    asked = ["verify", PAIR, "--no-faults", "--workers", "1", "--report", str(page)]
    assert main(asked) == 0
    assert "told apart" not in page.read_text(encoding="utf-8")
    assert main([*asked, "--diagnosability"]) == 0
    text = page.read_text(encoding="utf-8")
    assert "<h2>Which faults can be told apart</h2>" in text
    assert "<li>2 repairs: hose_1 blocked, kinked (and 1 group alike)</li>" in text

    def lost(circuit: object, say: object) -> Library:
        raise UnfinishedError("it was stopped")

    monkeypatch.setattr(command, "library_of", lost)
    assert main([*asked, "--diagnosability"]) == 3
    assert "not in the report: it was stopped" in " ".join(capsys.readouterr().err.split())
    assert "<h2>Matrix</h2>" in page.read_text(encoding="utf-8")
    assert main(["verify", PAIR, "--diagnosability"]) == 2


def test_bad_input_ends_the_command_with_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["diagnosability", str(tmp_path / "none.yaml")]) == 2
    assert main(["diagnosability", PAIR, "--json", str(tmp_path / "no" / "x.json")]) == 2
    assert capsys.readouterr().out == ""
