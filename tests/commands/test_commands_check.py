"""Tests of pneumo check, faults and schema."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
import yaml
from command_bench import BLOCK, CIRCUITS, TRIM, apart, pneumo
from documents import replaced, shipped_text

from pneumo.live.drill import drill_text
from pneumo.live.journal import Act

Capture = pytest.CaptureFixture[str]

SHIPPED = sorted(path.stem for path in CIRCUITS.glob("*.yaml"))


def spoiled(tmp_path: Path, *changes: tuple[str, str]) -> Path:
    """Circuit 02 with passages replaced."""
    path = tmp_path / "ride.yaml"
    path.write_text(replaced(shipped_text(BLOCK), *changes), encoding="utf-8")
    return path


@pytest.mark.parametrize("name", SHIPPED)
def test_every_shipped_circuit_is_sound(name: str, capsys: Capture) -> None:
    code, out, err = pneumo(capsys, "check", name)
    assert code == 0
    assert out.startswith(f"{name}: ") and "no errors" in out
    assert "error:" not in err


def test_what_check_says_of_a_zone(capsys: Capture) -> None:
    out = pneumo(capsys, "check", BLOCK).out
    line = next(line for line in out.splitlines() if line.startswith("zone block: "))
    for said in ("spring-close", "2 ", "safe state closed within 1.5 s", "held for 30 s"):
        assert said in line


def test_a_path_and_a_name_are_the_same_document(capsys: Capture) -> None:
    path = str(CIRCUITS / f"{BLOCK}.yaml")
    by_path, by_name = pneumo(capsys, "check", path), pneumo(capsys, "check", BLOCK)
    assert by_path.out == by_name.out.replace(f"{BLOCK}:", f"{path}:", 1)


def test_every_finding_is_on_standard_error_with_its_line(tmp_path: Path, capsys: Capture) -> None:
    path = spoiled(
        tmp_path,
        ("pressure: 5.5 bar", "pressure: 5.5"),
        ("kind: silencer", "kind: silencr"),
        ("b: 0.3, feed: feed", "b: 1.3, feed: feed"),
        ("manifold.2 -> charged.1", "manifold.2 -> charge.1"),
        ("safe_state: closed", "safe_state: shut"),
    )
    code, out, err = pneumo(capsys, "check", str(path))
    assert (code, out) == (2, "")
    lines = path.read_text(encoding="utf-8").splitlines()
    for passage, said in (
        ("pressure: 5.5}", "supply.pressure"),
        ("silencr", "Did you mean 'silencer'?"),
        ("b: 1.3", "valve.b"),
        ("charge.1", "Did you mean 'charged'?"),
        ("safe_state: shut", "block.safe_state"),
    ):
        number = next(i for i, line in enumerate(lines, 1) if passage in line)
        assert f"ride.yaml:{number}: error: " in err and said in err, passage
    assert err.splitlines()[-1].startswith("5 errors, ")


@pytest.mark.parametrize("command", ["check", "run", "verify", "faults"])
def test_no_command_goes_on_with_a_document_that_has_errors(
    command: str, tmp_path: Path, capsys: Capture
) -> None:
    path = spoiled(tmp_path, ("pressure: 5.5 bar", "pressure: 5.5"))
    code, out, err = pneumo(capsys, command, str(path))
    assert (code, out) == (2, "")
    assert "supply.pressure" in err and "1 error, 0 warnings" in err


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "error"),
        (b"ride: [", "error"),
        (b"\xff\xfe\x00", "error"),
        (b"- just\n- a list\n", "error"),
        (b"a: &x [*x]\n", "error"),
    ],
)
def test_what_is_no_document_is_said_to_be_none(
    content: bytes, said: str, tmp_path: Path, capsys: Capture
) -> None:
    path = tmp_path / "ride.yaml"
    path.write_bytes(content)
    code, out, err = pneumo(capsys, "check", str(path))
    assert (code, out) == (2, "")
    assert said in err and "ride.yaml" in err


def test_a_missing_file_and_a_folder(tmp_path: Path, capsys: Capture) -> None:
    code, out, err = pneumo(capsys, "check", str(tmp_path / "none.yaml"))
    assert (code, out) == (2, "") and "There is no such file." in err
    code, out, err = pneumo(capsys, "check", str(tmp_path))
    assert (code, out) == (2, "") and "This is a folder." in err
    code, out, err = pneumo(capsys, "check", "")
    assert (code, out) == (2, "") and err


def test_a_name_that_is_almost_right(capsys: Capture) -> None:
    code, out, err = pneumo(capsys, "check", "sand_matrin")
    assert (code, out) == (2, "")
    assert "sand_matrin is neither a file nor a circuit that comes with pneumo" in err
    assert "Did you mean 'sand_martin'?" in err
    assert "sand_martin_as_found" in pneumo(capsys, "check", "my_ride").err


def test_a_warning_does_not_stop_the_work(capsys: Capture) -> None:
    code, out, err = pneumo(capsys, "check", "05_no_check_valve")
    assert code == 0 and "no errors" in out
    assert "warning: storage.safe_state" in err and "0 errors, " in err


# faults


def test_faults_lists_modes_with_their_severities(capsys: Capture) -> None:
    code, out, err = pneumo(capsys, "faults", TRIM)
    assert (code, err) == (0, "")
    assert "hose_1…2  hose" in out
    line = next(line for line in out.splitlines() if line.strip().startswith("kinked"))
    assert "0 % to 100 %" in line
    shown = pneumo(capsys, "faults", TRIM, "--component", "valve").out
    assert "stuck-midway" in shown and "hose" not in shown


def test_faults_of_a_component_that_is_not_there(capsys: Capture) -> None:
    code, out, err = pneumo(capsys, "faults", TRIM, "--component", "vavle")
    assert (code, out) == (2, "")
    assert "there is no component vavle. Did you mean 'valve'?" in err


def test_a_terminal_with_few_letters_gets_question_marks_and_no_traceback() -> None:
    code, out, err = apart("faults", TRIM, env={"PYTHONIOENCODING": "ascii"})
    assert (code, err) == (0, "")
    assert "hose_1?2  hose" in out


# schema


def test_the_schema_accepts_every_shipped_document(capsys: Capture) -> None:
    code, out, err = pneumo(capsys, "schema")
    assert (code, err) == (0, "")
    schema = json.loads(out)
    validator = jsonschema.validators.validator_for(schema)
    validator.check_schema(schema)
    for name in SHIPPED:
        text = (CIRCUITS / f"{name}.yaml").read_text(encoding="utf-8")
        document = yaml.load(text, Loader=yaml.BaseLoader)
        assert not list(validator(schema).iter_errors(document)), name


# a drill


def drill(tmp_path: Path) -> Path:
    """A drill at circuit 02 whose fault is sealed."""
    text = (CIRCUITS / f"{BLOCK}.yaml").read_text(encoding="utf-8")
    acts = [Act(0.5, "trainer", "fault valve stuck-actuated", True, 0.5)]
    path = tmp_path / "second round.yaml"
    path.write_text(drill_text(text, acts, 8.0, "Second round"), encoding="utf-8")
    return path


def test_check_says_that_a_drill_is_one_and_gives_nothing_away(
    tmp_path: Path, capsys: Capture
) -> None:
    path = drill(tmp_path)
    code, out, err = pneumo(capsys, "check", str(path))
    assert (code, err) == (0, "")
    said = " ".join(out.split())
    assert "a drill, 'Second round', at " in said and "no errors" in said
    assert f"pneumo dashboard '{path}'" in said
    told = said.replace(str(path), "")
    assert "stuck" not in told and "valve_" not in told and "fault" not in told


def test_check_tells_of_a_drill_in_earlier_words(tmp_path: Path, capsys: Capture) -> None:
    path = drill(tmp_path)
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('pneumo_drill: "2"', 'pneumo_drill: "1"'), encoding="utf-8")
    code, out, err = pneumo(capsys, "check", str(path))
    assert code == 0 and "no errors" in " ".join(out.split())
    assert "remark: The drill has version 1: 'acts' is now 'actions'." in err


def test_check_finds_what_is_wrong_in_a_drill(tmp_path: Path, capsys: Capture) -> None:
    path = drill(tmp_path)
    path.write_text(path.read_text(encoding="utf-8").replace("title:", "titel:"), encoding="utf-8")
    code, out, err = pneumo(capsys, "check", str(path))
    assert (code, out) == (2, "")
    assert "titel" in err


@pytest.mark.parametrize("command", ["run", "verify", "faults"])
def test_other_commands_say_how_to_open_a_drill(
    command: str, tmp_path: Path, capsys: Capture
) -> None:
    path = drill(tmp_path)
    code, out, err = pneumo(capsys, command, str(path))
    assert (code, out) == (2, "")
    said = " ".join(err.split())
    assert "this is a drill, no circuit document" in said
    assert f"pneumo dashboard '{path}'" in said
    assert "component" not in said


def test_nets_calculated_with_a_larger_volume_are_named_in_one_remark(
    tmp_path: Path, capsys: Capture
) -> None:
    """Only those that are raised by more than a twentieth, with line and volume; the inner volumes
    of a line are its own."""
    path = tmp_path / "line.yaml"
    path.write_text(
        "ride: {name: line}\n"
        "components:\n"
        "  supply: {kind: ideal_supply, pressure: 7 bar}\n"
        "  cock: {kind: shut_off, C: 5 L/(s·bar), b: 0.3}\n"
        "  line: {kind: pipe, length: 50 m, bore: 6 mm, segments: 200}\n"
        "  tee: {kind: manifold, ports: 1, volume: 96 mL}\n"
        "connections:\n"
        "  - supply.2 -> cock.1\n"
        "  - cock.2 -> line.1\n"
        "  - line.2 -> tee.1\n",
        encoding="utf-8",
    )
    code, _, err = pneumo(capsys, "check", str(path))
    assert code == 0
    said = [line for line in err.splitlines() if "remark:" in line]
    assert len(said) == 1
    assert "2 air spaces hold less than 0.1 L" in said[0]
    assert "cock.2 (line 4, 0.0085 L), supply.2 (line 3, 0.01 L)." in said[0]


def test_many_small_nets_are_one_remark(capsys: Capture) -> None:
    err = pneumo(capsys, "check", "sand_martin").err
    said = [line for line in err.splitlines() if "remark:" in line]
    assert len(said) == 1
    assert "and 40 more." in said[0]
