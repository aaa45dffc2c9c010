"""Settings that all tests share.

Hypothesis runs the same examples every time, so that a check that passed passes again. To look
further: `./check --hypothesis-profile explore -k properties`.
"""

from hypothesis import HealthCheck, settings

settings.register_profile(
    "check",
    derandomize=True,
    deadline=None,
    max_examples=200,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.register_profile(
    "explore", settings.get_profile("check"), derandomize=False, max_examples=1500
)
settings.load_profile("check")
