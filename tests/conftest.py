"""A property does not fail because the machine is busy: no test of hypothesis has a deadline."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

settings.register_profile("calm", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("calm")
