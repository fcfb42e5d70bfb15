"""What the commands find done already, as in every run but the first of an installation."""

from __future__ import annotations

import pytest

from pneumo.simulation import cache
from pneumo.simulation.warm import compile_kernels


@pytest.fixture(scope="session", autouse=True)
def compiled_kernels() -> None:
    """The kernels are there, so that no command says that it compiles them or takes the time."""
    if not cache.is_complete():
        compile_kernels()
        cache.complete()
