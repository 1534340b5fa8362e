"""A property does not fail because the machine is busy: no test of hypothesis has a deadline."""

from __future__ import annotations

import signal

from hypothesis import HealthCheck, settings

settings.register_profile("calm", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("calm")

# What a shell starts in the background ignores Ctrl-C, and so would the commands that tests stop.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)
