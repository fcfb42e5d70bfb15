"""What the rides of these tests find done already."""

from __future__ import annotations

import pytest

from pneumo.simulation import cache
from pneumo.simulation.warm import compile_kernels


@pytest.fixture(scope="session", autouse=True)
def compiled_kernels() -> None:
    """The kernels are there, so that no test waits for them while a ride runs."""
    if not cache.is_complete():
        compile_kernels()
        cache.complete()
