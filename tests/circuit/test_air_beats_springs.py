"""A brake that no air can move is found while its document is checked."""

from __future__ import annotations

from pathlib import Path

import pytest

from pneumo.circuit.validate import load, load_text

CIRCUITS = Path(__file__).parents[2] / "circuits"


@pytest.mark.parametrize(
    ("name", "verb"), [("01_spring_open_single", "close"), ("02_spring_close_single", "open")]
)
def test_a_slip_in_the_area_is_seen(name: str, verb: str) -> None:
    text = (CIRCUITS / f"{name}.yaml").read_text(encoding="utf-8")
    area = next(line for line in text.splitlines() if line.strip().startswith("area:"))
    circuit = load_text(text.replace(area, area.replace("cm2", "mm2")), "slip.yaml")
    found = [w for w in circuit.warnings if w.field == "area"]
    assert [w.component for w in found] == ["brake_1", "brake_2"]
    assert f"Air cannot {verb} it" in found[0].found
    assert "kN of springs" in found[0].found


@pytest.mark.parametrize("path", sorted(CIRCUITS.glob("*.yaml")), ids=lambda path: path.stem)
def test_no_shipped_brake_is_too_weak(path: Path) -> None:
    assert not [w for w in load(path).warnings if w.field == "area"]
