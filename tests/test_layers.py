"""Who may import whom. Data flows one way; each stage knows only the stages before it.

The table is the smallest that the program needs. A new line in it is a decision: say why beside it
and in DEVELOPERS.md.
"""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from collections.abc import Iterator
from importlib import metadata
from pathlib import Path

import pytest

import pneumo

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "pneumo"

ORDER = (
    "harmless", "packing", "pool", "errors", "air", "quantity", "units", "components", "circuit",
    "network", "simulation", "zone", "scenario", "inspection", "drill", "verification", "schematic",
    "report", "diagnosis", "live", "making", "record", "seats", "api", "commands", "cli",
    "__main__",
)  # fmt: skip
"""Stages from first to last."""

MAY_IMPORT: dict[str, set[str]] = {
    "harmless": set(),
    "packing": {"harmless"},
    "pool": set(),
    "errors": {"harmless"},
    "air": set(),
    "quantity": {"harmless"},
    "units": {"harmless", "quantity"},
    "components": {"air", "quantity", "units"},
    # air: the speed of sound, for the time that news takes through a line
    "circuit": {"air", "components", "errors", "harmless", "quantity", "units"},
    "network": {"air", "circuit", "components", "errors"},
    # the kernels know the arrays they read, and nothing of how they came about
    "simulation": {"air", "network.network"},
    # the logic sees what is sensed and nothing else of the program
    "zone": set(),
    "scenario": {"air", "circuit", "components", "errors", "network", "simulation", "zone"},
    # simulation.look: where air escapes is read off the plant, as `listen` hears it
    "inspection": {
        "air", "circuit", "errors", "harmless", "network.compile", "scenario", "simulation.look",
    },
    # network: areas and nodes, for the force and the pressure somebody would have met
    "drill": {
        "circuit", "errors", "harmless", "inspection", "network.network", "quantity", "scenario",
        "units",
    },
    # simulation.position: the steps of a run, for cases that follow it
    # simulation.look: where air is lost is read off the plant; zone.machine: the names of alarms
    "verification": {
        "circuit", "components", "network", "scenario", "simulation.look",
        "simulation.position", "units", "zone.event", "zone.machine",
    },
    # what is drawn is read off the circuit alone
    "schematic": {"circuit", "components"},
    # a report is made from records: it could be made from a file, without a simulator
    "report": {
        "circuit", "components", "drill.entry", "drill.outcome", "drill.review", "drill.telling",
        "errors", "harmless", "schematic", "units", "verification.case", "verification.verdict",
        "verification.wording",
    },
    # a suspect is a run: it is acted on, looked at and tested as the ride is; what all of them show
    # is kept in files, beside the kernels that calculate it
    "diagnosis": {
        "circuit", "components", "drill.carry", "drill.entry", "drill.telling", "errors",
        "inspection", "network.compile", "network.network", "packing", "pool", "report.files",
        "scenario", "simulation.cache", "simulation.position", "units", "zone.event",
        "zone.machine", "zone.ride",
    },
    # simulation.look: what stands in the plant at an instant, which no event tells
    "live": {
        "circuit", "components.base", "diagnosis", "drill", "errors", "harmless", "inspection",
        "network", "quantity", "report", "scenario", "simulation.look", "units", "verification",
        "zone",
    },
    # a drill is made by whoever works on it: a ride under way, and who reasons about it
    "making": {
        "circuit", "components.base", "diagnosis", "drill", "errors", "inspection", "live",
        "scenario", "zone.event",
    },
    # circuit.former: a record may hold words of an earlier version
    # report.files: the file of a class is written whole or not at all
    "record": {
        "circuit.former", "drill", "errors", "harmless", "live", "packing", "report.files",
        "scenario",
    },
    # a seat that joins needs no simulator
    "seats": {
        "circuit", "errors", "harmless", "live", "network.network", "packing", "scenario.event",
    },
    # commands call what other programs call
    "api": {
        "circuit", "errors", "live.drill", "pool", "quantity", "scenario",
        "simulation", "units", "verification",
    },
    "commands": {
        "api", "diagnosis", "drill", "components.base", "making",
        "circuit", "errors", "harmless", "live", "network", "quantity", "record", "report",
        "scenario", "seats", "simulation", "units", "verification",
    },
    # report: findings are printed in one way, whichever command met them
    "cli": {"commands", "errors", "harmless", "report"},
    "__main__": {"cli"},
}  # fmt: skip
"""Stage -> what it may import: stages, or single modules of a stage."""

