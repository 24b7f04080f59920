"""What every test may ask for: the real servers of `servers`, and one profile for property tests.

Tests import `wait_until` from `servers` directly (`from servers import wait_until`); this directory is on
the path because pytest roots it here.
"""

import os

import freezegun.config
from hypothesis import HealthCheck, settings

from servers import broker, http_receiver, persistent_broker, smtp_server

__all__ = ["broker", "http_receiver", "persistent_broker", "smtp_server"]

# Two slow cores shared with a broker and a browser: a time limit per example would test the machine.
settings.register_profile("house", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "house"))

# freezegun leaves modules alone whose names begin with "gi" (meant for another library), and so ours.
_left_alone = [name for name in freezegun.config.DEFAULT_IGNORE_LIST if name != "gi"]
freezegun.configure(default_ignore_list=_left_alone)
