"""For every test: how long an example takes says something about the machine only."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

settings.register_profile("untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("untimed")