ONLY_IN: dict[str, tuple[str, ...]] = {
    "numba": ("simulation.jit",),
    "llvmlite": ("simulation.native",),
    "transitions": ("zone.machine", "drill.steps"),
    "networkx": ("circuit.zones", "schematic"),
    "yaml": ("circuit.document",),
    "jinja2": ("report.html",),
    "markupsafe": ("report.html",),
    "platformdirs": ("diagnosis.store", "simulation.cache", "record.file", "record.history"),
    "shtab": ("cli",),
    "pydantic": ("units", "components", "circuit"),
    "pydantic_core": ("units", "components"),
    "rich": ("report.text", "commands"),
    "numpy": (
        "network",
        "simulation",
        "scenario",
        "inspection",
        "drill.energy",
        "diagnosis",
        "verification",
        "live",
        "record",
        "seats",
    ),
    "websockets": ("seats",),
    "cryptography": ("live.seal",),
}
"""Third-party package -> the stages or modules that may import it; others: none."""


def module_name(path: Path) -> str:
    """ "network.compile" for pneumo/network/compile.py."""
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    return ".".join(part for part in parts if part != "__init__")


MODULES = {module_name(path): path for path in sorted(PACKAGE.rglob("*.py"))}


def imported(path: Path) -> Iterator[str]:
    """Full names of everything a file imports, also inside functions."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: imports are absolute here"
            if node.module == "pneumo":
                yield from (f"pneumo.{alias.name}" for alias in node.names)
            else:
                yield node.module or ""


def inside(name: str, allowed: str) -> bool:
    """True when a module is the allowed one or belongs to the allowed stage."""
    return name == allowed or name.startswith(f"{allowed}.")


def test_every_stage_has_its_place() -> None:
    stages = dict.fromkeys(name.partition(".")[0] for name in MODULES if name)
    assert set(stages) == set(ORDER) == set(MAY_IMPORT)


def test_the_table_points_only_back() -> None:
    for stage, others in MAY_IMPORT.items():
        for other in others:
            assert ORDER.index(other.partition(".")[0]) < ORDER.index(stage), (stage, other)


@pytest.mark.parametrize("stage", ORDER)
def test_a_stage_imports_what_the_table_allows(stage: str) -> None:
    needed = set()
    for name, path in MODULES.items():
        if not inside(name, stage):
            continue
        for target in imported(path):
            first, _, module = target.partition(".")
            if first != "pneumo" or not module or inside(module, stage):
                continue
            fits = [allowed for allowed in MAY_IMPORT[stage] if inside(module, allowed)]
            assert fits, f"{name} imports pneumo.{module}"
            needed.update(fits)
    # a line nobody needs would let a wrong import in later
    unused = MAY_IMPORT[stage] - needed
    if stage == "cli":
        unused -= {"commands"}  # opened by name, when a command runs
    assert not unused, f"{stage} does not import {unused}"


def test_no_pass_knows_both_circuit_and_arrays() -> None:
    """Of the passes of `network.compile`, those up to the rows read the circuit, none after."""
    network = {name: imported(path) for name, path in MODULES.items() if inside(name, "network")}
    before = [
        name
        for name, targets in network.items()
        if any(target.startswith("pneumo.circuit") for target in targets)
    ]
    assert [name.removeprefix("network.") for name in before] == [
        "branches", "compile", "nodes", "rows", "watches",
    ]  # fmt: skip
    assert not any("numpy" in network[name] for name in before)


def test_components_know_the_rest_by_protocols_only() -> None:
    """A kind speaks to the network and the simulation through components.base."""
    for name, path in MODULES.items():
        if inside(name, "components"):
            foreign = [t for t in imported(path) if t.partition(".")[0] in ("numpy", "networkx")]
            assert not foreign, f"{name} imports {foreign}"


def test_libraries_stay_where_they_belong() -> None:
    standard = sys.stdlib_module_names
    for name, path in MODULES.items():
        for target in imported(path):
            package = target.partition(".")[0]
            if package == "pneumo" or package in standard:
                continue
            places = ONLY_IN.get(package, ())
            assert any(inside(name, place) for place in places), f"{name} imports {package}"


SCREENS = ROOT / "tui"

SCREENS_MAY_IMPORT = {
    "circuit", "components", "drill.arc", "drill.entry", "drill.job", "drill.review",
    "drill.telling", "errors", "harmless", "inspection.tests", "live", "network.network",
    "report", "scenario.event", "scenario.telling", "schematic",
    "seats.address", "seats.door", "quantity", "units", "verification.case", "verification.plan",
    "verification.verdict", "verification.wording", "zone",
}  # fmt: skip
"""What screens may know: the circuit and what the link of a seat gives, never the run itself."""

NO_SCREEN = {
    "inspection.ear",
    "inspection.examine",
    "inspection.eye",
    "inspection.gauge",
    "inspection.hand",
    "inspection.meter",
    "live.by_itself",
    "live.capture",
    "live.driver",
    "live.drill",
    "live.known",
    "live.own_way",
    "live.past",
    "live.scenario_file",
    "live.session",
    "live.thinking",
    "live.working",
}
"""Modules of a stage above that hold the run."""


def test_nothing_imports_the_dashboard() -> None:
    """The command line opens it by name, when somebody asks for it."""
    for name, path in MODULES.items():
        assert not any(inside(target, "tui") for target in imported(path)), name


def test_screens_know_the_link_and_not_the_run() -> None:
    for path in sorted(SCREENS.rglob("*.py")):
        for target in imported(path):
            first, _, module = target.partition(".")
            if first != "pneumo":
                continue
            fits = any(inside(module, allowed) for allowed in SCREENS_MAY_IMPORT)
            assert fits, f"{path} imports {target}"
            assert not any(inside(module, own) for own in NO_SCREEN), f"{path} imports {target}"


def test_a_seat_that_joins_needs_no_simulator() -> None:
    loaded = loaded_after(
        "import sys, tui.app, pneumo.seats.join\n"
        "assert not any(m.startswith('pneumo.simulation') for m in sys.modules)"
    )
    assert "textual" in loaded
    assert not loaded & {"numba", "llvmlite", "scipy"}


def test_the_first_screen_waits_for_nothing_of_the_ride() -> None:
    loaded = loaded_after(
        "import pneumo.commands.dashboard, pneumo.commands.join, tui.app, tui.board"
    )
    assert "textual" in loaded
    needless = {"numpy", "pydantic", "yaml", "numba", "llvmlite", "sqlite3", "websockets"}
    assert not loaded & {*needless, "cryptography"}


def loaded_after(code: str) -> set[str]:
    """Packages in memory after a fresh process has run some code."""
    probe = f"{code}\nimport sys; print('loaded', *sorted(m for m in sys.modules if '.' not in m))"
    done = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=True)
    return set(done.stdout.splitlines()[-1].split()[1:])


def test_tests_and_the_programs_they_start_have_one_pneumo(tmp_path: Path) -> None:
    """The installed one, wherever a program is started: here lie the sources, too."""
    known = json.loads(metadata.distribution("pneumo").read_text("direct_url.json") or "{}")
    editable = known.get("dir_info", {}).get("editable", False)
    site = Path(str(metadata.distribution("pneumo").locate_file("")))
    installed = (ROOT if editable else site) / "pneumo" / "__init__.py"
    found = {pneumo.__file__}
    for folder in (ROOT, tmp_path):
        done = subprocess.run([sys.executable, "-c", "import pneumo; print(pneumo.__file__)"],
                              cwd=folder, capture_output=True, text=True, check=True)  # fmt: skip
        found.add(done.stdout.strip())
    assert found == {str(installed)}


def test_every_test_file_finds_alone_what_it_imports() -> None:
    """In its own folder, or beside this file: what another folder holds is found only when a test
    of that folder was collected before."""
    tests = Path(__file__).parent
    shared = {file.stem for file in tests.glob("*.py")}
    own = {file: {f.stem for f in file.parent.glob("*.py")} for file in tests.rglob("*.py")}
    others = {name for names in own.values() for name in names} - shared
    lost = [
        f"{file.relative_to(tests)}: {name}"
        for file, names in own.items()
        if file.name.startswith("test_")
        for name in imported(file)
        if name in others - names
    ]
    assert not lost


def test_help_is_instant() -> None:
    loaded = loaded_after("import pneumo.cli; pneumo.cli.build_parser().format_help()")
    assert "argparse" in loaded
    heavy = {"numba", "llvmlite", "textual", "scipy", "numpy", "pydantic", "networkx", "rich",
             "jinja2", "dataclasses"}  # fmt: skip
    assert not loaded & heavy


def test_looking_at_a_document_needs_no_kernel() -> None:
    circuit = ROOT / "circuits" / "01_spring_open_single.yaml"
    loaded = loaded_after(
        "from pneumo.cli import main\n"
        f"assert main(['check', {str(circuit)!r}]) == 0\n"
        f"assert main(['faults', {str(circuit)!r}]) == 0\n"
        "assert main(['schema']) == 0"
    )
    assert "pydantic" in loaded
    assert not loaded & {"numba", "llvmlite", "textual", "scipy", "jinja2", "networkx"}


def test_a_document_loads_the_kinds_it_has() -> None:
    circuit = ROOT / "circuits" / "01_spring_open_single.yaml"
    probe = f"""
import sys
from pneumo.circuit.validate import load
load({str(circuit)!r})
kinds = "pneumo.components.kinds"
print(*(n for n in ("bladder_brake", "cylinder") if f"{{kinds}}.{{n}}" in sys.modules))
"""
    done = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["bladder_brake"]


@pytest.mark.usefixtures("compiled")
def test_a_run_loads_nothing_of_the_reports() -> None:
    circuit = ROOT / "circuits" / "01_spring_open_single.yaml"
    loaded = loaded_after(
        "from pneumo.cli import main\n"
        f"assert main(['run', {str(circuit)!r}, '--until', '0.1 s']) == 0"
    )
    assert "rich" in loaded
    assert not loaded & {"textual", "jinja2", "networkx"}
