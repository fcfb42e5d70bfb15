"""Every walkthrough is played to its end, and says what is so."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from docs_blocks import ROOT, WALKTHROUGHS, blocks, commands, section, sessions
from test_docs_commands import prints
from walk import Step, Walker, steps

import pneumo.live.driver
from pneumo.packing import pack

NEWCOMER = "A newcomer: a circuit in 20 lines"
ENGINEER = "An engineer: what is wrong, and what puts it right"
TECHNICIAN = "A technician: a drill"
TRAINER = "A trainer: a hidden fault"

CODES = (0, 0, 1, 1, 1, 1, 0, 0)
"""Exit codes of the commands, in order."""


def changed(text: str, diff: str) -> str:
    """A document after the changes of a block: lines with - are replaced by those with +."""
    for part in diff.strip("\n").split("\n\n"):
        old = re.findall(r"^-(.*\n?)", f"{part}\n", re.M)
        new = re.findall(r"^\+(.*\n?)", f"{part}\n", re.M)
        assert old and text.count("".join(old)) == 1, f"not once in the document: {old}"
        text = text.replace("".join(old), "".join(new))
    return text


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the files as a reader saves them."""
    made = tmp_path_factory.mktemp("walkthroughs")
    (circuit,), (diff,) = blocks(WALKTHROUGHS, "yaml"), blocks(WALKTHROUGHS, "diff")
    (lines,) = blocks(WALKTHROUGHS, "text")
    (made / "lines.txt").write_text(lines, encoding="utf-8")
    (made / "one_brake.yaml").write_text(circuit, encoding="utf-8")
    copied = (ROOT / "circuits" / "06_blocked_silencer.yaml").read_text(encoding="utf-8")
    (made / "my_block.yaml").write_text(changed(copied, diff), encoding="utf-8")
    return made


def test_the_circuit_in_20_lines_has_20_lines() -> None:
    (circuit,) = blocks(WALKTHROUGHS, "yaml")
    assert "20 lines" in NEWCOMER
    assert len(circuit.splitlines()) == 20


@pytest.mark.parametrize(
    ("session", "code"), list(zip(sessions(WALKTHROUGHS), CODES, strict=True)), ids=str
)
def test_a_command_prints_what_is_shown(session: object, code: int, folder: Path) -> None:
    prints(session, code, folder)  # type: ignore[arg-type]


def opened_by(title: str) -> str:
    """The command line of a section."""
    text = section(WALKTHROUGHS, title)
    (command,) = commands(re.findall(r"^```sh\n(.*?)^```$", text, re.M | re.S)[0])
    return command


@pytest.mark.parametrize("title", [TECHNICIAN, TRAINER])
async def test_a_walk_at_the_dashboard(title: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pneumo.live.driver, "monotonic", lambda: 0.0)
    walk = steps(section(WALKTHROUGHS, title))
    assert len(walk) > 10
    walker = Walker(opened_by(title))
    await walker.play(walk)
    told = repr((pack(walker.trainee.frame), walker.trainee.past.events))
    assert "block" in told
    for hidden in ("coil-open", "stuck-actuated"):
        assert hidden not in told, "the trainee is never told what is hidden"


async def test_a_walk_that_promises_what_does_not_come_fails(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(pneumo.live.driver, "monotonic", lambda: 0.0)
    with pytest.raises(AssertionError, match="NEVER SAID"):
        await Walker("pneumo dashboard 02_spring_close_single").play([Step((), ("NEVER SAID",))])
