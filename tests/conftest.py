"""For every test: its tier, the kernels, and the one copy of pneumo that is tested.

Tiers: `quick` calls no kernel, `kernels` calls kernels that are compiled once before, `long` is
what takes long and a change of the program seldom breaks.
"""

from __future__ import annotations

import gc
import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from pneumo.commands.compiling import COMPILER
from pneumo.simulation import cache
from pneumo.simulation.jit import Kernel
from pneumo.simulation.warm import prepare

# how long an example takes says something about the machine only
settings.register_profile("untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("untimed")

# what tests make is soon thrown away as a whole: looking for circles in it so often takes a tenth
# of their time
gc.set_threshold(100_000, 20, 100)

# programs that tests start find the installed pneumo, as the tests do, not the folder they start in
os.environ["PYTHONSAFEPATH"] = "1"

HERE = Path(__file__).parent

LONG = (
    "anomaly", "bench", "commands/test_commands_dashboard.py",
    "commands/test_commands_leaving.py", "commands/test_commands_opening.py",
    "commands/test_commands_serve.py", "docs/test_docs_commands.py",
    "docs/test_docs_walkthroughs.py", "live/test_live_load.py",
    "simulation/test_simulation_independent.py", "simulation/test_simulation_bounds.py",
    "tui/test_tui_snapshots.py", "tui/test_tui_soak.py",
)  # fmt: skip
"""Folders and files of the longest tier: soak, kills, terminals, browser, documents, pictures."""

QUICK = (
    "circuit", "commands/test_commands_check.py", "commands/test_commands_help.py",
    "commands/test_commands_join.py", "components", "diagnosis/test_diagnosis_choice.py",
    "docs/test_docs_language.py",
    "docs/test_docs_links.py", "live/test_live_seal.py",
    "network",
    "report", "test_harmless.py", "test_layers.py", "test_sizes.py", "test_units.py", "zone",
)  # fmt: skip
"""Folders and files whose tests call no kernel; a test that needs `compiled` is not one of them."""

NOT_QUICK = (
    "circuit/test_delay.py", "circuit/test_storm.py", "components/test_component_brake_numbers.py",
    "components/test_component_crossover.py", "network/test_network_ordering.py",
    "report/test_report_unsound.py",
)  # fmt: skip
"""Files of these that do."""

TIERS = ("quick", "long", "kernels")
"""In the order in which they run: while the first do, the kernels are compiled; single tests that
take long do not come last."""


def tier_of(item: pytest.Item) -> str:
    """The tier of a test."""
    place = item.path.relative_to(HERE).as_posix()

    def stands(names: tuple[str, ...]) -> bool:
        return any(place == name or place.startswith(f"{name}/") for name in names)

    if item.get_closest_marker("long") or stands(LONG):
        return "long"
    called = "compiled" in getattr(item, "fixturenames", ()) or stands(NOT_QUICK)
    return "quick" if stands(QUICK) and not called else "kernels"


@pytest.hookimpl(tryfirst=True)  # before those that are not wanted are taken out
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Marks every test with its tier, and deals files to workers so that each begins with quick
    ones: a worker gets a piece of the list and takes over from another's end when it is done."""
    files: dict[tuple[int, str], list[pytest.Item]] = {}
    for item in items:
        tier = tier_of(item)
        item.add_marker(tier)
        files.setdefault((TIERS.index(tier), item.path.as_posix()), []).append(item)
    workers = int(os.environ.get("PYTEST_XDIST_WORKER_COUNT", "1"))
    hands: list[list[pytest.Item]] = [[] for _ in range(workers)]
    for (tier_number, _), tests in sorted(files.items(), key=lambda file: file[0]):
        if TIERS[tier_number] == "long":
            for number, test in enumerate(tests):
                hands[number % workers].append(test)
        else:
            min(hands, key=len).extend(tests)
    items[:] = [test for hand in hands for test in hand]


def pytest_configure(config: pytest.Config) -> None:
    """Where workers run the tests, the kernels are compiled beside them from the beginning."""
    if os.environ.get("PYTEST_XDIST_WORKER") or not config.getoption("numprocesses", None):
        return
    if config.option.markexpr != "quick" and not cache.is_complete():
        process = subprocess.Popen(
            COMPILER, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, start_new_session=True
        )
        config.add_cleanup(process.kill)


@pytest.fixture(scope="session")
def compiled() -> None:
    """The kernels are there."""
    if not cache.is_complete():
        prepare(lambda done, of: None, lambda: None)


@pytest.fixture(autouse=True)
def in_its_tier(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """No quick test calls a kernel; any other finds them compiled."""
    if request.node.get_closest_marker("quick") is None:
        request.getfixturevalue("compiled")
        yield
        return

    def refused(self: Kernel[..., object], *arguments: object) -> None:
        pytest.fail(f"{self.function.__name__} is called: this test is not quick, see {__file__}")

    monkeypatch.setattr(Kernel, "__call__", refused)
    yield
