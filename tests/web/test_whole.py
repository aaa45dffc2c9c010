"""The whole application against a simple model; `scripts/fuzz stateful` goes on for long."""

from hypothesis import HealthCheck, settings
from tests.web.whole import Whole

TestWhole = Whole.TestCase
TestWhole.settings = settings(
    max_examples=4, stateful_step_count=10, deadline=None, suppress_health_check=list(HealthCheck)
)
