"""A kind is one file: one that is put beside the others is read, run, tried, drawn and offered."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from importlib import invalidate_caches
from pathlib import Path

import pytest
from tui_toys import resting_frame

from pneumo.circuit.circuit import PortRef
from pneumo.circuit.schema import document_schema
from pneumo.circuit.validate import load_text
from pneumo.cli import main
from pneumo.components import KINDS, kinds
from pneumo.errors import DocumentError
from pneumo.live.plant import plant_of
from pneumo.report.drawing import drawings
from pneumo.schematic.sheet import sheets
from pneumo.verification.plan import trials
from tui.drawing.picture import Picture
from tui.drawing.symbols import Symbols
from tui.sentences import next_words

ORIFICE = '''"""Fixed orifice."""

from __future__ import annotations

from typing import Any, ClassVar, Literal

from pneumo import air
from pneumo.components.base import (
    Component, FaultMode, FaultTarget, Lowering, Port, Severity, Trait,
)
from pneumo.components.common_faults import blocked, hole_conductance, leak
from pneumo.components.fields import LineBore
from pneumo.components.fitting import add_port_volumes, both_ways
from pneumo.components.iso13849_2 import B9_LEAKS

WEAR = Severity(unit="x", low=1.0, high=20.0, default=2.0, campaign=(2.0,), none=1.0)


class Orifice(Component):
    """A sharp-edged hole in the line (ISO 5598 orifice). Ports 1 and 2, passes both ways alike.

    Labels: path "1-2".
    """

    title: ClassVar[str] = "fixed orifice"
    traits: ClassVar[frozenset[Trait]] = frozenset({"conduit", "repeatable"})
    kind: Literal["orifice"] = "orifice"
    bore: LineBore
    """Diameter of the hole."""

    def ports(self) -> tuple[Port, ...]:
        return (Port("1"), Port("2"))

    def passages(self) -> tuple[tuple[str, str], ...]:
        return both_ways(("1", "2"))

    def lower(self, low: Lowering) -> None:
        add_port_volumes(self, low)
        size = hole_conductance(self.bore)
        low.restriction("1-2", low.node("1"), low.node("2"), size, air.ORIFICE_CRITICAL)

    def fault_modes(self) -> tuple[FaultMode, ...]:
        washed_out = "It is washed out and passes more."
        return (
            leak("2", B9_LEAKS),
            blocked(("1-2",)),
            FaultMode("washed-out", washed_out, _wash_out, WEAR, ended_by=("replace",)),
        )


def _wash_out(component: Any, target: FaultTarget, factor: float) -> None:
    target.throttle("1-2", 1.0 - factor)
'''

PLAIN = (Path(__file__).parents[2] / "circuits" / "01_spring_open_single.yaml").read_text("utf-8")
WITH_ONE = PLAIN.replace(
    "  valve: {kind", "  nozzle: {kind: orifice, bore: 4 mm}\n  valve: {kind"
).replace("  - valve.2 -> manifold.1", "  - valve.2 -> nozzle.1\n  - nozzle.2 -> manifold.1")


@pytest.fixture
def document(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A document with a part of a kind whose file is put in for the test, and taken away again."""
    folder = tmp_path / "kinds"
    folder.mkdir()
    (folder / "orifice.py").write_text(ORIFICE, encoding="utf-8")
    path = tmp_path / "ride.yaml"
    path.write_text(WITH_ONE, encoding="utf-8")
    with monkeypatch.context() as added:
        added.setattr(kinds, "__path__", [*kinds.__path__, str(folder)])
        invalidate_caches()
        yield path
    sys.modules.pop(f"{kinds.__name__}.orifice", None)
    assert "orifice" not in KINDS
    with pytest.raises(DocumentError, match="There is no kind 'orifice'"):
        load_text(WITH_ONE, "without it")


def test_it_is_read_run_and_injected(document: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "orifice" in KINDS and list(KINDS) == sorted(KINDS)
    assert main(["check", str(document)]) == 0
    assert "16 components of 11 kinds" in " ".join(capsys.readouterr().out.split())
    assert main(["faults", str(document), "--component", "nozzle"]) == 0
    assert "washed-out" in capsys.readouterr().out
    assert main(["run", str(document), "--scenario", "there and back"]) == 0
    whole = capsys.readouterr().out
    injected = "nozzle blocked at 0.5 s"
    assert main(["run", str(document), "--scenario", "there and back", "--fault", injected]) == 0
    held_back = capsys.readouterr().out
    assert "closing -> closed" in whole and "closing -> closed" not in held_back


def test_it_is_in_the_schema_and_tried(document: Path) -> None:
    defined = document_schema()["$defs"]
    assert "orifice" in defined["component"]["properties"]["kind"]["enum"]
    assert "Diameter of the hole." in defined["Orifice"]["properties"]["bore"]["description"]
    found = trials(load_text(document.read_text("utf-8"), "it"))
    tried = {
        fault.mode: trial.zone
        for trial in found
        for fault in trial.injection.faults
        if fault.component == "nozzle"
    }
    assert tried == {"leak": "trim", "blocked": "trim", "washed-out": "trim"}


def test_it_is_drawn_and_offered(document: Path) -> None:
    circuit = load_text(document.read_text("utf-8"), "it")
    assert any('data-component="nozzle"' in drawing.svg for drawing in drawings(circuit))
    plant = plant_of(circuit)
    frame = resting_frame(plant)
    picture = Picture(plant, Symbols(plant), frame, sheets(circuit), 110)
    picture.update(frame)
    assert "fixed orifice" in "\n".join("".join(row) for row in picture.letters)
    assert plant.net_of[PortRef("nozzle", "1")] != plant.net_of[PortRef("nozzle", "2")]
    assert next_words("fault nozzle wash", plant, frame, "trainer") == ("washed-out",)
